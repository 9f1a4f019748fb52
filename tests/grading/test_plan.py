"""The test plan: what comes next, what is skipped and when to stop (program's rules on the parallel law)."""

from __future__ import annotations

import pytest

from grading.measurement import Measurement, MotorKind
from grading.plan import SkipReason, StopReason, Task, plan_axis
from grading.plan_table import PLANS, IfBad, PlanReason, Preparation, VoltageStep, When
from grading.prose.plan import if_bad_text, plan_reason_text, preparation_text, skipped_text, stop_text
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from tests.grading.making import CABLE, CORE, IR, LG, LL, METERS, MOTOR, WHOLE, axis, ir, lg, ll, made


def upcoming(*readings: Measurement, motor: MotorKind = MotorKind.AC_SERVO, moving: bool = True) -> Task | None:
    return plan_axis(list(readings), axis(motor, moving_cable=moving), METERS).next


def where(task: Task | None) -> tuple[Section, QuantityKind, str, int | None]:
    assert task is not None
    volts = None if task.test_voltage is None else int(task.test_voltage)
    return task.point.section, task.point.kind, task.point.terminals, volts


CABINET = [ll(WHOLE, "1.20", p) for p in ("U-V", "V-W", "W-U")] + [lg(WHOLE, "OL", terminals=f"{x}-PE") for x in "UVW"]
LOW = [*CABINET, ir(WHOLE, "0.50", test_voltage_set=250)]


def test_the_cabinet_comes_first_without_voltage_then_with_little_then_with_the_judging_one() -> None:
    seen = []
    readings: list[Measurement] = []
    answers = {LL: "1.20", LG: "OL", IR: "900"}
    while (task := upcoming(*readings)) is not None:
        section, kind, terminals, volts = where(task)
        assert section is WHOLE
        seen.append((kind, terminals, volts))
        fields = {} if volts is None else {"test_voltage_set": volts, "elapsed_s": 60}
        unit = "Ohm" if kind is LL else "MOhm"
        readings.append(made(kind, section, answers[kind], unit, terminals=terminals, **fields))
    assert seen == [
        (LL, "U-V", None), (LL, "V-W", None), (LL, "W-U", None),
        (LG, "U-PE", None), (LG, "V-PE", None), (LG, "W-PE", None),
        (IR, "U+V+W-PE", 250), (IR, "U+V+W-PE", 500),
    ]  # fmt: skip
    stop = plan_axis(readings, axis(), METERS).stop
    assert stop is StopReason.WHOLE_GOOD
    assert "clears motor and cable" in stop_text(stop)


def test_points_that_name_no_lead_answer_one_point_each() -> None:
    one, two = ll(WHOLE, "1.20", "lead-lead"), ll(WHOLE, "1.20", "lead-lead")
    assert where(upcoming(one))[2] == "V-W"
    assert where(upcoming(one, two))[2] == "W-U"
    ground = lg(WHOLE, "OL", terminals="lead-ground")
    assert where(upcoming(*CABINET[:3], ground))[2] == "V-PE"


def test_any_lead_answers_for_a_winding_but_each_core_for_itself() -> None:
    assert upcoming(*CABINET, ir(WHOLE, "900", terminals="U-PE")) is None
    one_core = [*LOW, ir(CABLE, "900", test_voltage_set=250, terminals="U-PE")]
    assert where(upcoming(*one_core))[:3] == (CABLE, IR, "V-PE")


def test_a_low_step_is_not_met_with_a_higher_one() -> None:
    tasks = plan_axis(LOW, axis(moving_cable=True), METERS).tasks
    judging = next(t for t in tasks if t.point.section is WHOLE and t.point.step is VoltageStep.JUDGING)
    assert judging.skipped is SkipReason.LOWER_STEP_NOT_CLEAR
    collapsed = [*CABINET, ir(WHOLE, "collapsed", test_voltage_set=250, test_voltage_built=60)]
    assert where(upcoming(*collapsed))[0] is CABLE
    moving = [*CABINET, ir(WHOLE, "900", test_voltage_set=250, noted=("falling",))]
    tasks = plan_axis(moving, axis(), METERS).tasks
    assert next(t for t in tasks if t.point.section is WHOLE and t.point.step is VoltageStep.JUDGING).skipped


def test_an_ohmmeter_that_shows_a_path_keeps_the_voltage_down() -> None:
    leak = [*CABINET[:3], lg(WHOLE, "0.10"), *CABINET[4:], ir(WHOLE, "0.90", test_voltage_set=250)]
    assert where(upcoming(*leak))[0] is CABLE
    motor = [*leak, ll(MOTOR, "1.20"), ll(MOTOR, "1.20", "V-W"), ll(MOTOR, "1.20", "W-U"), lg(MOTOR, "0.10")]
    tasks = plan_axis(motor, axis(moving_cable=False), METERS).tasks
    skipped = {t.skipped for t in tasks if t.point.section is MOTOR and t.point.kind is IR}
    assert skipped == {SkipReason.PATH_TO_EARTH}


def test_a_bad_whole_adds_the_parts_the_likelier_one_first() -> None:
    assert where(upcoming(*LOW))[0] is CABLE
    assert where(upcoming(*LOW, moving=False))[0] is CABLE
    brushed = [ll(WHOLE, "1.08", "A1-A2"), lg(WHOLE, "OL", terminals="A1-PE"), lg(WHOLE, "OL", terminals="A2-PE"),
               ir(WHOLE, "0.50", test_voltage_set=100, terminals="A1+A2-PE")]  # fmt: skip
    assert where(upcoming(*brushed, motor=MotorKind.DC_SERVO, moving=False))[0] is MOTOR


def test_parts_are_left_out_while_the_whole_is_good() -> None:
    tasks = plan_axis([*CABINET, ir(WHOLE, "900")], axis(), METERS).tasks
    parts = [t for t in tasks if t.point.section is not WHOLE]
    assert {t.skipped for t in parts} == {SkipReason.WHOLE_NOT_FAILED}


def test_cores_end_to_end_only_after_an_open_or_unequal_circuit() -> None:
    opened = [ll(WHOLE, "OL"), *CABINET[1:], ir(WHOLE, "900")]
    cores = [t for t in plan_axis(opened, axis(), METERS).tasks if t.point.kind is CORE]
    assert all(not t.skipped for t in cores)
    unequal = [ll(WHOLE, "1.50"), *CABINET[1:], ir(WHOLE, "900")]
    assert all(not t.skipped for t in plan_axis(unequal, axis(), METERS).tasks if t.point.kind is CORE)
    cores = [t for t in plan_axis(LOW, axis(), METERS).tasks if t.point.kind is CORE]
    assert {t.skipped for t in cores} == {SkipReason.CIRCUIT_SOUND}


def test_parts_tested_apart_end_the_plan() -> None:
    parts = [ir(CABLE, "0.50", test_voltage_set=250, terminals="U+V+W-PE")]
    parts += [ir(CABLE, "900", test_voltage_set=250, terminals=p) for p in ("U-V", "V-W", "W-U")]
    parts += [ll(MOTOR, "1.00", p) for p in ("U-V", "V-W", "W-U")] + [lg(MOTOR, "OL"), ir(MOTOR, "900")]
    state = plan_axis([*LOW, *parts], axis(), METERS)
    assert state.next is None
    assert state.stop is StopReason.PARTS_TESTED


def test_armature_wants_eight_positions() -> None:
    start = [ll(WHOLE, "1.08", "A1-A2"), lg(WHOLE, "OL", terminals="A1-PE"), lg(WHOLE, "OL", terminals="A2-PE"),
             ir(WHOLE, "0.50", test_voltage_set=100, terminals="A1+A2-PE")]  # fmt: skip
    seven = [ll(MOTOR, "0.80", "A1-A2", position=str(i)) for i in range(7)]
    assert where(upcoming(*start, *seven, motor=MotorKind.DC_SERVO, moving=False))[1] is LL
    eighth = ll(MOTOR, "0.80", "A1-A2", position="8")
    assert where(upcoming(*start, *seven, eighth, motor=MotorKind.DC_SERVO, moving=False))[1] is LG


def test_early_or_blank_values_do_not_answer_a_point() -> None:
    screened = [*CABINET, ir(WHOLE, "900", test_voltage_set=250)]
    assert where(upcoming(*screened, ir(WHOLE, "550", elapsed_s=7)))[3] == 500
    assert upcoming(*CABINET, ir(WHOLE, "900", test_voltage_set=None, test_voltage_built=500)) is None
    assert where(upcoming(*CABINET, ir(WHOLE, "none")))[3] == 250
    assert where(upcoming(*CABINET[:3], ll(WHOLE, "1.20", "U-V"), lg(WHOLE, "none")))[2] == "U-PE"


@pytest.mark.parametrize("motor", list(MotorKind))
def test_every_point_says_why_and_what_a_bad_value_asks_for(motor: MotorKind) -> None:
    for section, points in PLANS[motor].items():
        assert points
        for point in points:
            assert point.section is section
            assert plan_reason_text(point.reason).endswith(".")
            assert if_bad_text(point.if_bad).endswith(".")
            assert (point.seconds == 60) == (point.kind is IR)
            assert (point.step is VoltageStep.NONE) == (point.kind is not IR)
            assert section is WHOLE or point.when not in (When.ALWAYS, When.SCREEN_CLEAR)
    first = plan_axis([], axis(motor), METERS).tasks[0]
    assert any("drive" in preparation_text(p) for p in first.prepare)


def test_every_code_of_the_plan_has_its_words() -> None:
    assert all(skipped_text(code) for code in SkipReason)
    assert all(stop_text(code) for code in StopReason)
    assert all(plan_reason_text(code) for code in PlanReason)
    assert all(if_bad_text(code) for code in IfBad)
    assert all(preparation_text(code) for code in Preparation)
    assert skipped_text(None) == stop_text(None) == ""
