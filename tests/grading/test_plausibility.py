"""Plausibility: likely slips of unit come back as typed questions; the axis is inconclusive until they are answered.

The thresholds are common practice without a source, or program's rules; the conversions are definitions.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from grading.entries import QuestionCode
from grading.finding import Verdict
from grading.measurement import AxisContext, Instrument, InstrumentKind, Measurement, MotorKind
from grading.outcome import AxisVerdict
from grading.prose.findings import finding_text
from grading.sheet import read_sheet
from grading.terms.circumstance import Circumstance
from grading.verdict import grade_axis, grade_job
from tests.grading.making import CABLE, LG, METERS, MOTOR, WHOLE, axis, ir, ll, made
from tests.grading.test_conditions import warm
from tests.grading.whole_axes import D

SOUND = (ir(WHOLE, "350"), ir(MOTOR, "600"), ir(CABLE, "900"))
MILLIOHMS = Instrument("LR-02", InstrumentKind.MILLIOHMMETER)
_Q = QuestionCode


def asked(verdict: AxisVerdict) -> list[tuple[QuestionCode, str | None, str, tuple[str, ...]]]:
    return [(q.code, q.record_id, q.field, q.candidates) for q in verdict.questions]


def grade(*readings: Measurement, context: AxisContext | None = None, meters: Any = METERS) -> AxisVerdict:
    return grade_axis([*SOUND, *readings], axis() if context is None else context, meters)


def test_a_sound_axis_is_asked_nothing() -> None:
    verdict = grade()
    assert (verdict.questions, verdict.verdict) == ((), Verdict.ACCEPTABLE)


READINGS = [
    (ir(MOTOR, "0.5", "mOhm"), _Q.MILLI_FOR_MEGA, ("0.5 MΩ",)),
    (ir(MOTOR, "<0.5", "mOhm"), _Q.MILLI_FOR_MEGA, ("< 0.5 MΩ",)),
    (made(LG, MOTOR, "85", "mOhm", terminals="U-PE"), _Q.MILLI_FOR_MEGA, ("85 MΩ",)),
    (ll(MOTOR, "85", unit="MOhm", instrument_id=None), _Q.MEGA_FOR_MILLI, ("85 mΩ",)),
    (ir(MOTOR, "8000"), _Q.BEYOND_RANGE, ("> 4000 MΩ", "8000 kΩ")),
    (ir(MOTOR, "550", "GOhm"), _Q.BEYOND_RANGE, ("> 4 GΩ", "550 MΩ")),
    (ir(MOTOR, "2000", test_voltage_set=250), _Q.BEYOND_RANGE, ("> 1000 MΩ", "2000 kΩ")),
    (ir(MOTOR, "5.0", "kOhm"), _Q.BELOW_RESOLUTION, ("5.0 MΩ",)),
]


@pytest.mark.parametrize(("reading", "code", "candidates"), READINGS)
def test_a_reading_that_can_hardly_be_is_asked_about_and_not_used(
    reading: Measurement, code: QuestionCode, candidates: tuple[str, ...]
) -> None:
    verdict = grade(reading)
    assert asked(verdict) == [(code, reading.record_id, "quantity", candidates)]
    assert (verdict.verdict, verdict.drive.verdict) == (Verdict.INCONCLUSIVE, Verdict.INCONCLUSIVE)
    assert verdict.findings[0].rule == "quantity.plausible"
    assert reading.record_id in finding_text(verdict.findings[0])
    assert verdict.to_dict()["questions"][0]["text"].endswith("?")
    assert not any(reading.record_id in f.record_ids for f in verdict.findings[1:])
    checked = replace(reading, circumstances=frozenset({Circumstance.CHECKED}))
    assert grade(checked).questions == ()


@pytest.mark.parametrize("reading", [
    ir(MOTOR, "4000"), ir(MOTOR, ">4000"), ir(MOTOR, "0.00"), ir(MOTOR, "0.01"), ll(MOTOR, "OL"),
    ll(MOTOR, ">60", unit="MOhm"),
    ll(MOTOR, "1.20"), ll(MOTOR, "85", unit="mOhm"),
    made(LG, MOTOR, "85", "mOhm", terminals="U-PE", instrument_id="LR-02"),
])  # fmt: skip
def test_what_an_instrument_shows_every_day_is_not_asked_about(reading: Measurement) -> None:
    assert grade(reading, meters={**METERS, "LR-02": MILLIOHMS}).questions == ()


AXES: list[tuple[dict[str, Any], QuestionCode, str, tuple[str, ...]]] = [
    ({"rated_power_w": 1.5}, _Q.KILOWATT_FOR_WATT, "rated_power_w", ("1500 W",)),
    ({"rated_power_w": 22, "rated_current": 42}, _Q.KILOWATT_FOR_WATT, "rated_power_w", ("22000 W",)),
    ({"rated_power_w": 15_000_000}, _Q.WATT_FOR_KILOWATT, "rated_power_w", ("15000 W",)),
    ({"air_c": 77}, _Q.FAHRENHEIT, "air_c", ("25.0 °C",)),
    ({"air_c": None, "winding_c": 77}, _Q.FAHRENHEIT, "winding_c", ("25.0 °C",)),
    ({"motor_chosen": False}, _Q.MOTOR_KIND, "motor_kind", ("dc_servo", "ac_servo", "spindle")),
]


@pytest.mark.parametrize(("context", "code", "field", "candidates"), AXES)
def test_what_is_known_of_an_axis_is_asked_about(
    context: dict[str, Any], code: QuestionCode, field: str, candidates: tuple[str, ...]
) -> None:
    verdict = grade(context=axis(**context))
    assert asked(verdict) == [(code, None, field, candidates)]
    assert verdict.verdict is Verdict.INCONCLUSIVE
    assert grade(context=axis(**context, checked=frozenset({field}))).questions == ()


def test_a_spindle_of_a_few_watts_is_asked_about() -> None:
    spindle = replace(axis(MotorKind.SPINDLE), rated_power_w=D(37))
    assert [q.candidates for q in grade(context=spindle).questions] == [("37000 W",)]
    assert grade(context=replace(spindle, motor_kind=MotorKind.AC_SERVO)).questions == ()  # small servos have 37 W


def test_a_warm_winding_in_cool_air_is_no_fahrenheit() -> None:
    assert grade(context=axis(winding_c=77)).questions == ()
    assert grade(warm("77")).questions == ()
    assert asked(grade(warm("77"), context=axis(air_c=None)))[0][0] is _Q.FAHRENHEIT
    assert grade(ir(MOTOR, "600", winding_c=D(77), air_c=D(24))).questions == ()
    (question,) = grade(ir(MOTOR, "600", winding_c=D(77)), context=axis(air_c=None)).questions
    assert (question.field, question.given) == ("winding_c", "77 °C")


def test_77_degrees_taken_for_celsius_cannot_pass_a_winding() -> None:
    """2 MΩ at 77 °C would be 8.3 MΩ at 40 °C and pass 5 MΩ; at 77 °F, 25 °C, it is 1.6 MΩ and fails."""
    context = axis(winding_c=77, air_c=None)
    verdict = grade_axis([ir(MOTOR, "2.00")], context, METERS)
    assert verdict.verdict is Verdict.INCONCLUSIVE
    assert verdict.questions[0].candidates == ("25.0 °C",)


def test_an_axis_that_nobody_described_is_asked_about() -> None:
    job = grade_job([ir(WHOLE, "350")], {}, METERS)
    assert [q.code for q in job.axes[0].questions] == [_Q.MOTOR_KIND]


def test_the_demo_is_asked_nothing() -> None:
    """The invented visit holds no slip: axes, instruments and air as its description gives them."""
    from api.visit.description import read_description

    job = read_description(json.loads((Path(__file__).parents[2] / "fixtures/visit/job.json").read_text("utf-8")))
    for described in job.axes:
        context = AxisContext(
            described.name,
            MotorKind(described.motor_kind),
            rated_voltage=described.rated_voltage,
            rated_current=described.rated_current,
            rated_power_w=described.rated_power_w,
            winding_c=described.winding_c,
            air_c=job.air_c,
        )
        assert grade_axis([], context).questions == (), described.name


def test_questions_of_a_sheet_are_answered_by_a_column() -> None:
    head = "axis,quantity,value,unit,section,terminals,test_voltage,seconds,motor,rated_power,checked,noted\n"
    row = "X,insulation,0.5,mOhm,cabinet,U-PE,500,60,{},{},{},{}\n"
    sheet = read_sheet(head + row.format("", "5", "", ""))
    verdict = grade_job(sheet.measurements, sheet.contexts, sheet.instruments).axes[0]
    assert {q.code for q in verdict.questions} == {_Q.MOTOR_KIND, _Q.KILOWATT_FOR_WATT, _Q.MILLI_FOR_MEGA}
    answered = read_sheet(head + row.format("ac_servo", "5", "rated_power", "checked"))
    assert grade_job(answered.measurements, answered.contexts, answered.instruments).axes[0].questions == ()
