"""The motor alone against IEEE 43-2013 Table 3: one minute, corrected to 40 °C, and not near the dew point.

Below 750 W the standard applies by analogy only, and the finding says so. Where the insulation system is not known,
both corrections are made: the lower one must pass, and only what fails by both is below its limit. Without a winding
temperature the correction is taken over its whole range, and only a value that passes or fails everywhere in it gets a
verdict.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from grading.case import Case, hold_at_least, judged, note, repeat
from grading.conditions import Conditions
from grading.details import Climate, Corrected40, Correction, Ohms
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Urgency, Verdict
from grading.interval import Interval
from grading.limit import Limit
from grading.limits import LIMITS, field_limit, watch_limit, winding_limit
from grading.measurement import AxisContext, InsulationSystem
from grading.reading import BoundedReading, Shape
from grading.rules.held import settle_doubt
from grading.rules.insulation import WATCH, is_full_voltage, retest_later
from grading.steps import Action, Advice, NextStep, Reason, ReasonKind, Settles, Settling, StepKind, step
from grading.temperature import (
    HIGHEST_C,
    LOWEST_C,
    NotComparableError,
    dew_point_c,
    factor_bounds,
    factors,
)
from grading.terms.circumstance import Circumstance
from grading.terms.component import Component, between
from grading.terms.quantity import QuantityKind
from grading.terms.record import record
from grading.terms.section import Section
from grading.uncertainty import ROOT_3, combined

MODERN = "insulation.thermosetting_from"
WINDING = "insulation.winding"
TEMPERATURE = "insulation.temperature"
DEW = "insulation.dew_point"


@record
class ReadingAt40:
    """A reading brought to 40 °C.

    Attributes:
        interval: Bounds, ohm.
        value: Point value, ohm, or None.
        standard: Standard uncertainty of reading and temperature together, ohm, or None.
        how: Which correction was made.
    """

    interval: Interval
    value: Decimal | None
    standard: Decimal | None
    how: Correction


def insulation_system(
    context: AxisContext, limits: Mapping[str, Limit] = LIMITS
) -> tuple[InsulationSystem, int | None]:
    """Give the correction system to use, and the year of manufacture where it was assumed from that."""
    known, year = context.insulation_system, context.made_year
    if known is InsulationSystem.UNKNOWN and year is not None and year >= limits[MODERN].value:
        return InsulationSystem.THERMOSETTING, year
    return known, None


@record
class FactorTo40:
    """What a reading is multiplied by, the same for all that were taken under the same conditions.

    Attributes:
        low: Least factor that counts, for a pass.
        most: Greatest, for a failure.
        factor: Of the point value; None without a winding temperature.
        spread: By how much the temperature leaves it open.
        how: Which correction is made.
    """

    low: Decimal
    most: Decimal
    factor: Decimal | None
    spread: Decimal
    how: Correction


def correct(case: Case, reading: BoundedReading) -> ReadingAt40:
    """Bring a reading to 40 °C with the winding temperature of the reading, else of the axis.

    Raises:
        NotComparableError: The winding temperature is outside 10 to 85 °C.
    """
    known, conditions = case.once(_factors_by_conditions), case.conditions(reading)
    # By identity: equal temperatures can be written differently, and are cited as they were written.
    found = known.get(id(conditions))
    if found is None:
        found = known[id(conditions)] = conditions, _factor(case, conditions)
    by = found[1]
    value = standard = None
    if by.factor is not None and reading.value is not None and reading.standard_uncertainty is not None:
        value = reading.value * by.factor
        standard = combined((reading.standard_uncertainty * by.factor, reading.value * by.spread / 2 / ROOT_3))
    return ReadingAt40(reading.interval.scaled(by.low, by.most), value, standard, by.how)


def _factors_by_conditions(_case: Case) -> dict[int, tuple[Conditions, FactorTo40]]:
    return {}


def _factor(case: Case, conditions: Conditions) -> FactorTo40:
    context = case.context
    system, year = insulation_system(context, case.profile.limits)
    how = Correction(system, year, LOWEST_C, HIGHEST_C)
    winding_c = conditions.winding_c
    if winding_c is None:
        low = factor_bounds(system, LOWEST_C, Decimal(0))[0]
        high = factor_bounds(system, HIGHEST_C, Decimal(0))[1]
        return FactorTo40(low, high, None, Decimal(0), how)
    options = factors(system, winding_c)
    chosen = min(options, key=lambda name: options[name])
    factor = options[chosen]
    low, high = factor_bounds(chosen, winding_c, context.winding_c_uncertainty)
    # A pass needs the lower of both corrections; a failure, the higher one too.
    most = max(factor_bounds(name, winding_c, context.winding_c_uncertainty)[1] for name in options)
    both = tuple(options.items()) if len(options) > 1 else ()
    how = replace(
        how,
        winding_c=winding_c,
        winding_uncertainty_c=context.winding_c_uncertainty,
        winding_own="winding_c" in conditions.own,
        factor=factor,
        factors=both,
    )
    return FactorTo40(low, most, factor, high - low, how)


def damp(conditions: Conditions, margin_c: Decimal) -> Decimal | None:
    """Give the dew point in °C where the winding (or, if unknown, the air) is within `margin_c` of it; else None."""
    surface = conditions.air_c if conditions.winding_c is None else conditions.winding_c
    if conditions.air_c is None or conditions.humidity_percent is None or surface is None:
        return None
    try:
        dew = dew_point_c(conditions.air_c, conditions.humidity_percent)
    except ValueError:
        return None
    return dew if surface < dew + margin_c else None


def damp_groups(
    case: Case, readings: Sequence[BoundedReading], *, by_air: bool = False
) -> dict[tuple[Decimal, Conditions], list[BoundedReading]]:
    """Give the readings that were taken near the dew point, by the dew point and what else held then.

    Args:
        case: The axis.
        readings: Some of its readings.
        by_air: What was tested is as warm as the air (a cable), whatever the winding is.
    """
    margin = case.limit("winding.dew_margin").value
    found: dict[tuple[Decimal, Conditions], list[BoundedReading]] = {}
    before: Conditions | None = None
    for reading in readings:
        own = case.conditions(reading)
        if own is not before:  # most were taken under the same ones
            before, conditions = own, replace(own, winding_c=None) if by_air else own
            dew = damp(conditions, margin)
        if dew is not None:
            found.setdefault((dew, conditions), []).append(reading)
    return found


def judge_motor(case: Case) -> Iterator[Finding]:
    """Hold the motor alone, and a wound field by itself, against the rows of IEEE 43-2013 Table 3 that fit them."""
    readings = _judgeable(case.of(QuantityKind.INSULATION_RESISTANCE, Section.MOTOR_ALONE))
    field = _judgeable(
        r
        for r in case.beside(QuantityKind.INSULATION_RESISTANCE)
        if r.component is Component.FIELD and r.section is Section.MOTOR_ALONE and not between(r.measurement.terminals)
    )
    limits = case.profile.limits
    winding = winding_limit(case.context, limits)
    of_field = field_limit(limits["insulation.field"], case.context.rated_voltage)
    wet: set[str] = set()
    for (dew, conditions), group in damp_groups(case, [*readings, *field]).items():
        if conditions.winding_c is not None:
            wet |= {r.id for r in group}
            yield near_dew_point(case, dew, conditions, group, Section.MOTOR_ALONE)
    readings = [r for r in readings if r.id not in wet]
    any_full = any(is_full_voltage(case, r) for r in readings)
    earliest: dict[Decimal | None, Decimal] = {}
    for reading in readings:
        volts, elapsed = reading.measurement.test_voltage_set, reading.measurement.elapsed_s
        if elapsed is not None:
            earliest[volts] = min(elapsed, earliest.get(volts, elapsed))
    for reading in readings:
        if _judges(case, reading, any_full, earliest.get(reading.measurement.test_voltage_set)):
            yield from _judge(case, reading, winding)
        else:  # a failure counts whenever and at whatever voltage it was found
            yield from (f for f in _judge(case, reading, winding) if f.verdict is Verdict.UNACCEPTABLE)
    for reading in field:
        if reading.id not in wet:
            yield from _judge(case, reading, of_field)


def _judgeable(readings: Iterable[BoundedReading]) -> list[BoundedReading]:
    """Give those to earth that have a value, of one minute or collapsed."""
    return [
        r
        for r in readings
        if r.shape not in (Shape.NONE, Shape.UNEXPLAINED) and r.to_earth and (r.shape is Shape.COLLAPSED or not r.early)
    ]


def _judges(case: Case, reading: BoundedReading, any_full: bool, earliest: Decimal | None) -> bool:
    """Tell whether a reading is the one-minute value of its series at full voltage.

    Args:
        case: The axis.
        reading: One of the motor alone.
        any_full: Whether any of them was taken at full voltage.
        earliest: The shortest time under voltage among those of its test voltage, s.
    """
    elapsed = reading.measurement.elapsed_s
    later = elapsed is not None and elapsed > case.limit("insulation.time_later").value
    if later and earliest is not None and elapsed is not None and earliest < elapsed:
        return False
    return is_full_voltage(case, reading) or not any_full


def _judge(case: Case, reading: BoundedReading, limit: Limit) -> Iterator[Finding]:
    try:
        corrected = correct(case, reading)
    except NotComparableError:
        yield _not_comparable(case, reading, limit)
        return
    verdict, margin = hold_at_least(corrected.interval, corrected.value, corrected.standard, limit)
    scope = case.limit("insulation.scope_power")
    detail = Corrected40(corrected.interval, corrected.value, corrected.how, limit, case.context.rated_power_w, scope)
    if reading.shape is Shape.COLLAPSED or verdict is Verdict.UNACCEPTABLE:
        yield judged(
            WINDING,
            Fact.WINDING_BELOW_LIMIT,
            Verdict.UNACCEPTABLE,
            Urgency.SERVICE_LIMIT,
            reading,
            detail=detail,
            basis=StatementBasis.CALCULATED,
            limit=limit,
            margin=margin,
            next_step=_clean(limit),
            advice=Advice.CLEAN_AND_PLAN_REPAIR,
        )
    elif verdict is Verdict.INCONCLUSIVE:
        following = _settle(case, reading)
        basis = StatementBasis.CALCULATED
        yield repeat(WINDING, Fact.WINDING_UNDECIDED, following, reading, detail=detail, basis=basis, limit=limit)
    elif not is_full_voltage(case, reading):
        basis = StatementBasis.CALCULATED
        yield note(WINDING, Fact.WINDING_REDUCED_CONDITIONS, reading, detail=detail, basis=basis)
    else:
        urgency = Urgency.WITHIN_LIMITS if verdict is Verdict.ACCEPTABLE else Urgency.WATCH
        yield judged(
            WINDING,
            Fact.WINDING_REDUCED_CONDITIONS
            if reading.noted(Circumstance.ONE_PHASE_ONLY)
            else Fact.WINDING_WITHIN_LIMITS,
            verdict,
            urgency,
            reading,
            detail=detail,
            basis=StatementBasis.CALCULATED,
            limit=limit,
            margin=margin,
        )
        if reading.power:
            yield from _watch(case, reading, corrected)


def _clean(limit: Limit) -> NextStep:
    settles = Settles(Settling.LIMIT_AFTER_CLEANING, limit=limit)
    return step(StepKind.CLEAN_MOTOR, ReasonKind.AT_RISK, settles)


def _not_comparable(case: Case, reading: BoundedReading, limit: Limit) -> Finding:
    winding_c = case.conditions(reading).winding_c
    reason = Reason(ReasonKind.NOT_COMPARABLE, winding_c=winding_c, lowest=LOWEST_C, highest=HIGHEST_C)
    following = step(Action(StepKind.REACH_TEMPERATURE, earliest=LOWEST_C, latest=HIGHEST_C), reason)
    return repeat(TEMPERATURE, Fact.NOT_COMPARABLE, following, reading, reason=reason, limit=limit)


def _settle(case: Case, reading: BoundedReading) -> NextStep:
    """Give what would settle whether the winding meets its limit."""
    if reading.doubt is not None:
        return settle_doubt(reading.doubt)
    winding_c = case.conditions(reading).winding_c
    if winding_c is None:
        return step(StepKind.MEASURE_WINDING_TEMPERATURE, ReasonKind.NEEDS_TEMPERATURE)
    if reading.shape is Shape.OVER:
        return step(StepKind.NOTE_RANGE_END, ReasonKind.BOUND_BELOW)
    if case.context.insulation_system is InsulationSystem.UNKNOWN:
        both = factors(InsulationSystem.UNKNOWN, winding_c).values()
        apart = max(both) / min(both)
        reason = Reason(ReasonKind.SYSTEMS_DIFFER, factor=apart, winding_c=winding_c)
        return step(StepKind.FIND_INSULATION_SYSTEM, reason)
    return step(StepKind.ACCURATE_OR_NEAR_40C, ReasonKind.NOT_CERTAIN)


def _watch(case: Case, reading: BoundedReading, corrected: ReadingAt40) -> Iterator[Finding]:
    limit = watch_limit(case.context, case.profile.limits)
    interval = corrected.interval if corrected.value is not None else reading.interval
    value = corrected.value if corrected.value is not None else reading.value
    if value is None:
        return
    verdict, margin = hold_at_least(interval, value, None, limit)
    if verdict is Verdict.UNACCEPTABLE:
        yield judged(
            WATCH,
            Fact.LOW_FOR_KIND_AT_40C,
            Verdict.MARGINAL,
            Urgency.WATCH,
            reading,
            detail=Ohms(value),
            basis=StatementBasis.MEASURED if corrected.value is None else StatementBasis.CALCULATED,
            limit=limit,
            margin=margin,
            next_step=case.once(retest_later),
        )


def near_dew_point(
    case: Case, dew: Decimal, conditions: Conditions, readings: Sequence[BoundedReading], section: Section | None
) -> Finding:
    """Report values of a part that were read too near the dew point to be judged or corrected."""
    cable = conditions.winding_c is None
    return repeat(
        DEW,
        Fact.CABLE_NEAR_DEW_POINT if cable else Fact.WINDING_NEAR_DEW_POINT,
        step(StepKind.DRY_PART if cable else StepKind.WARM_MOTOR, ReasonKind.WATER_FILM, Settling.RISES_WHEN_WARM),
        *readings,
        place=Place(case.context.axis, section),
        detail=Climate(dew, conditions.winding_c, conditions.air_c, conditions.humidity_percent),
        basis=StatementBasis.CALCULATED,
        limit=case.limit("winding.dew_margin"),
    )
