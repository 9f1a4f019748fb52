// Runs on the audio thread: joins blocks of 128 samples to frames of 1600 (100 ms at 16 kHz) of signed 16-bit sound.

const FRAME = 1600;

class Frames extends AudioWorkletProcessor {
  constructor() {
    super();
    this.frame = new Int16Array(FRAME);
    this.filled = 0;
    this.port.onmessage = () => this.flush();
  }

  flush() {
    const rest = this.frame.slice(0, this.filled);
    this.filled = 0;
    this.port.postMessage({ last: true, samples: rest }, [rest.buffer]);
  }

  process(inputs) {
    const channel = inputs[0] && inputs[0][0];
    if (!channel) return true;
    for (const sample of channel) {
      const held = Math.max(-1, Math.min(1, sample));
      this.frame[this.filled++] = Math.round(held * (held < 0 ? 32768 : 32767));
      if (this.filled === FRAME) {
        const full = this.frame;
        this.frame = new Int16Array(FRAME);
        this.filled = 0;
        this.port.postMessage({ last: false, samples: full }, [full.buffer]);
      }
    }
    return true;
  }
}

registerProcessor("frames", Frames);
