"""Whole axes: what is found, where the fault is put, what is said and what comes next.

The first case is the worked example of the trade notes (brushed 90 V, 10 A servo with a bad cable); its limits are
those of IEC 60204-1, 18.3 and IEEE 43-2013, Table 3, the rest are house rules.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from grading.finding import AxisVerdict, Fault, Finding, Urgency, Verdict
from grading.measurement import (
    CarrierUse,
    Connection,
    Instrument,
    InstrumentKind,
    InsulationSystem,
    Measurement,
    MotorKind,
    Reach,
    WindingKind,
)
from grading.verdict import grade_axis, grade_job
from tests.grading.making import CABLE, CORE, METERS, MOTOR, TESTER, WHOLE, axis, ir, lg, ll, made

D = Decimal
BAD, OK, WATCH, UNSURE = Verdict.UNACCEPTABLE, Verdict.ACCEPTABLE, Verdict.MARGINAL, Verdict.INCONCLUSIVE


def graded(*readings: Measurement, motor: MotorKind = MotorKind.AC_SERVO, **context: Any) -> AxisVerdict:
    return grade_axis(list(readings), axis(motor, **context), METERS)


def of(verdict: AxisVerdict, rule: str) -> Finding:
    found = [f for f in verdict.findings if f.rule == rule]
    assert len(found) == 1, [f.statement for f in found]
    return found[0]


def rules(verdict: AxisVerdict) -> set[str]:
    return {f.rule for f in verdict.findings if f.urgency is not Urgency.INFORMATION}


def test_worked_example_a_bad_cable() -> None:
    joined = {"terminals": "A1+A2-PE"}
    readings = [
        ll(WHOLE, "1.08", "A1-A2"), lg(WHOLE, "0.82", terminals="A1-PE"), ir(WHOLE, "0.80", **joined),
        ir(MOTOR, "550", **joined), ll(MOTOR, "0.80", "A1-A2"), ir(CABLE, "0.80", **joined),
    ]  # fmt: skip
    verdict = graded(*readings, motor=MotorKind.DC_SERVO, rated_current=10, cable_length_m=20, core_mm2=2.5,
                     moving_cable=True)  # fmt: skip
    assert (verdict.verdict, verdict.urgency, verdict.fault) == (BAD, Urgency.DO_NOT_ENERGISE, Fault.CABLE)
    assert verdict.headline.startswith("Axis X: the cable is the failed part. Replace it before re-energising.")
    assert "0.80 MΩ at 500 V after 60 s (limit at least 1 MΩ, IEC 60204-1, 18.3" in verdict.headline
    assert verdict.drive.verdict is BAD
    assert "drive is at risk" in verdict.drive.statement
    winding = of(verdict, "insulation.winding")
    assert winding.verdict is OK
    assert winding.margin is not None
    assert winding.margin.value == pytest.approx(D("450.2"), rel=D("0.001"))
    assert "agrees with its parts" in of(verdict, "isolation.consistency").statement
    assert "joints and plugs add nothing" in of(verdict, "winding.joint").statement
    assert verdict.next_steps[0].action.startswith("Replace the cable")
    assert verdict.record_ids == tuple(r.record_id for r in readings)


@pytest.mark.parametrize(
    ("whole", "motor", "cable", "fault", "first_step"),
    [
        ("0.80", "550", "0.80", Fault.CABLE, "Replace the cable"),
        ("0.50", "0.50", "2200", Fault.MOTOR, "Clean, dry and retest"),
        ("0.30", "0.60", "0.60", Fault.BOTH, "Replace the cable"),
        ("0.50", "600", "600", Fault.CONNECTOR_OR_MOISTURE, "Open, clean and dry"),
        ("550", "1100", "1100", Fault.NEITHER, None),
        ("550", "0.50", "1100", Fault.CONTRADICTORY, "Repeat the whole"),
        ("0.50", None, None, Fault.UNDETERMINED, "Do not re-energise"),
        ("0.50", "0.50", None, Fault.MOTOR, "Unplug the motor and test the cable alone"),
        ("0.50", None, "0.50", Fault.CABLE, "Unplug the motor and test the motor alone"),
        ("0.50", "900", None, Fault.UNDETERMINED, "Do not re-energise"),
        ("0.50", None, "900", Fault.UNDETERMINED, "Do not re-energise"),
        (None, "550", "1100", Fault.NEITHER, "Reconnect and test the whole"),
        (None, "0.50", "0.50", Fault.BOTH, "Replace the cable"),
        (None, "550", None, Fault.UNDETERMINED, "Unplug the motor and test the cable alone"),
    ],
)
def test_isolation_from_readings(
    whole: str | None, motor: str | None, cable: str | None, fault: Fault, first_step: str | None
) -> None:
    """Decision table (house rule on the parallel law)."""
    given = [(WHOLE, whole), (MOTOR, motor), (CABLE, cable)]
    verdict = graded(*(ir(section, text) for section, text in given if text is not None))
    assert verdict.fault is fault
    assert (verdict.next_steps[0].action.startswith(first_step)) if first_step else verdict.next_steps == ()


def test_standard_sentences_of_a_motor_and_a_connector() -> None:
    motor = graded(
        ir(WHOLE, "0.07", test_voltage_built=70), ir(MOTOR, "0.07", test_voltage_built=70), ir(CABLE, ">550")
    )
    assert "the motor is the failed part" in motor.headline
    assert "the motor's winding-to-frame insulation has failed" in of(motor, "isolation.locate").statement
    assert "test voltage could not be established" in motor.findings[1].statement
    assert "at 70 V built of 500 V" in motor.headline
    joint = graded(ir(WHOLE, "0.50"), ir(MOTOR, "600"), ir(CABLE, "600"))
    consistency = of(joint, "isolation.consistency")
    assert consistency.verdict is UNSURE
    assert "a third path" in consistency.statement


def test_nothing_found_says_what_it_does_not_exclude() -> None:
    verdict = graded(ir(WHOLE, ">4000", test_voltage_built=512), ll(WHOLE, "1.20"))
    assert (verdict.verdict, verdict.fault) == (OK, Fault.NEITHER)
    assert "This does not exclude faults that depend on motion, temperature or operation." in verdict.headline
    assert verdict.cost_of_ignoring == ""
    assert verdict.drive.verdict is OK
    assert "(500 V selected)" in verdict.headline


def test_a_hidden_path_above_the_limit_is_found_too() -> None:
    verdict = graded(ir(WHOLE, "2.00"), ir(MOTOR, "600"), ir(CABLE, "600"))
    found = of(verdict, "isolation.consistency")
    assert "a third path of" in found.statement
    assert verdict.verdict is UNSURE


def test_the_unmeasured_part_is_calculated_but_never_passed() -> None:
    verdict = graded(ir(WHOLE, "80"), ir(CABLE, "400"))
    text = next(f.statement for f in verdict.findings if "was not measured; calculated" in f.statement)
    assert "the motor was not measured" in text
    assert "too uncertain" not in text
    near = graded(ir(WHOLE, "0.80"), ir(CABLE, "0.84"))
    text = next(f.statement for f in near.findings if "was not measured; calculated" in f.statement)
    assert "too uncertain to use" in text


def test_only_values_at_one_voltage_are_set_against_each_other() -> None:
    verdict = graded(ir(WHOLE, "0.50", test_voltage_set=250), ir(MOTOR, "900"), ir(CABLE, "900"))
    assert verdict.fault is Fault.CONNECTOR_OR_MOISTURE
    assert "isolation.consistency" not in {f.rule for f in verdict.findings}


def test_a_whole_above_its_part_calculates_nothing() -> None:
    verdict = graded(ir(WHOLE, "0.80"), ir(CABLE, "0.40"))
    assert verdict.fault is Fault.CABLE
    assert not any("calculated" in f.statement for f in verdict.findings)
    whole = graded(ir(WHOLE, "0.80"), ir(MOTOR, "0.90"), ir(CABLE, "0.40"))
    assert "the whole is higher than its parts allow" in of(whole, "isolation.consistency").statement


def test_an_over_range_part_leaves_the_whole_to_the_other() -> None:
    verdict = graded(ir(WHOLE, "0.80"), ir(CABLE, ">4000"))
    text = next(f.statement for f in verdict.findings if "was not measured; calculated" in f.statement)
    assert "too uncertain" not in text


def test_cores_of_a_cable_add_up() -> None:
    """Three cores at 3 MΩ each make 1 MΩ together; the whole at 0.97 agrees with its parts."""
    cores = [ir(CABLE, "3.00", terminals=f"{lead}-PE") for lead in "UVW"]
    again = ir(CABLE, "9.00", terminals="U-PE")
    verdict = graded(ir(WHOLE, "0.90"), *cores, again, ir(MOTOR, "900"))
    assert "agrees with its parts" in of(verdict, "isolation.consistency").statement


def test_cores_of_point_values_make_a_point_value_together() -> None:
    one = graded(ir(WHOLE, "80.0"), ir(CABLE, "400", terminals="U-PE"))
    cores = [ir(CABLE, "1200", terminals=f"{lead}-PE") for lead in "UVW"]
    for verdict in (one, graded(ir(WHOLE, "80.0"), *cores)):
        text = next(f.statement for f in verdict.findings if "was not measured; calculated" in f.statement)
        assert "too uncertain" not in text
    over = graded(ir(WHOLE, "80.0"), *cores[:2], ir(CABLE, ">100", terminals="W-PE"))
    text = next(f.statement for f in over.findings if "was not measured; calculated" in f.statement)
    assert "too uncertain" in text


def test_a_part_is_cleared_at_the_voltage_at_which_the_whole_failed() -> None:
    at_250: dict[str, Any] = {"test_voltage_set": 250}
    verdict = graded(ir(WHOLE, "0.50", **at_250), ir(MOTOR, "900", **at_250), ir(CABLE, "0.50", **at_250))
    assert "the cable is the failed part" in of(verdict, "isolation.locate").statement
    weaker = graded(ir(WHOLE, "0.50"), ir(MOTOR, "900", **at_250), ir(CABLE, "0.50", **at_250))
    assert "the motor cannot be judged by its reading" in of(weaker, "isolation.locate").statement
    screened = graded(ir(WHOLE, "900", **at_250), ir(WHOLE, "0.50"), ir(MOTOR, "900", **at_250))
    assert any("measure the motor again" in f.statement for f in screened.findings)


def test_touching_cores_convict_the_cable() -> None:
    collapsed = graded(ir(WHOLE, "550"), ir(CABLE, "collapsed", terminals="U-V", test_voltage_built=90))
    assert collapsed.fault is Fault.CABLE
    verdict = graded(ir(WHOLE, "550"), ir(CABLE, "0.20", terminals="U-V"))
    assert verdict.fault is Fault.CABLE
    assert verdict.verdict is BAD


def test_lead_to_lead_insulation_with_the_motor_connected_says_nothing() -> None:
    verdict = graded(ir(WHOLE, "550", terminals="U-V"))
    assert of(verdict, "insulation.value").verdict is UNSURE


# Circuits.


@pytest.mark.parametrize(
    ("whole", "motor", "core", "fault", "step"),
    [
        ("OL", "1.20", None, Fault.CABLE, "Check pins and crimps"),
        ("OL", "OL", None, Fault.MOTOR, "Open the motor's terminal box"),
        ("OL", None, None, Fault.UNDETERMINED, "Unplug the motor and measure"),
        ("OL", "OL", "OL", Fault.BOTH, "Check pins and crimps"),
        ("OL", None, "OL", Fault.CABLE, "Check pins and crimps"),
        ("1.20", None, "0.10", Fault.NEITHER, None),
    ],
)
def test_open_circuits(whole: str, motor: str | None, core: str | None, fault: Fault, step: str | None) -> None:
    readings = [ir(WHOLE, "550"), ll(WHOLE, whole)]
    readings += [ll(MOTOR, motor)] if motor else []
    readings += [made(CORE, CABLE, core, "Ohm", terminals="U-U")] if core else []
    verdict = graded(*readings)
    assert verdict.fault is fault
    assert verdict.verdict is (OK if fault is Fault.NEITHER else BAD)
    if step:
        assert any(s.action.startswith(step) for s in verdict.next_steps)
        assert verdict.drive.verdict is BAD


def test_headline_names_the_open_circuit_of_each_part() -> None:
    readings = [ll(WHOLE, "OL", "V-W"), ll(WHOLE, "OL", "W-U"), ll(MOTOR, "OL", "V-W"), ir(WHOLE, "550")]
    words = graded(*readings).headline
    assert words.count("open circuit") == 2
    assert "through the cable, V-W" in words
    assert "motor alone, V-W" in words


def test_open_circuit_and_bad_insulation_in_different_parts_make_both() -> None:
    verdict = graded(ll(WHOLE, "OL"), ll(MOTOR, "1.20"), ir(WHOLE, "0.50"), ir(MOTOR, "0.50"), ir(CABLE, "900"))
    assert verdict.fault is Fault.BOTH
    assert "motor and cable have both failed" in verdict.headline
    assert "open circuit" in verdict.headline


@pytest.mark.parametrize(("text", "unit", "outcome"), [
    ("8", "MOhm", BAD), ("5", "kOhm", BAD), (">60", "MOhm", BAD), (">6", "Ohm", UNSURE),
    ("short", "Ohm", UNSURE), ("0.0", "Ohm", UNSURE), ("none", "Ohm", UNSURE), ("1.2", "Ohm", OK),
])  # fmt: skip
def test_one_lead_to_lead_reading(text: str, unit: str, outcome: Verdict) -> None:
    found = [f for f in graded(ll(WHOLE, text, unit=unit)).findings if f.rule == "winding.open"]
    assert [f.verdict for f in found] == [outcome]


def phases(section: Any, *values: str, **fields: Any) -> list[Measurement]:
    return [ll(section, v, p, **fields) for v, p in zip(values, ("U-V", "V-W", "W-U"), strict=True)]


def test_unbalance_through_the_cable_has_its_own_bounds() -> None:
    """House rule: look from 3 %, act from 5 %."""
    for values, outcome in ((("1.20", "1.21", "1.20"), OK), (("1.20", "1.20", "1.26"), WATCH),
                            (("1.20", "1.20", "1.40"), BAD)):  # fmt: skip
        assert of(graded(*phases(WHOLE, *values)), "winding.unbalance").verdict is outcome


def test_unbalance_of_a_form_wound_motor() -> None:
    """1 % for form-wound windings (ANSI/EASA AR100-2020, quoted second-hand)."""
    verdict = graded(*phases(MOTOR, "1.200", "1.200", "1.225"), winding_kind=WindingKind.FORM_WOUND)
    assert of(verdict, "winding.unbalance").verdict is BAD
    assert of(graded(*phases(MOTOR, "1.200", "1.200", "1.225")), "winding.unbalance").verdict is OK


def test_milliohms_are_resolved_by_their_own_digits() -> None:
    fine = of(graded(*phases(MOTOR, "352", "353", "352", unit="mOhm")), "winding.unbalance")
    assert fine.verdict is OK
    assert "one count" not in fine.statement
    coarse = of(graded(*phases(MOTOR, "8", "8", "9", unit="mOhm")), "winding.unbalance")
    assert coarse.verdict is UNSURE
    assert "one count is 12 %" in coarse.statement


def test_phases_are_given_where_the_connection_is_known() -> None:
    star = graded(*phases(MOTOR, "1.200", "1.205", "1.202"), connection=Connection.STAR)
    assert "Calculated phases U, V, W: 0.598 Ω, 0.602 Ω, 0.604 Ω" in of(star, "winding.unbalance").statement
    delta = graded(*phases(MOTOR, "0.800", "0.800", "0.800"), connection=Connection.DELTA)
    assert "Calculated phases UV, VW, WU: 1.20 Ω, 1.20 Ω, 1.20 Ω" in of(delta, "winding.unbalance").statement


def test_leads_are_taken_off_only_where_they_were_left_in() -> None:
    meter = replace(TESTER, lead_resistance_ohm=D("0.18"))
    four_wire = Instrument("LR-02", InstrumentKind.MILLIOHMMETER, lead_resistance_ohm=D("0.18"))
    context = axis(nameplate_resistance_ohm=0.64, nameplate_c=25)
    plain_reading, zeroed = ll(MOTOR, "0.82"), ll(MOTOR, "0.64", noted=("leads_zeroed",))
    exact = ll(MOTOR, "0.640", instrument_id="LR-02")
    for reading in (plain_reading, zeroed, exact):
        verdict = grade_axis([reading], context, {meter.id: meter, four_wire.id: four_wire})
        assert of(verdict, "winding.nameplate").verdict is OK
    assert of(grade_axis([plain_reading], context, METERS), "winding.nameplate").verdict is WATCH


def test_armature_patterns() -> None:
    """House rules on the spread over shaft positions."""
    even = ["0.84", "0.82", "0.86", "0.83", "0.85", "0.82", "0.84", "0.83"]
    cases = {
        "reads evenly": even,
        "one position reads high (8)": [*even[:-1], "1.62"],
        "one position reads low (8)": [*even[:-1], "0.30"],
        "several positions are off": [*even[:-3], "1.62", "1.60", "1.61"],
        "brushes or commutator": ["0.80", "0.70", "0.98", "0.90", "0.72", "0.80", "0.95", "0.85"],
    }
    for words, values in cases.items():
        readings = [ll(MOTOR, v, "A1-A2", position=str(i + 1)) for i, v in enumerate(values)]
        found = of(graded(*readings, motor=MotorKind.DC_SERVO), "winding.armature")
        assert words in found.statement
        assert found.verdict is (OK if words == "reads evenly" else WATCH)
    few = [ll(MOTOR, v, "A1-A2") for v in even[:3]]
    assert "eight positions or more" in of(graded(*few, motor=MotorKind.DC_SERVO), "winding.armature").statement


def test_rating_tells_the_order_of_an_armature() -> None:
    near = graded(ll(MOTOR, "0.80", "A1-A2"), motor=MotorKind.DC_SERVO, rated_current=10)
    far = graded(ll(MOTOR, "60", "A1-A2"), motor=MotorKind.DC_SERVO, rated_current=10)
    assert "of the order expected" in of(near, "winding.nameplate").statement
    assert "far from the order expected" in of(far, "winding.nameplate").statement


def test_a_bad_joint_is_what_motor_and_cable_leave() -> None:
    verdict = graded(ll(WHOLE, "1.60"), ll(MOTOR, "0.80"), cable_length_m=20, core_mm2=2.5)
    found = of(verdict, "winding.joint")
    assert found.verdict is WATCH
    assert "0.524 Ω left" in found.statement
    assert "winding.joint" not in {f.rule for f in graded(ll(WHOLE, "1.60"), cable_length_m=20, core_mm2=2.5).findings}


# The motor alone at 40 °C.


def test_armature_limit_of_two_editions_is_told_apart() -> None:
    verdict = graded(ir(MOTOR, "7.50"), motor=MotorKind.DC_SERVO)
    found = of(verdict, "insulation.winding")
    assert found.verdict is OK
    assert found.limit is not None
    assert found.limit.source == "IEEE 43-2013"
    assert found.limit.value == 5


def test_service_limit_lies_between_the_floor_and_the_winding_limit() -> None:
    verdict = graded(ir(MOTOR, "3.20"))
    assert (verdict.verdict, verdict.urgency) == (BAD, Urgency.SERVICE_LIMIT)
    assert of(verdict, "insulation.machine").verdict is OK
    assert "serviceable only at risk" in verdict.headline
    assert "take the drive along" in verdict.cost_of_ignoring


def test_unknown_system_judges_on_the_lower_and_names_both() -> None:
    verdict = graded(ir(MOTOR, "10.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20)
    found = of(verdict, "insulation.winding")
    assert found.verdict is BAD
    assert "thermosetting 0.7622; thermoplastic 0.25" in found.statement
    modern = graded(ir(MOTOR, "10.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20, made_year=2005)
    assert of(modern, "insulation.winding").verdict is OK
    assert "assumed for a motor of 2005" in of(modern, "insulation.winding").statement


@pytest.mark.parametrize(("text", "outcome"), [("550", OK), ("0.20", BAD), ("6.00", UNSURE)])
def test_without_a_winding_temperature_only_clear_cases_are_judged(text: str, outcome: Verdict) -> None:
    verdict = graded(ir(MOTOR, text), winding_c=None)
    assert of(verdict, "insulation.winding").verdict is outcome
    if outcome is UNSURE:
        assert any(s.action.startswith("Measure the winding temperature") for s in verdict.next_steps)


def test_outside_the_range_of_the_correction_nothing_is_corrected() -> None:
    for celsius in (5, 95):
        found = of(graded(ir(MOTOR, "550"), winding_c=celsius, air_c=None), "insulation.temperature")
        assert found.verdict is UNSURE
        assert "not comparable" in found.statement


def test_over_range_is_corrected_as_a_bound() -> None:
    found = of(graded(ir(MOTOR, ">4000"), winding_c=20), "insulation.winding")
    assert "calculated at least 2.96 GΩ" in found.statement  # 4000 MΩ x K(18 °C) = 0.7405, the winding at 20 ± 2 °C
    low = of(graded(ir(MOTOR, ">4.00"), winding_c=20), "insulation.winding")
    assert low.verdict is UNSURE
    assert low.next_step is not None
    assert "range" in low.next_step.action


def test_damp_motor_is_neither_judged_nor_corrected() -> None:
    verdict = graded(ir(MOTOR, "550"), air_c=30, humidity_percent=80, winding_c=25)
    assert of(verdict, "insulation.dew_point").verdict is UNSURE
    assert "insulation.winding" not in {f.rule for f in verdict.findings}
    air = graded(ir(MOTOR, "550"), air_c=22, humidity_percent=95, winding_c=None)
    assert "near its dew point" in of(air, "insulation.dew_point").statement


def test_a_wet_value_below_the_floor_still_keeps_the_drive_off() -> None:
    verdict = graded(ir(MOTOR, "0.50"), air_c=30, humidity_percent=80, winding_c=25)
    assert (verdict.verdict, verdict.drive.verdict) == (BAD, BAD)


@pytest.mark.parametrize(
    ("fields", "limit", "value"),
    [
        ({"winding_kind": WindingKind.FIELD}, "insulation.field", D("1.4")),
        ({"made_year": 1962}, "insulation.field", D("1.4")),
        ({"made_year": 1970}, "insulation.random_wound", D(5)),
        ({"winding_kind": WindingKind.FORM_WOUND}, "insulation.form_wound_low_voltage", D(5)),
        ({"winding_kind": WindingKind.FORM_WOUND, "rated_voltage": 3300}, "insulation.form_wound", D(100)),
        ({}, "insulation.random_wound", D(5)),
    ],
)
def test_row_of_table_3_follows_the_winding(fields: dict[str, Any], limit: str, value: Decimal) -> None:
    """IEEE 43-2013, Table 3 (rows secondary, quoted or from memory as each limit says)."""
    context = {"winding_c": 40} | fields
    found = of(graded(ir(MOTOR, "900", test_voltage_set=1000), **context), "insulation.winding")
    assert found.limit is not None
    assert (found.limit.id, found.limit.value) == (limit, value)


def test_ten_minute_value_does_not_judge_in_place_of_the_one_minute_value() -> None:
    verdict = graded(ir(MOTOR, "4.00"), ir(MOTOR, "12.0", elapsed_s=600))
    assert of(verdict, "insulation.winding").verdict is BAD


# Test voltage and tester.


def test_screening_steps_step_back_behind_the_judging_one() -> None:
    verdict = graded(ir(WHOLE, "900", test_voltage_set=250), ir(WHOLE, "880"))
    assert verdict.verdict is OK
    assert any("screening step" in f.statement for f in verdict.findings)
    alone = graded(ir(WHOLE, "900", test_voltage_set=250))
    assert alone.verdict is UNSURE
    assert any("Test again at 500 V" in s.action for s in alone.next_steps)


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
    assert "maker's test voltage" in of(beyond, "voltage.choice").statement


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
    from grading.shop import read_profile

    reading = ir(WHOLE, "550", elapsed_s=None)
    assert graded(reading).verdict is OK
    strict = read_profile({"rules": {"require_time": True}})
    verdict = grade_axis([reading], axis(), METERS, profile=strict)
    assert "was not recorded" in of(verdict, "insulation.time").statement


def test_range_end_of_the_instrument_stands_for_over_range() -> None:
    assert graded(ir(WHOLE, "OL")).verdict is OK
    unknown = grade_axis([ir(WHOLE, "OL", instrument_id="unknown")], axis(), METERS)
    assert unknown.verdict is UNSURE
    assert "greater than how much" in of(unknown, "insulation.machine").statement
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
    assert any("out of calibration" in n for n in job.notices)
    undated = grade_job([ir(WHOLE, "550", instrument_id="other")], {"X": axis()}, METERS)
    assert "No calibration date is on record for: other." in undated.notices


def test_auxiliary_leads_are_called_out() -> None:
    verdict = graded(ir(WHOLE, "550"), ir(WHOLE, "550", terminals="BRAKE-PE"))
    assert of(verdict, "insulation.auxiliary").verdict is WATCH


# Absorption, steps, ohmmeter.


def test_falling_values() -> None:
    ratio = graded(ir(WHOLE, "2.00", elapsed_s=30), ir(WHOLE, "1.60"))
    assert of(ratio, "absorption.dar").verdict is WATCH
    assert "moisture or creeping breakdown" in of(ratio, "absorption.dar").statement
    noted = graded(ir(WHOLE, "550", noted=("falling",)))
    assert of(noted, "absorption.dar").verdict is WATCH


@pytest.mark.parametrize(("early", "late", "words"), [
    ("2100", "2800", "not graded above 1000 MΩ"), (">4000", ">4000", "undefined"), ("210", "280", "called fair"),
    ("550", ">4000", "above"), (">4000", "550", "below"),
])  # fmt: skip
def test_absorption_ratio_words(early: str, late: str, words: str) -> None:
    assert words in of(graded(ir(WHOLE, early, elapsed_s=30), ir(WHOLE, late)), "absorption.dar").statement


@pytest.mark.parametrize(("early", "late", "fields", "words"), [
    ("120", "130", {"thermal_class": "F"}, "no fault by itself"),
    ("80", "112", {}, "thermal class not recorded"),
    ("80", "112", {"thermal_class": "warm"}, "thermal class not recorded"),
    ("80", "112", {"motor": MotorKind.DC_SERVO, "thermal_class": "F"}, "brushed armature"),
    ("80", ">4000", {"thermal_class": "F"}, "above"),
])  # fmt: skip
def test_polarization_index_that_judges_nothing(early: str, late: str, fields: dict[str, Any], words: str) -> None:
    found = of(graded(ir(MOTOR, early), ir(MOTOR, late, elapsed_s=600), **fields), "absorption.pi")
    assert found.urgency is Urgency.INFORMATION
    assert words in found.statement


def test_voltage_dependent_leakage_asks_for_cleaning() -> None:
    verdict = graded(ir(WHOLE, "40.0", test_voltage_set=250), ir(WHOLE, "28.0"))
    found = of(verdict, "voltage.steps")
    assert found.verdict is WATCH
    assert found.next_step is not None
    assert "equal within 25 %" in found.next_step.settles


def test_brush_dust_is_named_on_a_brushed_motor_only() -> None:
    pair = [lg(WHOLE, "OL"), ir(WHOLE, "0.50")]
    brushed, brushless = graded(*pair, motor=MotorKind.DC_SERVO), graded(*pair)
    assert "carbon dust from the brushes" in of(brushed, "ground.compare").statement
    assert "carbon" not in of(brushless, "ground.compare").statement
    assert any("Vacuum the brush dust" in s.action for s in brushed.next_steps)


@pytest.mark.parametrize(("text", "outcome"), [
    ("0.000004", BAD), ("0.50", BAD), ("20.0", WATCH), ("OL", OK), ("none", UNSURE), ("short", BAD),
])  # fmt: skip
def test_ohmmeter_alone(text: str, outcome: Verdict) -> None:
    assert of(graded(lg(WHOLE, text)), "ground.ohmmeter").verdict is outcome


def test_ohmmeter_above_the_insulation_tester_opens_with_voltage() -> None:
    verdict = graded(lg(WHOLE, "50.0"), ir(WHOLE, "5.00"))
    found = of(verdict, "ground.compare")
    assert found.verdict is UNSURE
    assert found.next_step is not None
    assert "opens up with voltage" in found.next_step.reason
    close = graded(lg(WHOLE, "50.0"), ir(WHOLE, "30.0"))
    assert "within a factor of three" in of(close, "ground.compare").statement


def test_unequal_polarity_indicates_moisture() -> None:
    verdict = graded(lg(WHOLE, "8.0"), lg(WHOLE, "2.0", noted=("reversed",)), ir(WHOLE, "10.0"))
    assert any("depends on polarity" in f.statement for f in verdict.findings)
    over = graded(lg(WHOLE, "8.0"), lg(WHOLE, "OL", noted=("reversed",)), ir(WHOLE, "10.0"))
    assert not any("depends on polarity" in f.statement for f in over.findings)


def test_cleaning_replaces_what_was_read_before() -> None:
    before, after = ir(MOTOR, "0.50"), ir(MOTOR, "550", noted=("after_cleaning",))
    verdict = graded(before, after)
    assert verdict.verdict is OK
    assert any("before cleaning or repair" in f.statement for f in verdict.findings)
    assert graded(before, replace(after, circumstances=frozenset())).verdict is BAD


@pytest.mark.parametrize(("before", "after", "words", "verdict"), [
    ("0.50", "550", "times better after cleaning or drying", OK), ("3.00", "3.20", "hardly changed", OK),
    ("3.00", "1.50", "hardly changed", WATCH), ("3.00", "6.00", "before and after cleaning", OK),
    (">4000", "900", "hardly changed", WATCH), ("OL", "900", "hardly changed", WATCH),
    ("collapsed", "900", "times better", OK),
])  # fmt: skip
def test_what_cleaning_changed(before: str, after: str, words: str, verdict: Verdict) -> None:
    """House rule: twice the value confirms surface dirt or moisture; no change indicates the insulation itself."""
    found = of(graded(ir(MOTOR, before), ir(MOTOR, after, noted=("after_cleaning",))), "insulation.cleaning")
    assert words in found.statement
    assert found.verdict is verdict


def test_collapse_is_estimated_from_the_testers_current() -> None:
    """R = U/I; the bound of 1000 Ω/V stands beside it."""
    low = ir(WHOLE, "0.07", test_voltage_built=70)
    known = grade_axis([low], axis(), {"IT-03": replace(TESTER, current_limit_ma=D("1.0"))})
    statement = of(known, "insulation.machine").statement
    assert "below 0.500 MΩ, estimated 0.0700 MΩ from the tester's 1.0 mA" in statement
    assert "means 1.00 mA, which fits" in statement
    unknown = of(graded(ir(WHOLE, "collapsed", test_voltage_built=100)), "insulation.machine").statement
    assert "estimated 6.67 kΩ to 0.100 MΩ from the 1 to 15 mA that a tester drives" in unknown
    odd = of(graded(ir(WHOLE, "0.001", test_voltage_built=100)), "insulation.machine").statement
    assert "means 100 mA, which does not fit" in odd
    assert "estimated" not in of(graded(ir(WHOLE, "collapsed")), "insulation.machine").statement


# Watching, cables, slip rings.


def test_low_but_sound_values_are_watched() -> None:
    motor = graded(ir(MOTOR, "60.0"))
    assert of(motor, "insulation.watch").limit is not None
    assert (motor.verdict, motor.urgency) == (WATCH, Urgency.WATCH)
    assert "retest in 3 to 6 months" in motor.headline
    whole = graded(ir(WHOLE, "3.00"))
    assert any("Measure the motor alone" in s.action for s in whole.next_steps)
    apart = graded(ir(WHOLE, "3.00"), ir(MOTOR, "60.0"), ir(CABLE, "3.16"))
    assert any("Plan the replacement of the cable" in s.action for s in apart.next_steps)
    assert not any("Measure the motor alone" in s.action for s in apart.next_steps)
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
    assert any("Find out the insulation system" in s.action for s in system.next_steps)
    meter = graded(ir(MOTOR, "6.10"))
    assert any("more accurate instrument, or with the winding near 40 °C" in s.action for s in meter.next_steps)
    screened = graded(ir(MOTOR, "3.00", test_voltage_set=250), ir(MOTOR, "900"))
    assert [f.verdict for f in screened.findings if f.rule == "insulation.winding"] == [BAD, OK]
    one = graded(ir(MOTOR, "550", noted=("one_phase_only",)))
    assert "reduced conditions" in of(one, "insulation.winding").statement
    core = graded(ir(WHOLE, "550"), made(CORE, CABLE, "none", "Ohm", terminals="U-U"))
    assert of(core, "winding.continuity").verdict is UNSURE


def test_nonsense_beside_the_readings_does_not_stop_them() -> None:
    assert graded(ir(MOTOR, "550"), humidity_percent=0).verdict is OK
    big_leads = {TESTER.id: replace(TESTER, lead_resistance_ohm=D(5))}
    verdict = grade_axis(phases(MOTOR, "1.20", "1.20", "1.20"), axis(), big_leads)
    assert "winding.unbalance" not in {f.rule for f in verdict.findings}
    assert "voltage.steps" not in rules(graded(ir(WHOLE, "0.00", test_voltage_set=250), ir(WHOLE, "0.00")))
    odd = graded(*phases(MOTOR, "1.00", "1.00", "3.00"), connection=Connection.STAR)
    assert "fit no star" in of(odd, "winding.unbalance").statement


def test_a_finding_by_itself_is_plain_data() -> None:
    data = graded(ir(WHOLE, "0.80")).findings[0].to_dict()
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


def test_the_nameplate_is_held_against_the_motor_alone() -> None:
    assumed = graded(ll(MOTOR, "0.65", position="3"), nameplate_resistance_ohm=0.65)
    assert "0.65 Ω at 25 °C (assumed)" in of(assumed, "winding.nameplate").statement
    assert "U-V, position 3: the circuit is closed" in of(assumed, "winding.open").statement
    stated = graded(ll(MOTOR, "0.65"), nameplate_resistance_ohm=0.65, nameplate_c=20)
    assert "0.637 Ω at 20 °C, -1.9 %" in of(stated, "winding.nameplate").statement
    found = graded(ll(WHOLE, "1.08"), ll(MOTOR, "0.65"), nameplate_resistance_ohm=0.65, nameplate_c=25)
    assert of(found, "winding.nameplate").verdict is OK
    assert "winding.nameplate" not in {
        f.rule for f in graded(ll(WHOLE, "1.08"), nameplate_resistance_ohm=0.65).findings
    }


# Where to look first.


def test_which_part_first() -> None:
    fixed = graded(ir(WHOLE, "0.50"), motor=MotorKind.DC_SERVO, moving_cable=False)
    moving = graded(ir(WHOLE, "0.50"), motor=MotorKind.DC_SERVO, moving_cable=True, cable_spare_on_hand=True)
    order = [[s.action for s in v.next_steps] for v in (fixed, moving)]
    assert "motor alone" in order[0][1]
    assert "cable alone" in order[1][1]
    assert any("spare cable over the floor" in a for a in order[1])
    hard = graded(ir(WHOLE, "0.50"), moving_cable=True, cable_spare_on_hand=True, motor_plug_reach=Reach.HARD)
    assert not any("spare cable" in s.action for s in hard.next_steps)
    assert any("hard to reach" in s.reason for s in hard.next_steps)


def test_spares_are_spoken_of() -> None:
    readings = (ir(WHOLE, "0.30"), ir(MOTOR, "0.60"), ir(CABLE, "0.60"))
    actions = [s.action for s in graded(*readings, cable_spare_on_hand=True, motor_spare_on_hand=True).next_steps]
    assert "The spare on hand fits now." in actions[0]
    assert any("Fit the spare motor." in a for a in actions)
    wet = graded(ir(WHOLE, "0.50"), ir(MOTOR, "600"), ir(CABLE, "600"), coolant_near=True)
    assert any("Coolant reaches it." in s.reason for s in wet.next_steps)


# Jobs and empty hands.


def test_nothing_measured_is_inconclusive() -> None:
    verdict = graded()
    assert (verdict.verdict, verdict.drive.verdict) == (UNSURE, UNSURE)
    assert verdict.next_steps[0].action.startswith("Measure the axis from the cabinet")
    assert grade_job([], {}).verdict is UNSURE


def test_an_axis_without_context_is_said_to_be_unknown() -> None:
    job = grade_job([ir(WHOLE, "550")], {}, METERS)
    assert any("Nothing is on record about axis X" in n for n in job.notices)
    assert job.axes[0].verdict is OK


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
