"""Which test point comes next (the usual order: cabinet first, then parts; common practice, no source).

Through the cable: winding lead to lead, ohmmeter to ground, insulation to ground. One good value there clears cable
and motor together. Motor alone and cable alone follow where the whole is bad; `grading` says so in its next steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlmodel import Session

from api.grading_bridge import next_steps
from api.jobs import axes_of
from api.readings import reading_of
from api.records import current_records
from capture.language.readback import axis_words, terminal_words
from capture.reading import Context, Reading
from grading.measurement import MotorKind
from grading.quantity import QuantityKind, Section
from grading.terminals import pair, to_earth

_LEAD_PAIRS = {MotorKind.DC_SERVO: ("A1-A2",), MotorKind.AC_SERVO: ("U-V", "V-W", "U-W")}
_KIND_WORDS = {
    QuantityKind.WINDING_RESISTANCE: "winding resistance",
    QuantityKind.RESISTANCE_TO_GROUND: "ohmmeter",
    QuantityKind.INSULATION_RESISTANCE: "insulation",
}


@dataclass(frozen=True)
class Point:
    """The next test point: where the conversation moves to, and what is said."""

    context: Context
    sentence: str


def points(motor_kind: str) -> Iterator[tuple[QuantityKind, str]]:
    """The test points of one axis through the cable, in order."""
    kind = MotorKind(motor_kind)
    for terminals in _LEAD_PAIRS.get(kind, _LEAD_PAIRS[MotorKind.AC_SERVO]):
        yield QuantityKind.WINDING_RESISTANCE, terminals
    yield QuantityKind.RESISTANCE_TO_GROUND, "lead-ground"
    yield QuantityKind.INSULATION_RESISTANCE, "lead-ground"


def _covers(reading: Reading, kind: QuantityKind, terminals: str) -> bool:
    if reading.kind is not kind or reading.section is not Section.THROUGH_CABLE or reading.terminals is None:
        return False
    if kind is QuantityKind.WINDING_RESISTANCE:
        return pair(reading.terminals) == pair(terminals)
    return to_earth(reading.terminals)


def _missing(session: Session, job_id: str) -> Iterator[tuple[str, QuantityKind, str]]:
    done = [reading_of(record) for record in current_records(session, job_id)]
    for axis in axes_of(session, job_id):
        own = [reading for reading in done if reading.axis == axis.name]
        for kind, terminals in points(axis.motor_kind):
            if not any(_covers(reading, kind, terminals) for reading in own):
                yield axis.name, kind, terminals


def next_point(session: Session, job_id: str, context: Context) -> Point:
    """Where to measure next: the rest of this axis, then what grading asks for, then the next axis."""
    missing = list(_missing(session, job_id))
    here = [point for point in missing if point[0] == context.axis]
    steps = next_steps(session, job_id, context.axis) if context.axis is not None and not here else ()
    if steps:
        return Point(context, f"{axis_words(context.axis or '')}: {steps[0]}")
    if not (here or missing):
        return Point(context, "Every axis was measured through the cable. Look at the findings for what remains.")
    axis, kind, terminals = (here or missing)[0]
    moved = replace(context, kind=kind, axis=axis, section=Section.THROUGH_CABLE, terminals=terminals)
    sentence = f"Next: {axis_words(axis)}, through the cable, {_KIND_WORDS[kind]}, {terminal_words(terminals)}."
    return Point(moved, sentence)
