"""Whole axes: where the fault is put (decision table and parallel law), and what is calculated on the way.

The first case is the worked example of the trade notes (brushed 90 V, 10 A servo with a bad cable); its limits are
those of IEC 60204-1, 18.3 and IEEE 43-2013, Table 3, the rest are program's rules.
"""

from __future__ import annotations

from typing import Any

import pytest

from grading.details import Located, UnmeasuredPart
from grading.facts import Fact
from grading.finding import Finding, Urgency
from grading.isolation import Fault, Location, Outcome, Part
from grading.measurement import MotorKind
from grading.outcome import AxisVerdict
from grading.prose.axis import cost_text, drive_text, headline_figures, headline_found, headline_text
from grading.prose.findings import finding_text
from grading.steps import StepKind
from grading.summary import DriveFact
from tests.grading.making import CABLE, MOTOR, WHOLE, ir, lg, ll
from tests.grading.whole_axes import BAD, OK, UNSURE, D, facts, graded, kinds, of, with_fact


def unmeasured(finding: Finding) -> UnmeasuredPart:
    assert isinstance(finding.detail, UnmeasuredPart)
    return finding.detail


def outcome(verdict: AxisVerdict) -> Location:
    found = with_fact(verdict, Fact.LOCATED).detail
    assert isinstance(found, Located)
    return found.location


def test_worked_example_a_bad_cable() -> None:
    joined = {"terminals": "A1+A2-PE"}
    readings = [
        ll(WHOLE, "1.08", "A1-A2"), lg(WHOLE, "0.82", terminals="A1-PE"), ir(WHOLE, "0.80", **joined),
        ir(MOTOR, "550", **joined), ll(MOTOR, "0.80", "A1-A2"), ir(CABLE, "0.80", **joined),
    ]  # fmt: skip
    verdict = graded(*readings, motor=MotorKind.DC_SERVO, rated_current=10, cable_length_m=20, core_mm2=2.5,
                     moving_cable=True)  # fmt: skip
    assert (verdict.verdict, verdict.urgency, verdict.fault) == (BAD, Urgency.DO_NOT_ENERGISE, Fault.CABLE)
    assert headline_text(verdict.summary).startswith(
        "Axis X: the cable is the failed part. Replace it before re-energising."
    )
    assert "0.80 MΩ at 500 V after 60 s (limit at least 1 MΩ, IEC 60204-1, 18.3" in headline_figures(verdict.summary)
    assert verdict.drive.verdict is BAD
    assert verdict.drive.fact is DriveFact.BELOW_FLOOR
    assert "drive is at risk" in drive_text(verdict.drive)
    winding = of(verdict, "insulation.winding")
    assert winding.verdict is OK
    assert winding.margin is not None
    assert winding.margin.value == pytest.approx(D("450.2"), rel=D("0.001"))
    assert of(verdict, "isolation.consistency").fact is Fact.WHOLE_AGREES
    assert of(verdict, "winding.joint").fact is Fact.JOINTS_GOOD
    assert kinds(verdict)[0] is StepKind.REPLACE_CABLE_ORDER
    assert verdict.record_ids == tuple(r.record_id for r in readings)


@pytest.mark.parametrize(
    ("whole", "motor", "cable", "fault", "first_step"),
    [
        ("0.80", "550", "0.80", Fault.CABLE, StepKind.REPLACE_CABLE_ORDER),
        ("0.50", "0.50", "2200", Fault.MOTOR, StepKind.CLEAN_DRY_MOTOR),
        ("0.30", "0.60", "0.60", Fault.BOTH, StepKind.REPLACE_CABLE_ORDER),
        ("0.50", "600", "600", Fault.CONNECTOR_OR_MOISTURE, StepKind.OPEN_CONNECTOR),
        ("550", "1100", "1100", Fault.NEITHER, None),
        ("550", "0.50", "1100", Fault.CONTRADICTORY, StepKind.REPEAT_WHOLE_AND_LOW),
        ("0.50", None, None, Fault.UNDETERMINED, StepKind.KEEP_OFF),
        ("0.50", "0.50", None, Fault.MOTOR, StepKind.CLEAN_DRY_MOTOR),
        ("0.50", None, "0.50", Fault.CABLE, StepKind.REPLACE_CABLE_ORDER),
        ("0.50", "900", None, Fault.UNDETERMINED, StepKind.KEEP_OFF),
        ("0.50", None, "900", Fault.UNDETERMINED, StepKind.KEEP_OFF),
        (None, "550", "1100", Fault.NEITHER, StepKind.TEST_WHOLE),
        (None, "0.50", "0.50", Fault.BOTH, StepKind.REPLACE_CABLE_ORDER),
        (None, "550", None, Fault.UNDETERMINED, StepKind.TEST_CABLE_ALONE),
    ],
)
def test_isolation_from_readings(
    whole: str | None, motor: str | None, cable: str | None, fault: Fault, first_step: StepKind | None
) -> None:
    """Decision table (program's rule on the parallel law)."""
    given = [(WHOLE, whole), (MOTOR, motor), (CABLE, cable)]
    verdict = graded(*(ir(section, text) for section, text in given if text is not None))
    assert verdict.fault is fault
    assert kinds(verdict)[:1] == ([] if first_step is None else [first_step])


def test_a_part_that_failed_by_itself_is_repaired_first_and_the_other_tested_then() -> None:
    """Common practice, no source: a winding low in its own test is at fault whatever the cable turns out to be."""
    motor = kinds(graded(ir(WHOLE, "0.50"), ir(MOTOR, "0.50")))
    assert motor[:3] == [StepKind.CLEAN_DRY_MOTOR, StepKind.IF_LOW_REPAIR, StepKind.TEST_CABLE_ALONE]
    cable = kinds(graded(ir(WHOLE, "0.50"), ir(CABLE, "0.50")))
    assert cable[:3] == [StepKind.REPLACE_CABLE_ORDER, StepKind.PHOTOGRAPH_WEAR, StepKind.TEST_MOTOR_ALONE]


def test_standard_sentences_of_a_motor_and_a_connector() -> None:
    motor = graded(
        ir(WHOLE, "0.07", test_voltage_built=70), ir(MOTOR, "0.07", test_voltage_built=70), ir(CABLE, ">550")
    )
    assert "the motor is the failed part" in headline_text(motor.summary)
    assert "the motor's winding-to-frame insulation has failed" in finding_text(of(motor, "isolation.locate"))
    assert motor.findings[1].fact is Fact.VOLTAGE_NOT_BUILT
    assert "could not build its test voltage" in finding_text(motor.findings[1])
    assert "at 70 V built of 500 V" in headline_figures(motor.summary)
    joint = graded(ir(WHOLE, "0.50"), ir(MOTOR, "600"), ir(CABLE, "600"))
    consistency = of(joint, "isolation.consistency")
    assert consistency.verdict is UNSURE
    assert consistency.fact is Fact.WHOLE_LOWER
    assert "a third path" in finding_text(consistency)


def test_nothing_found_says_what_it_does_not_exclude() -> None:
    verdict = graded(ir(WHOLE, ">4000", test_voltage_built=512), ll(WHOLE, "1.20"))
    assert (verdict.verdict, verdict.fault) == (OK, Fault.NEITHER)
    excluded = "This does not exclude faults that depend on motion, temperature or operation."
    assert excluded in headline_found(verdict.summary)
    assert cost_text(verdict.summary) == ""
    assert verdict.drive.verdict is OK
    assert "(500 V selected)" in headline_figures(verdict.summary)


def test_a_hidden_path_above_the_limit_is_found_too() -> None:
    verdict = graded(ir(WHOLE, "2.00"), ir(MOTOR, "600"), ir(CABLE, "600"))
    found = of(verdict, "isolation.consistency")
    assert "a third path of" in finding_text(found)
    assert verdict.verdict is UNSURE


def test_the_unmeasured_part_is_calculated_but_never_passed() -> None:
    verdict = graded(ir(WHOLE, "80"), ir(CABLE, "400"))
    found = with_fact(verdict, Fact.PART_CALCULATED)
    assert unmeasured(found).part is Part.MOTOR
    assert unmeasured(found).magnified is None
    assert "the motor by itself, as the other readings give it; calculated" in finding_text(found)
    near = graded(ir(WHOLE, "0.80"), ir(CABLE, "0.84"))
    assert "too uncertain to use" in finding_text(with_fact(near, Fact.PART_CALCULATED))


def test_only_values_at_one_voltage_are_set_against_each_other() -> None:
    verdict = graded(ir(WHOLE, "0.50", test_voltage_set=250), ir(MOTOR, "900"), ir(CABLE, "900"))
    assert verdict.fault is Fault.CONNECTOR_OR_MOISTURE
    assert "isolation.consistency" not in {f.rule for f in verdict.findings}


def test_a_whole_above_its_part_calculates_nothing() -> None:
    verdict = graded(ir(WHOLE, "0.80"), ir(CABLE, "0.40"))
    assert verdict.fault is Fault.CABLE
    assert Fact.PART_CALCULATED not in facts(verdict)
    assert not any("calculated" in finding_text(f) for f in verdict.findings)
    whole = graded(ir(WHOLE, "0.80"), ir(MOTOR, "0.90"), ir(CABLE, "0.40"))
    assert of(whole, "isolation.consistency").fact is Fact.WHOLE_HIGHER


def test_an_over_range_part_leaves_the_whole_to_the_other() -> None:
    verdict = graded(ir(WHOLE, "0.80"), ir(CABLE, ">4000"))
    assert unmeasured(with_fact(verdict, Fact.PART_CALCULATED)).magnified is None


def test_cores_of_a_cable_add_up() -> None:
    """Three cores at 3 MΩ each make 1 MΩ together; the whole at 0.97 agrees with its parts."""
    cores = [ir(CABLE, "3.00", terminals=f"{lead}-PE") for lead in "UVW"]
    again = ir(CABLE, "9.00", terminals="U-PE")
    verdict = graded(ir(WHOLE, "0.90"), *cores, again, ir(MOTOR, "900"))
    assert of(verdict, "isolation.consistency").fact is Fact.WHOLE_AGREES


def test_cores_of_point_values_make_a_point_value_together() -> None:
    one = graded(ir(WHOLE, "80.0"), ir(CABLE, "400", terminals="U+V+W-PE"))
    cores = [ir(CABLE, "1200", terminals=f"{lead}-PE") for lead in "UVW"]
    for verdict in (one, graded(ir(WHOLE, "80.0"), *cores)):
        assert unmeasured(with_fact(verdict, Fact.PART_CALCULATED)).magnified is None
    over = graded(ir(WHOLE, "80.0"), *cores[:2], ir(CABLE, ">100", terminals="W-PE"))
    assert unmeasured(with_fact(over, Fact.PART_CALCULATED)).magnified is not None


def test_a_part_is_cleared_at_the_voltage_at_which_the_whole_failed() -> None:
    at_250: dict[str, Any] = {"test_voltage_set": 250}
    verdict = graded(ir(WHOLE, "0.50", **at_250), ir(MOTOR, "900", **at_250), ir(CABLE, "0.50", **at_250))
    assert outcome(verdict).outcome is Outcome.CABLE_FAILED
    weaker = graded(ir(WHOLE, "0.50"), ir(MOTOR, "900", **at_250), ir(CABLE, "0.50", **at_250))
    assert outcome(weaker).unclear
    assert "the motor cannot be judged by its reading" in finding_text(of(weaker, "isolation.locate"))
    screened = graded(ir(WHOLE, "900", **at_250), ir(WHOLE, "0.50"), ir(MOTOR, "900", **at_250))
    assert outcome(screened).measure_next is Part.MOTOR
    assert "measure the motor again" in finding_text(with_fact(screened, Fact.LOCATED))


def test_touching_cores_convict_the_cable() -> None:
    collapsed = graded(ir(WHOLE, "550"), ir(CABLE, "collapsed", terminals="U-V", test_voltage_built=90))
    assert collapsed.fault is Fault.CABLE
    verdict = graded(ir(WHOLE, "550"), ir(CABLE, "0.20", terminals="U-V"))
    assert verdict.fault is Fault.CABLE
    assert verdict.verdict is BAD


def test_lead_to_lead_insulation_with_the_motor_connected_says_nothing() -> None:
    verdict = graded(ir(WHOLE, "550", terminals="U-V"))
    assert of(verdict, "insulation.value").verdict is UNSURE


def test_a_cable_with_a_core_left_out_is_said_to_be_so() -> None:
    # A core that was not tested may leak whatever the tested ones read (parallel law: each core is a way of its own).
    readings = [
        ir(WHOLE, "0.07", terminals="A1+A2-PE"),
        ir(MOTOR, "0.07", terminals="A1+A2-PE"),
        ir(CABLE, "900", terminals="A1-PE"),
    ]
    verdict = graded(*readings, motor=MotorKind.DC_SERVO, moving_cable=False)
    assert (verdict.verdict, verdict.fault) == (BAD, Fault.MOTOR)
    assert outcome(verdict).cores_left
    assert "not every core was tested" in finding_text(with_fact(verdict, Fact.LOCATED))
    assert StepKind.TEST_OTHER_CORES in kinds(verdict)
    assert StepKind.TEST_CABLE_ALONE not in kinds(verdict)
    both = graded(*readings, ir(CABLE, "900", terminals="A2-PE"), motor=MotorKind.DC_SERVO, moving_cable=False)
    assert outcome(both).outcome is Outcome.MOTOR_FAILED
    assert StepKind.TEST_OTHER_CORES not in kinds(both)
