"""Isolation on the records of an axis: evidence per part, the decision table, consistency, the unmeasured part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from grading.advice import next_after, series_steps
from grading.case import Case, in_ohm, note, repeat
from grading.finding import Fault, Finding, NextStep, Urgency, Verdict
from grading.interval import (
    INFINITY,
    ContradictionError,
    amplification,
    infer_interval,
    parallel_intervals,
)
from grading.isolation import Location, State, locate, locate_series, merge
from grading.limits import machine_limit
from grading.reading import Shape
from grading.rules.circuit import is_open
from grading.rules.parts import KnownPart, gather
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.terms.terminals import to_earth
from grading.words import limit_words, measured, number, sentence, span

LOCATE = "isolation.locate"
CONSISTENCY = "isolation.consistency"


@dataclass(frozen=True)
class Isolation:
    """Everything that isolation found.

    Attributes:
        fault: Where the fault is.
        findings: What was found on the way.
        steps: What follows, most useful first.
    """

    fault: Fault
    findings: tuple[Finding, ...]
    steps: tuple[NextStep, ...] = ()


def isolate(case: Case) -> Isolation:
    """Locate the fault of an axis from its insulation, ohmmeter, winding and continuity readings."""
    whole, motor, cable = gather(case)
    place = locate(whole.state, motor.state, cable.state)
    findings = [*_location(case, place, (whole, motor, cable))]
    if place.fault is not Fault.CONTRADICTORY:
        findings += _consistency(case, whole, motor, cable)
        findings += _unmeasured(case, whole, motor, cable)
    series = _series(case)
    fault = merge(place.fault, series)
    if _cores_touch(case):
        fault = merge(fault, Fault.CABLE)
    return Isolation(fault, tuple(findings), _follow_up(case, place, series, (whole, motor, cable)))


def _follow_up(
    case: Case, place: Location, series: Fault, parts: tuple[KnownPart, KnownPart, KnownPart]
) -> tuple[NextStep, ...]:
    """What follows: an open circuit first, then insulation where a part is bad or the readings contradict."""
    steps = series_steps(case.context, series)
    # Where no part is bad, what else could be measured stands behind the steps of the other findings.
    urgent = place.fault is Fault.CONTRADICTORY or State.LOW in {part.state for part in parts}
    return (*steps, *(next_after(case.context, place) if urgent else ()))


def _location(case: Case, place: Location, parts: tuple[KnownPart, KnownPart, KnownPart]) -> Iterator[Finding]:
    ids = tuple(i for part in parts for i in part.ids)
    if not ids:
        return
    facts = "; ".join(
        f"{section_in_full(p.section)} {measured(p.worst.measurement)}" for p in parts if p.worst is not None
    )
    limit = machine_limit(case.context, case.profile.limits)
    text = f"Axis {case.context.axis}: {place.words}. {sentence(f'{facts} ({limit_words(limit)})')}"
    unclear = State.UNCLEAR in {p.state for p in parts}
    steps = () if unclear else next_after(case.context, place)
    step = steps[0] if steps else None
    bad = place.fault in (Fault.MOTOR, Fault.CABLE, Fault.BOTH, Fault.CONNECTOR_OR_MOISTURE)
    if bad:
        advice = _recommendation(place.fault)
        yield Finding(LOCATE, Verdict.UNACCEPTABLE, Urgency.DO_NOT_ENERGISE, text, limit, ids, None, step, None, advice)
    elif place.fault is Fault.CONTRADICTORY or State.LOW in {p.state for p in parts}:
        step = step or NextStep("Measure the part named again.", "The readings so far do not locate the fault.")
        yield repeat(LOCATE, text, ids, step, None, limit)
    else:
        yield replace(note(LOCATE, text, ids), next_step=step)


def _recommendation(fault: Fault) -> str:
    return {
        Fault.CABLE: "We recommend to replace the cable before re-energising.",
        Fault.MOTOR: "We recommend to clean, dry and retest the motor, and to repair or replace it if it stays low.",
        Fault.BOTH: "We recommend to replace the cable first, then to repair or replace the motor.",
        Fault.CONNECTOR_OR_MOISTURE: "We recommend to open, clean and dry the connector and to retest.",
    }.get(fault, "")


def _consistency(case: Case, whole: KnownPart, motor: KnownPart, cable: KnownPart) -> Iterator[Finding]:
    if whole.interval is None or motor.interval is None or cable.interval is None:
        return
    ids = (*whole.ids, *motor.ids, *cable.ids)
    expected = parallel_intervals((motor.interval, cable.interval))
    low, high = case.limit("compare.whole_low"), case.limit("compare.whole_high")
    head = f"Axis {case.context.axis}"
    facts = f"measured {span(whole.interval)}, calculated from the parts {span(expected)}"
    if whole.interval.high < expected.low * low.value:
        path = infer_interval(whole.interval, expected)
        hidden = f"; a third path of {span(path)} exists in the connection (calculated)"
        step = NextStep(
            "Open, clean and dry the connector and terminal box, reconnect, and retest while flexing.",
            "Together the parts leak more than apart.",
            "A whole that reads as calculated from its parts.",
        )
        yield repeat(
            CONSISTENCY,
            sentence(f"{head}: the whole is lower than its parts explain; {facts}{hidden}"),
            ids,
            step,
            None,
            low,
        )
    elif whole.interval.low > expected.high * high.value:
        step = NextStep(
            "Repeat all three at one voltage, time and position.",
            "Drying, another axis, another voltage or a position-dependent fault lies between the readings.",
        )
        yield repeat(
            CONSISTENCY, sentence(f"{head}: the whole is higher than its parts allow; {facts}"), ids, step, None, high
        )
    else:
        yield note(CONSISTENCY, sentence(f"{head}: the whole agrees with its parts; {facts}"), ids)


def _unmeasured(case: Case, whole: KnownPart, motor: KnownPart, cable: KnownPart) -> Iterator[Finding]:
    """Bounds of the part that was not measured, labelled as calculated; they never carry a pass."""
    known, other = (motor, "cable") if cable.interval is None else (cable, "motor")
    if whole.interval is None or known.interval is None or (motor.interval is not None and cable.interval is not None):
        return
    ids = (*whole.ids, *known.ids)
    limit = case.limit("compare.amplification")
    try:
        found = infer_interval(whole.interval, known.interval)
        magnified = INFINITY
        if whole.value is not None and known.value is not None and known.value > whole.value:
            magnified = amplification(whole.value, known.value)
        elif known.interval.high == INFINITY and whole.value is not None:
            magnified = amplification(whole.value, known.interval.low) if known.interval.low > whole.value else INFINITY
    except ContradictionError:
        return
    text = f"Axis {case.context.axis}: the {other} was not measured; calculated {span(found)}"
    if magnified > limit.value:
        text += (
            f", too uncertain to use (errors magnified {number(magnified, 2)} times, {limit_words(limit)}): measure it"
        )
    yield note(LOCATE, sentence(text), ids)


def _series(case: Case) -> Fault:
    opens: dict[Section, bool | None] = {Section.THROUGH_CABLE: None, Section.MOTOR_ALONE: None}
    for section in opens:
        readings = [r for r in case.of(QuantityKind.WINDING_RESISTANCE, section) if r.shape is not Shape.NONE]
        if readings:
            opens[section] = any(is_open(case, r) for r in readings)
    core = any(is_open(case, r) for r in case.of(QuantityKind.CONTINUITY))
    return locate_series(opens[Section.THROUGH_CABLE], opens[Section.MOTOR_ALONE], core)


def _cores_touch(case: Case) -> bool:
    """Whether a cable alone conducts between its cores (impossible to see with the motor connected)."""
    floor = in_ohm(case.limit("insulation.drive_floor"))
    return any(
        not to_earth(r.measurement.terminals) and (r.shape is Shape.COLLAPSED or r.interval.high < floor)
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, Section.CABLE_ALONE)
    )
