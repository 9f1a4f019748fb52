"""Columns that proposals and records share: the reading itself, and where it came from."""

from __future__ import annotations

from sqlmodel import SQLModel


class ReadingColumns(SQLModel):
    """The columns of one reading; the same in proposals and records (see `capture.reading.Reading`).

    Attributes:
        kind: `QuantityKind` value, or None while unknown.
        value: Digits as shown or spoken; None where none was given.
        unit: UCUM code.
        qualifier: `Qualifier` value.
        section: `Section` value.
        terminals: Test point.
        test_voltage_set: V.
        test_voltage_built: V.
        elapsed_s: s.
    """

    kind: str | None
    value: str | None
    unit: str | None
    qualifier: str
    axis: str | None
    section: str | None
    terminals: str | None
    test_voltage_set: str | None
    test_voltage_built: str | None
    elapsed_s: str | None


class NoteColumns(SQLModel):
    """What was noted beside a reading and bears on what it can prove; the same in proposals and records.

    Attributes:
        position: Shaft or carrier position it was taken at ("3", "30°", "full left"); empty where none was noted.
        circumstances_json: List of `grading.measurement.Circumstance` values, in the order of that list.
    """

    position: str = ""
    circumstances_json: str = "[]"


class SourceColumns(SQLModel):
    """Where a reading came from; the same in proposals and records.

    Attributes:
        source: "speech", "photo", "speech+photo" or "typed".
        clip_sha256: The clip in which it was said.
        photo_sha256: The photo of the display.
        crop_sha256: The rectified display cut from the photo.
        heard_text: The words as recognised; empty without a clip.
        seen_text: The display's main string as read; empty without a photo.
        agreement: "" (one source), "agree", "conflict", "chosen" (a person settled it), "said_again" (heard twice,
            the same both times) or "photo_not_read".
        instrument_id: `Instrument.id`, where only one fits or a person said which.
        captured_at: The instant of the reading, as the capturing device gave it.
    """

    source: str
    clip_sha256: str | None
    photo_sha256: str | None
    crop_sha256: str | None
    heard_text: str
    seen_text: str
    agreement: str
    instrument_id: str | None
    captured_at: str
