"""Isolation on the records of an axis: evidence per part, the decision table, consistency, the unmeasured part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from grading.advice import next_after
from grading.case import Case, in_ohm, note, repeat
from grading.finding import Fault, Finding, NextStep, Urgency, Verdict
from grading.interval import (
    INFINITY,
    ContradictionError,
    Interval,
    Side,
    amplification,
    infer_interval,
    parallel_intervals,
)
from grading.isolation import Location, State, locate, locate_series, merge
from grading.limits import machine_limit
from grading.quantity import QuantityKind, Section
from grading.reading import Reading, Shape
from grading.rules.circuit import is_open
from grading.rules.insulation import is_early, is_full_voltage
from grading.terminals import leads, to_earth
from grading.words import SECTION_WORDS, limit_words, measured, number, sentence, span

LOCATE = "isolation.locate"
CONSISTENCY = "isolation.consistency"


@dataclass(frozen=True)
class Evidence:
    """What is known of one part to earth.

    Attributes:
        section: Which part.
        state: How it stands against the machine's floor.
        interval: Its resistance to earth at the common test voltage; None where only the state is known.
        value: Point value, ohm, where the interval comes from point readings.
        worst: The reading that speaks for it.
        ids: Records used.
    """

    section: Section
    state: State
    interval: Interval | None = None
    value: Decimal | None = None
    worst: Reading | None = None
    ids: tuple[str, ...] = ()


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
    replaced = {r.id for r in case.after_cleaning()}
    tests = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE)
        if r.id not in replaced and to_earth(r.measurement.terminals) and r.shape is not Shape.NONE
    ]
    voltage = _common_voltage(tests)
    parts = {s: _evidence(case, s, tests, voltage) for s in Section}
    whole, motor, cable = (parts[s] for s in (Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE))
    place = locate(whole.state, motor.state, cable.state)
    findings = [*_location(case, place, (whole, motor, cable))]
    if place.fault is not Fault.CONTRADICTORY:
        findings += _consistency(case, whole, motor, cable)
        findings += _unmeasured(case, whole, motor, cable)
    series = _series(case)
    fault = merge(place.fault, series)
    if _cores_touch(case):
        fault = merge(fault, Fault.CABLE)
    steps = next_after(case.context, place) if findings else ()
    return Isolation(fault, tuple(findings), steps)


def _common_voltage(tests: Sequence[Reading]) -> Decimal | None:
    """The voltage that most parts were tested at, the highest of those: parallel arithmetic needs one voltage."""
    by_voltage: dict[Decimal, set[Section | None]] = {}
    for reading in tests:
        if reading.measurement.test_voltage_set is not None:
            by_voltage.setdefault(reading.measurement.test_voltage_set, set()).add(reading.section)
    return max(by_voltage, key=lambda v: (len(by_voltage[v]), v), default=None)


def _evidence(case: Case, section: Section, tests: Sequence[Reading], voltage: Decimal | None) -> Evidence:
    own = [r for r in tests if r.section is section]
    floor = in_ohm(machine_limit(case.context, case.profile.limits))
    meters = [
        r
        for r in case.of(QuantityKind.RESISTANCE_TO_GROUND, section)
        if r.shape not in (Shape.NONE, Shape.OVER) and r.interval.high < floor
    ]
    low = [r for r in own if r.shape is Shape.COLLAPSED or r.interval.side_of(floor) is Side.BELOW]
    at_voltage = [r for r in own if r.measurement.test_voltage_set == voltage] or own
    usable = [r for r in at_voltage if r.shape is not Shape.UNEXPLAINED]
    interval, value = _combined(section, usable)
    pool = low or usable or meters or own
    worst = min(pool, key=lambda r: (r.interval.high, r.interval.low), default=None)
    ids = tuple(r.id for r in (*own, *meters))
    return Evidence(section, _state(case, own, low, meters, floor), interval, value, worst, ids)


def _state(
    case: Case, own: Sequence[Reading], low: Sequence[Reading], meters: Sequence[Reading], floor: Decimal
) -> State:
    if low or (meters and not any(r.interval.low >= floor for r in own)):
        return State.LOW
    if not own:
        return State.UNMEASURED
    full = [r for r in own if is_full_voltage(case, r) and not is_early(case, r)]
    unclear = any(r.interval.side_of(floor) is Side.STRADDLES for r in own)
    return State.OK if full and not unclear else State.UNCLEAR


def _combined(section: Section, readings: Sequence[Reading]) -> tuple[Interval | None, Decimal | None]:
    """Resistance of a part to earth: cores of a cable alone add up in parallel, leads of a winding are one circuit."""
    if not readings:
        return None, None
    joined = [r for r in readings if len(leads(r.measurement.terminals)) != 1]
    if section is not Section.CABLE_ALONE or joined:
        worst = min(joined or readings, key=lambda r: (r.interval.high, r.interval.low))
        return worst.interval, worst.value
    cores: dict[str, Reading] = {}
    for reading in readings:
        name = leads(reading.measurement.terminals)[0]
        held = cores.get(name)
        if held is None or reading.interval.high < held.interval.high:
            cores[name] = reading
    values = [r.value for r in cores.values()]
    value = values[0] if len(values) == 1 else None
    return parallel_intervals(r.interval for r in cores.values()), value


def _location(case: Case, place: Location, parts: tuple[Evidence, Evidence, Evidence]) -> Iterator[Finding]:
    ids = tuple(i for part in parts for i in part.ids)
    if not ids:
        return
    facts = "; ".join(
        f"{SECTION_WORDS[p.section]} {measured(p.worst.measurement)}" for p in parts if p.worst is not None
    )
    limit = machine_limit(case.context, case.profile.limits)
    text = f"Axis {case.context.axis}: {place.words}. {sentence(f'{facts} ({limit_words(limit)})')}"
    steps = next_after(case.context, place)
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


def _consistency(case: Case, whole: Evidence, motor: Evidence, cable: Evidence) -> Iterator[Finding]:
    if whole.interval is None or motor.interval is None or cable.interval is None:
        return
    ids = (*whole.ids, *motor.ids, *cable.ids)
    expected = parallel_intervals((motor.interval, cable.interval))
    low, high = case.limit("compare.whole_low"), case.limit("compare.whole_high")
    head = f"Axis {case.context.axis}"
    facts = f"measured {span(whole.interval)}, calculated from the parts {span(expected)}"
    if whole.interval.high < expected.low * low.value:
        hidden = ""
        try:
            path = infer_interval(whole.interval, expected)
            hidden = f"; a third path of {span(path)} exists in the connection (calculated)"
        except ContradictionError:
            pass
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


def _unmeasured(case: Case, whole: Evidence, motor: Evidence, cable: Evidence) -> Iterator[Finding]:
    """Bounds of the part that was not measured, labelled as calculated; they never carry a pass."""
    if whole.interval is None or (motor.interval is None) == (cable.interval is None):
        return
    known, other = (motor, "cable") if motor.interval is not None else (cable, "motor")
    if known.interval is None:
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
            opens[section] = any(is_open(r) for r in readings)
    core = any(is_open(r) for r in case.of(QuantityKind.CONTINUITY))
    return locate_series(opens[Section.THROUGH_CABLE], opens[Section.MOTOR_ALONE], core)


def _cores_touch(case: Case) -> bool:
    """Whether a cable alone conducts between its cores (impossible to see with the motor connected)."""
    floor = in_ohm(case.limit("insulation.drive_floor"))
    return any(
        not to_earth(r.measurement.terminals) and (r.shape is Shape.COLLAPSED or r.interval.high < floor)
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, Section.CABLE_ALONE)
    )
