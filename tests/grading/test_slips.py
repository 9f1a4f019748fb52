"""Slips of unit that only show beside something else, and low values that nothing supersedes.

What no tester drives: IEC 61557-2, 4.4, 15 mA (from memory). Prefixes are definitions; the rest is common practice
without a source, or program's rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest

from grading.entries import QuestionCode
from grading.facts import Fact
from grading.finding import Verdict
from grading.isolation import Fault
from grading.measurement import AxisContext, Instrument, InstrumentKind, Measurement, MotorKind
from grading.outcome import AxisVerdict
from grading.verdict import grade_axis
from tests.grading.making import CABLE, CORE, LG, METERS, MOTOR, WHOLE, axis, ir, lg, ll, made

_Q = QuestionCode
SOUND = (ir(WHOLE, "350"), ir(MOTOR, "600"), ir(CABLE, "900"))


def grade(*rows: Measurement, context: AxisContext | None = None) -> AxisVerdict:
    return grade_axis(rows, axis() if context is None else context, METERS)


def asked(verdict: AxisVerdict) -> list[tuple[QuestionCode, str | None]]:
    return [(q.code, q.record_id) for q in verdict.questions]


@pytest.mark.parametrize(("text", "unit", "built", "asks"), [
    ("0.5", "Ohm", 500, True), ("675", "Ohm", 522, True), ("3042", "Ohm", None, True), ("5.0", "kOhm", 500, True),
    ("0.00", "MOhm", 0, False), ("0.01", "MOhm", 2, False), ("0.00", "MOhm", 500, False), ("5", "Ohm", 0, False),
    ("0.07", "MOhm", 500, False),
])  # fmt: skip
def test_no_tester_drives_it(text: str, unit: str, built: int | None, asks: bool) -> None:
    """500 V on 0.5 Ω is 1000 A; on 70 kΩ it is 7 mA, and a voltage that collapsed drives little: faults both."""
    row = ir(MOTOR, text, unit, test_voltage_built=built, instrument_id=None)
    verdict = grade(*SOUND, row)
    assert asked(verdict) == ([(_Q.NO_TESTER_DRIVES, row.record_id)] if asks else [])
    assert verdict.verdict is (Verdict.INCONCLUSIVE if asks else Verdict.UNACCEPTABLE)


@pytest.mark.parametrize(("values", "odd"), [
    (("1.20 Ohm", "1.20 mOhm", "1.21 Ohm"), (1,)), (("0.6 Ohm", "0.5 kOhm", "0.6 Ohm"), (1,)),
    (("1.20 Ohm", "1.20 mOhm"), (0, 1)), (("21.02 Ohm", "1.05 Ohm", "21.01 mOhm"), (2,)),
    (("0.98 Ohm", "990 mOhm", "0.99 Ohm"), ()), (("1.20 Ohm", "2.40 Ohm", "1.20 Ohm"), ()),
    (("0.0 Ohm", "850 mOhm"), ()),
])  # fmt: skip
def test_a_phase_whose_unit_alone_sets_it_apart(values: Sequence[str], odd: Sequence[int]) -> None:
    pairs = ("U-V", "V-W", "W-U")
    rows = [
        ll(MOTOR, value.split()[0], name, unit=value.split()[1], instrument_id=None)
        for value, name in zip(values, pairs, strict=False)
    ]
    verdict = grade(*SOUND, *rows)
    assert asked(verdict) == [(_Q.THOUSANDFOLD, rows[index].record_id) for index in odd]


def test_what_is_left_of_three_phases_is_still_judged() -> None:
    rows = [ll(WHOLE, "21.02"), ll(WHOLE, "1.05", "V-W"), ll(WHOLE, "21.01", "W-U", unit="mOhm")]
    verdict = grade(*SOUND, *rows)
    assert verdict.verdict is Verdict.UNACCEPTABLE
    assert Fact.PHASES_UNEQUAL in {f.fact for f in verdict.findings}


def test_a_core_beside_the_others() -> None:
    rows = [made(CORE, CABLE, "0.0", "Ohm", terminals="U-U"), made(CORE, CABLE, "0.1", "MOhm", terminals="W-W")]
    assert (_Q.THOUSANDFOLD, rows[1].record_id) in asked(grade(*SOUND, *rows))


def test_one_point_over_its_test_voltages() -> None:
    """Ask about both of two that differ by their unit alone, and about the one that stands alone beside more.

    A low value at more voltage than the other's stands: that is what a breakdown looks like.
    """
    low, high = ir(WHOLE, "1.34", test_voltage_set=250), ir(WHOLE, "1.33", "GOhm")
    verdict = grade(low, high)
    assert asked(verdict) == [(_Q.THOUSANDFOLD, low.record_id), (_Q.THOUSANDFOLD, high.record_id)]
    assert verdict.verdict is Verdict.INCONCLUSIVE
    breakdown = grade(ir(WHOLE, "300", "MOhm", test_voltage_set=250), ir(WHOLE, "300", "kOhm"))
    assert breakdown.verdict is Verdict.UNACCEPTABLE
    alone = ir(WHOLE, "201.9", "kOhm", test_voltage_set=100, instrument_id=None)
    rest = (ir(WHOLE, "213.2", test_voltage_set=250), ir(WHOLE, "204.4"))
    assert asked(grade(alone, *rest)) == [(_Q.THOUSANDFOLD, alone.record_id)]


def test_the_leads_of_one_winding_are_one_circuit() -> None:
    """Through the winding every lead to earth reads alike (circuit theory); cores of a cable alone do not."""
    odd = ir(WHOLE, "277", "kOhm", terminals="U-PE")
    others = [ir(WHOLE, "270", terminals="V-PE"), ir(WHOLE, "273", terminals="W-PE")]
    verdict = grade(odd, *others)
    assert asked(verdict) == [(_Q.THOUSANDFOLD, odd.record_id)]
    assert verdict.verdict is Verdict.INCONCLUSIVE
    cores = [replace(one, section=CABLE) for one in (odd, *others)]
    assert asked(grade(*cores)) == []


def test_a_retest_that_is_asked_about_leaves_nothing_in_force() -> None:
    """What was cleaned away no longer holds, and what holds is not known until the answer (logic)."""
    before = ir(WHOLE, "0.20", "MOhm")
    retest = ir(WHOLE, "263.5", "mOhm", noted=("after_cleaning",))
    verdict = grade(before, retest)
    assert asked(verdict) == [(_Q.MILLI_FOR_MEGA, retest.record_id)]
    assert verdict.verdict is Verdict.INCONCLUSIVE
    assert grade(before, replace(retest, test_voltage_set=Decimal(250))).verdict is Verdict.UNACCEPTABLE
    assert grade(retest, before).verdict is Verdict.UNACCEPTABLE


def test_digits_finer_than_an_ohmmeter_s_are_asked_about() -> None:
    """A display shows whole counts of its resolution (by definition); a zero more behind them is only writing."""
    meter = {"M-1": Instrument("M-1", InstrumentKind.MULTIMETER, resolution_ohm=Decimal("0.1"))}
    for text, asks in (("4.639", True), ("4.60", False), ("4.6", False)):
        row = lg(WHOLE, text, "Ohm", terminals="TH2-PE", instrument_id="M-1")
        questions = grade_axis([*SOUND, row], axis(), METERS | meter).questions
        assert [q.code for q in questions] == ([_Q.BELOW_RESOLUTION] if asks else [])


@pytest.mark.parametrize(("low", "high", "verdict"), [
    ("1.34", "700", Verdict.INCONCLUSIVE), ("1.34", ">4000", Verdict.INCONCLUSIVE), ("300", "3000", Verdict.ACCEPTABLE),
])  # fmt: skip
def test_a_low_step_is_not_forgotten(low: str, high: str, verdict: Verdict) -> None:
    assert grade(ir(WHOLE, low, test_voltage_set=250), ir(WHOLE, high)).verdict is verdict


@pytest.mark.parametrize(("text", "unit", "asks"), [
    ("0.87", "Ohm", True), ("873", "mOhm", True), ("24", "Ohm", False), ("1265", "Ohm", False),
])  # fmt: skip
def test_a_brake_coil_with_less_than_any_has(text: str, unit: str, asks: bool) -> None:
    row = ll(MOTOR, text, "BR1-BR2", unit=unit, instrument_id=None)
    assert asked(grade(*SOUND, row)) == ([(_Q.LITTLE_FOR_BRAKE, row.record_id)] if asks else [])


def test_a_cabinet_below_the_motor_behind_it() -> None:
    """In series the whole cannot read less than a part of it: cores that touch lie across the motor."""
    context = axis(MotorKind.DC_SERVO)
    rows = (ir(WHOLE, "130", terminals="A1+A2-PE"), ll(WHOLE, "2.777", "A1-A2"), ll(MOTOR, "6.043", "A1-A2"))
    verdict = grade(*rows, context=context)
    assert Fact.CABINET_BELOW_MOTOR in {f.fact for f in verdict.findings}
    assert verdict.verdict is Verdict.INCONCLUSIVE


def test_a_brake_lead_to_earth_is_no_power_lead() -> None:
    row = made(LG, MOTOR, "5.08", "Ohm", terminals="B- to ground")
    assert grade(*SOUND, row).fault is Fault.BESIDE


def test_unnamed_cores_at_two_voltages_are_the_same_cores() -> None:
    cable = [ir(CABLE, "220", terminals="lead-ground", test_voltage_set=v) for v in (500, 500, 1000, 1000)]
    bad = ir(WHOLE, "0.20", terminals="lead-ground")
    good = ir(MOTOR, "2400", terminals="lead-ground")
    assert grade(bad, good, *cable).fault is Fault.UNDETERMINED
    assert grade(bad, good, *cable, cable[0]).fault is Fault.CONNECTOR_OR_MOISTURE


def test_a_part_as_low_as_the_whole_does_not_clear_itself() -> None:
    """Slip rings lower the floor of the cable to 50 kΩ; one that reads as low as the whole is not cleared by that."""
    context = axis(slip_rings=True)
    rows = (ir(WHOLE, "collapsed"), ir(MOTOR, "700"), ir(CABLE, "0.24"))
    assert grade(*rows, context=context).fault is Fault.UNDETERMINED


def test_a_later_value_below_the_limit_counts() -> None:
    rows = (ir(MOTOR, "6.00"), ir(MOTOR, "0.98", elapsed_s=600))
    assert grade(*rows).verdict is Verdict.UNACCEPTABLE
