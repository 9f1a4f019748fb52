"""A voice made on this machine, for browsers that have none: a Debian speech program, kept by phrase."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import threading
from collections import OrderedDict
from pathlib import Path

from api.server.errors import NoVoice, VoiceFailed

LONGEST_TEXT = 600
"""Longest text spoken at once, characters."""

KEPT_BYTES = 16_000_000
"""How much sound is kept for the next time, bytes; the least recently spoken goes first."""

LIMIT_S = 20
"""Longest time that a program may take, s."""


class Voice:
    """Speaks text with the first program that is installed: flite, else espeak-ng."""

    def __init__(self) -> None:
        """Look for a program; that there is none is told when something is to be said."""
        self._guard = threading.Lock()
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._size = 0

    def speak(self, text: str) -> bytes:
        """Give a WAV file with the text spoken.

        Raises:
            NoVoice: No program is installed.
            VoiceFailed: It failed, or took too long.
        """
        text = " ".join(text.split())[:LONGEST_TEXT]
        with self._guard:
            if text in self._kept:
                self._kept.move_to_end(text)
                return self._kept[text]
        sound = _spoken(text)
        with self._guard:
            self._size += len(sound) - len(self._kept.pop(text, b""))
            self._kept[text] = sound
            while self._size > KEPT_BYTES and len(self._kept) > 1:
                self._size -= len(self._kept.popitem(last=False)[1])
        return sound


def _spoken(text: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        words, sound = Path(folder) / "words.txt", Path(folder) / "sound.wav"
        # By file, not by argument: whatever the text is, no program takes it for an option.
        words.write_text(text + "\n", encoding="utf-8")
        flite, espeak = shutil.which("flite"), shutil.which("espeak-ng")
        if flite is not None:
            command = [flite, "-voice", "slt", "-f", str(words), "-o", str(sound)]
        elif espeak is not None:
            command = [espeak, "-v", "en-us", "-s", "160", "-f", str(words), "-w", str(sound)]
        else:
            raise NoVoice()
        try:
            subprocess.run(command, check=True, timeout=LIMIT_S, stdin=subprocess.DEVNULL, capture_output=True)
            return sound.read_bytes()
        except (subprocess.SubprocessError, OSError) as failed:
            raise VoiceFailed(program=Path(command[0]).name) from failed
