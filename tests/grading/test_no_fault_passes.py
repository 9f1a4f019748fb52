"""Faults that must not pass as sound: retests, steps, falling values, zero, early values, parts, slip rings, trend.

And the law behind them, tried by generation: no added bad fact ever improves a verdict.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.facts import Fact
from grading.finding import Finding, Verdict
from grading.isolation import Fault
from grading.measurement import Instrument, InstrumentKind, Measurement, MotorKind, Visit
from grading.prose.findings import finding_text
from grading.steps import StepKind
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.verdict import grade_axis
from tests.grading.making import CABLE, CORE, METERS, MOTOR, WHOLE, axis, ir, lg, ll, made
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, D, facts, graded, kinds, of, with_fact

# A retest replaces the same component, part, point, test voltage and kind, and nothing else.


def test_one_phase_retested_clears_no_other() -> None:
    before = [ir(WHOLE, "0.20", terminals=f"{lead}-PE") for lead in "UVW"]
    after = ir(WHOLE, "900", terminals="U-PE", noted=("after_cleaning",))
    verdict = graded(*before, after)
    assert verdict.verdict is BAD
    failing = {f.place.terminals for f in verdict.findings if f.fact is Fact.BELOW_LIMIT}
    assert failing == {"V-PE", "W-PE"}
    rest = [replace(after, record_id=lead, terminals=f"{lead}-PE") for lead in "VW"]
    assert graded(*before, after, *rest).verdict is OK


@pytest.mark.parametrize("other", [
    {"section": MOTOR}, {"test_voltage_set": D(250)}, {"terminals": "V-PE"}, {"terminals": "BRAKE-PE"},
    {"kind": QuantityKind.RESISTANCE_TO_GROUND},
])  # fmt: skip
def test_a_retest_of_something_else_replaces_nothing(other: dict[str, Any]) -> None:
    before = ir(WHOLE, "0.20", terminals="U-PE")
    after = ir(WHOLE, "900", terminals="U-frame", noted=("after_cleaning",))
    assert graded(before, after).verdict is OK
    assert graded(before, replace(after, **other)).verdict is BAD


def test_a_retest_without_a_value_replaces_nothing() -> None:
    assert graded(ir(WHOLE, "0.20"), ir(WHOLE, "none", noted=("after_cleaning",))).verdict is BAD


# Steps, ratios, remarks.


@pytest.mark.parametrize(("low", "high", "weak"), [
    (">4000", "150", True), (">100", "90", False), (">100", "60", True), ("900", ">4000", False), ("40", "28", True),
])  # fmt: skip
def test_the_step_test_takes_over_range_values_as_bounds(low: str, high: str, weak: bool) -> None:
    verdict = graded(ir(WHOLE, low, test_voltage_set=250), ir(WHOLE, high))
    assert (Fact.WEAKENS_WITH_VOLTAGE in facts(verdict)) is weak
    if weak:
        assert verdict.verdict is WATCH


def test_steps_are_compared_whatever_the_order_and_without_their_times() -> None:
    for first, second in (((">4000", 250), ("150", 500)), (("150", 500), (">4000", 250))):
        readings = [ir(WHOLE, t, test_voltage_set=v, elapsed_s=None) for t, v in (first, second)]
        assert Fact.WEAKENS_WITH_VOLTAGE in facts(graded(*readings))
    later_low = [ir(WHOLE, "400", test_voltage_set=250, elapsed_s=600), ir(WHOLE, "200")]
    assert Fact.WEAKENS_WITH_VOLTAGE not in facts(graded(*later_low))


@pytest.mark.parametrize("context", [{}, {"thermal_class": "F"}, {"motor": MotorKind.DC_SERVO}])
def test_an_index_below_one_is_a_finding(context: dict[str, Any]) -> None:
    verdict = graded(ir(MOTOR, "400"), ir(MOTOR, "200", elapsed_s=600), **context)
    found = of(verdict, "absorption.pi")
    assert (found.fact, found.verdict, verdict.verdict) == (Fact.INDEX_FELL, WATCH, WATCH)
    assert StepKind.DO_NOT_RAISE in kinds(verdict)


@pytest.mark.parametrize(("early", "late", "fell"), [
    ("0.90", "0.80", True), ("210", "208", False), ("210", "180", True), ("2100", "1700", False),
    (">4000", "900", True),
])  # fmt: skip
def test_a_ratio_falls_only_beyond_the_counts_and_where_it_means_something(early: str, late: str, fell: bool) -> None:
    """TESTER has 5 counts; from 1000 MΩ on hardly anything is absorbed (program's rule)."""
    found = of(graded(ir(MOTOR, early, elapsed_s=30), ir(MOTOR, late)), "absorption.dar")
    assert (found.fact is Fact.RATIO_FELL) is fell


def test_one_phase_only_proves_less() -> None:
    """IEEE 43-2013 (from memory): one phase by itself reads up to three times as high."""
    assert graded(ir(MOTOR, "60.0", noted=("one_phase_only",))).verdict is WATCH
    assert graded(ir(MOTOR, "12.0", noted=("one_phase_only",))).verdict is UNSURE
    assert StepKind.TEST_PHASES_JOINED in kinds(graded(ir(MOTOR, "12.0", noted=("one_phase_only",))))
    assert graded(ir(MOTOR, "0.50", noted=("one_phase_only",))).verdict is BAD


# Drive.


def test_a_part_alone_says_nothing_of_the_drive() -> None:
    for parts in ((MOTOR,), (CABLE,), (MOTOR, CABLE)):
        assert graded(*(ir(section, "900") for section in parts)).drive.verdict is UNSURE
    assert graded(ir(WHOLE, "900")).drive.verdict is OK


# Zero, little voltage, early values.


@pytest.mark.parametrize("text", ["0", "0.0", "0.00"])
def test_zero_is_a_fault(text: str) -> None:
    assert graded(ir(WHOLE, text)).verdict is BAD
    assert grade_axis([ir(WHOLE, text, instrument_id=None)], axis(), {}).verdict is BAD
    assert graded(ir(WHOLE, "900"), lg(WHOLE, text)).verdict is BAD


def test_a_value_that_explains_the_collapse_is_no_weak_tester() -> None:
    for meters in (METERS, {}):
        assert grade_axis([ir(WHOLE, "0.01", test_voltage_built=2)], axis(), meters).verdict is BAD
    assert graded(ir(WHOLE, "5.0", test_voltage_built=100)).verdict is UNSURE


def stated(**fields: Any) -> dict[str, Instrument]:
    plain = Instrument("IT-03", InstrumentKind.INSULATION_TESTER)
    return {"IT-03": replace(plain, **fields)}


@pytest.mark.parametrize(("fields", "built", "outcome"), [
    ({"iec_61557_2": True}, 400, BAD), ({}, 400, UNSURE), ({}, 100, BAD),
    ({"current_limit_ma": D("0.05")}, 200, UNSURE),
    ({"current_limit_ma": D(2)}, 400, BAD), ({}, None, BAD),
])  # fmt: skip
def test_only_a_stated_compliance_or_current_turns_a_voltage_into_a_resistance(
    fields: dict[str, Any], built: int | None, outcome: Verdict
) -> None:
    reading = ir(WHOLE, "collapsed", test_voltage_built=built)
    assert grade_axis([reading], axis(), stated(**fields)).verdict is outcome


def test_an_early_value_far_below_the_limit_is_a_fault() -> None:
    """Program's rule: where it is below its limit nothing absorbs by more than a factor of two."""
    assert graded(ir(WHOLE, "0.10", elapsed_s=10)).verdict is BAD
    assert graded(ir(WHOLE, "0.50", elapsed_s=10)).verdict is UNSURE
    assert graded(ir(WHOLE, "0.80", elapsed_s=10), ir(WHOLE, "2.00")).fault is Fault.NEITHER
    assert graded(ir(WHOLE, "0.10", elapsed_s=10), ir(WHOLE, "900")).verdict is UNSURE  # no absorption does that
    elsewhere = ir(WHOLE, "900", terminals="V-PE")
    assert graded(ir(WHOLE, "0.10", elapsed_s=10, terminals="U-PE"), elsewhere).verdict is BAD


# The whole and its parts.


@pytest.mark.parametrize(("whole", "motor", "told"), [
    ("900", "100", True), (">4000", "550", True), ("900", "880", False), ("900", "700", False), ("300", "900", False),
])  # fmt: skip
def test_a_whole_above_a_part_is_said(whole: str, motor: str, told: bool) -> None:
    verdict = graded(ir(WHOLE, whole), ir(MOTOR, motor))
    assert (Fact.WHOLE_ABOVE_PART in facts(verdict)) is told
    assert verdict.verdict is (UNSURE if told else OK)
    if told:
        assert "higher than one of them alone" in finding_text(with_fact(verdict, Fact.WHOLE_ABOVE_PART))


def test_a_part_at_a_higher_voltage_or_an_early_one_contradicts_nothing() -> None:
    assert Fact.WHOLE_ABOVE_PART not in facts(graded(ir(WHOLE, "900", test_voltage_set=250), ir(MOTOR, "100")))
    assert Fact.WHOLE_ABOVE_PART not in facts(graded(ir(WHOLE, "900"), ir(MOTOR, "100", elapsed_s=10)))
    assert Fact.WHOLE_ABOVE_PART in facts(graded(ir(WHOLE, "900"), ir(MOTOR, "100", test_voltage_set=250)))


def test_slip_rings_lower_the_floor_of_what_they_lie_in() -> None:
    """IEC 60204-1, 18.3: that part only (quoted second-hand)."""
    assert graded(ir(WHOLE, "900"), ir(MOTOR, "0.20"), slip_rings=True).verdict is BAD
    cable = of(graded(ir(CABLE, "0.20"), slip_rings=True), "insulation.machine")
    assert cable.verdict is OK
    whole = graded(ir(WHOLE, "0.20"), slip_rings=True)
    assert whole.verdict is not OK
    assert whole.fault is not Fault.NEITHER


# Trend: like with like.

THEN = dt.datetime(2025, 11, 25, tzinfo=dt.UTC)
NOW = THEN.replace(year=2026)


def since(before: str, now: str, then_context: dict[str, Any], now_context: dict[str, Any], section: Any) -> Finding:
    past = Visit(THEN, (ir(section, before, at=THEN),), axis(**then_context))
    findings = grade_axis([ir(section, now, at=NOW)], axis(**now_context), METERS, history=[past]).findings
    (found,) = [f for f in findings if f.rule == "trend.drop"]
    return found


def test_raw_is_not_compared_with_corrected() -> None:
    """300 MΩ raw then, 300 MΩ raw at 70 °C now is 978 MΩ at 40 °C: the same value as measured, no change."""
    found = since("300", "300", {"winding_c": None}, {"winding_c": 70}, MOTOR)
    assert found.fact is Fact.COMPARED_BEFORE
    assert "factor 1" in finding_text(found)


@pytest.mark.parametrize(("then_c", "now_c", "before", "now", "fact"), [
    (20, 40, "900", "90.0", Fact.TEMPERATURE_EXPLAINS), (20, 40, "4000", "20.0", Fact.FELL_A_DECADE),
    (20, 20, "900", "85.0", Fact.FELL_A_DECADE), (30, 20, "900", "85.0", Fact.FELL_A_DECADE),
])  # fmt: skip
def test_a_warmer_cable_reads_lower(then_c: int, now_c: int, before: str, now: str, fact: Fact) -> None:
    """Program's rule: a cable's insulation halves by 5 K at most; 20 K explain a factor of 16."""
    contexts = [{"air_c": c, "winding_c": None} for c in (then_c, now_c)]
    assert since(before, now, contexts[0], contexts[1], WHOLE).fact is fact


# The law.

_VALUES = st.sampled_from(["0.02", "0.50", "0.98", "1.05", "2.00", "6.00", "40.0", "120", "900", ">4000"])
_PLACES = st.sampled_from(["U-PE", "V-PE", "U+V+W-PE", "lead-ground", "U-V", "B+-PE"])
_SECTIONS = st.sampled_from([WHOLE, MOTOR, CABLE])


@st.composite
def rows(draw: st.DrawFn) -> Measurement:
    """Draw one row: insulation, ohmmeter, lead to lead, core or voltage, as a technician might confirm it."""
    section, where = draw(_SECTIONS), draw(_PLACES)
    kind = draw(st.sampled_from(["ir", "ir", "ir", "lg", "ll", "core", "volts"]))
    if kind == "lg":
        return lg(section, draw(st.sampled_from(["OL", "0.02", "8.0", "0.000"])), terminals=where)
    if kind == "ll":
        return ll(section, draw(st.sampled_from(["1.20", "1.21", "2.40", "OL"])), draw(
            st.sampled_from(["U-V", "V-W", "W-U", "lead-lead", "B+-B-"])))  # fmt: skip
    if kind == "core":
        return made(CORE, CABLE, draw(st.sampled_from(["0.10", "OL"])), "Ohm", terminals="U-U")
    if kind == "volts":
        return made(QuantityKind.VOLTAGE, section, draw(st.sampled_from(["0.3", "325"])), "V", terminals="U-PE")
    return ir(
        section,
        draw(_VALUES),
        terminals=where,
        test_voltage_set=draw(st.sampled_from([250, 500, 500, 1000])),
        elapsed_s=draw(st.sampled_from([10, 60, 60, 60, 600, None])),
        noted=draw(st.sampled_from([(), (), (), ("after_cleaning",), ("flexed",)])),
    )


_AXES = st.lists(rows(), min_size=1, max_size=7)
_BAD_REMARKS = ("unsteady", "falling", "low_battery", "one_phase_only", "flexed")


def verdict_of(readings: list[Measurement], motor: MotorKind) -> Verdict:
    return grade_axis(readings, axis(motor), METERS).verdict


@given(_AXES, st.integers(0, 6), st.sampled_from(_BAD_REMARKS), st.sampled_from(list(MotorKind)))
@settings(max_examples=400, deadline=None)
def test_no_remark_against_a_reading_improves_a_verdict(
    readings: list[Measurement], which: int, remark: str, motor: MotorKind
) -> None:
    index = which % len(readings)
    worse = replace(readings[index], circumstances=readings[index].circumstances | {Circumstance(remark)})
    changed = [*readings[:index], worse, *readings[index + 1 :]]
    assert verdict_of(changed, motor).severity >= verdict_of(readings, motor).severity


@given(_AXES, rows(), st.sampled_from(list(MotorKind)), st.integers(0, 7))
@settings(max_examples=400, deadline=None)
def test_no_failing_row_improves_a_verdict(
    readings: list[Measurement], row: Measurement, motor: MotorKind, place: int
) -> None:
    """A row that fails by itself, wherever it stands, leaves the axis failed, or in doubt where it was read early."""
    if verdict_of([row], motor) is not Verdict.UNACCEPTABLE:
        return
    plain_row = replace(row, circumstances=frozenset())
    added = [*readings[:place], plain_row, *readings[place:]]
    if verdict_of([plain_row], motor) is not Verdict.UNACCEPTABLE:
        return
    found = verdict_of(added, motor)
    if row.elapsed_s is not None and row.elapsed_s < 60:
        # A one-minute value of the same point may set an early one in doubt, never aside (IEEE 43-2013: a value is
        # read after one minute).
        assert found is not Verdict.ACCEPTABLE
        assert found.severity >= verdict_of(readings, motor).severity
        if any(other.elapsed_s == 60 and other.terminals == row.terminals for other in readings):
            return
    assert found is Verdict.UNACCEPTABLE or any(m.circumstances & {Circumstance.AFTER_CLEANING} for m in readings)


@given(_AXES, st.integers(0, 6), st.sampled_from(["0.01", "0.50", "5.00", "90.0"]), st.sampled_from(list(MotorKind)))
@settings(max_examples=400, deadline=None)
def test_no_lower_value_beside_a_reading_improves_a_verdict(
    readings: list[Measurement], which: int, text: str, motor: MotorKind
) -> None:
    """The same test again with a lower value, right after the first, never makes the axis look better."""
    own = readings[which % len(readings)]
    if own.kind is not QuantityKind.INSULATION_RESISTANCE:
        return
    lower = replace(ir(own.section, text), terminals=own.terminals, test_voltage_set=own.test_voltage_set,  # type: ignore[arg-type]
                    elapsed_s=own.elapsed_s)  # fmt: skip
    high = own.quantity.in_unit("MOhm")
    if high is None or D(text) >= high:
        return
    index = which % len(readings) + 1
    added = [*readings[:index], lower, *readings[index:]]
    assert verdict_of(added, motor).severity >= verdict_of(readings, motor).severity


@given(_AXES, st.sampled_from(list(MotorKind)))
@settings(max_examples=200, deadline=None)
def test_a_voltage_found_never_improves_a_verdict(readings: list[Measurement], motor: MotorKind) -> None:
    row = made(QuantityKind.VOLTAGE, WHOLE, "325", "V", terminals="V-PE")
    found = verdict_of([*readings, row], motor)
    assert found.severity >= verdict_of(readings, motor).severity
    assert found in (Verdict.INCONCLUSIVE, Verdict.UNACCEPTABLE)
