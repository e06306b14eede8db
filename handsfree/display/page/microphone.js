// The microphone of this device, sent as 16-bit samples: 16 kHz where the browser can.

const RATE = 16000;
const BLOCK = 0.032; // seconds in one message
const WAITING = 64000; // bytes that may wait to be sent, about two seconds; then sound is dropped

const WHY = {
  NotAllowedError: "The browser was not allowed to use the microphone.",
  NotFoundError: "This device has no microphone.",
  NotReadableError: "Another program uses the microphone.",
};

export class Microphone {
  #stream = null;
  #context = null;
  #number = 0;
  #allowed = false;

  /** send(message), waiting() in bytes, voice is what is heard, tell({on, hint}), ask() a code. */
  constructor(send, waiting, voice, tell, ask) {
    this.send = send;
    this.waiting = waiting;
    this.voice = voice;
    this.tell = tell;
    this.ask = ask;
  }

  toggle() {
    if (this.#stream) {
      this.send(JSON.stringify({ microphone: null }));
      this.stop();
    } else this.start();
  }

  async start() {
    try {
      this.#stream = await navigator.mediaDevices.getUserMedia({
        audio: { channelCount: 1, echoCancellation: false, noiseSuppression: false,
                 autoGainControl: false },
      });
      const source = await this.#source();
      await this.#context.audioWorklet.addModule("/capture.js");
      const rate = this.#context.sampleRate;
      const size = Math.round(rate * BLOCK);
      const capture = new AudioWorkletNode(this.#context, "capture", {
        numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit",
        processorOptions: { size },
      });
      capture.port.onmessage = ({ data }) => this.#block(data);
      source.connect(capture);
      this.voice.open(this.#context);
      this.#stream.getTracks()[0].onended = () => this.toggle();
      this.send(JSON.stringify({ microphone: { rate } }));
    } catch (error) {
      this.stop(WHY[error.name] ?? `The microphone does not open: ${error.message}`);
    }
  }

  /** The sound at 16 kHz; at the device's own rate in a browser that does not resample. */
  async #source() {
    for (const options of [{ sampleRate: RATE }, {}]) {
      this.#context = new AudioContext(options);
      try {
        return this.#context.createMediaStreamSource(this.#stream);
      } catch (error) {
        await this.#context.close();
        if (!options.sampleRate) throw error;
      }
    }
  }

  #block(samples) {
    const number = this.#number++;
    if (!this.#allowed || this.waiting() > WAITING) return;
    const message = new ArrayBuffer(8 + 2 * samples.length);
    const header = new DataView(message);
    header.setUint32(0, number, true);
    header.setUint32(4, Number(this.voice.speaking), true);
    new Int16Array(message, 8).set(samples); // every browser's machine is little-endian
    this.send(message);
  }

  answered(state) {
    if (state === "again") {
      this.stop();
      this.start();
      return;
    }
    this.#allowed = state === "on";
    this.#number = 0;
    if (state === "on") this.tell({ on: true, hint: "" });
    else if (state === "code") {
      this.stop("Give the code that the terminal shows, then press again.");
      this.ask();
    } else this.stop("Another phone is the microphone. Switch it off there first.");
  }

  stop(hint = "") {
    const on = this.#stream !== null;
    this.#stream?.getTracks().forEach((track) => track.stop());
    this.#context?.close().catch(() => {});
    this.#stream = this.#context = null;
    this.#allowed = false;
    if (on || hint) this.tell({ on: false, hint });
  }
}
