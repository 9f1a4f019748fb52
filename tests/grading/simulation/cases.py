"""Visits as plain data, for a person to read and for the suite to grade again, whatever becomes of the drawing."""

from __future__ import annotations

import datetime as dt
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from enum import Enum
from typing import Any

from grading.finding import plain
from grading.measurement import AxisContext, Instrument, Measurement, Visit
from grading.outcome import AxisVerdict
from grading.verdict import grade_axis
from tests.grading.simulation.naming import spoken
from tests.grading.simulation.score import Outcome
from tests.grading.simulation.visit import SimulatedVisit


@dataclass(frozen=True)
class Given:
    """What grading is given for one axis."""

    measurements: tuple[Measurement, ...]
    context: AxisContext
    instruments: Mapping[str, Instrument]
    history: tuple[Visit, ...] = ()

    def graded(self) -> AxisVerdict:
        """Grade it."""
        return grade_axis(self.measurements, self.context, self.instruments, history=self.history)


def case_data(visit: SimulatedVisit, outcome: Outcome, verdict: AxisVerdict | None) -> dict[str, Any]:
    """Give a visit as plain data: what a person reads first, what grading is given last."""
    judged = None if verdict is None else verdict.to_dict()
    return {
        "seed": visit.seed,
        "failures": list(outcome.failures),
        "truth": [f.words() for f in visit.circuit.faults] or ["nothing is wrong"],
        "found": [f.words() for f in visit.begun.faults] if visit.begun is not visit.circuit else [],
        "slips": list(outcome.slips),
        "readings": [row_words(m) for m in visit.measurements],
        "known": _known_words(visit),
        "why_not_healthy": [e.why for e in outcome.evidence],
        "verdict": outcome.verdict,
        "fault": None if verdict is None else verdict.fault.value,
        "drive": None if verdict is None else verdict.drive.verdict.value,
        "headline": None if judged is None else judged["headline"],
        "findings": []
        if judged is None
        else [f"{f['verdict']}/{f['urgency']}: {f['statement']}" for f in judged["findings"]],
        "trace": outcome.trace,
        "given": given_data(Given(visit.measurements, visit.context, visit.instruments, visit.history)),
    }


def row_words(m: Measurement) -> str:
    """Write a row for a person."""
    section = "" if m.section is None else m.section.value.replace("_", " ")
    volts = "" if m.test_voltage_set is None else f" at {m.test_voltage_set} V"
    built = "" if m.test_voltage_built is None else f" (built {m.test_voltage_built} V)"
    time = "" if m.elapsed_s is None else f", {m.elapsed_s} s"
    noted = ", ".join(sorted(c.value for c in m.circumstances))
    at = "" if m.position is None else f" position {m.position}"
    value = f"{spoken(m.quantity)}{volts}{built}{time}" + (f" [{noted}]" if noted else "")
    return f"{m.record_id} {section}, {m.kind.value}, {m.terminals}{at}: {value}"


def _known_words(visit: SimulatedVisit) -> str:
    known = {f.name: getattr(visit.context, f.name) for f in fields(visit.context)}
    usual = {f.name: f.default for f in fields(visit.context)}
    told = {name: plain(value) for name, value in known.items() if value != usual[name]}
    meters = {i.id: f"±({i.accuracy_percent} % + {i.accuracy_counts})" for i in visit.instruments.values()}
    return f"{told}; instruments on record: {meters}"


def given_data(given: Given) -> dict[str, Any]:
    """Give what grading is given as plain data."""
    return {
        "measurements": [_dump(m) for m in given.measurements],
        "context": _dump(given.context),
        "instruments": [_dump(i) for i in given.instruments.values()],
        "history": [_dump(v) for v in given.history],
    }


def given_from(data: Mapping[str, Any]) -> Given:
    """Read it back."""
    instruments = [_load(Instrument, i) for i in data["instruments"]]
    return Given(
        tuple(_load(Measurement, m) for m in data["measurements"]),
        _load(AxisContext, data["context"]),
        {i.id: i for i in instruments},
        tuple(_load(Visit, v) for v in data.get("history", ())),
    )


def _dump(value: Any) -> Any:
    """Give plain data without what is at its default."""
    if isinstance(value, tuple):
        return [_dump(item) for item in value]
    if not is_dataclass(value) or isinstance(value, type):
        return plain(value)
    shown = {}
    for one in fields(value):
        held = getattr(value, one.name)
        usual = one.default_factory() if callable(one.default_factory) else one.default
        if held != usual:
            shown[one.name] = _dump(held)
    return shown


def _load(kind: Any, data: Any) -> Any:
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (types.UnionType, typing.Union):
        return None if data is None else _load(next(a for a in arguments if a is not type(None)), data)
    if origin is not None:
        if issubclass(origin, Mapping):
            return {_load(arguments[0], key): _load(arguments[1], item) for key, item in data.items()}
        return origin(_load(arguments[0], item) for item in data)
    if is_dataclass(kind) and isinstance(kind, type):
        hints = typing.get_type_hints(kind)
        return kind(**{name: _load(hints[name], item) for name, item in data.items()})
    if kind in (dt.datetime, dt.date):
        return kind.fromisoformat(data)
    made = kind in (Decimal, int) or (isinstance(kind, type) and issubclass(kind, Enum))
    return kind(data) if made else data
