"""A small afternoon for engines that read what is written into samples: memos whose samples spell words, pictures."""

from __future__ import annotations

import datetime as dt
import io
import json
import wave
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, PngImagePlugin

from api.day.batch import DayOutcome, DayWishes, take_day
from api.workspace import Workspace
from capture.errors import EngineError
from capture.reading import Heard, OwnTranscript, Word
from capture.speech.confidence import ConfidenceModel
from capture.speech.encoder import flac
from capture.speech.memo import Piece, Span
from tests.api.makers import JOB, FakeEngines

RATE = 16_000
RULES = ConfidenceModel()  # the fitted one is for real voices
BEGUN = dt.datetime.fromisoformat("2026-11-24T14:00:00+01:00")
LATE_S = 3480

SAID: tuple[tuple[float, str], ...] = (
    (3, "x axis motor alone five hundred volts"),
    (20, "lead to ground one point eight gig"),
    (41, "lead to ground"),
    (52, "u to v one point two ohms"),
    (71, "did anybody see the match"),
    (90, "cable alone insulation lead to ground nine hundred meg"),
    (118, "y axis motor alone insulation set five hundred volts"),
    (131, "lead to ground five hundred fifty meg"),
    (160, "cable alone lead to ground six hundred forty meg"),
    (185, "through the cable lead to ground four hundred ten meg"),
)
"""What is said when, s from the memo's beginning."""

SHOWN: tuple[tuple[float, str, str], ...] = (
    (25, "1.80", "GOhm"), (57, "1.20", "Ohm"), (95, "900", "MOhm"), (136, "550", "MOhm"), (166, "640", "MOhm"),
    (192, "410", "MOhm"), (900, "77", "kOhm"),
)  # fmt: skip
"""What is photographed when, s from the memo's beginning; the last belongs to no word."""


def memo(said: tuple[tuple[float, str], ...] = SAID, seconds: float = 200, salt: int = 0) -> bytes:
    """Make a recording whose samples spell words, each some seconds long, with silence between."""
    samples = np.zeros(int(seconds * RATE), "<i2")
    samples[0] = salt
    for at, words in said:
        letters = np.frombuffer(words.encode(), np.uint8).astype("<i2")
        samples[int(at * RATE) : int(at * RATE) + len(letters)] = letters
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(samples.tobytes())
    return out.getvalue()


def picture(value: str, unit: str, taken: dt.datetime) -> bytes:
    """Make a picture that says in a text chunk what its display shows, with EXIF time and offset."""
    info = PngImagePlugin.PngInfo()
    info.add_text("shows", json.dumps({"value": value, "unit": unit, "qualifier": "=", "at": taken.isoformat()}))
    exif = Image.Exif()
    details = exif.get_ifd(0x8769)
    details[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
    details[0x9011] = "+01:00"
    out = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 120, 90)).save(out, "PNG", pnginfo=info, exif=exif.tobytes())
    return out.getvalue()


def fill(folder: Path, late_s: int = LATE_S) -> Path:
    """Lay the afternoon's files into a folder; the recorder's clock is late."""
    folder.mkdir(parents=True, exist_ok=True)
    name = (BEGUN - dt.timedelta(seconds=late_s)).strftime("%Y%m%d-%H%M%S")
    (folder / f"{name}.wav").write_bytes(memo())
    for number, (at, value, unit) in enumerate(SHOWN):
        path = folder / f"IMG_{number}.png"
        path.write_bytes(picture(value, unit, BEGUN + dt.timedelta(seconds=at)))
    return folder


class DayFakes(FakeEngines):
    """Hears samples that spell words, in pieces too; may fail or stop at some call."""

    def __init__(self, stop_at: int | None = None) -> None:
        self.calls, self.stop_at = 0, stop_at

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        self._count()
        samples = np.frombuffer(piece.pcm, "<i2")
        places = np.flatnonzero(samples)
        groups = np.split(places, np.flatnonzero(np.diff(places) > RATE // 4) + 1) if len(places) else []
        found = []
        for group in groups:
            first, last = int(group[0]), int(group[-1]) + 1
            words = samples[first:last].astype(np.uint8).tobytes().decode("ascii", "replace")
            if words == "fail":
                raise EngineFell()
            start = piece.begin_s + first / RATE
            if len(words) > 1 and piece.own_s[0] <= start < piece.own_s[1]:
                found.append(_span(words, start, (last - first) / RATE, piece))
        return tuple(found)

    def see(self, data: bytes, corners: Any = None) -> Any:
        self._count()
        return super().see(data, corners)

    def _count(self) -> None:
        self.calls += 1
        if self.stop_at is not None and self.calls > self.stop_at:
            raise KeyboardInterrupt


class EngineFell(EngineError):
    """Stands for an engine that fails."""

    code = "fell"
    message = "The engine fell over."


def _span(words: str, start: float, length: float, piece: Piece) -> Span:
    listed = words.split()
    timed = tuple(Word(w, i * 0.01, (i + 1) * 0.01, 0.99) for i, w in enumerate(listed))
    heard = Heard(words, timed, (), length, second=OwnTranscript("another", words, -1.0, 2 * len(listed)))
    return Span(round(start, 2), round(start + length, 2), heard, flac(piece.pcm[:3200], cut_from=piece.parent))


def take(workspace: Workspace, folder: Path, workers: int = 1, **wishes: Any) -> DayOutcome:
    """Take a folder in."""
    return take_day(workspace, [folder], replace(DayWishes(zone="+01:00"), **wishes), workers=workers, confidence=RULES)


def opened(folder: Path, engines: DayFakes | None = None, job: dict[str, Any] = JOB) -> Workspace:
    """Open a data folder with a job in it."""
    workspace = Workspace.open(folder, engines=engines or DayFakes())
    with workspace.database.read() as session:
        from api.visit.jobs import all_jobs

        known = bool(all_jobs(session))
    if not known:
        workspace.create_job(job)
    return workspace


def proposed(workspace: Workspace, job: str = "J1") -> list[dict[str, Any]]:
    """Give what waits in a job, without ids of rows and instants of this machine."""
    from api.visit.proposals import proposals_of

    with workspace.database.read() as session:
        return [
            {
                "axis": one.reading.axis, "section": one.reading.section and one.reading.section.value,
                "terminals": one.reading.terminals, "value": one.reading.quantity.digits,
                "unit": one.reading.quantity.unit, "set": one.reading.test_voltage_set, "source": one.row.source,
                "agreement": one.row.agreement, "doubts": [doubt.value for doubt in one.doubts],
                "captured_at": one.row.captured_at, "clip": one.row.clip_sha256, "photo": one.row.photo_sha256,
            }
            for one in proposals_of(session, job)
        ]  # fmt: skip
