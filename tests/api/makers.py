"""Clips and photos that carry their own truth, and engines that read it.

The conversation is tested with the real parser, the real files and the real database; only ears and eyes are replaced.
"""

from __future__ import annotations

import io
import json
import wave
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image, PngImagePlugin

from api.intake.recognisers import ListeningStream, Quad
from capture.errors import MediaError
from capture.expectation import Asked
from capture.language.parse import parse
from capture.reading import Context, DisplayReading, Doubt, Heard, Seen, Utterance
from grading.terms.quantity import Qualifier, Quantity

if TYPE_CHECKING:
    from api.visit.editing import JobEdit
    from api.workspace import Workspace
    from capture.display.aim import Aim
    from capture.display.burst import Burst
    from capture.speech.memo import Piece, Span

JOB: dict[str, Any] = {
    "title": "Ground fault on X",
    "customer": "Brackwater Gearworks (invented)",
    "machine": "Machining centre 4",
    "technician": "Technician 7",
    "air_c": "24",
    "humidity_pct": "45",
    "axes": [
        {"name": "X", "motor_kind": "dc_servo", "rated_voltage": "90", "winding_c": "25"},
        {"name": "Y", "motor_kind": "ac_servo", "rated_voltage": "400", "winding_c": "25"},
    ],
    "instruments": [
        {"id": "IT-03", "kind": "insulation_tester", "accuracy_percent": "3", "accuracy_counts": "5",
         "range_end": {"500": "4000 MOhm"}, "calibration_due": "2027-03-31"},
        {"id": "MM-11", "kind": "multimeter", "accuracy_percent": "0.9", "accuracy_counts": "2",
         "range_end": "60 MOhm"},
    ],
}  # fmt: skip


def change(workspace: Workspace, job: str, how: Callable[[Any], object]) -> JobEdit:
    """Make an edit of a job: its description as it stands, changed by a function, with the ids of what it has."""
    from api.visit.editing import JobEdit, editable

    with workspace.database.read() as session:
        given = editable(session, job)
    how(given["description"])
    wanted = given["description"]
    axes = [*given["axis_ids"], *[None] * (len(wanted["axes"]) - len(given["axis_ids"]))]
    meters = [*given["instrument_ids"], *[None] * (len(wanted["instruments"]) - len(given["instrument_ids"]))]
    return JobEdit(wanted, axes, meters, given["revision"], "seen on the plate")


def at(seconds: float) -> str:
    """Give an instant of the visit, as a phone would send it."""
    return (datetime(2026, 11, 24, 8, 30, tzinfo=UTC) + timedelta(seconds=seconds)).isoformat(timespec="microseconds")


def clip(words: str, salt: int = 0) -> bytes:
    """Make a sound file whose samples spell the words."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        text = f"{salt:06d}{words}".encode()
        file.writeframes(np.frombuffer(text, dtype=np.uint8).astype("<i2").tobytes())
    return out.getvalue()


def words_of(data: bytes) -> str:
    """Read the words that `clip` put in."""
    with wave.open(io.BytesIO(data)) as file:
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(np.uint8).tobytes()[6:].decode()


def photo(value: str | None, unit: str | None, qualifier: str = "=", salt: int = 0, **more: Any) -> bytes:
    """Make a picture whose text chunk says what its display shows."""
    info = PngImagePlugin.PngInfo()
    shown = {"value": value, "unit": unit, "qualifier": qualifier, "salt": salt, **more}
    info.add_text("shows", json.dumps(shown))
    out = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 120, 90)).save(out, "PNG", pnginfo=info)
    return out.getvalue()


class FakeStream:
    """Hears samples that spell words."""

    def __init__(self) -> None:
        self.pcm = b""
        self.ended = False

    def accept(self, pcm: bytes) -> str:
        self.pcm += pcm
        return self._text()

    def _text(self) -> str:
        return np.frombuffer(self.pcm, dtype="<i2").astype(np.uint8).tobytes().replace(b"\0", b"").decode()

    def finish(self, context: Context | None = None) -> Utterance:
        return parse(Heard(self._text()), context)


class ClipSilent(MediaError):
    """What the stand-in for the engines says of a clip of noise."""

    code = "silent"
    message = "There is no sound in this clip."


class FakeEngines:
    """Reads what `clip` and `photo` put in."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        words = words_of(data)
        if words == "crash":
            raise RuntimeError("the engine fell over")
        if words == "noise":
            raise ClipSilent()
        return parse(Heard(words), context)

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        raise NotImplementedError

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        shows = json.loads(Image.open(io.BytesIO(data)).info["shows"])
        refused = shows.get("refused", "") if corners is None else ""
        display = DisplayReading(
            text=shows["value"] or "OL",
            quantity=Quantity(shows["value"], shows["unit"], Qualifier(shows["qualifier"])),
            secondary=shows.get("secondary", {}),
            confidence={"value": 0.97, "dot": 0.95, "unit": 0.99},
            accepted=not refused,
            reason=refused,
            quad=corners or ((5.0, 5.0), (55.0, 5.0), (55.0, 35.0), (5.0, 35.0)),
            doubts=tuple(Doubt(name) for name in shows.get("doubts", [])),
        )
        return Seen((display,))

    def see_burst(self, frames: Sequence[bytes]) -> Burst:
        from capture.display.burst import Burst  # with OpenCV, which nothing else here needs

        alone = tuple(self.see(data) for data in frames)
        best = next((i for i, seen in enumerate(alone) if seen.displays[0].accepted), 0)
        return Burst(alone[best], alone, best)

    def crop(self, data: bytes, quad: Quad) -> bytes:
        out = io.BytesIO()
        (x0, y0), _, (x1, y1), _ = quad
        Image.open(io.BytesIO(data)).crop((int(x0), int(y0), int(x1), int(y1))).save(out, "PNG")
        return out.getvalue()

    def aim(self, data: bytes, width: int) -> Aim:
        from capture.display.aim import Aim, Hint
        from capture.display.header import read_header

        read_header(data)
        return Aim(Hint.GOOD, ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)), digits=40 / width)

    def stream(self, asked: Asked = Asked.NOTHING) -> ListeningStream:
        return FakeStream()
