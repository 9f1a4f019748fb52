"""Recordings of real people, for measurement alone: nothing is ever trained, tuned or chosen on them.

Debian packages bring three kinds, fetched once into `.cache/speech-real/`: the prompts of a telephone exchange (one
woman, 8 kHz, CC-BY-SA 3.0), its music, and the test data of another recogniser. The user may name folders of others.
"""

from __future__ import annotations

import csv
import shutil
import subprocess
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from capture.language.vocabulary import ICAO_LETTERS
from capture.speech.audio import RATE, load_clip, resampled
from fixtures.training.speech_model import people

FOLDER = Path(__file__).resolve().parents[3] / ".cache" / "speech-real"
PACKAGES = ("asterisk-core-sounds-en-wav", "asterisk-moh-opsound-wav", "pocketsphinx-testdata")
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_PROMPTS = "usr/share/asterisk/sounds/en_US_f_Allison"
_NUMBERS = dict(enumerate(
    (*DIGITS, "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
     "nineteen", "twenty")
)) | {30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 70: "seventy", 80: "eighty", 90: "ninety"}  # fmt: skip


@dataclass(frozen=True)
class Recording:
    """One recording: its file, who speaks, and the words."""

    file: Path
    speaker: str
    words: str


def fetch() -> str:
    """Get the packages and unpack them, unless they are there.

    Returns:
        Empty, or a sentence that says why there are none.
    """
    lacking = [name for name in PACKAGES if not (FOLDER / name).is_dir()]
    if lacking and (shutil.which("apt-get") is None or shutil.which("dpkg") is None):
        return "Recordings of real people come as Debian packages; there is no apt-get and dpkg here."
    for name in lacking:
        FOLDER.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(
            ["apt-get", "download", "-q", name], cwd=FOLDER, capture_output=True, text=True, check=False
        )
        archive = next(FOLDER.glob(f"{name}_*.deb"), None)
        if done.returncode or archive is None:
            return f"{name} could not be fetched: {done.stderr.strip()} Run `apt-get update`, then this again."
        subprocess.run(["dpkg", "-x", archive.name, name], cwd=FOLDER, check=True)
        archive.unlink()
    return ""


def digits(folder: Path, every: int = 1) -> list[Recording]:
    """Load recordings of single digits named DIGIT_SPEAKER_NUMBER.wav.

    Args:
        folder: Where they are.
        every: Take only every Nth.
    """
    found = []
    for file in sorted(folder.glob("[0-9]_*.wav"))[::every]:
        digit, speaker, _ = file.stem.split("_", 2)
        found.append(Recording(file, speaker, DIGITS[int(digit)]))
    return found


def listed(folder: Path) -> list[Recording]:
    """Load recordings of a folder with `transcripts.tsv` (file, words); speaker: the middle of "x-SPEAKER-y.wav"."""
    with (folder / "transcripts.tsv").open(encoding="utf-8") as lines:
        rows = [row for row in csv.reader(lines, delimiter="\t") if len(row) >= 2 and (folder / row[0]).is_file()]
    return [Recording(folder / file, [*file.split("-"), ""][1], words) for file, words, *_ in rows]


def strings(folder: Path, every: int = 1) -> list[Recording]:
    """Load digits said in a row by people whom neither training nor fits heard (`people.MEASURED`).

    Args:
        folder: Recordings with `manifest.jsonl`, in tar files; what is wanted of them is unpacked once.
        every: Take only every Nth.
    """
    kept = FOLDER / "strings"
    kept.mkdir(parents=True, exist_ok=True)
    found = []
    for row in people.rows(folder, people.MEASURED, {}):
        if not row.get("digit_string"):
            continue
        file = kept / row["file"]
        if not file.is_file():
            with tarfile.open(folder / row["part"]) as archive:
                archive.extract(row["file"], kept, filter="data")
        found.append(Recording(file, row["speaker"], row["text"].lower()))
    return sorted(found, key=lambda one: one.file)[::every]


def prompts() -> list[Recording]:
    """Load the exchange's single numbers and radiotelephony letters."""
    folder = FOLDER / PACKAGES[0] / _PROMPTS
    numbers = [Recording(folder / "digits" / f"{number}.wav", "numbers", word) for number, word in _NUMBERS.items()]
    letters = [
        Recording(folder / "phonetic" / f"{word[0]}_p.wav", "letters", word.replace("_", " ")) for word in ICAO_LETTERS
    ]
    return [one for one in (*numbers, *letters) if one.file.is_file()]


def number_words() -> tuple[str, ...]:
    """List the words that make up numbers."""
    return (*_NUMBERS.values(), "oh", "hundred", "thousand", "point")


def connected() -> list[Recording]:
    """Load numbers said in a row in the other recogniser's test data; its file name spells the digits."""
    file = FOLDER / PACKAGES[2] / "usr/share/pocketsphinx/test/data/tidigits/dhd.2934z.raw"
    return [Recording(file, "dhd", "two nine three four zero")] if file.is_file() else []


def sound(file: Path) -> bytes:
    """Decode samples as the product does; headerless ".raw" files are 16 kHz, 16 bit."""
    return file.read_bytes() if file.suffix == ".raw" else load_clip(file.read_bytes()).pcm


def talk() -> list[Path]:
    """List files of real people saying anything but numbers and letters: prompts, and sentences of a novel."""
    prompts_folder = FOLDER / PACKAGES[0] / _PROMPTS
    kept = [file for file in sorted(prompts_folder.rglob("*.wav"))
            if file.parent.name not in {"digits", "letters", "phonetic", "silence"}]  # fmt: skip
    return kept + sorted((FOLDER / PACKAGES[2]).rglob("librivox/*.wav"))


def pieces(file: Path, seconds: float) -> Iterator[bytes]:
    """Cut a long recording into pieces of so many seconds, 16 kHz, 16 bit; a rest under a quarter is left out."""
    import soundfile

    from capture.speech.audio import to_pcm

    samples, rate = soundfile.read(file, dtype="float32", always_2d=True)
    pcm = to_pcm(resampled(samples.mean(axis=1), rate))
    size = 2 * int(seconds * RATE)
    for at in range(0, len(pcm), size):
        if at == 0 or len(pcm) - at >= size // 4:
            yield pcm[at : at + size]


def music() -> list[Path]:
    """List files of music."""
    return sorted((FOLDER / PACKAGES[1]).rglob("*.wav"))
