// Says sentences aloud: by the browser's voice, else by one made on the server; sounds tones. While anything sounds, the
// microphone is not listened to (`sounding`), so that the tool never hears itself.

const KEY = "ohmtrail.readback";
const LONGEST_MS = (sentence) => 4000 + 110 * sentence.length; // some browsers never say that they have finished
const TONES = { heard: [[660, 0.07]], confirmed: [[660, 0.08], [990, 0.14]], not_understood: [[330, 0.12], [220, 0.18]], asking: [] };
const SHAKES = { heard: [60], confirmed: [80, 60, 160], not_understood: [250, 90, 250], asking: [60, 60, 60] }; // ms on, off, on

let busy = 0; // how many sounds are being made
let player = null;
let context = null;
let broken = false; // the server cannot speak either

/** Whether the browser has a voice; asked for at every call, since voices are loaded late. */
export const canSpeak = () => "speechSynthesis" in window && speechSynthesis.getVoices().length > 0;

/** Whether anything is being said at this moment. */
export const sounding = () => busy > 0;

/** Whether neither the browser nor the server can speak. */
export const mute = () => broken && !canSpeak();

export function wanted() {
  try { return localStorage.getItem(KEY) !== "off"; } catch { return true; }
}

export function want(on) {
  try { localStorage.setItem(KEY, on ? "on" : "off"); } catch { /* private window: it holds until reload */ }
  if (!on) hush();
}

/** Stop speaking. */
export function hush() {
  if (canSpeak()) speechSynthesis.cancel();
  if (player) player.stop();
}

async function sound(work) {
  busy += 1;
  try { await work(); } finally { busy -= 1; }
}

/** Say one sentence; resolves when it has been said, or when nothing can say it. */
export function readBack(sentence) {
  if (!sentence || !wanted()) return Promise.resolve();
  hush();
  return sound(() => (canSpeak() ? byBrowser(sentence) : byServer(sentence)));
}

function byBrowser(sentence) {
  return new Promise((done) => {
    const utterance = new SpeechSynthesisUtterance(sentence);
    utterance.lang = "en";
    utterance.rate = 0.95;
    utterance.onend = done;
    utterance.onerror = done;
    setTimeout(done, LONGEST_MS(sentence));
    speechSynthesis.speak(utterance);
  });
}

async function byServer(sentence) {
  let address = "";
  try {
    const answer = await fetch(`/api/voice?text=${encodeURIComponent(sentence.slice(0, 600))}`);
    broken = answer.status === 503;
    if (!answer.ok) return;
    address = URL.createObjectURL(await answer.blob());
    const audio = new Audio(address);
    await new Promise((done) => {
      player = { stop: () => { audio.pause(); done(); } };
      audio.onended = done;
      audio.onerror = done;
      setTimeout(done, LONGEST_MS(sentence));
      audio.play().catch(done); // before the first press of a button browsers play nothing
    });
  } catch { /* no network: the screen shows it */ } finally {
    player = null;
    if (address) URL.revokeObjectURL(address);
  }
}

/** Let the phone tremble with the tone, where it can: in a loud hall, or in a pocket, it is felt. */
function shake(name) {
  const beats = SHAKES[name];
  const pressed = !navigator.userActivation || navigator.userActivation.hasBeenActive; // before the first press browsers refuse, and complain
  if (beats && navigator.vibrate && pressed) navigator.vibrate(beats);
}

/** Sound and tremble what happened: heard, confirmed, not understood. */
export function tone(name) {
  shake(name);
  const notes = TONES[name];
  if (!notes || !notes.length || !wanted()) return Promise.resolve();
  return sound(async () => {
    try {
      context = context || new AudioContext();
      let at = context.currentTime;
      for (const [pitch, long] of notes) {
        const source = context.createOscillator();
        const volume = context.createGain();
        source.frequency.value = pitch;
        volume.gain.value = 0.15;
        source.connect(volume).connect(context.destination);
        source.start(at);
        source.stop(at + long);
        at += long;
      }
      await new Promise((done) => setTimeout(done, (at - context.currentTime) * 1000));
    } catch { /* a browser without sound */ }
  });
}
