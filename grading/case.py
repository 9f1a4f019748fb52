"""What a rule is given, and how a value is held against a limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.finding import Conformity, Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.interval import INFINITY, Interval, Side
from grading.measurement import AxisContext, Circumstance, Instrument, Measurement, Visit
from grading.reading import RESISTANCE_KINDS, BoundedReading, bound
from grading.shop import PUBLISHED, ShopProfile
from grading.terms.quantity import QuantityKind, unit
from grading.terms.section import Section
from grading.uncertainty import conformity_at_least, expanded_uncertainty, probability_at_least
from grading.voltage import VoltageChoice, choose


@dataclass(frozen=True)
class Case:
    """One axis, ready to be judged.

    Attributes:
        context: What is known of the axis.
        measurements: Its records in the order measured.
        readings: The resistances among them, with bounds, in the same order.
        instruments: By id.
        profile: Limits in force.
        history: Earlier visits, oldest first.
    """

    context: AxisContext
    measurements: tuple[Measurement, ...]
    readings: tuple[BoundedReading, ...]
    instruments: Mapping[str, Instrument]
    profile: ShopProfile
    history: tuple[Visit, ...] = ()

    def limit(self, name: str) -> Limit:
        """A limit in force, by id."""
        return self.profile.limits[name]

    @property
    def voltages(self) -> VoltageChoice:
        """The test voltages for the axis's motor."""
        return choose(self.context.rated_voltage, self.context.maker_test_voltage, self.profile.limits)

    def of(self, kind: QuantityKind, section: Section | None = None) -> tuple[BoundedReading, ...]:
        """Readings of one kind (and section), in the order measured."""
        return tuple(
            r for r in self.readings if r.measurement.kind is kind and (section is None or r.section is section)
        )

    def after_cleaning(self) -> tuple[BoundedReading, ...]:
        """Readings that a later retest after cleaning, drying or repair of the same section and kind has replaced."""
        retested: set[tuple[Section | None, QuantityKind]] = set()
        replaced: list[BoundedReading] = []
        for reading in reversed(self.readings):
            key = (reading.section, reading.measurement.kind)
            if reading.noted(Circumstance.AFTER_CLEANING):
                retested.add(key)
            elif key in retested:
                replaced.append(reading)
        return tuple(reversed(replaced))


def build_case(
    measurements: Iterator[Measurement] | tuple[Measurement, ...],
    context: AxisContext,
    instruments: Mapping[str, Instrument] | None = None,
    profile: ShopProfile | None = None,
    history: tuple[Visit, ...] = (),
) -> Case:
    """Take the measurements of one axis and put bounds on its resistances."""
    known = dict(instruments or {})
    limits = PUBLISHED if profile is None else profile
    own = tuple(m for m in measurements if m.axis == context.axis)
    readings = tuple(
        bound(m, known.get(m.instrument_id) if m.instrument_id else None, limits.limits)
        for m in own
        if m.kind in RESISTANCE_KINDS
    )
    return Case(context, own, readings, known, limits, history)


def retest_months(case: Case) -> str:
    """Say when a value that is watched is taken again: "3 to 6 months"."""
    early, late = case.limit("insulation.retest_early").value, case.limit("insulation.retest_late").value
    return f"{early:f} to {late:f} months"


def in_ohm(limit: Limit) -> Decimal:
    """A resistance limit in ohm."""
    return limit.value * unit(limit.unit).factor


def hold_at_least(
    interval: Interval, value: Decimal | None, standard: Decimal | None, limit: Limit
) -> tuple[Verdict, Margin]:
    """Hold a resistance against a lower limit.

    The whole interval at or above the limit is acceptable, but only marginal inside the guard band w = U; the whole
    interval below is unacceptable; anything else is inconclusive.

    Args:
        interval: Every value possible, ohm.
        value: The point value, ohm, or None.
        standard: Its standard uncertainty, ohm, or None.
        limit: A lower limit on resistance.
    """
    bar = in_ohm(limit)
    scale = unit(limit.unit).factor
    side = interval.side_of(bar)
    conformity: Conformity | None = None
    expanded = probability = acceptance = None
    if value is not None and standard is not None:
        wide = expanded_uncertainty(standard)
        conformity = conformity_at_least(value, bar, wide)
        probability = probability_at_least(value, bar, standard)
        expanded, acceptance = wide / scale, (bar + wide) / scale
    verdict = {
        Side.ABOVE: Verdict.MARGINAL if conformity is Conformity.CONDITIONAL_PASS else Verdict.ACCEPTABLE,
        Side.BELOW: Verdict.UNACCEPTABLE,
        Side.STRADDLES: Verdict.INCONCLUSIVE,
    }[side]
    reference = interval.low if value is None else value
    margin = Margin(
        value=None if value is None else value / scale,
        low=interval.low / scale,
        high=None if interval.high == INFINITY else interval.high / scale,
        limit=limit.value,
        unit=limit.unit,
        expanded_uncertainty=expanded,
        acceptance_limit=acceptance,
        ratio=reference / bar if bar else None,
        probability=probability,
        conformity=conformity,
    )
    return verdict, margin


def note(rule: str, statement: str, ids: tuple[str, ...], section: Section | None = None) -> Finding:
    """A finding that states a fact and judges nothing."""
    return Finding(rule, Verdict.ACCEPTABLE, Urgency.INFORMATION, statement, record_ids=ids, section=section)


def repeat(
    rule: str,
    statement: str,
    ids: tuple[str, ...],
    step: NextStep,
    section: Section | None = None,
    limit: Limit | None = None,
    margin: Margin | None = None,
) -> Finding:
    """An inconclusive finding with the step that would settle it."""
    return Finding(
        rule, Verdict.INCONCLUSIVE, Urgency.REPEAT, statement, limit, ids, margin, next_step=step, section=section
    )
