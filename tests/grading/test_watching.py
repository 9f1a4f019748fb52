"""Low but sound values, cables, slip rings, and readings that leave a question."""

from __future__ import annotations

from dataclasses import replace

from grading.facts import Fact
from grading.finding import Urgency
from grading.measurement import Connection, InsulationSystem, MotorKind
from grading.prose.axis import headline_text
from grading.prose.findings import finding_text
from grading.steps import StepKind
from grading.verdict import grade_axis
from tests.grading.making import CABLE, CORE, MOTOR, TESTER, WHOLE, axis, ir, made
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, D, graded, kinds, of, phases, rules


def test_low_but_sound_values_are_watched() -> None:
    motor = graded(ir(MOTOR, "60.0"))
    assert of(motor, "insulation.watch").limit is not None
    assert (motor.verdict, motor.urgency) == (WATCH, Urgency.WATCH)
    assert "Retest in 3 to 6 months" in headline_text(motor.summary)
    whole = graded(ir(WHOLE, "3.00"))
    assert StepKind.MEASURE_MOTOR_WITH_TEMPERATURE in kinds(whole)
    apart = graded(ir(WHOLE, "3.00"), ir(MOTOR, "60.0"), ir(CABLE, "3.16"))
    assert StepKind.PLAN_CABLE in kinds(apart)
    assert StepKind.MEASURE_MOTOR_WITH_TEMPERATURE not in kinds(apart)
    brushed = graded(ir(MOTOR, "60.0"), motor=MotorKind.DC_SERVO)
    assert brushed.verdict is OK


def test_cable_guidance_at_1000_volts() -> None:
    """ANSI/NETA ATS, Table 100.1 (from memory): 100 MΩ."""
    verdict = graded(ir(CABLE, "80.0", test_voltage_set=1000), rated_voltage=1200)
    assert of(verdict, "insulation.cable").verdict is WATCH


def test_slip_rings_have_the_lower_floor() -> None:
    """IEC 60204-1, 18.3: 50 kΩ (quoted second-hand)."""
    assert of(graded(ir(WHOLE, "0.20"), slip_rings=True), "insulation.machine").verdict is OK


def test_readings_that_leave_a_question_bring_the_step_that_settles_it() -> None:
    system = graded(ir(MOTOR, "20.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20)
    assert StepKind.FIND_INSULATION_SYSTEM in kinds(system)
    meter = graded(ir(MOTOR, "6.10"))
    assert StepKind.ACCURATE_OR_NEAR_40C in kinds(meter)
    screened = graded(ir(MOTOR, "3.00", test_voltage_set=250), ir(MOTOR, "900"))
    assert [f.verdict for f in screened.findings if f.rule == "insulation.winding"] == [BAD, OK]
    one = graded(ir(MOTOR, "550", noted=("one_phase_only",)))
    assert of(one, "insulation.winding").fact is Fact.WINDING_REDUCED_CONDITIONS
    core = graded(ir(WHOLE, "550"), made(CORE, CABLE, "none", "Ohm", terminals="U-U"))
    assert of(core, "winding.continuity").verdict is UNSURE


def test_nonsense_beside_the_readings_does_not_stop_them() -> None:
    assert graded(ir(MOTOR, "550"), humidity_percent=0).verdict is OK
    big_leads = {TESTER.id: replace(TESTER, lead_resistance_ohm=D(5))}
    verdict = grade_axis(phases(MOTOR, "1.20", "1.20", "1.20"), axis(), big_leads)
    assert of(verdict, "winding.unbalance").fact is Fact.BELOW_RESOLUTION
    assert "voltage.steps" not in rules(graded(ir(WHOLE, "0.00", test_voltage_set=250), ir(WHOLE, "0.00")))
    odd = graded(*phases(MOTOR, "1.00", "1.00", "3.00"), connection=Connection.STAR)
    assert "fit no star" in finding_text(of(odd, "winding.unbalance"))
