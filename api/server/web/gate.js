// A noise gate: lets sound through while somebody speaks: louder than twice the noise around, with a little of what came before.

const BEFORE = 5; // frames of 100 ms kept from before the voice, so that its first sound is not cut off
const AFTER = 15; // frames let through after it, in which the recogniser finds the end
const QUIET = 120; // of 32768: below this nothing is speech, whatever the noise around

export class Gate {
  constructor() {
    this.noise = QUIET / 2;
    this.reset();
  }

  /** Forget what was held back; the noise around stays known. */
  reset() {
    this.held = [];
    this.left = 0;
    this.ended = false;
    this.voiced = 0;
  }

  /**
   * @param {Int16Array} samples one frame
   * @returns {Int16Array[]} the frames to send now
   */
  pass(samples) {
    let sum = 0;
    for (const s of samples) sum += s * s;
    const loud = Math.sqrt(sum / samples.length);
    const voice = loud > Math.max(QUIET, 2 * this.noise);
    // Falls at once, rises slowly: a voice must not pass for noise.
    this.noise = loud < this.noise ? loud : this.noise + (loud - this.noise) * 0.01;
    if (voice) {
      const all = [...this.held, samples];
      this.held = [];
      this.left = AFTER;
      this.voiced += 1;
      this.ended = false;
      return all;
    }
    if (this.left > 0) {
      this.left -= 1;
      this.ended = this.left === 0;
      return [samples];
    }
    this.held.push(samples);
    if (this.held.length > BEFORE) this.held.shift();
    return [];
  }
}
