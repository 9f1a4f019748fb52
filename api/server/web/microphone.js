// The microphone as 16 kHz, 16-bit, one channel; and the same as a WAV file.

export const RATE = 16000;

/** Why the microphone cannot be used here, or "" where it can. */
export function microphoneProblem() {
  if (!window.isSecureContext) return "The browser gives the microphone only over HTTPS. Open this page by its https address, or send a clip.";
  if (!navigator.mediaDevices || !window.AudioWorkletNode) return "This browser cannot give the page its microphone. Send a clip instead.";
  return "";
}

export class Microphone {
  /** @param {(samples: Int16Array) => void} onFrame called with 100 ms of sound at a time */
  constructor(onFrame) {
    this.onFrame = onFrame;
    this.frames = [];
  }

  /** Ask for the microphone and begin; throws an Error with a sentence for the person. */
  async start() {
    const problem = microphoneProblem();
    if (problem) throw new Error(problem);
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({
        audio: { channelCount: 1, echoCancellation: true, noiseSuppression: true, autoGainControl: true },
      });
    } catch (error) {
      throw new Error(error.name === "NotAllowedError"
        ? "The microphone is not allowed. Allow it for this page in the browser's settings."
        : "No microphone was found. Plug one in, or send a clip.");
    }
    this.context = new AudioContext({ sampleRate: RATE });
    await this.context.audioWorklet.addModule("/page/microphone-worklet.js");
    this.node = new AudioWorkletNode(this.context, "frames", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    this.node.port.onmessage = ({ data }) => this.take(data);
    this.context.createMediaStreamSource(this.stream).connect(this.node);
    await this.context.resume();
  }

  take({ last, samples }) {
    if (samples.length) {
      this.frames.push(samples);
      this.onFrame(samples);
    }
    if (last && this.finished) this.finished();
  }

  /** Stop and give the last piece out; afterwards `frames` holds everything. */
  async stop() {
    const node = this.node;
    if (!node) return;
    await new Promise((done) => {
      this.finished = done;
      node.port.postMessage("flush");
      setTimeout(done, 400);
    });
    this.node = null;
    this.stream.getTracks().forEach((track) => track.stop());
    await this.context.close();
  }
}

/** Loudness of a frame, 0..1, for the level bar. */
export function level(samples) {
  let sum = 0;
  for (const s of samples) sum += s * s;
  return Math.min(1, Math.sqrt(sum / samples.length) / 6000);
}

/** Join frames to a WAV file (RIFF, PCM 16 bit, one channel). */
export function wav(frames) {
  const count = frames.reduce((n, f) => n + f.length, 0);
  const bytes = new DataView(new ArrayBuffer(44 + count * 2));
  const ascii = (at, text) => [...text].forEach((c, i) => bytes.setUint8(at + i, c.charCodeAt(0)));
  ascii(0, "RIFF"); bytes.setUint32(4, 36 + count * 2, true); ascii(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true); bytes.setUint16(20, 1, true); bytes.setUint16(22, 1, true);
  bytes.setUint32(24, RATE, true); bytes.setUint32(28, RATE * 2, true); bytes.setUint16(32, 2, true); bytes.setUint16(34, 16, true);
  ascii(36, "data"); bytes.setUint32(40, count * 2, true);
  let at = 44;
  for (const frame of frames) for (const s of frame) { bytes.setInt16(at, s, true); at += 2; }
  return new Blob([bytes.buffer], { type: "audio/wav" });
}
