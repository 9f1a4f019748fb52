"""The low-voltage ohmmeter to earth, by itself and against the insulation tester.

An ohmmeter drives a few volts. "Over range" on it never passes an insulation test; a real value on it is a fault
seen without any test voltage.
"""

from __future__ import annotations

from collections.abc import Iterator

from grading.advice import SPLIT_LOW
from grading.case import Case, in_ohm, note, repeat
from grading.finding import Finding, NextStep, Urgency, Verdict
from grading.interval import INFINITY
from grading.limits import machine_limit
from grading.measurement import Circumstance, MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.insulation import same_circuit
from grading.terms.quantity import QuantityKind
from grading.words import limit_words, measured, number, ohms, place, sentence

OHMMETER = "ground.ohmmeter"
COMPARE = "ground.compare"


def judge_ground(case: Case) -> Iterator[Finding]:
    """Every ohmmeter reading to earth, then each against the insulation reading of the same circuit."""
    replaced = {r.id for r in case.after_cleaning()}
    readings = [r for r in case.of(QuantityKind.RESISTANCE_TO_GROUND) if r.id not in replaced]
    for reading in readings:
        yield _alone(case, reading)
    tests = [r for r in case.of(QuantityKind.INSULATION_RESISTANCE) if r.id not in replaced]
    for reading in readings:
        partners = [t for t in tests if same_circuit(t, reading) and t.shape not in (Shape.NONE, Shape.UNEXPLAINED)]
        if partners and reading.shape is not Shape.NONE:
            worst = min(partners, key=lambda t: (t.interval.high, t.interval.low))
            yield from _compare(case, reading, worst)
    yield from _polarity(readings)


def _alone(case: Case, reading: BoundedReading) -> Finding:
    where, fact = place(reading.measurement), measured(reading.measurement)
    if reading.shape is Shape.NONE:
        step = NextStep("Read the point again.", sentence(reading.basis))
        return repeat(OHMMETER, sentence(f"{where}: no value, {reading.basis}"), (reading.id,), step, reading.section)
    if reading.shape is Shape.OVER:
        text = f"{where}: no path at the ohmmeter's low voltage; {fact}. That is no insulation test"
        return note(OHMMETER, sentence(text), (reading.id,), reading.section)
    limit = machine_limit(case.context, case.profile.limits)
    if reading.interval.high < in_ohm(case.limit("ground.dead_short")):
        step = NextStep(
            "Check that the lead is not the earth or the brake lead; then open the circuit at the motor.",
            "So low a value is a dead short to frame, or the wrong lead.",
        )
        text = f"{where}: dead short to frame; {fact}"
        return Finding(
            OHMMETER,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            sentence(text),
            limit,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )
    if reading.interval.high < in_ohm(limit):
        step = NextStep(SPLIT_LOW, "A few volts already find a path to earth.")
        text = f"{where}: a path to earth without any test voltage; {fact} ({limit_words(limit)})"
        return Finding(
            OHMMETER,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            sentence(text),
            limit,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )
    text = f"{where}: a real value where an ohmmeter should show over range; {fact}"
    step = NextStep("Start insulation tests at the lowest voltage.", "There is a path that a few volts already find.")
    return Finding(
        OHMMETER,
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(text),
        None,
        (reading.id,),
        next_step=step,
        section=reading.section,
    )


def _compare(case: Case, meter: BoundedReading, test: BoundedReading) -> Iterator[Finding]:
    ids, where = (meter.id, test.id), place(test.measurement)
    values = f"ohmmeter {meter.measurement.quantity.display()}, insulation tester {measured(test.measurement)}"
    low = test.shape is Shape.COLLAPSED or test.interval.high < in_ohm(machine_limit(case.context, case.profile.limits))
    if meter.shape is Shape.OVER and low:
        yield _voltage_dependent(case, ids, where, values, test)
    elif meter.shape is Shape.OVER:
        yield note(
            COMPARE, sentence(f"{where}: both instruments agree as far as they can; {values}"), ids, test.section
        )
    elif low or meter.interval.overlaps(test.interval):
        yield note(COMPARE, sentence(f"{where}: both instruments agree; {values}"), ids, test.section)
    else:
        yield from _disagree(case, ids, where, values, meter, test)


def _voltage_dependent(case: Case, ids: tuple[str, ...], where: str, values: str, test: BoundedReading) -> Finding:
    brushed = case.context.motor_kind is MotorKind.DC_SERVO
    cause = "carbon dust from the brushes, a pinhole or tracking" if brushed else "dust, a pinhole or tracking"
    text = (
        f"{where}: the fault conducts only under voltage; {values}. This indicates {cause}; the insulation test governs"
    )
    action = (
        "Vacuum the brush dust out, wipe the brush holders, dry, and retest; test brush holder to frame apart."
        if brushed else "Clean and dry the part, then retest."
    )  # fmt: skip
    step = NextStep(
        action,
        "A bridge of dust or damp conducts above some voltage only.",
        "At least the limit at the same voltage after cleaning confirms dirt; no change means the insulation itself.",
    )
    return Finding(
        COMPARE,
        Verdict.UNACCEPTABLE,
        Urgency.DO_NOT_ENERGISE,
        sentence(text),
        machine_limit(case.context, case.profile.limits),
        ids,
        next_step=step,
        section=test.section,
        recommendation="We recommend to clean, dry and retest before any part is replaced.",
    )


def _disagree(
    case: Case, ids: tuple[str, ...], where: str, values: str, meter: BoundedReading, test: BoundedReading
) -> Iterator[Finding]:
    limit = case.limit("compare.ohmmeter")
    top, bottom = (test.interval.low, meter.interval.high)
    if test.interval.high != INFINITY and test.interval.high < meter.interval.low:
        top, bottom = (meter.interval.low, test.interval.high)
    factor = top / bottom if bottom else INFINITY
    if factor <= limit.value:
        yield note(
            COMPARE, sentence(f"{where}: both instruments agree within a factor of three; {values}"), ids, test.section
        )
        return
    text = (
        f"{where}: the instruments disagree by a factor of {number(factor, 2)} or more; {values} ({limit_words(limit)})"
    )
    if test.interval.low > meter.interval.high:
        text += (
            ". This indicates fingers on the probes, a meter that was still settling, an auxiliary lead left on, or "
            "moisture that dried or polarised"
        )
        step = NextStep(
            "Repeat both; take the ohmmeter reading with its leads either way round.",
            "One of the two is wrong, or the part changed in between.",
            "Unequal values with the leads reversed indicate wet (electrolytic) leakage.",
        )
    else:
        step = NextStep(
            "Clean and dry, then repeat both.",
            "The path opens up with voltage.",
            "Agreement after cleaning confirms surface dirt.",
        )
    yield repeat(COMPARE, sentence(text), ids, step, test.section, limit)


def _polarity(readings: list[BoundedReading]) -> Iterator[Finding]:
    for turned in readings:
        if not turned.noted(Circumstance.REVERSED) or turned.value is None:
            continue
        for straight in readings:
            same = same_circuit(straight, turned) and not straight.noted(Circumstance.REVERSED)
            if same and straight.value and not straight.interval.overlaps(turned.interval):
                text = (
                    f"{place(turned.measurement)}: the value depends on polarity, {ohms(straight.value)} and reversed "
                    f"{ohms(turned.value)}; this indicates moisture (electrolytic leakage)"
                )
                step = NextStep(
                    "Dry the part and retest.",
                    "Wet paths act like a battery and read unequal.",
                    "Equal values both ways round after drying confirm moisture.",
                )
                yield Finding(
                    COMPARE,
                    Verdict.MARGINAL,
                    Urgency.WATCH,
                    sentence(text),
                    None,
                    (straight.id, turned.id),
                    next_step=step,
                    section=turned.section,
                )
