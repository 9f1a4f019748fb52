"""Circuits as they are: each component by its own limits, none of them convicts another; names of earth; pairs."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from grading.components import COMPONENTS
from grading.facts import Fact
from grading.finding import Urgency, Verdict
from grading.isolation import Fault
from grading.limits import LIMITS
from grading.measurement import Measurement, MotorKind
from grading.plan import plan_axis
from grading.plan_table import Left
from grading.prose.axis import headline_text
from grading.prose.findings import finding_text
from grading.prose.plan import left_text
from grading.shop import ShopProfileError, read_profile
from grading.steps import StepKind
from grading.terms.component import Component, component_of
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import to_earth
from grading.verdict import grade_axis
from grading.voltage import ChoiceReason
from tests.grading.making import CABLE, CORE, LG, METERS, MOTOR, WHOLE, axis, ir, lg, ll, made
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, facts, graded, kinds, of, phases, rules, with_fact

DC = MotorKind.DC_SERVO
GOOD = ir(WHOLE, "900")


def test_every_component_has_a_row_and_every_figure_is_in_the_table() -> None:
    assert set(COMPONENTS) == set(Component)
    for component, row in COMPONENTS.items():
        assert {row.test_voltage, row.floor, row.open_from} - {None} <= set(LIMITS)
        for name in row.points:
            section = CABLE if component is Component.CORES else MOTOR
            assert component_of(section, name) is component, name


@pytest.mark.parametrize("name", [
    "PE", "G", "GND", "GRD", "ground", "earth", "E", "MASS", "frame", "motor frame", "chassis", "housing",
    "motor housing", "body", "shaft", "case", "shield", "V+W+PE",
])  # fmt: skip
def test_earth_has_many_names(name: str) -> None:
    """Common practice, no source."""
    assert to_earth(f"U-{name}")
    assert graded(ir(WHOLE, "0.20", terminals=f"U-{name}")).verdict is BAD
    assert graded(ir(WHOLE, "900", terminals=f"U-{name}")).verdict is OK


@pytest.mark.parametrize("name", ["E1-E2", "U-V", "B+-B-", "lead-lead", "A1-F1"])
def test_other_leads_are_no_earth(name: str) -> None:
    assert not to_earth(name)


@pytest.mark.parametrize(("reading", "motor", "fact", "fault", "urgency"), [
    (lg(WHOLE, "0.02", terminals="B+-PE"), None, Fact.BESIDE_BELOW_FLOOR, Fault.BESIDE, Urgency.SERVICE_LIMIT),
    (ir(MOTOR, "0.02", terminals="BRAKE-PE", test_voltage_set=250), None, Fact.BESIDE_BELOW_FLOOR, Fault.BESIDE,
     Urgency.SERVICE_LIMIT),
    (lg(WHOLE, "0.02", terminals="PTC-PE"), None, Fact.BESIDE_BELOW_FLOOR, Fault.BESIDE, Urgency.SERVICE_LIMIT),
    (lg(WHOLE, "0.02", terminals="PTC-U"), None, Fact.BESIDE_BELOW_FLOOR, Fault.BESIDE, Urgency.SERVICE_LIMIT),
    (ll(MOTOR, "OL", "B+-B-"), None, Fact.BESIDE_OPEN, Fault.BESIDE, Urgency.SERVICE_LIMIT),
    (ll(MOTOR, "OL", "TH1-TH2"), None, Fact.BESIDE_OPEN, Fault.BESIDE, Urgency.SERVICE_LIMIT),
    (ll(MOTOR, "OL", "F1-F2"), DC, Fact.BESIDE_OPEN, Fault.MOTOR, Urgency.DO_NOT_ENERGISE),
    (ir(MOTOR, "0.02", terminals="A1-F1"), DC, Fact.BESIDE_BELOW_FLOOR, Fault.MOTOR, Urgency.SERVICE_LIMIT),
])  # fmt: skip
def test_a_circuit_beside_the_winding_is_judged_by_itself(
    reading: Measurement, motor: MotorKind | None, fact: Fact, fault: Fault, urgency: Urgency
) -> None:
    verdict = graded(GOOD, reading, motor=motor or MotorKind.AC_SERVO)
    assert (verdict.verdict, verdict.urgency, verdict.fault) == (BAD, urgency, fault)
    found = with_fact(verdict, fact)
    assert found.rule in ("insulation.beside", "winding.beside")
    assert all(f.verdict is not BAD for f in verdict.findings if f is not found)
    if fault is Fault.BESIDE:
        assert "winding is not judged by it" in headline_text(verdict.summary)


@pytest.mark.parametrize("reading", [
    ll(MOTOR, "2.1", "B+-B-", "kOhm"), ll(MOTOR, "1097", "TH1-TH2"), ll(MOTOR, "60", "PTC1-PTC2"),
    ll(WHOLE, "24.5", "BRAKE1-BRAKE2"), lg(WHOLE, "OL", terminals="B+-PE"), lg(WHOLE, "0.000", terminals="ENC 0V-PE"),
    ll(MOTOR, "OL", "ENC 5V-ENC 0V"), ir(MOTOR, "200", terminals="BRAKE-PE", test_voltage_set=250),
])  # fmt: skip
def test_sound_circuits_beside_the_winding_raise_no_alarm(reading: Measurement) -> None:
    """A 24 V brake reads 15 to 60 Ω, one of 205 V some kilohms, a Pt1000 1097 Ω at 25 °C (IEC 60751)."""
    assert graded(GOOD, *phases(WHOLE, "1.20", "1.21", "1.20"), reading).verdict is OK


def test_a_field_does_not_enter_the_armature() -> None:
    armature = [ll(MOTOR, v, "A1-A2", position=str(i)) for i, v in enumerate(("0.84", "0.82", "0.85"))]
    verdict = graded(GOOD, *armature, ll(MOTOR, "62.0", "F1-F2"), motor=DC, rated_current=10)
    assert of(verdict, "winding.armature").verdict is OK
    assert of(verdict, "winding.nameplate").fact is Fact.OF_RATED_ORDER


def test_winding_to_winding_is_insulation() -> None:
    assert with_fact(graded(GOOD, ir(MOTOR, "900", terminals="A1-F1"), motor=DC), Fact.BESIDE_ABOVE_FLOOR)


def test_electronics_stand_no_test_voltage_and_a_brake_a_low_one() -> None:
    """IEC 60364-6, Table 6.1: 250 V for SELV and PELV circuits (secondary text)."""
    for terminals, volts, told in (("ENC-PE", 100, True), ("PTC-PE", 50, True), ("BRAKE-PE", 500, True),
                                   ("BRAKE-PE", 250, False), ("FAN-PE", 500, False)):  # fmt: skip
        verdict = graded(GOOD, ir(WHOLE, "900", terminals=terminals, test_voltage_set=volts))
        assert ("insulation.auxiliary" in rules(verdict)) is told, terminals


def test_a_cable_alone_has_a_test_voltage_of_its_own() -> None:
    """Program's rule: 1000 V with both ends free."""
    assert "voltage.choice" not in rules(graded(ir(CABLE, "900", test_voltage_set=1000)))
    found = of(graded(ir(CABLE, "900", test_voltage_set=2500)), "voltage.choice")
    assert found.detail is not None
    assert "1000 V chosen for this cable" in finding_text(found)
    assert of(graded(ir(MOTOR, "900", test_voltage_set=1000)), "voltage.choice").verdict is WATCH
    assert ChoiceReason.CABLE_CLASS.value in str(found)


# Pairs of leads: what is there is judged, what is missing is said.


def unbalance(*readings: Measurement, **fields: Any) -> list[Verdict]:
    return [
        f.verdict for f in graded(*readings, **fields).findings if f.fact in (Fact.PHASES_ALIKE, Fact.PHASES_UNEQUAL)
    ]


def test_readings_that_name_no_lead_are_compared() -> None:
    odd = [ll(MOTOR, v, "lead-lead") for v in ("1.20", "1.21", "2.40")]
    assert unbalance(*odd) == [BAD]
    assert unbalance(*odd[:2], ll(MOTOR, "1.21", "lead-lead")) == [OK]
    assert unbalance(ll(MOTOR, "1.20", "U-V"), *odd[1:]) == [BAD]


def test_two_of_three_pairs_are_judged_and_the_third_is_named() -> None:
    verdict = graded(GOOD, ll(MOTOR, "1.20", "U-V"), ll(MOTOR, "2.40", "V-W"))
    assert with_fact(verdict, Fact.PHASES_UNEQUAL).verdict is BAD
    assert "missing: U-W" in finding_text(with_fact(verdict, Fact.PAIRS_MISSING))
    assert StepKind.MEASURE_PAIRS in kinds(verdict)
    assert "missing: V-W" in finding_text(
        with_fact(graded(ll(WHOLE, "1.20", "U-V"), ll(WHOLE, "1.20", "W-U")), Fact.PAIRS_MISSING)
    )
    numbered = graded(ll(WHOLE, "1.20", "T1-T2"), ll(WHOLE, "1.20", "T2-T3"))
    assert "missing: T1-T3" in finding_text(with_fact(numbered, Fact.PAIRS_MISSING))


@pytest.mark.parametrize("pairs", [
    ("U1-U2", "V1-V2", "W1-W2"), ("T1-T4", "T2-T5", "T3-T6"), ("U1-V1", "V1-W1", "W1-U1"), ("1-2", "2-3", "3-1"),
    ("L1-L2", "L2-L3", "L3-L1"), ("R-S", "S-T", "T-R"),
])  # fmt: skip
def test_leads_by_any_name_make_three_pairs(pairs: tuple[str, ...]) -> None:
    for value, outcome in (("1.21", OK), ("1.90", BAD)):
        readings = [ll(MOTOR, v, p) for v, p in zip(("1.20", "1.20", value), pairs, strict=True)]
        verdict = graded(*readings)
        assert [f.verdict for f in verdict.findings if f.rule == "winding.unbalance"] == [outcome], pairs
        assert Fact.PAIRS_MISSING not in facts(verdict)


def test_six_leads_and_a_brake_beside_them() -> None:
    six = [ll(MOTOR, v, p) for v, p in zip(("0.60", "0.60", "0.61"), ("U1-U2", "V1-V2", "W1-W2"), strict=True)]
    assert unbalance(*six, ll(MOTOR, "24.1", "B+-B-"), ll(MOTOR, "18.2", "B1-B2")) == [OK]


def test_a_second_reading_of_a_pair_takes_nothing_back() -> None:
    readings = [*phases(MOTOR, "1.20", "1.20", "2.40"), ll(MOTOR, "1.20", "W-U")]
    assert unbalance(*readings) == [BAD]


def test_unbalance_is_unacceptable_only_beyond_what_the_meter_leaves_open() -> None:
    """TESTER has ±(0.9 % + 2 counts): the part in proportion falls out, the counts stay."""
    assert unbalance(*phases(MOTOR, "0.8", "0.8", "0.9")) == []  # one count is 12 %: not comparable
    assert unbalance(*phases(MOTOR, "1.20", "1.21", "1.29")) == [BAD]
    assert unbalance(*phases(MOTOR, "1.20", "1.21", "1.26")) == [WATCH]
    other = replace(METERS["IT-03"], id="IT-04")
    mixed = phases(MOTOR, "1.20", "1.21", "1.29")
    mixed[2] = replace(mixed[2], instrument_id="IT-04")
    found = grade_axis(mixed, axis(), {**METERS, "IT-04": other}).findings
    assert [f.verdict for f in found if f.rule == "winding.unbalance"] == [WATCH]


# The cause never contradicts the verdict.


@pytest.mark.parametrize(("readings", "fault"), [
    ((ir(WHOLE, "900"), ir(MOTOR, "3.20")), Fault.MOTOR),
    ((ir(WHOLE, "900"), *phases(MOTOR, "1.20", "1.21", "1.90")), Fault.MOTOR),
    ((ir(WHOLE, "900"), *phases(WHOLE, "1.20", "1.21", "1.90")), Fault.UNDETERMINED),
    ((ir(WHOLE, "900"), *phases(WHOLE, "1.20", "1.21", "1.90"), *phases(MOTOR, "1.10", "1.11", "1.10")), Fault.CABLE),
    ((ir(WHOLE, "900"), ir(CABLE, "20", terminals="U-PE"), made(CORE, CABLE, "OL", "Ohm", terminals="U-U")),
     Fault.CABLE),
])  # fmt: skip
def test_what_is_unacceptable_has_a_cause_or_none_yet(readings: tuple[Measurement, ...], fault: Fault) -> None:
    verdict = graded(*readings)
    assert (verdict.verdict, verdict.fault) == (BAD, fault)


def test_an_axis_that_is_not_settled_is_not_called_faultless() -> None:
    assert graded(ir(WHOLE, "900"), ir(WHOLE, "none")).fault is Fault.UNDETERMINED
    assert graded(ir(WHOLE, "900")).fault is Fault.NEITHER
    assert graded(ir(WHOLE, "900"), ir(WHOLE, "900", noted=("unsteady",))).verdict is UNSURE


# Cables by length and in damp air; limits of the shop by component; what is left.


def test_a_cable_is_given_by_its_length() -> None:
    """550 MΩ on 30 m are 16.5 MΩ·km (domain vector TV-G16: insulation falls with length)."""
    found = with_fact(graded(ir(CABLE, "550"), cable_length_m=30), Fact.CABLE_BY_LENGTH)
    assert "16.5 MΩ times a kilometre (30 m, at 24 °C of the air)" in finding_text(found)
    over = with_fact(graded(ir(CABLE, ">4000"), cable_length_m=25), Fact.CABLE_BY_LENGTH)
    assert "at least 100 MΩ times a kilometre" in finding_text(over)
    assert Fact.CABLE_BY_LENGTH not in facts(graded(ir(CABLE, "550")))


def test_a_cable_is_brought_to_20_degrees_by_practice() -> None:
    """At 25 °C of the air a cable that halves with every 5 °C has twice as much at 20 °C (practice, no source)."""
    found = with_fact(graded(ir(CABLE, "550"), cable_length_m=30, air_c=25), Fact.CABLE_BY_LENGTH)
    assert "At 20 °C that is about 33.0 MΩ (it halves with every 5 °C, practice)" in finding_text(found)
    over = with_fact(graded(ir(CABLE, ">4000"), cable_length_m=25, air_c=10), Fact.CABLE_BY_LENGTH)
    assert "At 20 °C that is at least 25.0 MΩ" in finding_text(over)


def test_a_shield_is_open_or_not_and_convicts_no_winding() -> None:
    """A broken shield lets noise in and no current out; to earth it is bonded by design (practice, no source)."""
    bond = made(LG, WHOLE, "0.1", "Ohm", terminals="ENC shield-PE", test_voltage_set=None)
    closed, broken = (
        made(CORE, WHOLE, value, "Ohm", terminals="ENC shield-ENC shield", test_voltage_set=None)
        for value in ("0.3", "OL")
    )
    assert graded(GOOD, bond, closed).verdict is OK
    found = graded(GOOD, bond, broken)
    assert (found.verdict, found.fault) == (BAD, Fault.BESIDE)
    assert "the circuit of the encoder is open" in finding_text(with_fact(found, Fact.BESIDE_OPEN))


def test_phase_to_phase_of_six_leads_is_insulation_where_no_link_joins_them() -> None:
    """Links left in and a fault read alike; a high value shows both away (circuit theory)."""
    whole = ir(WHOLE, "900", terminals="U1+V1+W1-PE")
    high = graded(whole, ir(MOTOR, "700", terminals="U1-V1"))
    assert high.verdict is OK
    assert Fact.LEADS_JOINED not in facts(high)
    for low in ("0.00", "0.02", "<0.01", "0.80"):
        found = graded(whole, ir(MOTOR, low, terminals="U1-V1"))
        assert found.verdict is UNSURE
        assert {Fact.PHASES_CONDUCT} <= facts(found)
        assert Fact.LEADS_JOINED not in facts(found)
    assert Fact.LEADS_JOINED in facts(graded(whole, ir(MOTOR, "0.00", terminals="U-V")))
    # Phase to phase says nothing of earth.
    alone = graded(ir(MOTOR, "700", terminals="U1-V1"))
    assert alone.verdict is UNSURE
    assert Fact.NO_INSULATION_TEST in facts(alone)


@pytest.mark.parametrize(("value", "verdict"), [("1.20", BAD), ("1.50", UNSURE), ("40", OK)])
def test_a_wound_field_is_held_against_kv_plus_1_at_40_degrees(value: str, verdict: Verdict) -> None:
    """IEEE 43-2013, Table 3 (secondary text): rated kV + 1, so 1.5 MΩ at 500 V; at 40 °C nothing is corrected."""
    armature = ir(WHOLE, "400", terminals="A1+A2-PE")
    field = ir(MOTOR, value, terminals="F1+F2-PE")
    found = graded(armature, field, motor=DC, rated_voltage=500, winding_c=40, winding_c_uncertainty=0)
    assert found.verdict is verdict
    held = [f for f in found.findings if f.rule == "insulation.winding"]
    assert [f.verdict for f in held] == [verdict]
    assert held[0].place.terminals == "F1+F2-PE"
    if verdict is BAD:
        assert held[0].limit is not None
        assert held[0].limit.value == Decimal("1.5")
        assert found.fault is Fault.MOTOR


def shop(readings: list[Measurement], context: dict[str, Any], **extra: Any) -> Any:
    profile = read_profile({"extra": [{"id": "shop.own", "value": "20", "unit": "MOhm", **extra}]})
    return grade_axis(readings, axis(**context), METERS, profile=profile)


def test_a_shop_s_limit_goes_by_length_and_by_component() -> None:
    per_km = {"section": "cable_alone", "per_km": True}
    for length, outcome in ((30, BAD), (60, OK)):  # 20 MΩ·km are 667 MΩ on 30 m and 333 MΩ on 60 m
        verdict = shop([ir(CABLE, "550")], {"cable_length_m": length}, **per_km)
        assert of(verdict, "insulation.shop").verdict is outcome
    assert of(shop([ir(CABLE, "550")], {}, **per_km), "insulation.shop").fact is Fact.LENGTH_NOT_KNOWN
    brake = lg(WHOLE, "8.0", terminals="B+-PE")
    own = shop([GOOD, brake], {}, component="brake_coil")
    assert of(own, "insulation.shop").verdict is BAD
    assert own.fault is Fault.BESIDE
    assert "insulation.shop" not in {f.rule for f in shop([ir(WHOLE, "8.0")], {}, component="brake_coil").findings}
    assert "insulation.shop" not in {f.rule for f in shop([brake], {}).findings}


@pytest.mark.parametrize(("entry", "words"), [({"component": "horn"}, "use one of power_winding"),
                                              ({"per_km": "yes"}, "true or false")])  # fmt: skip
def test_a_shop_s_limit_that_cannot_be_is_refused(entry: dict[str, Any], words: str) -> None:
    with pytest.raises(ShopProfileError, match=words):
        shop([GOOD], {}, **entry)


def test_damp_reaches_the_whole_and_the_cable_too() -> None:
    """IEEE 43-2013 (from memory), margin: program's rule. 24 °C and 90 % have their dew point at 22.3 °C (Magnus)."""
    damp: dict[str, Any] = {"humidity_percent": 90}
    whole = graded(ir(WHOLE, "900"), winding_c=24, **damp)
    assert (whole.verdict, of(whole, "insulation.dew_point").place.section) == (UNSURE, WHOLE)
    cable = graded(ir(CABLE, "900"), winding_c=60, **damp)
    found = of(cable, "insulation.dew_point")
    assert (cable.verdict, found.fact) == (UNSURE, Fact.CABLE_NEAR_DEW_POINT)
    assert "dew point of the air is calculated as 22.3 °C" in finding_text(found)
    assert graded(ir(WHOLE, "900"), winding_c=40, **damp).verdict is OK
    assert graded(ir(WHOLE, "0.20"), winding_c=24, **damp).verdict is BAD


def test_what_is_left_after_a_good_whole_is_named_with_its_source() -> None:
    good = [ir(WHOLE, "900"), ir(WHOLE, "900", test_voltage_set=250), *phases(WHOLE, "1.20", "1.21", "1.20")]
    good += [lg(WHOLE, "OL", terminals=f"{lead}-PE") for lead in "UVW"]
    text = left_text(plan_axis(good, axis(), METERS).left)
    for words in ("cable and plugs are moved", "motor warm", "brake", "surges or inductance", "drive's output"):
        assert words in text
    assert text.count("no source)") + text.count("secondary text)") == len(Left)
    assert left_text(plan_axis(good[:2], axis(), METERS).left) == ""


# What no cable, plug and brushes explain.


@pytest.mark.parametrize(("readings", "motor", "context", "fact"), [
    # A plug whose contacts read 1000 MΩ each (common practice) leaves 333 MΩ beside three cores.
    ((ir(WHOLE, "225"), ir(MOTOR, "3230"), ir(CABLE, "474")), None, {}, None),
    ((ir(WHOLE, "11.2"), ir(MOTOR, "1366"), ir(CABLE, "500")), DC, {}, Fact.WHOLE_LOWER),
    # 25.28 Ω from the cabinet, 11.95 Ω at the motor: no machine's cable is 13 Ω (200 m of 1 mm² are 7 Ω both ways).
    ((ll(WHOLE, "25.28", "A1-A2"), ll(MOTOR, "11.95", "A1-A2")), DC, {}, Fact.JOINT_BAD),
    ((ll(WHOLE, "14.00", "A1-A2"), ll(MOTOR, "11.95", "A1-A2")), DC, {}, None),
    # Twice the nameplate at any temperature from 10 to 85 °C, of a delta with an open phase.
    (tuple(phases(MOTOR, "0.64", "0.64", "0.64")), None, {"nameplate_resistance_ohm": 0.3, "winding_c": None},
     Fact.OFF_NAMEPLATE),
    (tuple(phases(MOTOR, "0.34", "0.34", "0.34")), None, {"nameplate_resistance_ohm": 0.3, "winding_c": None}, None),
    ((ll(WHOLE, "26.8", "A1-A2"),), DC, {"nameplate_resistance_ohm": 7.03, "winding_c": None}, Fact.OFF_NAMEPLATE),
    ((ll(WHOLE, "9.8", "A1-A2"),), DC, {"nameplate_resistance_ohm": 7.03, "winding_c": None}, None),
    ((made(CORE, CABLE, "360", "Ohm", terminals="W-W"),), None, {}, Fact.CORE_RESISTS),
    ((made(CORE, CABLE, "3.4", "Ohm", terminals="W-W"),), None, {}, None),
])  # fmt: skip
def test_only_what_nothing_sound_explains_is_told(
    readings: tuple[Measurement, ...], motor: MotorKind | None, context: dict[str, Any], fact: Fact | None
) -> None:
    whole = () if readings[0].kind is QuantityKind.INSULATION_RESISTANCE else (ir(WHOLE, "900"),)
    verdict = graded(*whole, *readings, motor=motor or MotorKind.AC_SERVO, **context)
    told = {f.fact for f in verdict.findings if f.urgency is not Urgency.INFORMATION}
    assert told & {Fact.WHOLE_LOWER, Fact.JOINT_BAD, Fact.OFF_NAMEPLATE, Fact.CORE_RESISTS} == ({fact} - {None})
    if fact is not None:
        assert verdict.drive.verdict is UNSURE
