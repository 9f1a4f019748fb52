"""A person with both hands at the machine: speaks WAV files into the page's microphone, when it is his turn.

The browser's microphone is replaced by a stream that plays WAV files on demand, so that the person answers when he was
asked, as people do, and not by a stopwatch. Everything behind it is real: the page's own recording, the connection, the
recogniser. The voice is `slt` or `rms` of Debian's flite, which no training heard; read-back is switched off, since a
page that speaks does not listen, and would cost minutes here.
"""

from __future__ import annotations

import base64
import subprocess
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import soundfile
from playwright.sync_api import Browser, Page

from tests.e2e import running
from tests.e2e.conftest import PHONE

RATE = 16_000
PATIENCE_S = 90.0

_MICROPHONE = """
localStorage.setItem("ohmtrail.readback", "off");
(() => {
  let context = null, out = null;
  const ready = () => {
    context ??= new AudioContext({ latencyHint: "playback" });
    out ??= context.createMediaStreamDestination();
    return out;
  };
  const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  navigator.mediaDevices.getUserMedia = async (wanted) => (wanted.audio ? ready().stream : real(wanted));
  window.hearWav = async (data) => {
    const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
    ready();
    await context.resume();
    const source = context.createBufferSource();
    source.buffer = await context.decodeAudioData(bytes.buffer);
    source.connect(out);
    await new Promise((done) => { source.onended = done; source.start(); });
  };
})();
"""


def spoken(folder: Path, words: str, voice: str = "slt") -> Path:
    """Speak words into a WAV file of 16 kHz, with half a second of quiet on both sides."""
    path = folder / f"{voice}_{words.replace(' ', '_').replace(',', '')}.wav"
    if path.exists():
        return path
    raw = folder / "raw.wav"
    subprocess.run(["flite", "-voice", voice, "-t", words, "-o", str(raw)], check=True, capture_output=True)
    samples, rate = soundfile.read(raw, dtype="float32")
    assert rate == RATE
    quiet = np.zeros(RATE // 2, dtype="float32")
    samples = np.concatenate([quiet, samples * (0.7 / float(np.abs(samples).max())), quiet])
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    return path


def _newer(before: str, state: dict[str, Any]) -> bool:
    return bool(state["updated_at"] != before)


class Person:
    """Speaks to one page of one job."""

    def __init__(self, browser: Browser, server: running.Server, job_id: str, folder: Path, voice: str = "slt") -> None:
        self.server, self.job_id, self.folder, self.voice = server, job_id, folder, voice
        self.context = browser.new_context(viewport=PHONE, permissions=["microphone", "camera"])
        self.context.add_init_script(_MICROPHONE)
        self.page = self.open()
        self.page.get_by_role("button", name="Speak").click()
        self.page.get_by_role("button", name="Stop").wait_for()

    def open(self) -> Page:
        """Open the job in a tab."""
        page = self.context.new_page()
        page.goto(f"{self.server.url}/#/jobs/{self.job_id}")
        return page

    def ask(self, path: str) -> Any:
        """Ask the JSON routes about the job."""
        return httpx.get(f"{self.server.url}/api/jobs/{self.job_id}{path}", timeout=60).raise_for_status().json()

    def says(self, words: str) -> dict[str, Any]:
        """Say something, and wait until the dialogue has answered; gives the state of the dialogue then."""
        return self.plays(spoken(self.folder, words, self.voice), words)

    def proposes(self, words: str, place: str) -> dict[str, Any]:
        """Say a reading until it is asked about under its place and without doubt; what is heard wrongly is rejected.

        Three times at most: sound may reach the page with gaps where the machine is busy.
        """
        for _ in range(3):
            state = self.says(words)
            if place in state["message"] and "hard to make out" not in state["message"]:
                return state
            self.says("negative")
        raise AssertionError(f"{words!r} was not heard: {state}")

    def plays(self, clip: Path, words: str) -> dict[str, Any]:
        """Play a recording of somebody into the microphone, and wait in the same way."""
        for _ in range(3):  # what was not understood is said again, as people do
            before = self.ask("/dialogue")["updated_at"]
            self.sounds(clip)
            state = self.until(partial(_newer, before), words)
            if not state["message"].startswith(("Nothing understood", "Was that", "That was not clear")):
                break
        return state

    def sounds(self, clip: Path) -> None:
        """Play a recording into the microphone."""
        self.page.evaluate("data => window.hearWav(data)", base64.b64encode(clip.read_bytes()).decode())

    def until(self, holds: Callable[[dict[str, Any]], bool], what: str) -> dict[str, Any]:
        """Wait until the dialogue is as it should be."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            state: dict[str, Any] = self.ask("/dialogue")
            if holds(state):
                return state
            self.page.wait_for_timeout(200)
        raise AssertionError(f"Nothing came of {what!r}: {self.ask('/dialogue')}")

    def sets(self, words: str) -> dict[str, Any]:
        """Say a setting, and confirm it where it is asked about; gives the state of the dialogue then."""
        state = self.plays(spoken(self.folder, words, "rms"), words)
        for _ in range(3):
            if not state["questions"] or state["questions"][0]["kind"] == "safety":
                break
            state = self.says("confirm")
        return state

    def keeps(self, *said: str) -> dict[str, Any]:
        """Say things until the job holds its one record, three times at most; gives the record.

        What was heard in doubt is asked once more, rightly, and on a busy machine sound reaches the page with gaps.
        """
        for _ in range(3):
            for words in said:
                self.says(words)
            kept = self.ask("/records")
            if kept:
                break
        assert len(kept) == 1, (self.ask("/dialogue"), self.ask("/proposals"))
        record: dict[str, Any] = kept[0]
        return record

    def answers_safety(self, volts: str = "three point one volts") -> int:
        """Answer each safety question by voice; gives how many there were."""
        count = 0
        state = self.ask("/dialogue")
        while state["questions"] and state["questions"][0]["kind"] == "safety":
            step = state["questions"][0]
            said = volts if step["value_unit"] else "does not apply" if step["may_not_apply"] else "yes"
            state = self.says(said)
            count += 1
            assert count <= 20, state
        return count
