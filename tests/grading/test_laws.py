"""Laws that every grading must keep, whatever the numbers: monotone, unit-free, order-free, never over-confident."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import ROUND_DOWN, Decimal, localcontext

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.finding import Urgency, Verdict
from grading.interval import (
    INFINITY,
    Interval,
    infer_branch,
    infer_interval,
    parallel,
    parallel_intervals,
)
from grading.isolation import Fault, State, locate
from grading.measurement import Measurement, MotorKind
from grading.reading import bound
from grading.temperature import factor_thermosetting
from grading.terms.quantity import Qualifier, Quantity
from grading.terms.section import Section
from grading.verdict import grade_axis, grade_job
from tests.grading.making import CABLE, METERS, MOTOR, TESTER, WHOLE, axis, ir, lg, ll

D = Decimal
RESISTANCE = st.decimals("0.01", "10000", places=2)
SECTIONS = st.sampled_from([WHOLE, MOTOR, CABLE])
MOTORS = st.sampled_from(list(MotorKind))


def intervals() -> st.SearchStrategy[Interval]:
    """Intervals in ohm, some unbounded."""
    ends = st.tuples(RESISTANCE, RESISTANCE).map(sorted)
    bounded = ends.map(lambda pair: Interval(*pair))
    return st.one_of(bounded, RESISTANCE.map(Interval.at_least), RESISTANCE.map(Interval.at_most))


# The parallel law.


@given(st.lists(RESISTANCE, min_size=1, max_size=5), RESISTANCE)
def test_parallel_is_at_most_its_lowest_path_and_falls_with_each_more(paths: list[Decimal], more: Decimal) -> None:
    slack = 1 + D("1e-20")
    assert parallel(paths) <= min(paths) * slack
    assert parallel([*paths, more]) < parallel(paths)
    assert parallel([*paths, INFINITY]) == parallel(paths)


@given(RESISTANCE, RESISTANCE)
def test_inferring_undoes_joining(a: Decimal, b: Decimal) -> None:
    assert abs(infer_branch(parallel([a, b]), b) / a - 1) < D("1e-15")


@given(intervals(), intervals(), st.floats(0, 1), st.floats(0, 1))
def test_joined_interval_holds_every_pair_inside(a: Interval, b: Interval, x: float, y: float) -> None:
    def inside(interval: Interval, share: float) -> Decimal:
        high = interval.high if interval.bounded else interval.low * 1000 + 1
        return interval.low + (high - interval.low) * D(str(share))

    joined = parallel_intervals([a, b])
    value = parallel([inside(a, x), inside(b, y)])
    slack = D("1e-12")
    assert joined.low * (1 - slack) <= value <= joined.high * (1 + slack)


@given(intervals(), intervals())
def test_inferred_interval_holds_the_branch(a: Interval, b: Interval) -> None:
    found = infer_interval(parallel_intervals([a, b]), b)
    slack = D("1e-12")
    assert found.low * (1 - slack) <= a.low
    assert found.high == INFINITY or found.high * (1 + slack) >= a.high


@given(intervals(), intervals())
def test_an_over_range_branch_never_gets_an_upper_bound_from_itself(total: Interval, known: Interval) -> None:
    over = Interval.at_least(total.low)
    if over.low > known.high:
        return
    assert infer_interval(over, known).high == INFINITY


@given(intervals(), intervals(), intervals())
def test_a_better_reading_never_widens_what_is_known(a: Interval, b: Interval, better: Interval) -> None:
    """A second reading of one part can only narrow its interval, and then only narrow the whole."""
    low, high = max(a.low, better.low), min(a.high, better.high)
    if low > high:
        return
    before, after = parallel_intervals([a, b]), parallel_intervals([Interval(low, high), b])
    assert before.low <= after.low
    assert after.high <= before.high


# Verdicts of one reading.

SHOWN = RESISTANCE.filter(lambda megohms: megohms <= METERS["IT-03"].range_end[500] / 1_000_000)
"""What the tester can show at 500 V; what lies beyond is asked about (`tests/grading/test_plausibility.py`)."""


def verdict_of(*readings: Measurement, motor: MotorKind = MotorKind.AC_SERVO) -> Verdict:
    return grade_axis(list(readings), axis(motor), METERS).verdict


@given(SHOWN, SHOWN, SECTIONS, MOTORS)
@settings(max_examples=150)
def test_a_lower_insulation_value_never_improves_the_verdict(
    one: Decimal, other: Decimal, section: Section, motor: MotorKind
) -> None:
    low, high = sorted((one, other))
    worse = verdict_of(ir(section, f"{low:f}"), motor=motor)
    better = verdict_of(ir(section, f"{high:f}"), motor=motor)
    assert worse.severity >= better.severity


@given(st.lists(SHOWN, min_size=2, max_size=4), st.decimals("0.05", "0.95", places=2), SECTIONS)
@settings(max_examples=75)
def test_lowering_all_insulation_values_never_improves_the_verdict(
    values: list[Decimal], factor: Decimal, section: Section
) -> None:
    places = ("U-PE", "V-PE", "W-PE", "U+V+W-PE")

    def all_of(scale: Decimal) -> Verdict:
        texts = [f"{(v * scale).quantize(D('0.001'), rounding=ROUND_DOWN):f}" for v in values]
        return verdict_of(*(ir(section, t, terminals=p) for t, p in zip(texts, places, strict=False)))

    assert all_of(factor).severity >= all_of(D(1)).severity


@given(st.integers(10, 4_000_000), SECTIONS)
@settings(max_examples=100)
def test_the_unit_changes_nothing(kilohm: int, section: Section) -> None:
    """The same digits of the same display, entered in kΩ, MΩ or GΩ (property 4 and 7)."""
    findings = []
    for unit, places in (("kOhm", 0), ("MOhm", 3), ("GOhm", 6)):
        digits = f"{D(kilohm).scaleb(-places):f}"
        axis_verdict = grade_axis([ir(section, digits, unit, record_id="r")], axis(), METERS)
        findings.append([(f.rule, f.verdict, f.margin) for f in axis_verdict.findings])
    assert findings[0] == findings[1] == findings[2]


@given(st.sampled_from(["collapsed", "none", "<0.5", "<4000", "short"]), SECTIONS, MOTORS)
def test_no_pass_without_a_value_from_below(text: str, section: Section, motor: MotorKind) -> None:
    assert verdict_of(ir(section, text), motor=motor) in (Verdict.UNACCEPTABLE, Verdict.INCONCLUSIVE)


@given(RESISTANCE, SECTIONS)
@settings(max_examples=75)
def test_nothing_but_a_full_voltage_one_minute_reading_passes(value: Decimal, section: Section) -> None:
    text = f"{value:f}"
    for weaker in (
        ir(section, text, elapsed_s=7),
        ir(section, text, test_voltage_set=100),
        ir(section, text, test_voltage_set=None),
        ir(section, text, noted=("unsteady",)),
        ir(section, text, noted=("low_battery",)),
    ):
        assert verdict_of(weaker) in (Verdict.UNACCEPTABLE, Verdict.INCONCLUSIVE)


@given(RESISTANCE)
def test_an_ohmmeter_never_passes_an_insulation_test(value: Decimal) -> None:
    for text in (f"{value:f}", "OL", ">60"):
        assert verdict_of(lg(WHOLE, text)) is not Verdict.ACCEPTABLE


@given(st.permutations(["1.21", "1.20", "1.29"]), st.booleans())
def test_order_of_leads_changes_nothing(values: list[str], turned: bool) -> None:
    """Which pair reads what, and which lead is named first, leave the unbalance as it is."""
    pairs = ["V-U", "W-V", "U-W"] if turned else ["U-V", "V-W", "W-U"]
    readings = [ll(MOTOR, v, p) for v, p in zip(values, pairs, strict=True)]
    found = [f for f in grade_axis(readings, axis(), METERS).findings if f.rule == "winding.unbalance"]
    assert len(found) == 1
    assert found[0].margin is not None
    assert found[0].margin.value is not None
    assert round(found[0].margin.value, 4) == D("4.5946") if sorted(values) == ["1.20", "1.21", "1.29"] else True


@given(st.permutations([0, 1, 2]), RESISTANCE, RESISTANCE, RESISTANCE)
@settings(max_examples=75)
def test_order_of_measuring_changes_no_verdict(order: list[int], a: Decimal, b: Decimal, c: Decimal) -> None:
    readings = [ir(s, f"{v:f}") for s, v in ((WHOLE, a), (MOTOR, b), (CABLE, c))]
    straight = grade_axis(readings, axis(), METERS)
    shuffled = grade_axis([readings[i] for i in order], axis(), METERS)
    assert (straight.verdict, straight.fault) == (shuffled.verdict, shuffled.fault)


# The axis as a whole.


@given(RESISTANCE, st.lists(st.tuples(SECTIONS, RESISTANCE), max_size=4))
@settings(max_examples=75)
def test_removing_evidence_never_makes_an_axis_acceptable_for_sure(
    value: Decimal, others: list[tuple[Section, Decimal]]
) -> None:
    """Without its insulation readings no axis is acceptable (property 9)."""
    readings = [ll(WHOLE, "1.20"), *(ir(s, f"{v:f}") for s, v in others)]
    without = [r for r in readings if r.test_voltage_set is None]
    assert verdict_of(*without) is not Verdict.ACCEPTABLE
    assert verdict_of(*readings, ir(WHOLE, f"{value:f}")) in Verdict


@given(st.lists(st.tuples(SECTIONS, RESISTANCE), min_size=1, max_size=5))
@settings(max_examples=75)
def test_every_finding_leads_back_to_records(given_values: list[tuple[Section, Decimal]]) -> None:
    readings = [ir(s, f"{v:f}") for s, v in given_values]
    verdict = grade_axis(readings, axis(), METERS)
    known = {r.record_id for r in readings}
    assert all(f.record_ids and set(f.record_ids) <= known for f in verdict.findings)
    assert set(verdict.record_ids) == known
    assert "safe" not in json.dumps(verdict.to_dict()).lower()


@given(st.lists(st.tuples(SECTIONS, RESISTANCE), min_size=1, max_size=4))
@settings(max_examples=50)
def test_findings_are_ranked_and_the_worst_gives_the_verdict(given_values: list[tuple[Section, Decimal]]) -> None:
    verdict = grade_axis([ir(s, f"{v:f}") for s, v in given_values], axis(), METERS)
    judged = [f.verdict.severity for f in verdict.findings if f.urgency is not Urgency.INFORMATION]
    assert judged == sorted(judged, reverse=True)
    assert verdict.verdict.severity == judged[0]


@given(st.sampled_from([1, 3, 7, 50]))
def test_the_callers_decimal_context_changes_nothing(precision: int) -> None:
    readings = [ir(WHOLE, "0.80"), ir(MOTOR, "550"), ir(MOTOR, "1.05"), ir(CABLE, "0.80"), ir(CABLE, "123.4")]
    usual = grade_axis(readings, axis(), METERS).to_dict()
    with localcontext() as context:
        context.prec = precision
        assert grade_axis(readings, axis(), METERS).to_dict() == usual


@given(
    st.lists(
        st.builds(
            lambda section, kind, digits, unit, qualifier, volts, built, seconds: replace(
                ir(WHOLE, "1"),
                section=section,
                quantity=Quantity(digits, unit, qualifier),
                terminals=kind,
                test_voltage_set=volts,
                test_voltage_built=built,
                elapsed_s=seconds,
            ),
            st.sampled_from([None, WHOLE, MOTOR, CABLE]),
            st.sampled_from(["", "U-PE", "lead-ground", "lead-lead", "U-V", "B+-B-", "x", "U+V+W-PE", "-", "U/PE"]),
            st.sampled_from([None, "0", "0.00", "-1", "5", "550", "999999999999"]),
            st.sampled_from([None, "MOhm", "Ohm", "V", "Cel"]),
            st.sampled_from(list(Qualifier)),
            st.sampled_from([None, D(0), D(50), D(500), D(1000)]),
            st.sampled_from([None, D(0), D(70), D(500), D(900)]),
            st.sampled_from([None, D(0), D(30), D(60), D(600)]),
        ),
        max_size=6,
    ),
    MOTORS,
)
@settings(max_examples=300)
def test_no_record_makes_grading_fail(readings: list[Measurement], motor: MotorKind) -> None:
    """Whatever was confirmed, grading answers, and its answer is plain data."""
    numbered = [replace(r, record_id=f"r{i}") for i, r in enumerate(readings)]
    verdict = grade_axis(numbered, axis(motor), METERS)
    assert json.loads(json.dumps(verdict.to_dict()))["axis"] == "X"
    assert (verdict.verdict is Verdict.ACCEPTABLE) <= any(
        f.rule == "insulation.machine" and f.verdict is Verdict.ACCEPTABLE for f in verdict.findings
    )


# Isolation.


@given(st.sampled_from(list(State)), st.sampled_from(list(State)), st.sampled_from(list(State)))
def test_every_combination_has_a_place(whole: State, motor: State, cable: State) -> None:
    found = locate(whole, motor, cable)
    named = {Fault.MOTOR: [motor], Fault.CABLE: [cable], Fault.BOTH: [motor, cable]}
    assert all(state is State.LOW for state in named.get(found.fault, []))
    if found.fault is Fault.NEITHER:
        assert State.LOW not in (whole, motor, cable)
    if found.fault is Fault.CONTRADICTORY:
        assert whole is State.OK


@given(RESISTANCE, RESISTANCE)
@settings(max_examples=100)
def test_readings_that_follow_the_law_never_contradict(motor: Decimal, cable: Decimal) -> None:
    """The whole computed from its parts, rounded as a display rounds, is never called contradictory."""
    whole = parallel([motor, cable]).quantize(D("0.01"))
    if whole == 0:
        return
    verdict = grade_axis([ir(WHOLE, f"{whole:f}"), ir(MOTOR, f"{motor:f}"), ir(CABLE, f"{cable:f}")], axis(), METERS)
    assert verdict.fault is not Fault.CONTRADICTORY
    assert "isolation.consistency" not in [f.rule for f in verdict.findings if f.verdict is Verdict.INCONCLUSIVE]


@pytest.mark.parametrize("kind", ["MOhm", "kOhm"])
def test_bounds_of_an_over_range_reading_keep_their_sense(kind: str) -> None:
    reading = bound(ir(WHOLE, ">4000", kind), TESTER)
    assert not reading.interval.bounded
    assert reading.value is None


def test_temperature_factor_is_continuous_at_40() -> None:
    step = D("1e-9")
    assert abs(factor_thermosetting(40 + step) - factor_thermosetting(40 - step)) < D("1e-9")


@given(st.lists(st.tuples(st.sampled_from("XYZ"), RESISTANCE), min_size=1, max_size=6))
@settings(max_examples=40)
def test_a_job_is_its_axes(readings: list[tuple[str, Decimal]]) -> None:
    made = [ir(WHOLE, f"{v:f}", axis=name) for name, v in readings]
    contexts = {name: replace(axis(), axis=name) for name, _ in readings}
    job = grade_job(made, contexts, METERS)
    alone = [grade_axis(made, contexts[a.axis], METERS) for a in job.axes]
    assert [a.to_dict() for a in job.axes] == [a.to_dict() for a in alone]
    assert job.verdict.severity == max(a.verdict.severity for a in job.axes)
