// Collects the sound in blocks of 16-bit samples.

registerProcessor(
  "capture",
  class extends AudioWorkletProcessor {
    constructor({ processorOptions }) {
      super();
      this.block = new Int16Array(processorOptions.size);
      this.filled = 0;
    }

    process([[channel]]) {
      for (const sample of channel ?? []) {
        this.block[this.filled++] = Math.round(32767 * Math.max(-1, Math.min(1, sample)));
        if (this.filled === this.block.length) {
          this.port.postMessage(this.block);
          this.filled = 0;
        }
      }
      return true;
    }
  },
);
