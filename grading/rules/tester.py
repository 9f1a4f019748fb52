"""What the tester did: overshoot, a voltage too high for the motor, calibration, battery, damp air."""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case, note
from grading.finding import Finding, NextStep, Urgency, Verdict
from grading.rules.motor import DEW, damp
from grading.terms.quantity import QuantityKind
from grading.voltage import overshoot_ratio
from grading.words import CHOICE_WORDS, limit_words, number, place, sentence


def judge_tester(case: Case) -> Iterator[Finding]:
    """Overshoot, ceiling, calibration and battery of everything measured."""
    yield from _overshoot(case)
    yield from _ceiling(case)
    yield from _calibration(case)
    yield from _damp_air(case)


def _overshoot(case: Case) -> Iterator[Finding]:
    limit = case.limit("tester.overshoot")
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        set_voltage, built = reading.measurement.test_voltage_set, reading.measurement.test_voltage_built
        if not set_voltage or built is None or overshoot_ratio(set_voltage, built) <= limit.value:
            continue
        text = (
            f"{place(reading.measurement)}: the tester built more than it may; measured {built:f} V with "
            f"{set_voltage:f} V selected, {number(overshoot_ratio(set_voltage, built))} times ({limit_words(limit)})"
        )
        step = NextStep("Send the tester to calibration.", "Its voltage is above what its standard allows.")
        yield Finding(
            "voltage.overshoot",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            limit,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )


def _ceiling(case: Case) -> Iterator[Finding]:
    context = case.context
    choice = case.voltages
    highest = choice.ceiling
    limit = case.limit("tester.ceiling_small")
    small = (
        context.rated_voltage is not None
        and context.rated_voltage < case.limit("tester.ceiling_rated").value
        and context.maker_test_voltage is None
    )
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        selected = reading.measurement.test_voltage_set
        if selected is None or selected <= highest:
            continue
        over = small and selected > limit.value
        text = (
            f"{place(reading.measurement)}: tested at {selected:f} V, above the {highest:f} V chosen for this motor "
            f"({limit_words(limit) if over else CHOICE_WORDS[choice.reason]})"
        )
        step = NextStep(
            f"Do not exceed {highest:f} V on this motor; retest it at that voltage.",
            "A test voltage above what the winding was proved with can harm it.",
        )
        yield Finding(
            "voltage.choice",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            limit if over else None,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )


def _calibration(case: Case) -> Iterator[Finding]:
    late: dict[str, list[str]] = {}
    for measurement in case.measurements:
        instrument = case.instruments.get(measurement.instrument_id or "")
        if instrument is None or instrument.calibration_due is None or measurement.at is None:
            continue
        if measurement.at.date() > instrument.calibration_due:
            late.setdefault(instrument.id, []).append(measurement.record_id)
    for name, ids in late.items():
        due = case.instruments[name].calibration_due
        text = f"Axis {case.context.axis}: instrument {name} was out of calibration, due {due}, when it measured this"
        step = NextStep(
            "Repeat with an instrument in calibration, or have this one calibrated and confirm the values.",
            "Its accuracy was not assured on the day of the test.",
        )
        yield Finding(
            "instrument.calibration",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            record_ids=tuple(ids),
            next_step=step,
        )


def _damp_air(case: Case) -> Iterator[Finding]:
    if case.context.winding_c is not None:
        return
    dew = damp(case.context, case.limit("winding.dew_margin").value)
    ids = tuple(r.id for r in case.of(QuantityKind.INSULATION_RESISTANCE))
    if dew is not None and ids:
        text = (
            f"Axis {case.context.axis}: the air is near its dew point, calculated as {number(dew)} °C at "
            f"{case.context.air_c:f} °C and {case.context.humidity_percent:f} %; a cold winding can be wet. Measure "
            "the winding temperature"
        )
        yield note(DEW, sentence(text), ids)
