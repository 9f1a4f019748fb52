"""What the rows of a sheet say together: of each axis at each visit, and of each instrument, in any order of rows."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from grading.entries import LeftOutRow
from grading.measurement import AxisContext, Instrument, InsulationSystem, Measurement, MotorKind, Visit
from grading.sheet_cells import Row, read_checked, read_choice, read_date, read_number
from grading.sheet_columns import CONDITIONS, NAMEPLATE
from grading.terms.quantity import UNITS

_OF_INSTRUMENT = ("accuracy_percent", "accuracy_counts", "range_end", "calibration_due")
UNNAMED = "unnamed"
"""The instrument of rows that describe one without giving its number."""


def told_instrument(row: Row) -> str | None:
    """Give the instrument's number; a row that only describes one speaks of the unnamed one."""
    return row.get("instrument") or (UNNAMED if any(name in row for name in _OF_INSTRUMENT) else None)


@dataclass(frozen=True)
class Taken:
    """A good row: its line, its cells, its reading, and the day of its visit (None where the sheet names none)."""

    line: int
    row: Row
    measurement: Measurement
    visit: dt.date | None


@dataclass(frozen=True)
class _Said:
    """One value that one row says of an axis or an instrument."""

    line: int
    axis: str
    value: Any


@dataclass
class Facts:
    """The good rows, and what they say of axes and instruments.

    Attributes:
        taken: The good rows, in order.
        contradictions: Values that two rows say differently, found so far.
    """

    taken: list[Taken] = field(default_factory=list)
    contradictions: list[LeftOutRow] = field(default_factory=list)
    _axes: dict[str, dict[dt.date | None, dict[str, list[_Said]]]] = field(default_factory=dict)
    _meters: dict[str, dict[str, list[_Said]]] = field(default_factory=dict)

    def add(self, taken: Taken) -> None:
        """Take a row.

        Raises:
            ValueError: What it says of its axis or instrument cannot be read; nothing of it is taken then.
        """
        of_axis, of_meter = _of_axis(taken), _of_instrument(taken)
        axis, meter = taken.measurement.axis, taken.measurement.instrument_id
        self.taken.append(taken)
        said = self._axes.setdefault(axis, {}).setdefault(taken.visit, {})
        for name, value in of_axis.items():
            said.setdefault(name, []).append(_Said(taken.line, axis, value))
        if meter is not None:
            known = self._meters.setdefault(meter, {})
            for name, value in of_meter.items():
                known.setdefault(name, []).append(_Said(taken.line, axis, value))

    def axes_at(self, visit: dt.date | None) -> tuple[str, ...]:
        """Give the axes that the rows of a visit name, in order."""
        return tuple(axis for axis, visits in self._axes.items() if visit in visits)

    @property
    def newest(self) -> dt.date | None:
        """The day of the newest visit; None where the sheet names none."""
        return max((taken.visit for taken in self.taken if taken.visit is not None), default=None)

    def without_visit(self) -> list[LeftOutRow]:
        """Leave out the rows that do not say their visit, where others do."""
        if self.newest is None:
            return []
        reason = "Column visit is empty, and other rows name theirs; write the date of the visit."
        lost = [taken for taken in self.taken if taken.visit is None]
        self.taken = [taken for taken in self.taken if taken.visit is not None]
        for visits in self._axes.values():
            visits.pop(None, None)
        return [LeftOutRow(taken.line, reason, taken.measurement.axis) for taken in lost]

    def context(self, axis: str, visit: dt.date | None) -> AxisContext:
        """Give what the rows say of an axis at a visit; what other visits say stands in where they agree."""
        told, others = self._axes[axis].get(visit, {}), self._axes[axis].values()
        fields: dict[str, Any] = {"motor_chosen": False}
        for name in ("motor_kind", "insulation_system", *NAMEPLATE.values()):
            said = told.get(name) or [one for other in others for one in other.get(name, ())]
            value = self._agreed(said, f"{name.replace('_', ' ')} of axis {axis}")
            if value is not None:
                fields[name] = value
        if "motor_kind" in fields:
            fields["motor_chosen"] = True
        for name in CONDITIONS.values():
            values = {one.value for one in told.get(name, ())}
            fields[name] = next(iter(values)) if len(values) == 1 else None
        checked = frozenset(name for one in told.get("checked", ()) for name in one.value)
        return AxisContext(axis, **({"motor_kind": MotorKind.AC_SERVO} | fields), checked=checked)

    def instruments(self) -> dict[str, Instrument]:
        """Give what the rows say of each instrument."""
        return {name: self._instrument(name, told) for name, told in self._meters.items()}

    def earlier(self) -> Iterator[tuple[str, Visit]]:
        """Give the visits before the newest one with their axes, oldest first."""
        newest, rows_of = self.newest, defaultdict[tuple[str, dt.date | None], list[Taken]](list)
        for taken in self.taken:
            rows_of[taken.measurement.axis, taken.visit].append(taken)
        for axis, visits in self._axes.items():
            for day in sorted(day for day in visits if day is not None and day != newest):
                rows = rows_of[axis, day]
                at = max(taken.measurement.at for taken in rows if taken.measurement.at is not None)
                done = dict.fromkeys(taken.row["done_before"] for taken in rows if "done_before" in taken.row)
                measurements = tuple(taken.measurement for taken in rows)
                yield axis, Visit(at, measurements, self.context(axis, day), ", ".join(sorted(done)))

    def _instrument(self, name: str, told: dict[str, list[_Said]]) -> Instrument:
        ends: dict[int, list[_Said]] = {}
        for one in told.get("range_end", ()):
            volts, end = one.value
            ends.setdefault(volts, []).append(_Said(one.line, one.axis, end))
        agreed = {volts: self._agreed(said, f"range_end of instrument {name}") for volts, said in ends.items()}
        return Instrument(
            name,
            range_end={volts: end for volts, end in agreed.items() if end is not None},
            **{
                column: self._agreed(told.get(column, ()), f"{column} of instrument {name}")
                for column in ("accuracy_percent", "accuracy_counts", "calibration_due")
            },
        )

    def _agreed(self, said: Iterable[_Said], what: str) -> Any:
        """Give the value that all rows say; where they contradict each other, none, and name the rows."""
        by_value: dict[Any, _Said] = {}
        for one in said:
            by_value.setdefault(one.value, one)
        if len(by_value) < 2:
            return next(iter(by_value), None)
        values = "; ".join(f"{value} in line {one.line}" for value, one in by_value.items())
        reason = f"The {what} differs from row to row: {values}. Write one value; none was used."
        for one in by_value.values():
            found = LeftOutRow(one.line, reason, one.axis, whole=False)
            if found not in self.contradictions:
                self.contradictions.append(found)
        return None


def _of_axis(taken: Taken) -> dict[str, Any]:
    """Read what a row says of its axis, by field."""
    row, found = taken.row, {}
    numbers: dict[str, Any] = {name: read_number(row, column) for column, name in NAMEPLATE.items()}
    for name in CONDITIONS.values():
        numbers[name] = getattr(taken.measurement, name)
    found = {name: value for name, value in numbers.items() if value is not None}
    if "motor" in row:
        found["motor_kind"] = read_choice(row["motor"], {}, MotorKind, "motor")
    if "insulation_system" in row:
        found["insulation_system"] = read_choice(row["insulation_system"], {}, InsulationSystem, "insulation_system")
    if "checked" in row:
        found["checked"] = read_checked(row["checked"])
    return found


def _of_instrument(taken: Taken) -> dict[str, Any]:
    """Read what a row says of its instrument, by column; the end of a range with its test voltage."""
    row = taken.row
    numbers = {name: read_number(row, name) for name in ("accuracy_percent", "accuracy_counts")}
    found: dict[str, Any] = {name: value for name, value in numbers.items() if value is not None}
    due, end = read_date(row, "calibration_due"), read_number(row, "range_end")
    if due is not None:
        found["calibration_due"] = due
    if end is not None:
        volts = taken.measurement.test_voltage_set or Decimal(0)
        found["range_end"] = (int(volts), end * UNITS["MOhm"].factor)
    return found
