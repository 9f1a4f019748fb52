"""What is known of each part of an axis to earth, ready for isolation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from grading.case import Case, in_ohm
from grading.interval import Interval, Side, parallel, parallel_intervals
from grading.isolation import State
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.insulation import fails_early, floor_of, is_full_voltage, is_one_minute, outlasted
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.terms.record import record
from grading.terms.section import Section
from grading.terms.terminals import leads

CORES: Mapping[MotorKind, int] = {MotorKind.DC_SERVO: 2, MotorKind.AC_SERVO: 3, MotorKind.SPINDLE: 3}
"""Power cores of a cable."""


@record
class KnownPart:
    """What is known of one part to earth.

    Attributes:
        section: Which part.
        state: How it stands against the machine's floor.
        interval: Its resistance to earth at the common test voltage; None where only the state is known.
        value: Point value, ohm, where the interval comes from point readings.
        worst: The reading that speaks for it.
        ids: Records used.
        cores_left: Cores of the cable were left out, and those that were tested are good.
    """

    section: Section
    state: State
    interval: Interval | None = None
    value: Decimal | None = None
    worst: BoundedReading | None = None
    ids: tuple[str, ...] = ()
    cores_left: bool = False


def gather(case: Case) -> tuple[KnownPart, KnownPart, KnownPart]:
    """Give the evidence of the whole, the motor alone and the cable alone."""
    tests = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE)
        if r.to_earth and r.shape is not Shape.NONE and not (r.early and outlasted(case, r))
    ]
    voltage, failed_at = _common_voltage(tests), _failed_at(case, tests)
    whole, motor, cable = (
        _evidence(case, section, tests, voltage, failed_at)
        for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE)
    )
    if whole.state is State.OK and any(_beyond(case, tests, part) for part in (motor, cable)):
        whole = replace(whole, state=State.UNCLEAR)
    motor, cable = (_not_cleared(whole, part) for part in (motor, cable))
    return whole, motor, cable


def _not_cleared(whole: KnownPart, part: KnownPart) -> KnownPart:
    """Give a part as unclear where it meets its own, lower floor, and yet reads as low as the whole that failed."""
    if whole.state is not State.LOW or part.state is not State.OK or whole.worst is None or part.worst is None:
        return part
    as_low = part.worst.interval.low <= whole.worst.interval.high
    return replace(part, state=State.UNCLEAR) if as_low else part


def _beyond(case: Case, tests: Sequence[BoundedReading], part: KnownPart) -> bool:
    """Tell whether a part was found low only at a voltage or after a time that the whole was never put to."""
    if part.state is not State.LOW:
        return False
    floor = in_ohm(floor_of(case, part.section))
    whole = [r.measurement for r in tests if r.section is Section.THROUGH_CABLE]
    highest = max((m.test_voltage_set or Decimal(0) for m in whole), default=Decimal(0))
    longest = max((m.elapsed_s or Decimal(0) for m in whole), default=Decimal(0))
    low = [r.measurement for r in tests if r.section is part.section and _shows_low(case, r, floor)]
    return bool(low) and all(
        (m.test_voltage_set or Decimal(0)) > highest or (longest > 0 and (m.elapsed_s or Decimal(0)) > longest)
        for m in low
    )


def _common_voltage(tests: Sequence[BoundedReading]) -> Decimal | None:
    """Give the voltage that most parts were tested at, the highest of those: parallel arithmetic needs one voltage."""
    by_voltage: dict[Decimal, set[Section | None]] = {}
    for reading in tests:
        if reading.measurement.test_voltage_set is not None:
            by_voltage.setdefault(reading.measurement.test_voltage_set, set()).add(reading.section)
    return max(by_voltage, key=lambda v: (len(by_voltage[v]), v), default=None)


def _failed_at(case: Case, tests: Sequence[BoundedReading]) -> set[Decimal | None]:
    """Give the voltages at which the whole failed: a part that holds at one of them does not carry that fault."""
    floor = in_ohm(floor_of(case, Section.THROUGH_CABLE))
    return {
        r.measurement.test_voltage_set
        for r in tests
        if r.section is Section.THROUGH_CABLE and _shows_low(case, r, floor)
    }


def _evidence(
    case: Case,
    section: Section,
    tests: Sequence[BoundedReading],
    voltage: Decimal | None,
    failed_at: set[Decimal | None],
) -> KnownPart:
    own = [r for r in tests if r.section is section]
    partly = section is Section.CABLE_ALONE and bool(own) and not _every_core(case, own)
    floor = in_ohm(floor_of(case, section))
    meters = [
        r
        for r in case.of(QuantityKind.RESISTANCE_TO_GROUND, section)
        if r.shape not in (Shape.NONE, Shape.OVER) and r.interval.high < floor
    ]
    low = [r for r in own if _shows_low(case, r, floor)]
    # Arithmetic only between values at one test voltage; a part without one there has a state but no interval.
    at_voltage = [r for r in own if r.measurement.test_voltage_set == voltage]
    usable = [r for r in at_voltage if r.shape is not Shape.UNEXPLAINED and is_one_minute(case, r)]
    interval, value = (None, None) if partly else _combined(section, usable)
    pool = low or usable or meters or own
    worst = min(pool, key=lambda r: (r.interval.high, r.interval.low), default=None)
    ids = tuple(r.id for r in (*own, *meters))
    state = _state(case, section, own, low, meters, failed_at)
    cores_left = partly and state is State.OK
    if cores_left:
        state = State.UNMEASURED  # the cores that were left out are not known
    return KnownPart(section, state, interval, value, worst, ids, cores_left)


def _every_core(case: Case, readings: Sequence[BoundedReading]) -> bool:
    """Tell whether every power core of a cable was tested to earth: each by itself, or all of them joined."""
    named: set[str] = set()
    # Rows that name no core are different cores only within one step of the test.
    unnamed: Counter[tuple[object, ...]] = Counter()
    for reading in readings:
        own = leads(reading.measurement.terminals)
        if own in (("ALL",), ()):
            return True
        if own == ("LEAD",):
            m = reading.measurement
            unnamed[m.test_voltage_set, m.elapsed_s, reading.noted(Circumstance.AFTER_CLEANING)] += 1
        else:
            named.update(own)
    return len(named) + max(unnamed.values(), default=0) >= CORES[case.context.motor_kind]


def _shows_low(case: Case, reading: BoundedReading, floor: Decimal) -> bool:
    if reading.shape is Shape.COLLAPSED:
        return True
    early = reading.early
    return fails_early(case, reading) if early else reading.interval.side_of(floor) is Side.BELOW


def _state(
    case: Case,
    section: Section,
    own: Sequence[BoundedReading],
    low: Sequence[BoundedReading],
    meters: Sequence[BoundedReading],
    failed_at: set[Decimal | None],
) -> State:
    floor = in_ohm(floor_of(case, section))
    if low or (meters and not any(r.interval.low >= floor for r in own)):
        return State.LOW
    if not own:
        return State.UNMEASURED
    telling = [
        r for r in own if not r.early and (is_full_voltage(case, r) or r.measurement.test_voltage_set in failed_at)
    ]
    # Slip rings lower the floor of the whole they are in, and yet the whole clears the motor only at the motor's own.
    clears = in_ohm(floor_of(case, Section.MOTOR_ALONE)) if section is Section.THROUGH_CABLE else floor
    unclear = any(r.interval.low < clears for r in own)
    return State.OK if telling and not unclear else State.UNCLEAR


def _combined(section: Section, readings: Sequence[BoundedReading]) -> tuple[Interval | None, Decimal | None]:
    """Give a part's resistance to earth: cores of a cable alone add up in parallel, a winding is one circuit."""
    if not readings:
        return None, None
    joined = [r for r in readings if len(leads(r.measurement.terminals)) != 1]
    if section is not Section.CABLE_ALONE or joined:
        worst = min(joined or readings, key=lambda r: (r.interval.high, r.interval.low))
        return worst.interval, worst.value
    cores: dict[str, BoundedReading] = {}
    for reading in readings:
        name = leads(reading.measurement.terminals)[0]
        held = cores.get(name)
        if held is None or reading.interval.high < held.interval.high:
            cores[name] = reading
    points = [r.value for r in cores.values() if r.value is not None]
    value = parallel(points) if len(points) == len(cores) else None
    # With the others left free, a core's reading holds the ways through them too, so the paths are counted twice at
    # most: joined they conduct no less than the worst of them, and no more than all together.
    together = parallel_intervals(r.interval for r in cores.values())
    return Interval(together.low, min(r.interval.high for r in cores.values())), value
