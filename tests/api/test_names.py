"""One name for one thing: a field is called alike in Python, in JSON and in the tables.

What differs is listed here with the reason, so that a new difference does not slip in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

import pytest
from sqlmodel import SQLModel

from api.ledger.columns import NoteColumns, ReadingColumns
from api.ledger.tables import AxisRow, InstrumentRow, JobRow
from api.server.routes.proposals import ReadingBody
from api.visit.description import AxisDescription, InstrumentDescription, JobDescription
from api.visit.notes import Notes
from api.visit.readings import NOTE_FIELDS, ReadingFields, context_to_json
from capture.reading import Context, Reading
from grading.measurement import AxisContext, Instrument, Measurement
from grading.terms.quantity import Quantity

QUANTITY = ("value", "unit", "qualifier")
"""A quantity is written flat: its digits as "value", as they are shown, with unit and qualifier."""


def names(kind: Any) -> set[str]:
    return {field.name for field in fields(kind)}


def flat_reading() -> set[str]:
    assert names(Quantity) == {"digits", "unit", "qualifier"}
    return names(Reading) - {"quantity"} | set(QUANTITY)


def test_a_reading_is_called_alike_everywhere() -> None:
    written = set(Reading(None, Quantity(None, None)).to_json())
    assert written == flat_reading() == set(ReadingColumns.model_fields)
    assert set(ReadingFields.__annotations__) == written | set(NOTE_FIELDS) == set(ReadingBody.model_fields)


def test_notes_are_called_alike_everywhere() -> None:
    assert names(Notes) == set(Notes().to_json()) == set(NOTE_FIELDS)
    assert {name.removesuffix("_json") for name in NoteColumns.model_fields} == set(NOTE_FIELDS)


def test_a_context_is_called_alike_everywhere() -> None:
    # Of the job and of the dialogue, not of what was said.
    assert set(context_to_json(Context())) == names(Context) - {"axes", "expects"}


def test_what_grading_is_given_of_a_record_has_the_names_of_the_record() -> None:
    own = {"record_id", "at", "instrument_id"}  # of the record around the reading
    # What a sheet may give with a reading; a record leaves them to its axis, its job and its test point.
    given = {"component", "winding_c", "air_c", "humidity_percent"}
    assert names(Measurement) - own - given == names(Reading) | names(Notes)


def columns(table: type[SQLModel]) -> set[str]:
    return set(table.model_fields) - {"id", "job_id", "description_json", "created_at"}


@pytest.mark.parametrize(
    ("table", "description", "renamed"),
    [
        (JobRow, JobDescription, {}),
        (AxisRow, AxisDescription, {}),
        # A row's id holds the job's too ("J1-IT-03"); what a person calls the instrument by is its label there.
        (InstrumentRow, InstrumentDescription, {"label": "id"}),
    ],
)
def test_a_row_has_the_names_of_the_description_it_is_made_from(
    table: type[SQLModel], description: Any, renamed: dict[str, str]
) -> None:
    assert {renamed.get(name, name) for name in columns(table)} <= set(description.model_fields)


@pytest.mark.parametrize(
    ("description", "graded", "other"),
    [
        # "name" of an axis is the "axis" of every record; notes and nameplates are for people, air and humidity are the
        # job's.
        (AxisDescription, AxisContext, {"name", "note", "nameplate"}),
        # serial, certificate and what the display shows are not for grading.
        (InstrumentDescription, Instrument, {"serial", "certificate", "certificate_date", "display_profile"}),
    ],
)
def test_grading_calls_what_is_described_by_the_same_names(description: Any, graded: Any, other: Iterable[str]) -> None:
    assert set(description.model_fields) - set(other) <= names(graded)
    assert {"air_c", "humidity_percent"} <= names(AxisContext) & set(JobDescription.model_fields)
