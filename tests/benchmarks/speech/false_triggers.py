"""What talk, noise and music set off: readings, settings and commands an hour, asked about or not.

Every piece is heard as an utterance of its own, as if somebody held the button down. Most talk is by flite and
espeak-ng, which speak a hundred times faster than the held-out voices; real talk are telephone prompts and a novel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from api.dialogue.attention import heeded_at_rest
from capture.reading import Context
from capture.speech.audio import RATE
from fixtures.training.speech_model.clips import FOLDER, clips
from fixtures.training.speech_model.conditions import condition, samples, shop_noise
from tests.benchmarks.speech import recorded
from tests.benchmarks.speech.run import HANDFUL, engine
from tests.benchmarks.speech.score import meaning

PIECE_S = 10.0
NOISE_PIECES = 120  # 20 minutes
SPOKEN = ("talk-flite", "talk-espeak", "kokoro-talk")


@dataclass(frozen=True)
class Batch:
    """Pieces of one source that one engine hears."""

    engine: str
    source: str
    numbers: tuple[int, ...]
    model: Path | None = None


@dataclass(frozen=True)
class Trigger:
    """What one piece set off.

    Attributes:
        engine, source, seconds: Who heard what, and how long it was.
        kind: "reading", "command", "place" or empty.
        asked: A doubt came with it.
        text: What was heard.
        at_rest: A job at rest would heed it (`api.dialogue.attention`).
    """

    engine: str
    source: str
    seconds: float
    kind: str
    asked: bool
    text: str
    at_rest: bool = False


@cache
def sounds(source: str) -> tuple[bytes, ...]:
    """Load the pieces of a source: a set of clips, "real talk", "music", "shop noise", or a folder of noises."""
    if source in SPOKEN:
        return tuple(
            condition("clean", clip.samples, clip.samples, at) for at, clip in enumerate(clips(FOLDER / source))
        )
    if source == "real talk":
        return tuple(piece for file in recorded.talk() for piece in recorded.pieces(file, PIECE_S))
    if source == "music":
        return tuple(piece for file in recorded.music() for piece in recorded.pieces(file, PIECE_S))
    if source == "shop noise":
        return tuple(_shop(number) for number in range(NOISE_PIECES))
    files = [file for file in sorted(Path(source).iterdir()) if file.suffix in {".wav", ".flac", ".ogg"}]
    return tuple(piece for file in files for piece in recorded.pieces(file, PIECE_S))


def _shop(number: int) -> bytes:
    """Make synthetic shop noise, -40 to -10 dB of full scale."""
    rng = np.random.default_rng([11, number])
    level = 32768 * 10 ** (rng.uniform(-40, -10) / 20)
    return samples(shop_noise(rng, int(PIECE_S * RATE)) * level)


def sources(folder: Path | None) -> list[str]:
    """List all sources that are there.

    Args:
        folder: A folder of noises, or None.
    """
    found = [name for name in SPOKEN if (FOLDER / name / "samples.raw").exists()]
    found += ["real talk"] if recorded.talk() else []
    found += ["shop noise", *(["music"] if recorded.music() else [])]
    return [*found, *([str(folder)] if folder else [])]


def batches(name: str, source: str, every: int, model: Path | None) -> list[Batch]:
    """List all batches of one engine and source; with `every` 6, each sixth piece."""
    numbers = range(0, len(sounds(source)), every)
    return [Batch(name, source, tuple(numbers[at : at + HANDFUL]), model) for at in range(0, len(numbers), HANDFUL)]


def hear(batch: Batch) -> list[Trigger]:
    """Hear one batch."""
    hearer, made = engine(batch.engine, batch.model), []
    for number in batch.numbers:
        pcm = sounds(batch.source)[number]
        answer = hearer.hear(pcm)
        got = meaning(answer.utterance)
        kind = next(iter(got), "")
        seconds = len(pcm) / 2 / RATE
        asked, at_rest = bool(answer.utterance.doubts), heeded_at_rest(answer.utterance, Context())
        made.append(Trigger(batch.engine, batch.source, seconds, kind, asked, answer.text, at_rest))
    return made


def hourly(found: Sequence[Trigger], kind: str, *, asked: bool | None = None) -> tuple[int, float]:
    """Tell how many of a kind, and how many an hour.

    Args:
        found: Pieces heard.
        kind: "reading", "command" or "place".
        asked: Only those with (True) or without (False) a doubt; None for all.
    """
    count = sum(one.kind == kind and asked in {None, one.asked} for one in found)
    return count, count * 3600 / max(1.0, sum(one.seconds for one in found))
