"""Laws of a cabinet's reading held against nameplate and cable, and of a part that failed: no bad fact helps.

The healthy axis is made without the code under test: copper of the cable by IEC 60228 (1.5 mm², class 2: 12.1 Ω/km at
20 °C, from memory), a winding at 25 °C by the factor (234.5 + 25) / (234.5 + 20) of IEC 60034-1 (from memory).
"""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from grading.finding import Verdict
from grading.measurement import Measurement
from grading.outcome import AxisVerdict
from grading.step_codes import StepKind
from grading.verdict import grade_axis
from tests.grading.making import CABLE, CORE, METERS, MOTOR, WHOLE, axis, ir, ll, made

PLATE_OHM = 2.0
CABLE_M = 40
WINDING_OHM = PLATE_OHM * (234.5 + 25) / (234.5 + 20)
LOOP_OHM = 2 * CABLE_M * 12.1 / 1000
PAIRS = ("U-V", "V-W", "W-U")
DESCRIBED = axis(nameplate_resistance_ohm=PLATE_OHM, nameplate_c=20, cable_length_m=CABLE_M, core_mm2=1.5)


def judged(readings: list[Measurement]) -> AxisVerdict:
    return grade_axis(readings, DESCRIBED, METERS)


def winding(ohm: float, section: object = WHOLE) -> list[Measurement]:
    part = MOTOR if section is MOTOR else WHOLE
    return [ll(part, f"{ohm:.3f}", pair) for pair in PAIRS]


def whole(ohm: float = WINDING_OHM + LOOP_OHM) -> list[Measurement]:
    return [ir(WHOLE, "500"), *winding(ohm)]


APART = winding(WINDING_OHM, MOTOR)

BAD = (
    ll(WHOLE, "0.300", "U-V"),  # less than the cable's own copper
    ll(WHOLE, "1.200", "V-W"),  # less than nameplate and cable
    ll(WHOLE, "9.000", "W-U"),
    ll(WHOLE, "OL", "U-V"),
    ll(MOTOR, "0.900", "U-V"),
    made(CORE, CABLE, "OL", "Ohm", terminals="U-U"),
    ir(WHOLE, "0.10"),
    ir(CABLE, "0.10"),
    ir(MOTOR, "0.10"),
)
"""Rows each of which speaks against the axis."""


def test_the_healthy_axis_passes_with_and_without_the_motor_measured_apart() -> None:
    assert judged(whole()).verdict is Verdict.ACCEPTABLE
    assert judged([*whole(), *APART]).verdict is Verdict.ACCEPTABLE


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0), st.booleans())
@settings(max_examples=100, deadline=None)
def test_less_copper_in_the_cabinet_never_looks_better(one: float, other: float, apart: bool) -> None:
    """Shorted turns and a reading not taken through the cable only ever take away (Ohm's law)."""
    low, high = sorted((one, other))
    motor = APART if apart else []
    healthy = WINDING_OHM + LOOP_OHM
    worse, better = (judged([*whole(share * healthy), *motor]).verdict for share in (low, high))
    assert worse.severity >= better.severity
    if low * healthy < 0.5 * LOOP_OHM:
        assert worse.severity >= Verdict.INCONCLUSIVE.severity, "nothing hangs on less than its own cable"


@given(st.lists(st.sampled_from(BAD), max_size=4, unique=True), st.sampled_from(BAD), st.booleans(), st.integers(0, 8))
@settings(max_examples=200, deadline=None)
def test_no_bad_fact_improves_a_verdict(before: list[Measurement], more: Measurement, apart: bool, place: int) -> None:
    readings = [*whole(), *(APART if apart else []), *before]
    added = [*readings[:place], more, *readings[place:]]
    assert judged(added).verdict.severity >= judged(readings).verdict.severity


@given(st.data(), st.lists(st.sampled_from(BAD), max_size=3, unique=True), st.booleans())
@settings(max_examples=100, deadline=None)
def test_the_order_of_rows_changes_nothing(data: st.DataObject, bad: list[Measurement], apart: bool) -> None:
    readings = [*whole(), *(APART if apart else []), *bad]
    shuffled = data.draw(st.permutations(readings))
    straight, turned = judged(readings), judged(shuffled)
    assert (straight.verdict, straight.fault, straight.drive.verdict) == (
        turned.verdict, turned.fault, turned.drive.verdict,
    )  # fmt: skip
    kinds = [[step.action.kind for step in found.next_steps] for found in (straight, turned)]
    assert kinds[0] == kinds[1]


@given(st.sampled_from([MOTOR, CABLE]), st.floats(0.02, 0.3), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_part_that_failed_its_own_test_is_repaired_before_the_other_is_tested(
    failed: object, megohm: float, apart: bool
) -> None:
    """Common practice, no source: what is known to be bad is repaired first; the other may be sound behind it."""
    part, repair, tests = (
        (MOTOR, StepKind.CLEAN_DRY_MOTOR, StepKind.TEST_CABLE_ALONE)
        if failed is MOTOR
        else (CABLE, StepKind.REPLACE_CABLE_ORDER, StepKind.TEST_MOTOR_ALONE)
    )
    text = f"{megohm:.2f}"
    rows = [ir(WHOLE, text), *winding(WINDING_OHM + LOOP_OHM), *(APART if apart else []), ir(part, text)]
    kinds = [step.action.kind for step in judged(rows).next_steps]
    assert repair in kinds
    assert tests not in kinds[: kinds.index(repair)]
