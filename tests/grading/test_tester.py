"""Test voltage and tester: steps, times, ranges, accuracy, calibration, leads kept out."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from grading.facts import Fact
from grading.measurement import MotorKind
from grading.notices import Notice, NoticeKind
from grading.prose.findings import finding_text
from grading.prose.notices import notice_text
from grading.prose.steps import action_text
from grading.shop import read_profile
from grading.verdict import grade_axis, grade_job
from tests.grading.making import METERS, WHOLE, axis, ir
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, facts, graded, of, rules


def test_screening_steps_step_back_behind_the_judging_one() -> None:
    verdict = graded(ir(WHOLE, "900", test_voltage_set=250), ir(WHOLE, "880"))
    assert verdict.verdict is OK
    assert Fact.SCREENING_STEP in facts(verdict)
    alone = graded(ir(WHOLE, "900", test_voltage_set=250))
    assert alone.verdict is UNSURE
    assert any("Test again at 500 V" in action_text(s.action) for s in alone.next_steps)


def test_low_voltage_failures_stand() -> None:
    assert graded(ir(WHOLE, "0.50", test_voltage_set=250)).verdict is BAD


def test_small_motor_is_judged_at_its_own_voltage() -> None:
    verdict = graded(ir(WHOLE, "900", test_voltage_set=100), rated_voltage=24)
    assert verdict.verdict is OK
    too_high = graded(ir(WHOLE, "900", test_voltage_set=1000), motor=MotorKind.DC_SERVO, rated_voltage=90)
    assert of(too_high, "voltage.choice").limit is not None
    maker = graded(ir(WHOLE, "900", test_voltage_set=250), maker_test_voltage=250)
    assert maker.verdict is OK
    beyond = graded(ir(WHOLE, "900", test_voltage_set=500), maker_test_voltage=250)
    assert "maker's test voltage" in finding_text(of(beyond, "voltage.choice"))


def test_overshoot_asks_for_calibration() -> None:
    verdict = graded(ir(WHOLE, ">4000", test_voltage_built=640))
    assert of(verdict, "voltage.overshoot").verdict is WATCH
    assert "voltage.overshoot" not in rules(graded(ir(WHOLE, ">4000", test_voltage_built=580)))


def test_collapse_at_1000_volts_proves_the_fail_without_margin() -> None:
    verdict = graded(ir(WHOLE, "collapsed", test_voltage_set=1000, test_voltage_built=700), rated_voltage=1200)
    assert verdict.verdict is BAD


@pytest.mark.parametrize("fields", [
    {"test_voltage_built": 100, "text": "5.00"}, {"test_voltage_built": 100, "text": ">4000"},
    {"test_voltage_built": 100, "text": "OL"}, {"test_voltage_built": 100, "text": "0.10", "noted": ("unsteady",)},
])  # fmt: skip
def test_unexplained_voltages_are_repeated(fields: dict[str, Any]) -> None:
    text = fields.pop("text")
    verdict = graded(ir(WHOLE, text, **fields))
    assert (verdict.verdict, of(verdict, "insulation.value").verdict) == (UNSURE, UNSURE)


def test_early_value_is_no_one_minute_value() -> None:
    verdict = graded(ir(WHOLE, "550", elapsed_s=7))
    assert of(verdict, "insulation.time").verdict is UNSURE
    screened = graded(ir(WHOLE, "550", test_voltage_set=250), ir(WHOLE, "550", elapsed_s=7))
    assert of(screened, "insulation.time").verdict is UNSURE
    assert of(screened, "insulation.machine").verdict is UNSURE
    with_later = graded(ir(WHOLE, "500", elapsed_s=30), ir(WHOLE, "550"))
    assert with_later.verdict is OK


def test_no_time_recorded_is_taken_as_the_final_value_unless_the_shop_says_otherwise() -> None:
    reading = ir(WHOLE, "550", elapsed_s=None)
    assert graded(reading).verdict is OK
    strict = read_profile({"rules": {"require_time": True}})
    verdict = grade_axis([reading], axis(), METERS, profile=strict)
    assert "was not recorded" in finding_text(of(verdict, "insulation.time"))


def test_range_end_of_the_instrument_stands_for_over_range() -> None:
    assert graded(ir(WHOLE, "OL")).verdict is OK
    unknown = grade_axis([ir(WHOLE, "OL", instrument_id="unknown")], axis(), METERS)
    assert unknown.verdict is UNSURE
    assert "greater than how much" in finding_text(of(unknown, "insulation.machine"))
    other_step = grade_axis([ir(WHOLE, "OL", test_voltage_set=600)], axis(), METERS)
    assert of(other_step, "insulation.machine").verdict is OK  # the smallest end of any step still clears the floor


def test_without_accuracy_the_widest_permitted_error_is_taken() -> None:
    """IEC 61557-2:2019, 6.2: ±30 %; 1 MΩ is proved from 1.429 MΩ on."""
    for text, outcome in (("1.42", UNSURE), ("1.43", WATCH), ("2.00", OK), ("0.76", BAD), ("0.77", UNSURE)):
        verdict = grade_axis([ir(WHOLE, text, instrument_id=None)], axis(), {})
        assert of(verdict, "insulation.machine").verdict is outcome, text


def test_calibration_is_held_against_the_day_of_the_test() -> None:
    day = dt.datetime(2027, 4, 1, 8, 0, tzinfo=dt.UTC)
    late, timely = ir(WHOLE, "550", at=day), ir(WHOLE, "550", at=day - dt.timedelta(days=1))
    assert of(graded(late), "instrument.calibration").verdict is WATCH
    assert graded(timely).verdict is OK
    job = grade_job([late], {"X": axis()}, METERS)
    assert Notice(NoticeKind.OUT_OF_CALIBRATION, ("IT-03",)) in job.notices
    undated = grade_job([ir(WHOLE, "550", instrument_id="other")], {"X": axis()}, METERS)
    assert "No calibration date is on record for: other." in [notice_text(n) for n in undated.notices]


def test_auxiliary_leads_are_called_out() -> None:
    verdict = graded(ir(WHOLE, "550"), ir(WHOLE, "550", terminals="BRAKE-PE"))
    assert of(verdict, "insulation.auxiliary").verdict is WATCH
