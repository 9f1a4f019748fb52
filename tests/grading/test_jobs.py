"""Where to look first, jobs of several axes, empty hands, and everything as plain data."""

from __future__ import annotations

import json
from dataclasses import replace

from grading.measurement import CarrierUse, MotorKind, Reach
from grading.notices import Notice, NoticeKind
from grading.outcome import finding_data
from grading.prose.axis import headline_text
from grading.prose.reasons import reason_sentence
from grading.prose.steps import action_text
from grading.steps import StepKind
from grading.verdict import grade_job
from tests.grading.making import CABLE, METERS, MOTOR, WHOLE, axis, ir
from tests.grading.whole_axes import UNSURE, D, graded, kinds, of


def test_which_part_first() -> None:
    fixed = graded(ir(WHOLE, "0.50"), motor=MotorKind.DC_SERVO, moving_cable=False)
    moving = graded(ir(WHOLE, "0.50"), motor=MotorKind.DC_SERVO, moving_cable=True, cable_spare_on_hand=True)
    assert kinds(fixed)[1] is StepKind.TEST_MOTOR_ALONE
    assert kinds(moving)[1] is StepKind.TEST_CABLE_ALONE
    assert StepKind.SPARE_OVER_FLOOR in kinds(moving)
    hard = graded(ir(WHOLE, "0.50"), moving_cable=True, cable_spare_on_hand=True, motor_plug_reach=Reach.HARD)
    assert StepKind.SPARE_OVER_FLOOR not in kinds(hard)
    assert any("hard to reach" in reason_sentence(s.reason) for s in hard.next_steps)


def test_spares_are_spoken_of() -> None:
    readings = (ir(WHOLE, "0.30"), ir(MOTOR, "0.60"), ir(CABLE, "0.60"))
    verdict = graded(*readings, cable_spare_on_hand=True, motor_spare_on_hand=True)
    assert kinds(verdict)[0] is StepKind.REPLACE_CABLE_WITH_SPARE
    assert StepKind.IF_LOW_FIT_SPARE in kinds(verdict)
    assert "The spare on hand fits now." in action_text(verdict.next_steps[0].action)
    wet = graded(ir(WHOLE, "0.50"), ir(MOTOR, "600"), ir(CABLE, "600"), coolant_near=True)
    assert any("Coolant reaches it." in reason_sentence(s.reason) for s in wet.next_steps)


def test_nothing_measured_is_inconclusive() -> None:
    verdict = graded()
    assert (verdict.verdict, verdict.drive.verdict) == (UNSURE, UNSURE)
    assert kinds(verdict) == [StepKind.MEASURE_AXIS]
    assert headline_text(verdict.summary) == "Axis X: nothing was measured that can be judged."
    assert grade_job([], {}).verdict is UNSURE


def test_an_axis_without_context_is_said_to_be_unknown() -> None:
    job = grade_job([ir(WHOLE, "550")], {}, METERS)
    assert Notice(NoticeKind.UNKNOWN_AXES, ("X",)) in job.notices
    assert job.axes[0].verdict is UNSURE  # until somebody says what kind of motor it is


def test_order_of_cables_and_axes() -> None:
    contexts = {
        "X": replace(axis(moving_cable=False), axis="X"),
        "B": replace(axis(moving_cable=True), axis="B"),
        "C": replace(axis(), axis="C", carrier=CarrierUse(D(9), D(10))),
        "D": replace(axis(), axis="D", carrier=CarrierUse(D(9), D(0))),
    }
    job = grade_job([ir(WHOLE, "550", axis="X"), ir(WHOLE, "0.50", axis="B")], contexts, METERS)
    assert job.cable_order == ("C", "B", "D", "X")
    assert job.axes[0].axis == "B"


def test_everything_is_plain_data_with_its_sources() -> None:
    job = grade_job([ir(WHOLE, "0.80"), ir(MOTOR, "550"), ir(CABLE, "0.80")], {"X": axis()}, METERS)
    data = json.loads(json.dumps(job.to_dict(), ensure_ascii=False))
    finding = next(f for f in data["axes"][0]["findings"] if f["rule"] == "insulation.machine")
    assert finding["limit"]["value"] == "1"
    assert finding["limit"]["citation"] == "IEC 60204-1, 18.3 (read in a secondary text)"
    assert finding["margin"]["value"] == "0.80"
    assert finding["recommendation"].startswith("We recommend")


def test_a_finding_by_itself_is_plain_data() -> None:
    data = finding_data(graded(ir(WHOLE, "0.80")).findings[0])
    assert data["limit"]["citation"].startswith("IEC 60204-1, 18.3")


def test_margins_are_in_the_unit_of_the_limit() -> None:
    """±(3 % + 5 counts of 0.01) on 0.80 MΩ is 0.074 MΩ; U = 2·0.074/√3 = 0.0854 MΩ; worked by hand."""
    margin = of(graded(ir(WHOLE, "0.80")), "insulation.machine").margin
    assert margin is not None
    assert (margin.value, margin.low, margin.high, margin.limit, margin.unit) == (
        D("0.80"), D("0.726"), D("0.874"), D(1), "MOhm",
    )  # fmt: skip
    assert margin.expanded_uncertainty is not None
    assert margin.acceptance_limit is not None
    assert round(margin.expanded_uncertainty, 4) == D("0.0854")
    assert round(margin.acceptance_limit, 4) == D("1.0854")
    assert margin.ratio == D("0.8")
    over = of(graded(ir(WHOLE, ">4000")), "insulation.machine").margin
    assert over is not None
    assert (over.value, over.low, over.high, over.ratio, over.probability) == (None, D(4000), None, D(4000), None)
