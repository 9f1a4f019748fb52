"""A sample of simulated visits, the kept cases, and the proof that the simulation can fail."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from grading.finding import Verdict
from grading.measurement import MotorKind
from grading.outcome import AxisVerdict
from grading.terms.quantity import Qualifier
from tests.grading.simulation.__main__ import SPAN, main
from tests.grading.simulation.bench import CABLE_ALONE, CORE, IR, LL, MOTOR_ALONE, WHOLE, Point
from tests.grading.simulation.cases import Given, given_data, given_from
from tests.grading.simulation.circuit import Circuit, Flaw
from tests.grading.simulation.planning import effort_table, efforts
from tests.grading.simulation.score import (
    FALSE_ALARM,
    FALSE_CLEAN,
    TRACE,
    Grader,
    Score,
    grade,
    play,
    run,
    table,
    wilson,
)
from tests.grading.simulation.visible import healthy_bounds, in_force, visible
from tests.grading.simulation.visit import SimulatedVisit, draw_visit

KEPT = Path(__file__).parent / "cases.json"
SAMPLE = range(SPAN, SPAN + 400)


@pytest.fixture(scope="module")
def played() -> tuple[Score, set[str]]:
    score, failed = run(SAMPLE)
    return score, {f"{failure} at seed {o.seed}" for o in failed for failure in o.failures}


@pytest.mark.parametrize("law", [FALSE_CLEAN, FALSE_ALARM, TRACE])
def test_a_sample(law: str, played: tuple[Score, set[str]]) -> None:
    assert not {line for line in played[1] if line.startswith(law)}


def test_few_visits_are_set_aside(played: tuple[Score, set[str]]) -> None:
    score = played[0]
    faulty = sum(n for (truth, _), n in score.truths.items() if truth not in ("healthy", "cleaned"))
    assert sum(score.asides.values()) < 0.2 * faulty
    assert len({truth for truth, _ in score.truths} & {flaw.value for flaw in Flaw}) >= len(Flaw) - 2


def test_the_kept_cases() -> None:
    """Grade again what once passed as sound, was condemned though sound, was blamed wrong, or ended with a trace."""
    kept = json.loads(KEPT.read_text())
    for case in kept:
        verdict = given_from(case["given"]).graded()
        told = {"verdict": verdict.verdict, "fault": verdict.fault, "drive": verdict.drive.verdict}
        for name, value in told.items():
            assert value.value not in case.get(f"not_{name}", ()), (case["seed"], case["cause"])


def _always(verdict: Verdict) -> Grader:
    def grader(visit: SimulatedVisit) -> AxisVerdict:
        return dataclasses.replace(grade(visit), verdict=verdict)

    return grader


def test_a_grader_that_calls_everything_acceptable_is_caught() -> None:
    score, failed = run(range(SPAN, SPAN + 60), _always(Verdict.ACCEPTABLE))
    seen = score.count("faulty, visible")
    assert score.failures[FALSE_CLEAN] == seen > 20
    assert {o.seed for o in failed if FALSE_CLEAN in o.failures}


def test_a_grader_that_condemns_everything_is_caught() -> None:
    score, _ = run(range(SPAN, SPAN + 60), _always(Verdict.UNACCEPTABLE))
    assert score.failures[FALSE_ALARM] == score.count("healthy, sound") + score.count("cleaned, sound") > 10


def test_a_grader_that_raises_is_caught() -> None:
    def grader(visit: SimulatedVisit) -> AxisVerdict:
        raise ZeroDivisionError(visit.seed)

    outcome = play(SPAN, grader)
    assert outcome.failures == (TRACE,)
    assert "ZeroDivisionError" in outcome.trace


def test_a_visit_is_given_again_by_its_seed() -> None:
    first, second = draw_visit(12345), draw_visit(12345)
    assert (first.measurements, first.context, first.history) == (second.measurements, second.context, second.history)
    assert first.measurements != draw_visit(12346).measurements


def test_no_reading_of_a_healthy_circuit_is_evidence() -> None:
    """Hold the judge to its own premise: a healthy circuit, honestly written down, shows no fault."""
    for seed in range(250):
        visit = draw_visit(seed)
        if not visit.begun.faults and not visit.mistakes:
            assert visible(visit.entries, visit.known, visit.instruments) == [], seed


def test_healthy_bounds_by_hand() -> None:
    """Compare the solved bounds with sums on paper: joined winding at 40 °C, whole with cable and plug in parallel."""
    known = dataclasses.replace(
        draw_visit(1).known, motor=MotorKind.AC_SERVO, winding_c=37.0, plate_ohm=None, rated_v=400.0
    )
    motor = Point(MOTOR_ALONE, IR, ("U", "V", "W"), ("PE",))
    assert healthy_bounds(motor, known)[0] == pytest.approx(100e6, rel=1e-6)
    whole = dataclasses.replace(motor, section=WHOLE)
    by_hand = 1 / (1 / 100e6 + 1 / 50e6 + 3 / 1000e6)
    assert healthy_bounds(whole, known)[0] == pytest.approx(by_hand, rel=1e-6)
    assert healthy_bounds(motor, known, seconds=15)[0] == pytest.approx(25e6, rel=1e-6)


def test_a_retest_replaces_its_own_point_only() -> None:
    changed = 0
    for seed in range(250):
        visit = draw_visit(seed)
        kept = in_force(visit.entries)
        if len(kept) == len(visit.entries):
            continue
        changed += 1
        gone = [e for e in visit.entries if e not in kept]
        again = [e for e in kept if "after_cleaning" in e.measurement.circumstances]
        assert all(any(e.point == other.point for other in again) for e in gone)
    assert changed > 3


def test_data_of_a_case_give_the_same_verdict() -> None:
    for seed in range(40):
        visit = draw_visit(seed)
        given = Given(visit.measurements, visit.context, visit.instruments, visit.history)
        again = given_from(json.loads(json.dumps(given_data(given))))
        assert again == given


def test_a_continuous_core_is_measured_as_its_copper() -> None:
    visit = draw_visit(7)
    visit.bench.circuit = visit.begun.with_faults(())
    lead = visit.begun.leads[0]
    shown = visit.bench.ideal(Point(CABLE_ALONE, CORE, (lead,), (lead,)))(1.0)
    assert shown == pytest.approx(visit.begun.cores[0], rel=1e-6)


def test_instruments_stay_within_their_data_sheet() -> None:
    """Show values over eight decades: each lies within ±(% + counts) of what is there, or is over or below range."""
    for seed in range(30):
        bench = draw_visit(seed).bench
        for exponent in range(4, 11):
            ohm = 10**exponent * 1.7
            shown = bench.tester.shows(lambda _volts, ohm=ohm: ohm, 500, 60, bench.rng)  # type: ignore[misc]
            if shown.qualifier is Qualifier.EQUAL and ohm > 500 / bench.tester.limit_a and shown.digits:
                scale = {"MOhm": 1e6, "GOhm": 1e9}[shown.unit]
                count = scale * 10.0 ** -len(shown.digits.partition(".")[2])
                error = abs(float(shown.digits) * scale - ohm)
                assert error <= bench.tester.percent / 100 * ohm + bench.tester.counts * count
            elif ohm > bench.tester.range_end[500]:
                assert shown.qualifier in (Qualifier.ABOVE, Qualifier.OPEN)


def test_wilson() -> None:
    # E. B. Wilson's interval as statsmodels gives it: 0 of 10 and 3 of 10, 95 %.
    from statsmodels.stats.proportion import proportion_confint

    for hits, of in ((0, 10), (3, 10), (50, 50), (0, 100_000)):
        assert wilson(hits, of) == pytest.approx(proportion_confint(hits, of, method="wilson"), abs=1e-9)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["--visits", "20", "--plans", "2", "--failures", str(tmp_path / "failures")])
    printed = capsys.readouterr().out
    assert "20 visits from seed 1" in printed
    assert "false clean" in printed
    assert "readings by the plan" in printed


def test_the_plan_reaches_the_right_part() -> None:
    found = efforts(SPAN, 10)
    assert sum(e.told for e in found) >= 7
    assert all(e.planned <= 80 for e in found)
    assert str(len(found)) in effort_table(found)


def test_the_table_of_nothing() -> None:
    assert "0 visits" in table(Score(), 1)


def test_circuits_are_what_they_say() -> None:
    """Compare the network's winding with the handbook's star and delta: 2 R, 2/3 R."""
    for seed in range(30):
        circuit: Circuit = draw_visit(seed).begun.with_faults(())
        if circuit.motor is MotorKind.DC_SERVO:
            continue
        bench = draw_visit(seed).bench
        bench.circuit = circuit
        found = bench.ideal(Point(MOTOR_ALONE, LL, ("U",), ("V",)))(1.0)
        factor = 2.0 if circuit.connection.value == "star" else 2 / 3
        assert found == pytest.approx(factor * circuit.phases[0], rel=0.02)
