"""A visit with real files: clips of a second and more, photos with a position in them."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import numpy as np
from PIL import Image

from api.workspace import Workspace
from capture.language.parse import parse
from capture.reading import Context, Heard, Utterance, Word
from tests.api.conftest import Visit
from tests.api.makers import JOB, FakeEngines, words_of

OTHER_CUSTOMER = "Nightjar Tooling (invented)"
POSITION = b"52.5200 N"
LENGTH_S = 3.0


class TimedEngines(FakeEngines):
    """Hears words that are said between 1.0 and 1.5 s."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        text = words_of(data[: 44 + 2 * 400]).rstrip("\0")
        words = tuple(Word(word, 1.0, 1.5, 0.9) for word in text.split())
        return parse(Heard(text, words), context)


def long_clip(words: str, salt: int = 0) -> bytes:
    """Make a clip of three seconds whose first samples spell the words."""
    spelt = np.frombuffer(f"{salt:06d}{words}".encode(), dtype=np.uint8).astype("<i2")
    samples = np.zeros(int(LENGTH_S * 16_000), dtype="<i2")
    samples[: len(spelt)] = spelt
    samples[16_000:24_000] = 1000
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(samples.tobytes())
    return out.getvalue()


def placed_photo() -> bytes:
    """Make a JPEG that says in its EXIF where it was taken."""
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = POSITION.decode()  # GPSInfo, GPSLatitudeRef: text is enough to look for
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (90, 120, 90)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def make_visit(folder: Path) -> None:
    """Make a visit of two records, one withdrawn, with a photo and a report, beside another customer's job."""
    workspace = Workspace.open(folder, engines=TimedEngines())
    visit = Visit(workspace)
    workspace.create_job({**JOB, "customer": OTHER_CUSTOMER, "title": "Spindle brake"})
    visit.make_safe()
    for number, words in enumerate((
        "x ray axis through the cable a one to a two one point zero eight ohms", "confirm",
        "insulation set five hundred volts", "lead to ground five hundred megohms",
        "correction five hundred fifty megohms", "confirm",
    )):  # fmt: skip
        workspace.take_clip(visit.job, long_clip(words, number), f"2026-11-24T08:{31 + number}:00+00:00")
    workspace.take_photo(visit.job, placed_photo(), "2026-11-24T08:40:00+00:00")
    workspace.grade(visit.job)
    workspace.make_report(visit.job)
    workspace.close()
