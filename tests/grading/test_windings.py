"""Whole axes, lead to lead: open circuits, phases, armatures, nameplates and joints."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from grading.details import Armature, Names
from grading.facts import Fact
from grading.finding import Verdict
from grading.isolation import Fault
from grading.measurement import Connection, Instrument, InstrumentKind, MotorKind, WindingKind
from grading.prose.axis import headline_figures, headline_text
from grading.prose.findings import finding_text
from grading.steps import StepKind
from grading.verdict import grade_axis
from grading.winding import ArmaturePattern
from tests.grading.making import CABLE, CORE, METERS, MOTOR, TESTER, WHOLE, axis, ir, ll, made
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, D, facts, graded, kinds, of, phases, with_fact


@pytest.mark.parametrize(
    ("whole", "motor", "core", "fault", "step"),
    [
        ("OL", "1.20", None, Fault.CABLE, StepKind.CHECK_PINS),
        ("OL", "OL", None, Fault.MOTOR, StepKind.OPEN_TERMINAL_BOX),
        ("OL", None, None, Fault.UNDETERMINED, StepKind.MEASURE_MOTOR_PAIRS),
        ("OL", "OL", "OL", Fault.BOTH, StepKind.CHECK_PINS),
        ("OL", None, "OL", Fault.CABLE, StepKind.CHECK_PINS),
        ("1.20", None, "0.10", Fault.NEITHER, None),
    ],
)
def test_open_circuits(whole: str, motor: str | None, core: str | None, fault: Fault, step: StepKind | None) -> None:
    readings = [ir(WHOLE, "550"), ll(WHOLE, whole)]
    readings += [ll(MOTOR, motor)] if motor else []
    readings += [made(CORE, CABLE, core, "Ohm", terminals="U-U")] if core else []
    verdict = graded(*readings)
    assert verdict.fault is fault
    assert verdict.verdict is (OK if fault is Fault.NEITHER else BAD)
    if step:
        assert step in kinds(verdict)
        assert verdict.drive.verdict is BAD


def test_headline_names_the_open_circuit_of_each_part() -> None:
    readings = [ll(WHOLE, "OL", "V-W"), ll(WHOLE, "OL", "W-U"), ll(MOTOR, "OL", "V-W"), ir(WHOLE, "550")]
    summary = graded(*readings).summary
    assert [finding.section for finding in summary.open_circuits] == [WHOLE, MOTOR]
    words = headline_text(summary)
    assert words.count("open circuit") == 2
    assert "motor and cable together, V-W" in words
    assert "motor alone, V-W" in words


def test_open_circuit_and_bad_insulation_in_different_parts_make_both() -> None:
    verdict = graded(ll(WHOLE, "OL"), ll(MOTOR, "1.20"), ir(WHOLE, "0.50"), ir(MOTOR, "0.50"), ir(CABLE, "900"))
    assert verdict.fault is Fault.BOTH
    assert "motor and cable have both failed" in headline_text(verdict.summary)
    assert "open circuit" in headline_figures(verdict.summary)


@pytest.mark.parametrize(("text", "unit", "outcome"), [
    ("8", "MOhm", BAD), ("5", "kOhm", BAD), (">60", "MOhm", BAD), (">6", "Ohm", UNSURE),
    ("short", "Ohm", UNSURE), ("0.0", "Ohm", UNSURE), ("none", "Ohm", UNSURE), ("1.2", "Ohm", OK),
])  # fmt: skip
def test_one_lead_to_lead_reading(text: str, unit: str, outcome: Verdict) -> None:
    found = [f for f in graded(ll(WHOLE, text, unit=unit)).findings if f.rule == "winding.open"]
    assert [f.verdict for f in found] == [outcome]


def test_unbalance_through_the_cable_has_its_own_bounds() -> None:
    """Program's rule: look from 3 %, act from 5 %."""
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
    assert "one count" not in finding_text(fine)
    coarse = of(graded(*phases(MOTOR, "8", "8", "9", unit="mOhm")), "winding.unbalance")
    assert coarse.verdict is UNSURE
    assert "one count is 12 %" in finding_text(coarse)


def test_phases_are_given_where_the_connection_is_known() -> None:
    star = graded(*phases(MOTOR, "1.200", "1.205", "1.202"), connection=Connection.STAR)
    assert "Calculated phases U, V, W: 0.598 Ω, 0.602 Ω, 0.604 Ω" in finding_text(of(star, "winding.unbalance"))
    delta = graded(*phases(MOTOR, "0.800", "0.800", "0.800"), connection=Connection.DELTA)
    assert "Calculated phases UV, VW, WU: 1.20 Ω, 1.20 Ω, 1.20 Ω" in finding_text(of(delta, "winding.unbalance"))


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
    """Program's rules on the spread over shaft positions."""
    even = ["0.84", "0.82", "0.86", "0.83", "0.85", "0.82", "0.84", "0.83"]
    cases = {
        ArmaturePattern.EVEN: ("reads evenly", even),
        ArmaturePattern.ONE_HIGH: ("one position reads high (8)", [*even[:-1], "1.62"]),
        ArmaturePattern.ONE_LOW: ("one position reads low (8)", [*even[:-1], "0.30"]),
        ArmaturePattern.SEVERAL: ("several positions are off", [*even[:-3], "1.62", "1.60", "1.61"]),
        ArmaturePattern.BRUSHES: (
            "brushes or commutator",
            ["0.80", "0.70", "0.98", "0.90", "0.72", "0.80", "0.95", "0.85"],
        ),
    }
    for pattern, (words, values) in cases.items():
        readings = [ll(MOTOR, v, "A1-A2", position=str(i + 1)) for i, v in enumerate(values)]
        found = of(graded(*readings, motor=MotorKind.DC_SERVO), "winding.armature")
        assert isinstance(found.detail, Armature)
        assert found.detail.survey.pattern is pattern
        assert words in finding_text(found)
        assert found.verdict is (OK if pattern is ArmaturePattern.EVEN else WATCH)
    few = [ll(MOTOR, v, "A1-A2") for v in even[:3]]
    assert "8 positions or more" in finding_text(of(graded(*few, motor=MotorKind.DC_SERVO), "winding.armature"))


def test_rating_tells_the_order_of_an_armature() -> None:
    near = graded(ll(MOTOR, "0.80", "A1-A2"), motor=MotorKind.DC_SERVO, rated_current=10)
    far = graded(ll(MOTOR, "60", "A1-A2"), motor=MotorKind.DC_SERVO, rated_current=10)
    assert of(near, "winding.nameplate").fact is Fact.OF_RATED_ORDER
    assert of(far, "winding.nameplate").fact is Fact.FAR_FROM_RATED_ORDER


def test_a_bad_joint_is_what_motor_and_cable_leave() -> None:
    verdict = graded(ll(WHOLE, "1.60"), ll(MOTOR, "0.80"), cable_length_m=20, core_mm2=2.5)
    found = of(verdict, "winding.joint")
    assert found.verdict is WATCH
    assert "0.524 Ω left" in finding_text(found)
    assert "winding.joint" not in {f.rule for f in graded(ll(WHOLE, "1.60"), cable_length_m=20, core_mm2=2.5).findings}


def test_the_nameplate_is_held_against_the_motor_alone() -> None:
    assumed = graded(ll(MOTOR, "0.65", position="3"), nameplate_resistance_ohm=0.65)
    assert "0.65 Ω at 25 °C (assumed)" in finding_text(of(assumed, "winding.nameplate"))
    assert "U-V, position 3: the circuit is closed" in finding_text(of(assumed, "winding.open"))
    stated = graded(ll(MOTOR, "0.65"), nameplate_resistance_ohm=0.65, nameplate_c=20)
    assert "0.637 Ω at 20 °C, -1.9 %" in finding_text(of(stated, "winding.nameplate"))
    found = graded(ll(WHOLE, "1.08"), ll(MOTOR, "0.65"), nameplate_resistance_ohm=0.65, nameplate_c=25)
    assert of(found, "winding.nameplate").verdict is OK
    assert "winding.nameplate" not in {
        f.rule for f in graded(ll(WHOLE, "1.08"), nameplate_resistance_ohm=0.65).findings
    }


def test_a_pair_that_was_measured_open_is_not_missing() -> None:
    verdict = graded(ll(WHOLE, "1.20"), ll(WHOLE, "OL", "V-W"), ll(WHOLE, "OL", "W-U"), ir(WHOLE, "600"))
    assert Fact.PAIRS_MISSING not in facts(verdict)
    left_out = graded(ll(WHOLE, "1.20"), ll(WHOLE, "OL", "V-W"), ir(WHOLE, "600"))
    assert with_fact(left_out, Fact.PAIRS_MISSING).detail == Names(("U-W",))


def test_a_reading_through_a_cable_holds_at_least_the_copper_of_its_cores() -> None:
    """59.5 m of 4 mm²: 0.017241 Ω·mm²/m · 2 · 59.5 m / 4 mm² = 0.513 Ω by IEC 60028's copper (from memory)."""
    known: dict[str, Any] = {"cable_length_m": 59.5, "core_mm2": 4}
    short = [ll(WHOLE, "0.20", pair) for pair in ("U-V", "V-W", "W-U")]
    verdict = graded(*short, ir(WHOLE, "600"), **known)
    found = with_fact(verdict, Fact.CABINET_BELOW_CABLE)
    assert (verdict.verdict, len(found.record_ids)) == (UNSURE, 3)
    assert "0.513 Ω" in finding_text(found)
    enough = [ll(WHOLE, "0.60", pair) for pair in ("U-V", "V-W", "W-U")]
    for rows, about in ((enough, known), (short, {"cable_length_m": 59.5}), (short, {})):
        assert Fact.CABINET_BELOW_CABLE not in facts(graded(*rows, ir(WHOLE, "600"), **about))
