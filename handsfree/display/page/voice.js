// The read-back voice on this device, in breaths: any number of pieces, and an end.

const AHEAD = 0.05; // seconds between the arrival of a breath and its first sound

export class Voice {
  #context = null;
  #until = 0; // when what was scheduled will have been played
  #playing = new Map(); // number of a breath to its pieces that are still to be heard
  #ended = new Set(); // numbers of breaths of which nothing more comes

  /** said(number) is called when a breath was heard to its end, or stopped. */
  constructor(said) {
    this.said = said;
  }

  open(context) {
    this.#context = context;
    this.#until = 0;
    this.#playing.clear();
    this.#ended.clear();
  }

  get speaking() {
    const late = this.#context?.outputLatency || 0;
    return this.#context !== null && this.#context.currentTime < this.#until + late;
  }

  /** A message of the server: number of the breath, samples a second, 16-bit samples. */
  play(message) {
    if (!this.#context) return;
    const header = new DataView(message, 0, 8);
    const number = header.getUint32(0, true);
    const rate = header.getUint32(4, true);
    const samples = Float32Array.from(new Int16Array(message, 8), (sample) => sample / 32768);
    const sound = this.#context.createBuffer(1, Math.max(samples.length, 1), rate);
    sound.copyToChannel(samples, 0);
    const piece = new AudioBufferSourceNode(this.#context, { buffer: sound });
    piece.connect(this.#context.destination);
    const at = Math.max(this.#until, this.#context.currentTime + AHEAD);
    piece.start(at);
    this.#until = at + sound.duration;
    const pieces = this.#playing.get(number) ?? new Set();
    this.#playing.set(number, pieces.add(piece));
    piece.onended = () => {
      pieces.delete(piece);
      this.#settle(number);
    };
  }

  end(number) {
    this.#ended.add(number);
    this.#settle(number);
  }

  stop(number) {
    for (const piece of this.#playing.get(number) ?? []) piece.stop();
    this.#until = 0;
    this.end(number);
  }

  #settle(number) {
    if (!this.#ended.has(number) || this.#playing.get(number)?.size) return;
    this.#ended.delete(number);
    this.#playing.delete(number);
    this.said(number);
  }
}
