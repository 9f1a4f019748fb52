"""Scores grading on simulated visits: false clean, false alarm, blame, and what was set aside, with intervals."""

from __future__ import annotations

import math
import traceback
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from grading.finding import Verdict
from grading.isolation import Fault as Told
from grading.outcome import AxisVerdict
from grading.terms.circumstance import Circumstance
from grading.verdict import grade_axis
from tests.grading.simulation.bench import IR, LG, PARTS
from tests.grading.simulation.circuit import LEAKS, PLACE, Fault, Flaw
from tests.grading.simulation.confirmed import cannot_stand, possible
from tests.grading.simulation.healthy import M
from tests.grading.simulation.visible import Evidence, in_force, unseen, visible
from tests.grading.simulation.visit import SimulatedVisit, draw_visit

Grader = Callable[[SimulatedVisit], AxisVerdict]
FALSE_CLEAN, FALSE_ALARM, TRACE = "false clean", "false alarm", "trace"
WRONG_BLAME, CONTRADICTION = "wrong blame", "unacceptable, yet neither"
SOFTENED = "softened: far under the limit, not unacceptable"
FALSE_DRIVE, UNTESTED_DRIVE = "drive acceptable over a fault", "drive acceptable, faulty part untested"
_RIGHT = {"motor": {Told.MOTOR}, "cable": {Told.CABLE}, "joint": {Told.CONNECTOR_OR_MOISTURE}, "both": {Told.BOTH}}
AFTER = Circumstance.AFTER_CLEANING
FLOOR_OHM = 1.0 * M
"""Of a machine's power circuit as measured: IEC 60204-1, 18.3 (read in a secondary text)."""
_TOLD = frozenset({Told.MOTOR, Told.CABLE, Told.BOTH, Told.CONNECTOR_OR_MOISTURE})


@dataclass(frozen=True)
class Outcome:
    """What came of one visit.

    Attributes:
        seed: Of the visit.
        truth: The flaw left, "healthy", or "cleaned".
        slips: What was typed wrong.
        evidence: Why no healthy circuit could have given the readings; empty where one could.
        aside: Why nothing could show the fault; "" where something could, or nothing is wrong.
        verdict: Of the axis; "" where grading ended with a trace.
        blame: "right", "wrong", "not told"; "" where the question does not arise.
        failures: What is wrong with it.
        state: "sound", or "unsettled" where a row stands that contradicts the circuit as it was left.
        trace: Where grading ended with one.
    """

    seed: int
    truth: str
    slips: tuple[str, ...]
    evidence: tuple[Evidence, ...]
    aside: str
    verdict: str
    blame: str
    failures: tuple[str, ...]
    trace: str = ""
    state: str = "sound"


def grade(visit: SimulatedVisit) -> AxisVerdict:
    """Grade a visit as the server does."""
    return grade_axis(visit.measurements, visit.context, visit.instruments, history=visit.history)


def play(seed: int, grader: Grader = grade) -> Outcome:
    """Draw a visit, have it graded, and score the verdict."""
    visit = draw_visit(seed)
    evidence = tuple(visible(visit.entries, visit.known, visit.instruments))
    slips = tuple(sorted(visit.mistakes))
    truth = visit.circuit.faults[0].flaw.value if visit.faulty else "cleaned" if visit.begun.faults else "healthy"
    aside = _aside(visit) if visit.faulty and not evidence else ""
    state = "sound" if visit.faulty or sound(visit, evidence) else "unsettled"
    try:
        verdict = grader(visit)
    except Exception:
        return Outcome(seed, truth, slips, evidence, aside, "", "", (TRACE,), traceback.format_exc(), state)
    blame = _blame(visit, verdict, evidence)
    failures = tuple(_failures(visit, verdict, evidence, blame))
    return Outcome(seed, truth, slips, evidence, aside, verdict.verdict.value, blame, failures, "", state)


def _aside(visit: SimulatedVisit) -> str:
    needs_volts = any(fault.onset_v for fault in visit.circuit.faults)
    part = PLACE.get(visit.circuit.faults[0].flaw)
    return unseen(visit.circuit.faults, visit.entries, part, needs_volts=needs_volts, slips=bool(visit.mistakes))


def _blame(visit: SimulatedVisit, verdict: AxisVerdict, evidence: tuple[Evidence, ...]) -> str:
    """Score the blame where a fault is seen and called unacceptable, and the truth did not change meanwhile."""
    asked = visit.faulty and visit.blamed and evidence and verdict.verdict is Verdict.UNACCEPTABLE
    if not asked or visit.mistakes or visit.circuit is not visit.begun:
        return ""
    right = _RIGHT[visit.blamed or "both"]
    if Flaw.BAD_JOINT in visit.circuit.flaws():
        right = {
            Told.CABLE,
            Told.CONNECTOR_OR_MOISTURE,
        }  # in series with the core: only opening the plug tells them apart
    if verdict.fault in right:
        return "right"
    if verdict.fault not in _TOLD:
        return "not told"
    # Of two faulty parts one is told while the other was not measured, or is seen by another reading only.
    return "one of two" if visit.blamed == "both" else "wrong"


def sound(visit: SimulatedVisit, evidence: tuple[Evidence, ...]) -> bool:
    """Tell whether a visit may be held against an alarm: nothing wrong, nothing to be seen, no row of another circuit.

    Where something was cleaned, every test to earth must have been taken again, or a row of the dirty circuit stands.
    Where the motor alone was written down as the whole, its earlier visits are of another part. Where a unit was typed
    wrong, a row that stands wholly below the floor of IEC 60204-1 as measured is a fault by that clause.
    """
    if visit.faulty or evidence or ("section" in visit.mistakes and visit.history):
        return False
    if "unit" in visit.mistakes and _under(visit, FLOOR_OHM):
        return False
    if visit.begun is visit.circuit:
        return True
    kept = in_force(visit.entries)
    first = next((i for i, e in enumerate(kept) if AFTER in e.measurement.circumstances), len(kept))
    return not any(e.point.kind in (IR, LG) and not e.point.auxiliary for e in kept[:first])


def _failures(visit: SimulatedVisit, verdict: AxisVerdict, evidence: tuple[Evidence, ...], blame: str) -> Iterator[str]:
    power = [fault for fault in visit.circuit.faults if fault.flaw in PLACE or fault.flaw is Flaw.LIVE]
    if visit.faulty and evidence and verdict.verdict is Verdict.ACCEPTABLE:
        yield FALSE_CLEAN
    if sound(visit, evidence) and verdict.verdict is Verdict.UNACCEPTABLE:
        yield FALSE_ALARM
    plain = visit.faulty and not visit.mistakes and visit.begun is visit.circuit
    if plain and verdict.verdict is not Verdict.UNACCEPTABLE and _far_under(visit):
        yield SOFTENED
    if blame == "wrong":
        yield WRONG_BLAME
    if blame and verdict.fault is Told.NEITHER:
        yield CONTRADICTION
    if verdict.drive.verdict is Verdict.ACCEPTABLE and power:
        if evidence and len(visit.circuit.faults) == 1 and _hard(power[0]):
            yield FALSE_DRIVE
        elif not evidence and not _tested(visit, {PLACE[f.flaw] for f in power if f.flaw in PLACE}):
            yield UNTESTED_DRIVE


def _far_under(visit: SimulatedVisit) -> bool:
    """Tell whether a leak is there and a row in force wholly under half of the 1 MΩ of IEC 60204-1, 18.3."""
    if visit.context.slip_rings or not visit.circuit.flaws() & LEAKS:
        return False
    return _under(visit, 0.5 * FLOOR_OHM)


def _under(visit: SimulatedVisit, bound: float) -> bool:
    """Tell whether an insulation row to earth of the power circuit stands wholly under a bound, ohm."""
    points = [e for e in in_force(visit.entries) if e.point.kind is IR and e.point.to_earth]
    rows = [possible(e, visit.instruments) for e in points if not cannot_stand(e, visit.instruments)]
    return any(row is not None and row.high < bound for row in rows)


def _hard(fault: Fault) -> bool:
    """Tell whether nobody would switch a drive on to a fault: under half the floor of practice, open, shorted."""
    if fault.flaw in LEAKS:
        return fault.ohm < 0.5 * M
    return fault.flaw in (Flaw.OPEN_PHASE, Flaw.OPEN_CORE, Flaw.SHORTED_TURNS, Flaw.LIVE)


def _tested(visit: SimulatedVisit, parts: set[str]) -> bool:
    """Tell whether every faulty part was under an insulation test."""
    under = {part for e in in_force(visit.entries) if e.point.kind is IR for part in PARTS[e.point.section]}
    return parts <= under


@dataclass
class Score:
    """Sums of outcomes; sums of several runs add."""

    visits: int = 0
    truths: Counter[tuple[str, str]] = field(default_factory=Counter)
    asides: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[tuple[str, str]] = field(default_factory=Counter)
    failures: Counter[str] = field(default_factory=Counter)
    blames: Counter[str] = field(default_factory=Counter)

    def add(self, outcome: Outcome) -> None:
        """Count one visit."""
        self.visits += 1
        state = "aside" if outcome.aside else "visible" if outcome.evidence else outcome.state
        group = outcome.truth if outcome.truth in ("healthy", "cleaned") else "faulty"
        self.truths[outcome.truth, state] += 1
        if outcome.aside:
            self.asides[outcome.aside] += 1
        self.verdicts[f"{group}, {state}", outcome.verdict or TRACE] += 1
        self.failures.update(outcome.failures)
        if outcome.blame:
            self.blames[outcome.blame] += 1

    def merge(self, other: Score) -> None:
        """Add another run."""
        self.visits += other.visits
        for name in ("truths", "asides", "verdicts", "failures", "blames"):
            getattr(self, name).update(getattr(other, name))

    def count(self, group: str, verdict: str | None = None) -> int:
        """Count visits of a group ("faulty, visible"), with one verdict or all."""
        return sum(n for (g, v), n in self.verdicts.items() if g == group and verdict in (None, v))


def wilson(hits: int, of: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Give the 95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212)."""
    if of == 0:
        return 0.0, 1.0
    share = hits / of
    middle = share + z * z / (2 * of)
    half = z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, (middle - half) / (1 + z * z / of)), min(1.0, (middle + half) / (1 + z * z / of))


def table(score: Score, seed: int) -> str:
    """Write the table."""
    faulty = sum(n for (truth, _), n in score.truths.items() if truth not in ("healthy", "cleaned"))
    aside = sum(score.asides.values())
    seen, sound = score.count("faulty, visible"), score.count("healthy, sound") + score.count("cleaned, sound")
    unsettled = score.count("healthy, unsettled") + score.count("cleaned, unsettled")
    asked = sum(score.blames.values())
    told = asked - score.blames["not told"]
    lines = [
        f"{score.visits} visits from seed {seed}; {faulty} circuits left faulty, {seen} so that a reading shows it",
        "",
        "| what | count | of | share | 95 % interval |",
        "|---|---|---|---|---|",
        _row("false clean: fault could be seen, verdict acceptable", score.failures[FALSE_CLEAN], seen),
        _row("false alarm: nothing wrong or to be seen, verdict unacceptable", score.failures[FALSE_ALARM], sound),
        _row("grading ended with a trace", score.failures[TRACE], score.visits),
        _row("drive acceptable over a hard fault that could be seen", score.failures[FALSE_DRIVE], seen),
        _row("drive acceptable, faulty part without insulation test", score.failures[UNTESTED_DRIVE], faulty),
        _row("softened: row under 0.5 MΩ to earth, verdict not unacceptable", score.failures[SOFTENED], seen),
        _row("blame told, where the verdict is unacceptable", told, asked),
        _row("blame right, where told", score.blames["right"], told),
        _row("one of two faulty parts told", score.blames["one of two"], told),
        _row("blame wrong, where told", score.blames["wrong"], told),
        _row("unacceptable, yet the fault is called neither", score.failures[CONTRADICTION], asked),
        _row("sound and not called acceptable (marginal or inconclusive)", sound - _accepted(score), sound),
        _row(
            "sound circuits set aside: a row stands that is not of it, or fails as typed", unsettled, sound + unsettled
        ),
        _row("faulty visits set aside: nothing could show it", aside, faulty),
    ]
    lines += [_row(f"... {reason}", n, faulty) for reason, n in score.asides.most_common()]
    flaws = sorted({truth for truth, _ in score.truths} - {"healthy", "cleaned"})
    lines += ["", "| fault | visits | could be seen | set aside |", "|---|---|---|---|"]
    for flaw in flaws:
        shown, hidden = score.truths[flaw, "visible"], score.truths[flaw, "aside"]
        lines.append(f"| {flaw} | {shown + hidden} | {shown} | {hidden / (shown + hidden):.0%} |")
    return "\n".join(lines)


def _accepted(score: Score) -> int:
    return score.count("healthy, sound", "acceptable") + score.count("cleaned, sound", "acceptable")


def _row(what: str, hits: int, of: int) -> str:
    low, high = wilson(hits, of)
    share = f"{hits / of:.3%}" if of else "-"
    return f"| {what} | {hits} | {of} | {share} | {low:.3%} to {high:.3%} |"


def run(seeds: Iterable[int], grader: Grader = grade) -> tuple[Score, list[Outcome]]:
    """Play some visits: their score, and the outcomes in which something is wrong."""
    score, failed = Score(), []
    for seed in seeds:
        outcome = play(seed, grader)
        score.add(outcome)
        if outcome.failures:
            failed.append(outcome)
    return score, failed
