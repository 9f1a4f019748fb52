"""What a rule is given, and how a value is held against a limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.admission import admit
from grading.conditions import Conditions, Surroundings, surroundings
from grading.details import Detail
from grading.entries import Question, Refused
from grading.facts import Fact, MeasuredValue, Place, StatementBasis
from grading.finding import Conformity, Finding, Margin, Urgency, Verdict
from grading.interval import INFINITY, Interval, Side
from grading.limit import Limit
from grading.measurement import AxisContext, Circumstance, Instrument, Measurement, Visit
from grading.plausibility import ask
from grading.reading import RESISTANCE_KINDS, BoundedReading, bound
from grading.shop import PUBLISHED, ShopProfile
from grading.steps import Advice, NextStep, Reason
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
        refused: What was left out because it cannot be.
        questions: What is asked about, and not used until it is answered.
        surroundings: Temperature and humidity by reading (see `conditions`).
    """

    context: AxisContext
    measurements: tuple[Measurement, ...]
    readings: tuple[BoundedReading, ...]
    instruments: Mapping[str, Instrument]
    profile: ShopProfile
    surroundings: Surroundings
    history: tuple[Visit, ...] = ()
    refused: tuple[Refused, ...] = ()
    questions: tuple[Question, ...] = ()

    def limit(self, name: str) -> Limit:
        """Give a limit in force by its id."""
        return self.profile.limits[name]

    def conditions(self, reading: BoundedReading) -> Conditions:
        """Give temperature and humidity when a reading was taken."""
        return self.surroundings.of(reading.measurement)

    @property
    def voltages(self) -> VoltageChoice:
        """The test voltages for the axis's motor."""
        return choose(self.context.rated_voltage, self.context.maker_test_voltage, self.profile.limits)

    def of(self, kind: QuantityKind, section: Section | None = None) -> tuple[BoundedReading, ...]:
        """Give the readings of one kind (and section), in the order measured."""
        return tuple(
            r for r in self.readings if r.measurement.kind is kind and (section is None or r.section is section)
        )

    def after_cleaning(self) -> tuple[BoundedReading, ...]:
        """Give the readings that a later retest after cleaning, drying or repair of the same part and kind replaced."""
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
    """Take the measurements of one axis, leave out what cannot be or is asked about, put bounds on the rest."""
    limits = PUBLISHED if profile is None else profile
    own = (m for m in measurements if m.axis == context.axis)
    given = admit(own, context, instruments or {}, history, limits.limits)
    used = ask(given.measurements, given.context, given.instruments, limits.limits)
    readings = tuple(
        bound(m, given.instruments.get(m.instrument_id) if m.instrument_id else None, limits.limits)
        for m in used.measurements
        if m.kind in RESISTANCE_KINDS
    )
    return Case(
        used.context,
        used.measurements,
        readings,
        given.instruments,
        limits,
        surroundings(used.measurements, used.context, limits.limits),
        given.history,
        given.refused,
        used.questions,
    )


def in_ohm(limit: Limit) -> Decimal:
    """Give a resistance limit in ohm."""
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


def judged(
    rule: str,
    fact: Fact,
    verdict: Verdict,
    urgency: Urgency,
    *readings: BoundedReading,
    place: Place | None = None,
    detail: Detail | None = None,
    reason: Reason | None = None,
    basis: StatementBasis = StatementBasis.MEASURED,
    limit: Limit | None = None,
    margin: Margin | None = None,
    next_step: NextStep | None = None,
    advice: Advice | None = None,
) -> Finding:
    """Make a finding on some readings; without a place of its own it stands where the last of them was taken."""
    where = Place.of(readings[-1].measurement) if place is None else place
    values = tuple(MeasuredValue.of(reading.measurement) for reading in readings)
    ids = tuple(reading.id for reading in readings)
    return Finding(
        rule, verdict, urgency, where, fact, values, detail, reason, basis, limit, ids, margin, next_step, advice
    )


def note(
    rule: str,
    fact: Fact,
    *readings: BoundedReading,
    place: Place | None = None,
    detail: Detail | None = None,
    reason: Reason | None = None,
    basis: StatementBasis = StatementBasis.MEASURED,
    next_step: NextStep | None = None,
) -> Finding:
    """Make a finding that states a fact and judges nothing."""
    return judged(
        rule,
        fact,
        Verdict.ACCEPTABLE,
        Urgency.INFORMATION,
        *readings,
        place=place,
        detail=detail,
        reason=reason,
        basis=basis,
        next_step=next_step,
    )


def repeat(
    rule: str,
    fact: Fact,
    next_step: NextStep,
    *readings: BoundedReading,
    place: Place | None = None,
    detail: Detail | None = None,
    reason: Reason | None = None,
    basis: StatementBasis = StatementBasis.MEASURED,
    limit: Limit | None = None,
    margin: Margin | None = None,
) -> Finding:
    """Make an inconclusive finding with the step that would settle it."""
    return judged(
        rule,
        fact,
        Verdict.INCONCLUSIVE,
        Urgency.REPEAT,
        *readings,
        place=place,
        detail=detail,
        reason=reason,
        basis=basis,
        limit=limit,
        margin=margin,
        next_step=next_step,
    )
