"""What a rule is given, and how a value is held against a limit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeVar

from grading.admission import admit
from grading.conditions import Conditions, Surroundings, surroundings
from grading.details import Detail
from grading.entries import LeftOutValue, Question
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Conformity, Finding, Margin, Urgency, Verdict
from grading.interval import INFINITY, Interval
from grading.limit import Limit
from grading.limits import machine_limit
from grading.live import LiveReading, find_live, under_voltage
from grading.measurement import AxisContext, Instrument, Measurement, Visit
from grading.plausibility import Plausible, ask
from grading.reading import RESISTANCE_KINDS, BoundedReading, Shape, bound
from grading.shop import PUBLISHED, ShopProfile
from grading.steps import Advice, NextStep, Reason, ReasonKind
from grading.terms.circumstance import Circumstance
from grading.terms.lazy import lazy
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import point
from grading.uncertainty import conformity_at_least, expanded_uncertainty, probability_at_least
from grading.voltage import VoltageChoice, choose

T = TypeVar("T")


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
        replaced: Ids of the readings that a retest after cleaning, drying or repair replaced.
        live: Voltages and currents found where there must be none, which no later record of the point supersedes.
    """

    context: AxisContext
    measurements: tuple[Measurement, ...]
    readings: tuple[BoundedReading, ...]
    instruments: Mapping[str, Instrument]
    profile: ShopProfile
    surroundings: Surroundings
    history: tuple[Visit, ...] = ()
    refused: tuple[LeftOutValue, ...] = ()
    questions: tuple[Question, ...] = ()
    replaced: frozenset[str] = frozenset()
    live: tuple[LiveReading, ...] = ()
    _known: dict[Callable[[Case], Any], Any] = field(default_factory=dict, compare=False, repr=False)

    def once(self, compute: Callable[[Case], T]) -> T:
        """Compute something of the whole axis once, however many rules ask for it."""
        if compute not in self._known:
            self._known[compute] = compute(self)
        found: T = self._known[compute]
        return found

    def limit(self, name: str) -> Limit:
        """Give a limit in force by its id."""
        return self.profile.limits[name]

    def conditions(self, reading: BoundedReading) -> Conditions:
        """Give temperature and humidity when a reading was taken."""
        return self.surroundings.of(reading.measurement)

    @lazy
    def voltages(self) -> VoltageChoice:
        """The test voltages for the axis's motor."""
        return choose(self.context.rated_voltage, self.context.maker_test_voltage, self.profile.limits)

    @lazy
    def full_voltage(self) -> Decimal:
        """The least voltage on the terminals, V, that counts as the one that the limits as measured presuppose."""
        return self.voltages.judging * self.limit("tester.built").value

    @lazy
    def floors(self) -> Mapping[Section | None, Limit]:
        """The floor of each part as measured."""
        return {part: machine_limit(self.context, self.profile.limits, part) for part in (*Section, None)}

    @lazy
    def _by_kind(self) -> Mapping[tuple[QuantityKind, bool | None, Section | None], tuple[BoundedReading, ...]]:
        """The readings in force by kind, circuit and part, None for any: every rule asks for some of them."""
        found: dict[tuple[QuantityKind, bool | None, Section | None], list[BoundedReading]] = {}
        for reading in self.readings:
            if reading.id in self.replaced:
                continue
            kind, power, section = reading.kind, reading.power, reading.section
            # A set, since the key of any part is also that of a reading without one.
            for key in {(kind, None, None), (kind, power, None), (kind, power, section)}:
                found.setdefault(key, []).append(reading)
        return {key: tuple(readings) for key, readings in found.items()}

    def of(self, kind: QuantityKind, section: Section | None = None) -> tuple[BoundedReading, ...]:
        """Give the readings in force of the power circuit, of one kind (and section), in the order measured.

        Brake, field, feedback, sensors and fan are circuits of their own (`beside`), and so is what lies between two of
        them; they say nothing of what the drive feeds.
        """
        return self._by_kind.get((kind, True, section), ())

    def beside(self, kind: QuantityKind) -> tuple[BoundedReading, ...]:
        """Give the readings in force of every circuit but the power circuit, of one kind, in the order measured."""
        return self._by_kind.get((kind, False, None), ())

    def in_force(self, kind: QuantityKind) -> tuple[BoundedReading, ...]:
        """Give the readings of one kind, of whatever circuit, that no retest replaced, in the order measured."""
        return self._by_kind.get((kind, None, None), ())


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
    voltages = find_live(used.measurements, limits.limits)
    figures, meters = limits.limits, given.instruments
    readings = tuple(
        doubted(
            bound(
                m,
                meters.get(m.instrument_id) if m.instrument_id else None,
                figures,
                require_time=limits.require_time,
            ),
            figures,
        )
        for m in used.measurements
        if m.kind in RESISTANCE_KINDS
    )
    stopped = frozenset(m.record_id for m in under_voltage(used.measurements, voltages))
    readings = tuple(r.lowered(Reason(ReasonKind.VOLTAGE_ON_CIRCUIT)) if r.id in stopped else r for r in readings)
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
        _replaced(readings) | _in_question(used, readings),
        voltages,
    )


def doubted(reading: BoundedReading, limits: Mapping[str, Limit]) -> BoundedReading:
    """Lower the bound of an insulation reading by what was noted beside it, so that it proves no more than it can.

    Nothing that is noted beside a value raises a bound: a fault that it shows is still shown, and a pass that it does
    not prove becomes none.
    """
    noted = reading.measurement.circumstances
    if not noted or reading.kind is not QuantityKind.INSULATION_RESISTANCE or reading.shape in _NO_VALUE:
        return reading
    if reading.noted(Circumstance.UNSTEADY):
        return reading.lowered(Reason(ReasonKind.NOT_STEADY))
    if reading.noted(Circumstance.LOW_BATTERY):
        return reading.lowered(Reason(ReasonKind.LOW_BATTERY))
    if reading.noted(Circumstance.ONE_PHASE_ONLY):
        factor = limits["insulation.one_phase"]
        # Never raised, whatever figure a shop's profile divides by.
        return reading.lowered(Reason(ReasonKind.ONE_PHASE_ONLY, limit=factor), reading.interval.low / factor.value)
    return reading


_NO_VALUE = (Shape.NONE, Shape.UNEXPLAINED)


def _in_question(used: Plausible, readings: Sequence[BoundedReading]) -> frozenset[str]:
    """Give the readings that a retest replaced about which something is asked.

    They no longer hold, and what does is not known: the axis is inconclusive until the answer.
    """
    replaced: set[str] = set()
    for before, m in used.left_out:
        if Circumstance.AFTER_CLEANING in m.circumstances:
            key = (m.part, m.section, m.kind, point(m.terminals), m.test_voltage_set)
            earlier = {id(one) for one in used.measurements[:before]}
            replaced |= {r.id for r in readings if point_of(r) == key and id(r.measurement) in earlier}
    return frozenset(replaced)


def _replaced(readings: Sequence[BoundedReading]) -> frozenset[str]:
    """Give the readings that a later retest replaced: of the same component, part, point, test voltage and kind."""
    retested: set[tuple[object, ...]] = set()
    replaced: list[str] = []
    for reading in reversed(readings):
        key = point_of(reading)
        if reading.noted(Circumstance.AFTER_CLEANING):
            if reading.shape not in _NO_VALUE:
                retested.add(key)
        elif key in retested:
            replaced.append(reading.id)
    return frozenset(replaced)


def point_of(reading: BoundedReading) -> tuple[object, ...]:
    """Give what makes two readings one test: component, part, kind, point and test voltage."""
    return reading.component, reading.section, reading.kind, reading.point, reading.measurement.test_voltage_set


def in_ohm(limit: Limit) -> Decimal:
    """Give a resistance limit in ohm."""
    return limit.base_value


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
    bar, scale, low, high = limit.base_value, limit.scale, interval.low, interval.high
    conformity: Conformity | None = None
    expanded = probability = acceptance = None
    if value is not None and standard is not None:
        wide = expanded_uncertainty(standard)
        conformity = conformity_at_least(value, bar, wide)
        probability = probability_at_least(value, bar, standard)
        expanded, acceptance = wide / scale, (bar + wide) / scale
    if low >= bar:  # a limit exactly met counts as met, as in `Interval.side_of`
        verdict = Verdict.MARGINAL if conformity is Conformity.CONDITIONAL_PASS else Verdict.ACCEPTABLE
    else:
        verdict = Verdict.UNACCEPTABLE if high < bar else Verdict.INCONCLUSIVE
    margin = Margin(
        None if value is None else value / scale,
        low / scale,
        None if high == INFINITY else high / scale,
        limit.value,
        limit.unit,
        expanded,
        acceptance,
        (low if value is None else value) / bar if bar else None,
        probability,
        conformity,
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
    where = readings[-1].place if place is None else place
    values, ids = tuple([r.cited for r in readings]), tuple([r.id for r in readings])
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
