"""What the tester did: overshoot, a voltage too high for the motor, calibration, battery, damp air."""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case, judged, note
from grading.details import Calibration, Ceiling, Climate, Ratio
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Urgency, Verdict
from grading.measurement import Measurement
from grading.reading import Shape
from grading.rules.motor import DEW, damp_groups, near_dew_point
from grading.steps import Action, ReasonKind, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.voltage import ChoiceReason, overshoot_ratio


def judge_tester(case: Case) -> Iterator[Finding]:
    """Judge overshoot, ceiling, calibration and the damp of the air for everything measured."""
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
        yield judged(
            "voltage.overshoot",
            Fact.OVERSHOOT,
            Verdict.MARGINAL,
            Urgency.WATCH,
            reading,
            detail=Ratio(overshoot_ratio(set_voltage, built)),
            limit=limit,
            next_step=step(StepKind.CALIBRATE_TESTER, ReasonKind.ABOVE_STANDARD),
        )


def _ceiling(case: Case) -> Iterator[Finding]:
    context = case.context
    choice = case.voltages
    limit = case.limit("tester.ceiling_small")
    small = (
        context.rated_voltage is not None
        and context.rated_voltage < case.limit("tester.ceiling_rated").value
        and context.maker_test_voltage is None
    )
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        selected = reading.measurement.test_voltage_set
        cable = reading.section is Section.CABLE_ALONE
        highest = max(choice.ceiling, case.limit("voltage.cable_ceiling").value) if cable else choice.ceiling
        if selected is None or selected <= highest:
            continue
        yield judged(
            "voltage.choice",
            Fact.ABOVE_CEILING,
            Verdict.MARGINAL,
            Urgency.WATCH,
            reading,
            detail=Ceiling(selected, highest, ChoiceReason.CABLE_CLASS if cable else choice.reason),
            limit=limit if small and not cable and selected > limit.value else None,
            next_step=step(
                Action(StepKind.DO_NOT_EXCEED_CABLE if cable else StepKind.DO_NOT_EXCEED, voltage=highest),
                ReasonKind.CAN_HARM,
            ),
        )


def _calibration(case: Case) -> Iterator[Finding]:
    late: dict[str, list[Measurement]] = {}
    for measurement in case.measurements:
        instrument = case.instruments.get(measurement.instrument_id or "")
        if instrument is None or instrument.calibration_due is None or measurement.at is None:
            continue
        if measurement.at.date() > instrument.calibration_due:
            late.setdefault(instrument.id, []).append(measurement)
    for name, measurements in late.items():
        due = case.instruments[name].calibration_due
        assert due is not None
        yield Finding(
            "instrument.calibration",
            Verdict.MARGINAL,
            Urgency.WATCH,
            Place(case.context.axis),
            Fact.OUT_OF_CALIBRATION,
            detail=Calibration(name, due),
            record_ids=tuple(m.record_id for m in measurements),
            next_step=step(StepKind.USE_CALIBRATED, ReasonKind.NOT_ASSURED),
        )


def _damp_air(case: Case) -> Iterator[Finding]:
    """Find what was measured near the dew point besides the motor alone: the whole by its winding, a cable by the air.

    A film of water lowers what is read, so a value read near the dew point is neither judged nor corrected. Where the
    winding's own temperature is not known the air's only says that it may have been so.
    """
    for section in (*Section, None):
        own = case.of(QuantityKind.INSULATION_RESISTANCE, section)
        readings = [r for r in own if r.section is section and r.shape not in (Shape.NONE, Shape.UNEXPLAINED)]
        cable = section is Section.CABLE_ALONE
        for (dew, conditions), group in damp_groups(case, readings, by_air=cable).items():
            known = cable or conditions.winding_c is not None
            if known and section is not Section.MOTOR_ALONE:
                yield near_dew_point(case, dew, conditions, group, section)
            elif not known:
                detail = Climate(dew, air_c=conditions.air_c, humidity_percent=conditions.humidity_percent)
                place, basis = Place(case.context.axis), StatementBasis.CALCULATED
                yield note(DEW, Fact.AIR_NEAR_DEW_POINT, *group, place=place, detail=detail, basis=basis)
