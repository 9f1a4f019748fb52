"""Axes written by hand to fool grading, as data, with the verdict that the domain reference argues for.

`careful.json` holds them; a row is one line: section, kind, test point, value, unit, then what differs from 500 V and
60 s. They were written from what practitioners get wrong, not from how a rule works.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from grading.measurement import AxisContext, Connection, Measurement, MotorKind, Visit, WindingKind
from grading.outcome import AxisVerdict
from grading.terms.quantity import QuantityKind
from grading.verdict import grade_axis
from tests.grading.making import CABLE, CORE, IR, LG, LL, METERS, MOTOR, WHOLE, axis, made

CASES = Path(__file__).parent / "careful.json"
NOW = datetime(2026, 11, 25, 14, tzinfo=UTC)
_SECTIONS = {"whole": WHOLE, "motor": MOTOR, "cable": CABLE, "-": None}
_KINDS = {
    "ir": IR,
    "ll": LL,
    "lg": LG,
    "core": CORE,
    "volt": QuantityKind.VOLTAGE,
    "amp": QuantityKind.CURRENT,
    "temp": QuantityKind.TEMPERATURE,
}
_ENUMS = {"winding_kind": WindingKind, "connection": Connection}


def row(line: str) -> Measurement:
    """Read one row: "whole ir U+V+W-PE >4000 MOhm V=250 B=70 t=30 noted=unsteady pos=3 meter=none"."""
    section, kind, terminals, value, unit, *rest = line.split()
    given = dict(item.split("=", 1) for item in rest)
    usual = {"V": "500", "t": "60"} if kind == "ir" else {}
    had = {name: text for name, text in (usual | given).items() if text != "-"}
    fields: dict[str, Any] = {
        name: float(had[short]) if "." in had[short] else int(had[short])
        for short, name in (("V", "test_voltage_set"), ("B", "test_voltage_built"), ("t", "elapsed_s"))
        if short in had
    }
    if "noted" in had:
        fields["noted"] = had["noted"].split(",")
    if "pos" in had:
        fields["position"] = had["pos"]
    if had.get("meter") == "none":
        fields["instrument_id"] = None
    return made(_KINDS[kind], _SECTIONS[section], value, unit, terminals=terminals.replace("_", " "), **fields)


def context(given: Mapping[str, Any]) -> AxisContext:
    """Make the axis: as `making.axis`, with what the case gives otherwise."""
    fields = {name: _ENUMS[name](value) if name in _ENUMS else value for name, value in given.items()}
    motor = MotorKind(fields.pop("motor", "ac_servo"))
    return axis(motor, **fields)


def graded(case: Mapping[str, Any]) -> AxisVerdict:
    """Grade a case."""
    known = context(case.get("context", {}))
    rows = [row(line) for line in case["rows"]]
    history = []
    for visit in case.get("history", ()):
        at = NOW - timedelta(days=365 * visit["years"])
        then = context(case.get("context", {}) | visit.get("context", {}))
        earlier = tuple(replace(row(line), at=at) for line in visit["rows"])
        history.append(Visit(at, earlier, then, visit.get("note", "")))
    if history:
        rows = [replace(m, at=NOW) for m in rows]
    return grade_axis(rows, known, METERS if case.get("meters", True) else {}, history=history)


def broken(case: Mapping[str, Any]) -> list[str]:
    """Say what a verdict has that the case does not allow; empty where it is as argued."""
    found = graded(case)
    held = {
        "verdict": found.verdict.value,
        "fault": found.fault.value,
        "drive": found.drive.verdict.value,
    }
    out = []
    for name, value in held.items():
        allowed, banned = case.get(name), case.get(f"not_{name}", ())
        if (allowed is not None and value not in allowed) or value in banned:
            out.append(f"{name} is {value!r}, wanted {allowed or f'not {banned}'}")
    return out


def cases(path: Path = CASES) -> Sequence[Mapping[str, Any]]:
    """Read the cases."""
    read: Sequence[Mapping[str, Any]] = json.loads(path.read_text())
    return read
