"""Voltages and currents found where there must be none: what they stop, and what takes them back.

A circuit that is tested must be dead. A voltage on it falsifies every resistance taken meanwhile, in either direction,
and says that the axis is not isolated; so it stops every pass and leaves every fault that was found.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from grading.limit import Limit
from grading.measurement import Measurement
from grading.terms.quantity import Qualifier, QuantityKind, UnitError
from grading.terms.terminals import is_general, point

_KINDS = {QuantityKind.VOLTAGE: "V", QuantityKind.CURRENT: "mA"}
_PROVING = re.compile(r"\b(KNOWN|PROVING|REFERENCE|SOURCE|DETECTOR)\b", re.IGNORECASE)
"""Words for the live source on which a meter is proved before and after."""


class LiveState(StrEnum):
    """What a voltage or current says of the circuit."""

    HAZARDOUS = "hazardous"  # no test at or above it, and no touching
    CHARGED = "charged"  # not discharged: the reading is falsified
    UNKNOWN = "unknown"  # no usable value, so the circuit is not proved dead
    DEAD = "dead"


@dataclass(frozen=True)
class LiveReading:
    """A voltage or current on a circuit that must be dead.

    Attributes:
        measurement: The record.
        state: What it says of the circuit.
        limit: The limit that it reaches; the lowest one where its value is not known.
    """

    measurement: Measurement
    state: LiveState
    limit: Limit


def find_live(measurements: Sequence[Measurement], limits: Mapping[str, Limit]) -> tuple[LiveReading, ...]:
    """Find the voltages and currents of an axis that say that it was not dead, in the order measured."""
    found = (judge_state(m, limits) for m in measurements if m.kind in _KINDS)
    return tuple(one for one in found if one is not None and one.state is not LiveState.DEAD)


def under_voltage(measurements: Sequence[Measurement], live: Sequence[LiveReading]) -> Iterator[Measurement]:
    """Give the measurements that were not taken on a circuit proved dead since the last voltage was found.

    A voltage is superseded by a later voltage of the same point, called by its leads, that shows it dead; what was
    measured after that record stands, and nothing before it does, since nobody knows when the voltage came.
    """
    if not live:
        return
    places = {id(m): index for index, m in enumerate(measurements)}
    alive = {id(one.measurement) for one in live}
    shown_dead = _places([m for m in measurements if id(m) not in alive], places)
    proved: list[int | None] = []
    for one in live:
        m = one.measurement
        # Of a general point it is not known which lead it was, and so not whether it was the same one later.
        again = None if is_general(m.terminals) else _first_after(shown_dead, m, places[id(m)])
        proved.append(again)
    from_here = None if None in proved else max(index for index in proved if index is not None)
    for index, measurement in enumerate(measurements):
        if from_here is None or index < from_here:
            yield measurement


_Places = Mapping[tuple[QuantityKind, frozenset[frozenset[str]]], Sequence[int]]


def _places(measurements: Iterable[Measurement], places: Mapping[int, int]) -> _Places:
    """Give the places of voltages and currents among all records, by kind and point, in order."""
    found: dict[tuple[QuantityKind, frozenset[frozenset[str]]], list[int]] = {}
    for m in measurements:
        if m.kind in _KINDS:
            found.setdefault((m.kind, point(m.terminals)), []).append(places[id(m)])
    return found


def _first_after(known: _Places, measurement: Measurement, place: int) -> int | None:
    """Give the place of the first later record of the same point, of the same kind or of voltage; None without one."""
    where = point(measurement.terminals)
    found: list[int] = []
    for kind in {measurement.kind, QuantityKind.VOLTAGE}:
        own = known.get((kind, where), ())
        after = bisect_right(own, place)
        found += own[after : after + 1]
    return min(found, default=None)


def standing(measurements: Sequence[Measurement], live: Sequence[LiveReading]) -> tuple[LiveReading, ...]:
    """Give the live readings that no later record of the same point supersedes."""
    places = {id(m): index for index, m in enumerate(measurements)}
    known = _places(measurements, places)
    return tuple(
        one
        for one in live
        if is_general(one.measurement.terminals)
        or _first_after(known, one.measurement, places[id(one.measurement)]) is None
    )


def judge_state(measurement: Measurement, limits: Mapping[str, Limit]) -> LiveReading | None:
    """Tell what a voltage or current says of the circuit; None for what need not be dead or says nothing of it.

    Args:
        measurement: Of kind voltage or current.
        limits: Limits in force.
    """
    if _PROVING.search(measurement.terminals):
        return None
    if measurement.kind is QuantityKind.CURRENT:
        tested = measurement.test_voltage_set is not None
        lowest = highest = limits["tester.current_most" if tested else "energy.current"]
    else:
        # Extra-low supplies of brake and feedback need not be dead; what no test goes with must not be there.
        lowest = limits["energy.return_voltage" if measurement.part.power else "energy.gate_voltage"]
        highest = limits["energy.gate_voltage"]
    least, most = _bounds(measurement)
    if least is None or most is None:
        return LiveReading(measurement, LiveState.UNKNOWN, lowest)
    if least >= highest.value:
        return LiveReading(measurement, LiveState.HAZARDOUS, highest)
    if least >= lowest.value:
        return LiveReading(measurement, LiveState.CHARGED, lowest)
    return LiveReading(measurement, LiveState.DEAD if most < lowest.value else LiveState.UNKNOWN, lowest)


def _bounds(measurement: Measurement) -> tuple[Decimal | None, Decimal | None]:
    """Give the least and the most that a record means, in V or mA; None where it has no usable value."""
    quantity, base = measurement.quantity, _KINDS[measurement.kind]
    if quantity.qualifier is Qualifier.SHORT and quantity.digits is None:
        return Decimal(0), Decimal(0)
    if quantity.qualifier in (Qualifier.NONE, Qualifier.COLLAPSED) or quantity.unit is None:
        return None, None
    try:
        value = quantity.in_unit(base)
    except UnitError:
        return None, None
    if value is None:
        return None, None
    size = abs(value)
    if quantity.qualifier in (Qualifier.ABOVE, Qualifier.OPEN):
        return size, Decimal("Infinity")
    return (Decimal(0) if quantity.qualifier is Qualifier.BELOW else size), size
