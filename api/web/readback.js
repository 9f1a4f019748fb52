// Says sentences aloud where the browser can; silent where it cannot or where the person switched it off.

const KEY = "ohmtrail.readback";

export const canSpeak = () => "speechSynthesis" in window && "SpeechSynthesisUtterance" in window;

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
    setTimeout(done, 15000);
    speechSynthesis.speak(utterance);
  });
}
