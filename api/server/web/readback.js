// Says sentences aloud where the browser can; silent where it cannot or where the person switched it off.

const KEY = "ohmtrail.readback";

const LONGEST_MS = (sentence) => 2500 + 110 * sentence.length; // some browsers never say that they have finished

/** Whether the browser has a voice; asked for at every call, since voices are loaded late. */
export const canSpeak = () => "speechSynthesis" in window && speechSynthesis.getVoices().length > 0;

export function wanted() {
  try { return localStorage.getItem(KEY) !== "off"; } catch { return true; }
}

export function want(on) {
  try { localStorage.setItem(KEY, on ? "on" : "off"); } catch { /* private window: it holds until reload */ }
  if (!on && canSpeak()) speechSynthesis.cancel();
}

/** Say one sentence; resolves when it has been said, so that the microphone does not hear it. */
export function readBack(sentence) {
  if (!sentence || !canSpeak() || !wanted()) return Promise.resolve();
  speechSynthesis.cancel();
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
