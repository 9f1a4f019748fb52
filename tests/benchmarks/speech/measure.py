"""What is counted: words and meanings right, wrong meanings that nobody would ask about, time to the answer."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from capture.language.parse import parse
from capture.reading import Utterance
from capture.speech.audio import RATE, load_clip
from capture.speech.recogniser import SpeechModel
from capture.speech.stream import Listener

FIXTURES = Path(__file__).parents[3] / "fixtures"
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_CHUNK = 3200  # samples of a tenth of a second, as a browser sends them
_PAD_S = 0.3  # quiet around recordings that are cut tight


@dataclass(frozen=True)
class Sample:
    """One clip with the words spoken in it."""

    name: str
    pcm: bytes
    words: str


@dataclass
class Tally:
    """Counts over clips.

    Attributes:
        clips: Clips heard.
        words, word_errors: Words spoken, and edits needed to turn what was heard into them.
        right: Clips whose values or command came out exactly right.
        unflagged: Clips with a wrong value or command and no doubt.
        seconds: Time from the end of the sound to the utterance, s.
        misheard: Spoken and heard, of clips that were not right.
    """

    clips: int = 0
    words: int = 0
    word_errors: int = 0
    right: int = 0
    unflagged: int = 0
    seconds: list[float] = field(default_factory=list)
    misheard: list[tuple[str, str, str]] = field(default_factory=list)


def edits(spoken: list[str], heard: list[str]) -> int:
    """Least number of words to insert, drop or exchange (Levenshtein distance)."""
    row = list(range(len(heard) + 1))
    for at, word in enumerate(spoken, 1):
        before, row = row, [at]
        for place, other in enumerate(heard, 1):
            row.append(min(row[-1] + 1, before[place] + 1, before[place - 1] + (word != other)))
    return row[-1]


def meaning(utterance: Utterance) -> tuple[object, ...]:
    """Values, place and command; the place said without a value too."""
    values = [(reading.quantity, reading.axis, reading.terminals, reading.section) for reading in utterance.readings]
    return values, utterance.command, None if values else utterance.context


def hear(samples: Iterable[Sample], model: SpeechModel) -> Tally:
    """Hear every sample as a stream and count."""
    tally = Tally()
    for sample in samples:
        listener = Listener(model)
        for at in range(0, len(sample.pcm), 2 * _CHUNK):
            listener.accept(sample.pcm[at : at + 2 * _CHUNK])
        begin = time.perf_counter()
        utterance = listener.finish()
        tally.seconds.append(time.perf_counter() - begin)
        spoken = sample.words.replace("_", " ").split()
        tally.clips += 1
        tally.words += len(spoken)
        tally.word_errors += edits(spoken, utterance.heard.text.split())
        truth = parse(sample.words)
        if meaning(truth) == meaning(utterance):
            tally.right += 1
        else:
            tally.unflagged += not utterance.doubts or set(utterance.doubts) <= set(truth.doubts)
            tally.misheard.append((sample.name, " ".join(spoken), utterance.heard.text))
    return tally


def demo() -> Iterator[Sample]:
    """The demo's clips: voices that the model never heard."""
    for clip in json.loads((FIXTURES / "truth.json").read_text("utf-8"))["clips"]:
        yield Sample(clip["file"], load_clip((FIXTURES / clip["file"]).read_bytes()).pcm, clip["words"])


def listed(path: Path) -> Iterator[Sample]:
    """Clips of a JSON list of objects with "file" (beside the list or absolute) and "words"."""
    for entry in json.loads(path.read_text("utf-8")):
        file = path.parent / entry["file"]
        yield Sample(file.name, load_clip(file.read_bytes()).pcm, entry["words"])


def digits(folder: Path, every: int = 1) -> dict[str, list[Sample]]:
    """Recordings of single digits named DIGIT_SPEAKER_NUMBER.wav, by speaker, with a little quiet around each.

    Args:
        folder: Where they are.
        every: Take only every Nth.
    """
    quiet = np.random.default_rng(2).normal(0, 8, int(_PAD_S * RATE)).astype("<i2").tobytes()
    speakers: dict[str, list[Sample]] = {}
    for file in sorted(folder.glob("[0-9]_*.wav"))[::every]:
        digit, speaker, _ = file.stem.split("_", 2)
        pcm = quiet + load_clip(file.read_bytes()).pcm + quiet
        speakers.setdefault(speaker, []).append(Sample(file.name, pcm, DIGITS[int(digit)]))
    return speakers


def noisy(samples: Iterable[Sample], snr_db: float) -> Iterator[Sample]:
    """The same clips in shop noise made of pink noise, mains hum and compressor bursts.

    Args:
        samples: Clips.
        snr_db: Mean power of the speech over that of the noise, dB; speech counts where it is loud.
    """
    for number, sample in enumerate(samples):
        speech = np.frombuffer(sample.pcm, "<i2").astype(np.float64)
        noise = shop_noise(len(speech), number)
        loud = np.abs(speech) > 0.05 * np.abs(speech).max()
        wanted = np.sqrt((speech[loud] ** 2).mean() / 10 ** (snr_db / 10))
        mixed = speech + noise * wanted / np.sqrt((noise**2).mean())
        mixed *= min(1.0, 32_000 / np.abs(mixed).max())
        yield Sample(sample.name, mixed.astype("<i2").tobytes(), sample.words)


def shop_noise(length: int, seed: int) -> npt.NDArray[np.float64]:
    """Pink noise, 50 Hz hum with harmonics, and bursts of hiss."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.normal(size=length))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    pink = np.fft.irfft(spectrum, length)
    at = np.arange(length) / RATE
    hum = sum(np.sin(2 * np.pi * 50 * harmonic * at + rng.uniform(0, 6.28)) / harmonic for harmonic in (1, 2, 3, 5))
    bursts = rng.normal(size=length) * (np.sin(2 * np.pi * rng.uniform(1, 4) * at + rng.uniform(0, 6.28)) > 0.6)
    return np.asarray(pink / pink.std() + 0.5 * np.asarray(hum) + 0.5 * bursts)
