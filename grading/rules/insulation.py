"""Insulation resistance to earth against every limit that applies to the part measured.

Each limit is held separately and all are listed; the worst gives the headline. IEC 60204-1 judges the value as
measured; IEEE 43 judges the motor alone, one minute, corrected to 40 °C.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from grading.case import Case, hold_at_least, in_ohm, note, repeat, retest_months
from grading.finding import Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.limits import machine_limit, watch_limit, winding_limit
from grading.measurement import Circumstance
from grading.reading import BoundedReading, Shape
from grading.rules.held import collapsed, doubtful, fails, passes, straddles
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import to_earth
from grading.words import limit_value, limit_words, measured, ohms, place, sentence

MACHINE = "insulation.machine"
TIME = "insulation.time"
VALUE = "insulation.value"


def judge_insulation(case: Case) -> Iterator[Finding]:
    """Every insulation reading to earth against the limits on values as measured."""
    replaced = {r.id for r in case.after_cleaning()}
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if not to_earth(reading.measurement.terminals) and reading.section is not Section.CABLE_ALONE:
            yield _joined(reading)
        elif reading.id in replaced:
            text = f"{place(reading.measurement)}: {measured(reading.measurement)} before cleaning or repair"
            yield note(MACHINE, sentence(text), (reading.id,), reading.section)
        elif reading.shape in (Shape.NONE, Shape.UNEXPLAINED):
            yield _no_value(reading)
        elif reading.shape is not Shape.COLLAPSED and is_early(case, reading):
            yield from _early(case, reading)
        else:
            yield from _against_limits(case, reading)


def judge_complete(case: Case) -> Iterator[Finding]:
    """An axis without any insulation test is never called acceptable."""
    if case.readings and not case.of(QuantityKind.INSULATION_RESISTANCE):
        text = f"Axis {case.context.axis}: no insulation test was recorded; an ohmmeter cannot replace one."
        choice = case.voltages
        step = NextStep(
            f"Test from the cabinet to earth, first at {choice.screening:f} V, then at {choice.judging:f} V for 60 s.",
            "A few volts do not show what conducts under voltage.",
        )
        yield repeat(VALUE, text, tuple(r.id for r in case.readings), step)


def is_early(case: Case, reading: BoundedReading) -> bool:
    """Whether the value is known not to be a one-minute value (or, by shop rule, not known to be one)."""
    elapsed = reading.measurement.elapsed_s
    if elapsed is None:
        return case.profile.require_time
    return elapsed < case.limit(TIME).value


def wanted_voltage(case: Case) -> Decimal:
    """Test voltage that the limits as measured presuppose, V."""
    return case.voltages.judging


def is_full_voltage(case: Case, reading: BoundedReading) -> bool:
    """Whether the voltage on the terminals was at least 90 % of what the limit presupposes."""
    wanted = wanted_voltage(case) * case.limit("tester.built").value
    return reading.voltage is not None and reading.voltage >= wanted


def same_circuit(one: BoundedReading, other: BoundedReading) -> bool:
    """Whether two readings to earth hang on the same copper: a winding joins all leads, a cable alone does not."""
    if one.section is not other.section:
        return False
    return one.section is not Section.CABLE_ALONE or one.measurement.terminals == other.measurement.terminals


def _against_limits(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    earth = to_earth(reading.measurement.terminals)
    machine = machine_limit(case.context, case.profile.limits) if earth else case.limit("insulation.drive_floor")
    yield _as_measured(case, reading, machine, MACHINE)
    for extra in case.profile.extra:
        if extra.applies(reading.section, case.context.motor_kind):
            yield _as_measured(case, reading, extra.limit, "insulation.shop")
    if reading.section is Section.CABLE_ALONE:
        yield from _cable_guidance(case, reading)
    if reading.section is not Section.MOTOR_ALONE:
        yield from _watch(case, reading)


def _as_measured(case: Case, reading: BoundedReading, limit: Limit, rule: str) -> Finding:
    verdict, margin = hold_at_least(reading.interval, reading.value, reading.standard_uncertainty, limit)
    if reading.shape is Shape.COLLAPSED:
        # A collapse proves R below 1000 Ω/V; at 1000 V that bound is the limit itself and still a fail.
        return collapsed(reading, limit, rule, margin)
    if verdict is Verdict.UNACCEPTABLE:
        return fails(reading, limit, rule, margin)
    if verdict is Verdict.INCONCLUSIVE:
        return straddles(reading, limit, rule, margin)
    if reading.noted(Circumstance.UNSTEADY) or reading.noted(Circumstance.LOW_BATTERY):
        return doubtful(reading, limit, rule, margin)
    if not is_full_voltage(case, reading):
        return _low_voltage(case, reading, limit, rule, margin)
    return passes(reading, limit, rule, verdict, margin)


def _low_voltage(case: Case, reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    wanted = wanted_voltage(case)
    others = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, reading.section)
        if same_circuit(r, reading) and is_full_voltage(case, r) and not is_early(case, r) and r.shape is not Shape.NONE
    ]
    where, fact = place(reading.measurement), measured(reading.measurement)
    if others:
        text = f"{where}: screening step; {fact}. The reading at {wanted:f} V judges"
        return note(rule, sentence(text), (reading.id,), reading.section)
    at = "the test voltage was not recorded" if reading.voltage is None else f"{reading.voltage:f} V is a lower voltage"
    text = f"{where}: no fault shown, but {at} and the limit holds at {wanted:f} V; {fact} ({limit_words(limit)})"
    step = NextStep(
        f"Test again at {wanted:f} V for 60 s, if the maker allows it.",
        "Some faults only conduct at the higher voltage.",
        f"A steady value of at least {limit_value(limit)} at {wanted:f} V.",
    )
    return repeat(rule, sentence(text), (reading.id,), step, reading.section, limit, margin)


def _joined(reading: BoundedReading) -> Finding:
    fact = measured(reading.measurement)
    text = f"{place(reading.measurement)}: lead to lead, where the winding joins the leads; {fact}"
    step = NextStep(
        "Test from the joined leads to earth.", "Between leads of one winding there is no insulation to test."
    )
    return repeat(VALUE, sentence(text), (reading.id,), step, reading.section)


def _no_value(reading: BoundedReading) -> Finding:
    text = f"{place(reading.measurement)}: no value to judge, {reading.basis}"
    step = NextStep("Read the point again: value, unit, test voltage built and time.", sentence(reading.basis))
    return repeat(VALUE, sentence(text), (reading.id,), step, reading.section)


def _early(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    later = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, reading.section)
        if same_circuit(r, reading)
        and not is_early(case, r)
        and r.shape is not Shape.NONE
        and (r.measurement.test_voltage_set or 0) >= (reading.measurement.test_voltage_set or 0)
    ]
    where, fact = place(reading.measurement), measured(reading.measurement)
    if later:
        yield note(TIME, sentence(f"{where}: earlier value of the same test; {fact}"), (reading.id,), reading.section)
        return
    why = "was not recorded" if reading.measurement.elapsed_s is None else "was shorter than a minute"
    step = NextStep(
        "Repeat and hold the test voltage for 60 s.",
        "Insulation resistance is a one-minute value.",
        "A value read at 60 s.",
    )
    text = f"{where}: not a one-minute value, the time on test {why}; {fact}"
    yield repeat(TIME, sentence(text), (reading.id,), step, reading.section, case.limit(TIME))


def _watch(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    """Sound by the machine's limit, yet low for its kind (house rule)."""
    limit = watch_limit(case.context, case.profile.limits)
    machine = machine_limit(case.context, case.profile.limits)
    passes, _ = hold_at_least(reading.interval, reading.value, reading.standard_uncertainty, machine)
    verdict, margin = hold_at_least(reading.interval, reading.value, None, limit)
    sound = passes in (Verdict.ACCEPTABLE, Verdict.MARGINAL) and is_full_voltage(case, reading)
    if not sound or verdict is not Verdict.UNACCEPTABLE or reading.shape is not Shape.POINT:
        return
    text = f"{place(reading.measurement)}: sound but low for its kind; {measured(reading.measurement)}"
    floor = in_ohm(winding_limit(case.context, case.profile.limits))
    apart = case.of(QuantityKind.INSULATION_RESISTANCE, Section.MOTOR_ALONE)
    step = NextStep(
        f"Retest in {retest_months(case)} under the same conditions.", "A falling value shows itself in a trend."
    )
    if reading.section is Section.THROUGH_CABLE and reading.interval.low < floor and not apart:
        text += f", which indicates that motor or cable may be as low as {ohms(reading.interval.low)}"
        step = NextStep(
            "Measure the motor alone, with its winding temperature.",
            "The motor alone must reach its own limit at 40 °C; this reading does not show that.",
        )
    elif reading.section is Section.CABLE_ALONE:
        step = NextStep(
            "Plan the replacement of the cable, and inspect it where it bends and at its plugs.",
            "A sound cable reads far higher; it wears on where it moves.",
        )
    yield Finding(
        "insulation.watch",
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(f"{text} ({limit_words(limit)})"),
        limit,
        (reading.id,),
        margin,
        step,
        reading.section,
    )


def _cable_guidance(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    if reading.voltage is None or reading.shape is Shape.COLLAPSED or not to_earth(reading.measurement.terminals):
        return
    rated = case.context.rated_voltage
    built = case.limit("tester.built").value
    small = rated is not None and rated <= case.limit("insulation.cable_rated").value
    if reading.voltage >= built * case.limit("insulation.cable_test_high").value:
        limit = case.limit("insulation.cable_600")
    elif small and reading.voltage >= built * case.limit("insulation.cable_test").value:
        limit = case.limit("insulation.cable_250")
    else:
        return
    verdict, margin = hold_at_least(reading.interval, reading.value, None, limit)
    if verdict is Verdict.UNACCEPTABLE:
        text = f"{place(reading.measurement)}: below guidance for a sound cable; {measured(reading.measurement)}"
        step = NextStep("Inspect the cable where it bends and at its plugs; retest.", "New cables read far higher.")
        yield Finding(
            "insulation.cable",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(f"{text} ({limit_words(limit)})"),
            limit,
            (reading.id,),
            margin,
            step,
            reading.section,
        )
