"""The motor alone against IEEE 43-2013 Table 3: one minute, corrected to 40 °C, and not near the dew point.

Below 750 W the standard applies by analogy only, and the finding says so. Where the insulation system is not known,
both corrections are made and the lower result judges. Without a winding temperature the correction is taken over its
whole range, and only a value that passes or fails everywhere in it gets a verdict.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.advice import CLEAN_MOTOR
from grading.case import Case, hold_at_least, note, repeat, retest_months
from grading.finding import Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.interval import Interval
from grading.limits import LIMITS, watch_limit, winding_limit
from grading.measurement import AxisContext, Circumstance, InsulationSystem
from grading.reading import BoundedReading, Shape
from grading.rules.insulation import is_early, is_full_voltage
from grading.temperature import (
    HIGHEST_C,
    LOWEST_C,
    NotComparableError,
    dew_point_c,
    factor_bounds,
    factors,
)
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import to_earth
from grading.uncertainty import ROOT_3, combined
from grading.words import limit_value, limit_words, measured, number, ohms, place, sentence, span

WINDING = "insulation.winding"
TEMPERATURE = "insulation.temperature"
DEW = "insulation.dew_point"


@dataclass(frozen=True)
class Corrected:
    """A reading brought to 40 °C.

    Attributes:
        interval: Bounds, ohm.
        value: Point value, ohm, or None.
        standard: Standard uncertainty of reading and temperature together, ohm, or None.
        how: Which correction was made, in words.
    """

    interval: Interval
    value: Decimal | None
    standard: Decimal | None
    how: str


def insulation_system(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> tuple[InsulationSystem, str]:
    """The correction system to use, and what was assumed to choose it."""
    known = context.insulation_system
    if known is not InsulationSystem.UNKNOWN:
        return known, f"{known.value} correction"
    if context.made_year is not None and context.made_year >= limits["insulation.thermosetting_from"].value:
        how = f"thermosetting correction, assumed for a motor of {context.made_year} (house rule)"
        return InsulationSystem.THERMOSETTING, how
    return known, "insulation system not known, the lower of both corrections"


def correct(reading: BoundedReading, context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Corrected:
    """Bring a reading to 40 °C with the winding temperature on record.

    Raises:
        NotComparableError: The winding temperature is outside 10 to 85 °C.
    """
    system, how = insulation_system(context, limits)
    winding_c = context.winding_c
    if winding_c is None:
        low = factor_bounds(system, LOWEST_C, Decimal(0))[0]
        high = factor_bounds(system, HIGHEST_C, Decimal(0))[1]
        how += "; winding temperature not recorded, so anything from 10 to 85 °C"
        return Corrected(reading.interval.scaled(low, high), None, None, how)
    options = factors(system, winding_c)
    chosen = min(options, key=lambda name: options[name])
    factor = options[chosen]
    low, high = factor_bounds(chosen, winding_c, context.winding_c_uncertainty)
    how = f"{how}, K = {number(factor, 4)} at {winding_c:f} ± {context.winding_c_uncertainty:f} °C"
    if len(options) > 1:
        how += "".join(f"; {name.value} {number(k, 4)}" for name, k in options.items())
    value = standard = None
    if reading.value is not None and reading.standard_uncertainty is not None:
        value = reading.value * factor
        by_temperature = reading.value * (high - low) / 2 / ROOT_3
        standard = combined((reading.standard_uncertainty * factor, by_temperature))
    return Corrected(reading.interval.scaled(low, high), value, standard, how)


def damp(context: AxisContext, margin_c: Decimal) -> Decimal | None:
    """The dew point in °C where the winding (or, if unknown, the air) is within `margin_c` of it; else None."""
    surface = context.air_c if context.winding_c is None else context.winding_c
    if context.air_c is None or context.humidity_percent is None or surface is None:
        return None
    try:
        dew = dew_point_c(context.air_c, context.humidity_percent)
    except ValueError:
        return None
    return dew if surface < dew + margin_c else None


def judge_motor(case: Case) -> Iterator[Finding]:
    """The motor alone against the row of IEEE 43-2013 Table 3 that fits its winding."""
    replaced = {r.id for r in case.after_cleaning()}
    readings = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, Section.MOTOR_ALONE)
        if r.shape not in (Shape.NONE, Shape.UNEXPLAINED)
        and r.id not in replaced
        and to_earth(r.measurement.terminals)
        and (r.shape is Shape.COLLAPSED or not is_early(case, r))
    ]
    dew = damp(case.context, case.limit("winding.dew_margin").value)
    if readings and dew is not None and case.context.winding_c is not None:
        yield _damp(case, dew, tuple(r.id for r in readings))
        return
    for reading in readings:
        if _judges(case, reading, readings):
            yield from _judge(case, reading)


def _judges(case: Case, reading: BoundedReading, readings: list[BoundedReading]) -> bool:
    """Whether a reading is the one-minute value of its series at full voltage (or fails whatever its voltage)."""
    limit = winding_limit(case.context, case.profile.limits)
    elapsed = reading.measurement.elapsed_s
    later = elapsed is not None and elapsed > case.limit("insulation.time_later").value
    if later and any(
        r.measurement.elapsed_s is not None
        and r.measurement.elapsed_s < (elapsed or 0)
        and r.measurement.test_voltage_set == reading.measurement.test_voltage_set
        for r in readings
    ):
        return False
    if is_full_voltage(case, reading) or not any(is_full_voltage(case, r) for r in readings):
        return True
    return hold_at_least(reading.interval, reading.value, None, limit)[0] is Verdict.UNACCEPTABLE


def _judge(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    limit = winding_limit(case.context, case.profile.limits)
    where, fact = place(reading.measurement), measured(reading.measurement)
    try:
        corrected = correct(reading, case.context, case.profile.limits)
    except NotComparableError as error:
        step = NextStep("Let the motor come to between 10 and 85 °C and test again.", str(error))
        yield repeat(TEMPERATURE, sentence(f"{where}: {fact}. {error}"), (reading.id,), step, reading.section, limit)
        return
    verdict, margin = hold_at_least(corrected.interval, corrected.value, corrected.standard, limit)
    shown = ohms(corrected.interval.low if corrected.value is None else corrected.value)
    bound = "" if corrected.value is not None else "at least "
    tail = f"calculated {bound}{shown} at 40 °C ({corrected.how}; {limit_words(limit)}){_scope(case)}"
    if reading.shape is Shape.COLLAPSED or verdict is Verdict.UNACCEPTABLE:
        most = f"calculated below {ohms(corrected.interval.high)} at 40 °C ({limit_words(limit)})"
        below = most if corrected.value is None else tail
        yield _service(reading, limit, f"{where}: below the service limit of the winding; {fact}, {below}", margin)
    elif verdict is Verdict.INCONCLUSIVE:
        true = f"true value at 40 °C {span(corrected.interval)}"
        text = f"{where}: the winding's limit at 40 °C cannot be judged; {fact}, {true}, {tail}"
        yield _unsettled(case, reading, text, limit)
    elif not is_full_voltage(case, reading) or reading.noted(Circumstance.ONE_PHASE_ONLY):
        text = f"{where}: no fault of the winding shown under reduced conditions; {fact}, {tail}"
        yield note(WINDING, sentence(text), (reading.id,), reading.section)
    else:
        urgency = Urgency.WITHIN_LIMITS if verdict is Verdict.ACCEPTABLE else Urgency.WATCH
        text = f"{where}: the winding is within limits at the time of test; {fact}, {tail}"
        yield Finding(WINDING, verdict, urgency, sentence(text), limit, (reading.id,), margin, section=reading.section)
        yield from _watch(case, reading, corrected)


def _service(reading: BoundedReading, limit: Limit, text: str, margin: Margin) -> Finding:
    step = NextStep(
        CLEAN_MOTOR,
        "The winding is serviceable only at risk.",
        f"At least {limit_value(limit)} at 40 °C after cleaning and drying.",
    )
    return Finding(
        WINDING,
        Verdict.UNACCEPTABLE,
        Urgency.SERVICE_LIMIT,
        sentence(text),
        limit,
        (reading.id,),
        margin,
        step,
        reading.section,
        "We recommend to clean, dry and retest, and to plan the repair of the motor.",
    )


def _unsettled(case: Case, reading: BoundedReading, text: str, limit: Limit) -> Finding:
    if case.context.winding_c is None:
        step = NextStep(
            "Measure the winding temperature and enter it.",
            "The limit holds at 40 °C, and the correction needs the winding's own temperature.",
        )
    elif reading.shape is Shape.OVER:
        step = NextStep(
            "Note the end of the tester's range, or use a range that shows the value.", "The bound is below the limit."
        )
    elif case.context.insulation_system is InsulationSystem.UNKNOWN:
        step = NextStep(
            "Find out the insulation system (nameplate, maker) or test at 40 °C.",
            "The two corrections differ by a factor of three at 20 °C.",
        )
    else:
        step = NextStep(
            "Repeat with a more accurate instrument, or with the winding near 40 °C.",
            "Reading and temperature together are not certain enough.",
        )
    return repeat(WINDING, sentence(text), (reading.id,), step, reading.section, limit)


def _watch(case: Case, reading: BoundedReading, corrected: Corrected) -> Iterator[Finding]:
    limit = watch_limit(case.context, case.profile.limits)
    interval = corrected.interval if corrected.value is not None else reading.interval
    value = corrected.value if corrected.value is not None else reading.value
    if value is None:
        return
    verdict, margin = hold_at_least(interval, value, None, limit)
    if verdict is Verdict.UNACCEPTABLE:
        text = f"{place(reading.measurement)}: sound but low for its kind, {ohms(value)} ({limit_words(limit)})"
        step = NextStep(
            f"Retest in {retest_months(case)} under the same conditions.", "A falling value shows itself in a trend."
        )
        yield Finding(
            "insulation.watch",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            limit,
            (reading.id,),
            margin,
            step,
            reading.section,
        )


def _damp(case: Case, dew: Decimal, ids: tuple[str, ...]) -> Finding:
    winding = case.context.winding_c
    text = (
        f"Axis {case.context.axis}, motor alone: too close to the dew point to judge or correct; the winding is at "
        f"{winding:f} °C, the dew point of the air is calculated as {number(dew)} °C"
    )
    step = NextStep(
        "Warm the motor to well above the dew point and test again.",
        "A film of water on the winding lowers the reading.",
        "A value that rises by a multiple once warm indicates surface moisture.",
    )
    return repeat(DEW, sentence(text), ids, step, Section.MOTOR_ALONE, case.limit("winding.dew_margin"))


def _scope(case: Case) -> str:
    power = case.context.rated_power_w
    if power is not None and power < case.limit("insulation.scope_power").value:
        return f". By analogy: the standard covers machines from 750 W, this one is rated {power:f} W"
    return "" if power is not None else ". Rated power not recorded; below 750 W the standard applies by analogy only"
