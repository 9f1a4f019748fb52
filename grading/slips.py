"""Slips of unit that only show beside something else: other readings of the same kind, or what a tester can drive.

The same digits with another prefix give a value a thousand times off. A sheet in which one of three phases reads in
milliohms, or an insulation tester holds 500 V on half an ohm, is asked about before any rule judges it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from grading.entries import Question, QuestionCode
from grading.limit import Limit
from grading.measurement import Measurement
from grading.neighbours import Neighbours, SizedReading, first_with
from grading.reading import RESISTANCE_KINDS
from grading.terms.circumstance import Circumstance
from grading.terms.component import Component, between, component_of
from grading.terms.quantity import Qualifier, QuantityKind, UnitError
from grading.terms.section import Section
from grading.terms.terminals import point, to_earth
from grading.voltage import implied_current_ma, is_collapsed

Limits = Mapping[str, Limit]
_SHOWN_IN_OHMS = frozenset({"Ohm", "mOhm", "uOhm"})
_NEXT = {"TOhm": "GOhm", "GOhm": "MOhm", "MOhm": "kOhm", "kOhm": "Ohm", "Ohm": "mOhm"}
_ALIKE = (QuantityKind.WINDING_RESISTANCE, QuantityKind.CONTINUITY)


def thousandfold(measurements: Iterable[Measurement], limits: Limits) -> dict[int, Question]:
    """Find the readings whose unit differs from that of their neighbours, and with it their size a thousandfold.

    Windings of one part, and cores of one cable, are compared with each other: the one that stands alone is asked
    about, both where neither does. Insulation of one circuit is compared over its test voltages: the higher value is
    asked about, and the lower one too unless it may be a breakdown.

    Args:
        measurements: Readings of one axis.
        limits: Limits in force.

    Returns:
        Questions by `id` of the measurement.
    """
    groups: dict[tuple[object, ...], list[Measurement]] = {}
    for m in measurements:
        if m.kind in _ALIKE:
            component = component_of(m.section, m.terminals)
            if component.power:
                groups.setdefault((m.kind, m.section), []).append(m)
        elif m.kind is QuantityKind.INSULATION_RESISTANCE:
            cleaned = Circumstance.AFTER_CLEANING in m.circumstances
            groups.setdefault((m.kind, m.section, _circuit(m), cleaned), []).append(m)
    found: dict[int, Question] = {}
    for key, group in groups.items():
        if len({m.quantity.unit for m in group}) > 1:
            sized = [one for one in map(_size, group) if one is not None]
            insulation = key[0] is QuantityKind.INSULATION_RESISTANCE
            for odd, other in (_of_one_circuit if insulation else _standing_alone)(sized, limits):
                if not _settled(odd, other):
                    found[id(odd.measurement)] = _question(odd, other, limits)
    return found


def _settled(odd: SizedReading, other: SizedReading) -> bool:
    """Tell whether somebody has looked a value up again, or the higher one beside it."""
    checked = [Circumstance.CHECKED in one.measurement.circumstances for one in (odd, other)]
    return checked[0] or (checked[1] and other.value > odd.value)


def _circuit(m: Measurement) -> object:
    """Give what insulation readings of one value have in common: all leads of a winding to earth, else the point."""
    winding = m.section is not Section.CABLE_ALONE and m.part.power and not between(m.terminals)
    return None if winding and to_earth(m.terminals) else point(m.terminals)


def undrivable(measurement: Measurement, value: Decimal, limits: Limits) -> Question | None:
    """Ask about an insulation value on which no tester holds its voltage, or that no insulation tester shows.

    The current that the voltage built would drive through it is more than IEC 61557-2 lets a tester give. A voltage
    that collapsed drives little, and is no question: it is a fault. Where the voltage built is not on record, only a
    value in ohms is asked about, since no insulation tester shows them (common practice, no source).

    Args:
        measurement: An insulation reading.
        value: Its value, ohm, not below 0.
        limits: Limits in force.
    """
    quantity, built = measurement.quantity, measurement.test_voltage_built
    if quantity.qualifier is not Qualifier.EQUAL or value <= 0:
        return None
    most = limits["tester.current_most"]
    in_ohms = quantity.unit in _SHOWN_IN_OHMS
    if built is None:
        beyond = in_ohms
    elif is_collapsed(measurement.test_voltage_set or built, built, limits["tester.built"].value):
        return None
    else:
        beyond = implied_current_ma(built, value + quantity.digit_in_base) > most.value
    if not beyond:
        return None
    meant = (replace(quantity, unit="MOhm").display(),) if quantity.unit != "MOhm" else ()
    return Question(
        QuestionCode.NO_TESTER_DRIVES,
        measurement.axis,
        measurement.record_id,
        "quantity",
        quantity.display(),
        meant,
        most,
    )


def little_for_brake(measurement: Measurement, value: Decimal, limits: Limits) -> Question | None:
    """Ask about a brake coil with less resistance than any holding brake has.

    Args:
        measurement: A reading from end to end of a circuit.
        value: Its value, ohm, not below 0.
        limits: Limits in force.
    """
    least = limits["plausible.brake_least"]
    quantity = measurement.quantity
    across = measurement.kind in _ALIKE and not to_earth(measurement.terminals)
    if not across or quantity.qualifier is not Qualifier.EQUAL or value >= least.base_value:
        return None
    if component_of(measurement.section, measurement.terminals) is not Component.BRAKE:
        return None
    larger = {small: large for large, small in _NEXT.items()}.get(quantity.unit or "")
    meant = () if larger is None or not value else (replace(quantity, unit=larger).display(),)
    return Question(
        QuestionCode.LITTLE_FOR_BRAKE,
        measurement.axis,
        measurement.record_id,
        "quantity",
        quantity.display(),
        meant,
        least,
    )


def _size(measurement: Measurement) -> SizedReading | None:
    quantity = measurement.quantity
    if measurement.kind not in RESISTANCE_KINDS or quantity.qualifier is not Qualifier.EQUAL:
        return None
    try:
        value = quantity.in_unit("Ohm")
    except UnitError:
        return None
    if value is None or value < 0:
        return None
    return SizedReading(measurement, value, quantity.digit_in_base / 2)


def _of_one_circuit(group: Sequence[SizedReading], limits: Limits) -> Iterator[tuple[SizedReading, SizedReading]]:
    """Give the higher of two values, and the lower where as many or more voltages, none lower, gave the other.

    Where more voltage than its own brought the value down, the low one stands: that is what a breakdown looks like.
    """
    near = Neighbours(group, limits["plausible.same_digits"].value / 100)
    ranks, volts = [near.rank(one) for one in group], [s.measurement.test_voltage_set or Decimal(0) for s in group]
    known: dict[tuple[object, ...], int | None] = {}
    for one, rank, own in zip(group, ranks, volts, strict=True):
        key = (*one.digits, own)
        if key not in known:
            some = (place for place in near.apart(one) if one.value > group[place].value or volts[place] >= own)
            known[key] = first_with(ranks, rank, some)
        other = known[key]
        if other is not None:
            yield one, group[other]


def _standing_alone(group: Sequence[SizedReading], limits: Limits) -> Iterator[tuple[SizedReading, SizedReading]]:
    """Give the readings with fewer like them than those that they differ from, each with one of those."""
    near = Neighbours(group, limits["plausible.same_digits"].value / 100)
    ranks = [near.rank(one) for one in group]
    known: dict[tuple[object, ...], int | None] = {}
    for one, rank in zip(group, ranks, strict=True):
        if one.digits not in known:
            known[one.digits] = first_with(ranks, rank, near.apart(one))
        other = known[one.digits]
        if other is not None:
            yield one, group[other]


def _question(odd: SizedReading, other: SizedReading, limits: Limits) -> Question:
    m, quantity = odd.measurement, odd.measurement.quantity
    meant = replace(quantity, unit=other.unit).display()
    shown = other.measurement.quantity.display()
    limit = limits["plausible.same_digits"]
    return Question(
        QuestionCode.THOUSANDFOLD, m.axis, m.record_id, "quantity", quantity.display(), (meant,), limit, shown
    )
