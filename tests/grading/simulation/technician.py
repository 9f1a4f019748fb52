"""A technician's way through one axis: the usual order of points, with what people skip, repeat and get wrong."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from grading.measurement import Measurement, MotorKind
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, Quantity
from grading.terms.section import Section
from tests.grading.simulation.bench import (
    CABLE_ALONE,
    CORE,
    EARTH,
    IR,
    LG,
    LL,
    MOTOR_ALONE,
    VOLTS,
    WHOLE,
    Bench,
    Point,
)
from tests.grading.simulation.circuit import CLEANABLE, Flaw
from tests.grading.simulation.healthy import M
from tests.grading.simulation.instrument import Shown
from tests.grading.simulation.naming import Manner, swapped_leads, swapped_section

_SCALE = {"mOhm": 1e-3, "Ohm": 1.0, "kOhm": 1e3, "MOhm": 1e6, "GOhm": 1e9, "TOhm": 1e12}


@dataclass(frozen=True)
class Entry:
    """One confirmed row.

    Attributes:
        measurement: As grading gets it.
        point: The same place, named without ambiguity, as the technician has it (wrong names stay wrong).
    """

    measurement: Measurement
    point: Point


@dataclass(frozen=True)
class Habits:
    """What one technician does on one visit; shares are probabilities for each point."""

    manner: Manner
    skip: float
    proves_dead: bool
    whole: bool
    meter_to_earth: bool
    each_lead: bool
    screening: bool
    judging_v: int
    above: bool
    seconds: int | None
    early: bool
    long_test: bool
    thorough: bool
    motor_apart: bool
    cable_apart: bool
    core_to_core: bool
    continuity: bool
    auxiliary: bool
    cleans: bool
    retests: float
    swaps_leads: bool
    swaps_section: bool
    notes_time: bool
    remark: Circumstance | None
    encoder: bool


def draw_habits(rng: random.Random, manner: Manner, flaws: frozenset[Flaw], brushed: bool) -> Habits:
    """Draw what is done on one visit; what the customer complains of makes some of it likelier."""

    def likely(share: float, *where: Flaw, otherwise: float) -> bool:
        return rng.random() < (share if flaws & set(where) else otherwise)

    return Habits(
        manner=manner,
        skip=rng.choice((0.0, 0.0, 0.05, 0.15)),
        proves_dead=likely(0.95, Flaw.LIVE, otherwise=0.5),
        whole=rng.random() < 0.93,
        meter_to_earth=rng.random() < 0.6,
        each_lead=likely(0.7, Flaw.OPEN_CORE, Flaw.OPEN_PHASE, otherwise=0.4),
        screening=rng.random() < 0.6,
        judging_v=250 if rng.random() < 0.05 else 500,
        above=rng.random() < 0.04,
        seconds=60 if rng.random() < 0.85 else rng.choice((15, 30, 62, 90)),
        early=likely(0.6, Flaw.MOTOR_CREEPS, otherwise=0.1),
        long_test=likely(0.7, Flaw.MOTOR_CREEPS, otherwise=0.05),
        thorough=likely(0.97, Flaw.CORES_TOUCH, Flaw.EARTH_OPEN, Flaw.BAD_JOINT, otherwise=0.3),
        motor_apart=rng.random() < 0.94,
        cable_apart=likely(0.97, Flaw.CORES_TOUCH, Flaw.EARTH_OPEN, otherwise=0.9),
        core_to_core=likely(0.95, Flaw.CORES_TOUCH, otherwise=0.4),
        continuity=likely(0.95, Flaw.EARTH_OPEN, otherwise=0.35),
        auxiliary=likely(0.95, Flaw.BRAKE_LEAK, Flaw.BRAKE_OPEN, Flaw.SENSOR_OPEN, otherwise=0.3),
        cleans=rng.random() < 0.35,
        retests=rng.choice((1.0, 1.0, 0.6, 0.4)),
        swaps_leads=not brushed and rng.random() < 0.03,
        swaps_section=rng.random() < 0.015,
        notes_time=rng.random() < 0.9,
        remark=rng.choice(
            (Circumstance.ONE_PHASE_ONLY, Circumstance.UNSTEADY, Circumstance.LOW_BATTERY, Circumstance.FLEXED)
        )
        if rng.random() < 0.04
        else None,
        encoder=rng.random() < 0.08,
    )


@dataclass
class Technician:
    """Works through one axis and keeps what was confirmed."""

    bench: Bench
    habits: Habits
    rng: random.Random
    entries: list[Entry] = field(default_factory=list)
    cleaned: bool = False

    @property
    def leads(self) -> tuple[str, ...]:
        """The power leads of the axis."""
        return self.bench.circuit.leads

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The pairs of leads."""
        names = self.leads
        return [(names[0], names[1])] if len(names) == 2 else [(names[i], names[(i + 1) % 3]) for i in range(3)]

    def work(self) -> None:
        """Go through the axis: cabinet first, then apart where something is bad (or always), cleaning last."""
        habits = self.habits
        if habits.proves_dead:
            self._prove_dead()
        bad = False
        if habits.whole:
            bad = self._windings(WHOLE)
            bad = self._earth_meter(WHOLE) or bad
            bad = self._insulation(WHOLE) or bad
        if bad or habits.thorough or not habits.whole:
            if habits.motor_apart:
                self._windings(MOTOR_ALONE)
                self._earth_meter(MOTOR_ALONE)
                self._insulation(MOTOR_ALONE)
            if habits.cable_apart:
                self._cable(bad)
        if habits.auxiliary:
            self._auxiliary()
        if habits.cleans and bad and self.bench.circuit.flaws() & CLEANABLE:
            self._clean()

    # What is measured where.

    def _prove_dead(self) -> None:
        for number, lead in enumerate(self.leads):
            if self.rng.random() >= self.habits.skip:
                shown = Shown(Qualifier.EQUAL, f"{self.bench.volts(number):.1f}", "V")
                self._keep(Point(WHOLE, VOLTS, (lead,), (EARTH,)), shown, self.bench.meter.id)
        if self.habits.encoder:
            supply = Measurement(
                "e", "X", WHOLE, VOLTS, "ENC+-ENC-", Quantity(f"{self.rng.uniform(4.9, 5.1):.2f}", "V")
            )
            self.entries.append(Entry(supply, Point(WHOLE, VOLTS, ("ENC",), ("ENC0",))))

    def _windings(self, section: Section) -> bool:
        """Measure lead to lead; tell whether something looks bad to the technician."""
        values: list[float] = []
        opened = False
        zeroed = self.rng.random() < 0.3
        brushed = self.bench.circuit.motor is MotorKind.DC_SERVO
        for one, other in self.pairs:
            turns = self.rng.choice((1, 3, 8)) if brushed and section is MOTOR_ALONE else 1
            if self.rng.random() < self.habits.skip:
                continue
            for turn in range(turns):
                shown = self.bench.ohms(Point(section, LL, (one,), (other,)), zeroed)
                position = f"{turn + 1}" if turns > 1 else None
                self._keep(Point(section, LL, (one,), (other,)), shown, self.bench.meter.id, zeroed, position)
                if shown.qualifier is Qualifier.OPEN:
                    opened = True
                elif shown.digits is not None:
                    values.append(float(shown.digits) * _SCALE[shown.unit])
        uneven = not brushed and bool(values) and max(values) > 1.06 * min(values)
        return opened or uneven

    def _earth_meter(self, section: Section) -> bool:
        if not self.habits.meter_to_earth:
            return False
        names = self.leads if self.habits.each_lead else self.leads[:1]
        low = False
        for lead in names:
            if self.rng.random() >= self.habits.skip:
                shown = self.bench.ohms(Point(section, LG, (lead,), (EARTH,)))
                self._keep(Point(section, LG, (lead,), (EARTH,)), shown, self.bench.hand.id)
                low = low or _ohm(shown) < M
        return low

    def _earth_points(self, section: Section) -> list[Point]:
        if self.habits.each_lead or section is CABLE_ALONE:
            return [Point(section, IR, (lead,), (EARTH,)) for lead in self.leads]
        return [Point(section, IR, self.leads, (EARTH,))]

    def _insulation(self, section: Section) -> bool:
        bad = False
        for point in self._earth_points(section):
            if self.rng.random() < self.habits.skip:
                continue
            low = 100 if self.bench.circuit.motor is MotorKind.DC_SERVO else 250
            if self.habits.screening:
                shown = self._test(point, low, self.habits.seconds)
                if _ohm(shown) < M:
                    bad = True
                    if self.rng.random() < 0.6:
                        continue  # the voltage is not raised over a fault that shows already
            if self.habits.early:
                self._test(point, self.habits.judging_v, self.rng.choice((15, 30)))
            shown = self._test(point, self.habits.judging_v, self.habits.seconds)
            bad = bad or _ohm(shown) < M
            if self.habits.long_test and (section is MOTOR_ALONE or not self.habits.motor_apart):
                self._test(point, self.habits.judging_v, 600)
            if self.habits.above and not bad:
                self._test(point, 1000, self.habits.seconds)
        return bad

    def _cable(self, bad: bool) -> None:
        joined = self.rng.random() < 0.25
        points = [Point(CABLE_ALONE, IR, self.leads, (EARTH,))] if joined else self._earth_points(CABLE_ALONE)
        for point in points:
            if self.rng.random() >= self.habits.skip:
                self._test(point, 500, self.habits.seconds)
                if self.habits.above:
                    self._test(point, 1000, self.habits.seconds)
        if self.habits.core_to_core:
            for one, other in self.pairs:
                self._test(Point(CABLE_ALONE, IR, (one,), (other,)), 500, self.habits.seconds)
        if self.habits.continuity or bad:
            for lead in (*self.leads, EARTH):
                if self.rng.random() >= self.habits.skip:
                    point = Point(CABLE_ALONE, CORE, (lead,), (lead,))
                    self._keep(point, self.bench.ohms(point), self.bench.hand.id)

    def _auxiliary(self) -> None:
        circuit = self.bench.circuit
        pairs = [("B1", "B2")] if circuit.brake is not None else []
        pairs += [("T1", "T2")] if circuit.thermistor is not None else []
        section = WHOLE if self.rng.random() < 0.5 else MOTOR_ALONE
        for one, other in pairs:
            for point in (Point(section, LL, (one,), (other,)), Point(section, LG, (other,), (EARTH,))):
                if self.rng.random() >= self.habits.skip:
                    self._keep(point, self.bench.ohms(point), self.bench.hand.id)

    def shield(self) -> None:
        """Measure the encoder's shield from end to end, its cable unplugged, and to earth from the cabinet."""
        for point in (Point(WHOLE, CORE, ("S1",), ("S2",)), Point(WHOLE, LG, ("S1",), (EARTH,))):
            self._keep(point, self.bench.ohms(point), self.bench.hand.id)

    def _clean(self) -> None:
        """Clean or dry: what is cleanable gets better, or not, and some of the points are taken again."""
        better = self.rng.random() < 0.7
        self.cleaned = True
        before = [e for e in self.entries if e.measurement.kind is IR]
        kept = []
        for fault in self.bench.circuit.faults:
            if fault.flaw in CLEANABLE and better and fault.lead != 1:
                continue
            if fault.flaw in CLEANABLE and better:
                kept.append(replace(fault, ohm=fault.ohm * self.rng.uniform(2, 30)))
            else:
                kept.append(fault)
        self.bench.circuit = self.bench.circuit.with_faults(kept)
        again: dict[tuple[Point, Decimal | None], Entry] = {
            (e.point, e.measurement.test_voltage_set): e for e in before
        }
        for (point, volts), entry in again.items():
            if self.rng.random() < self.habits.retests and volts is not None:
                seconds = entry.measurement.elapsed_s
                self._test(point, int(volts), 60 if seconds is None else int(seconds), after=True)

    # How a row comes about.

    def _test(self, point: Point, volts: int, seconds: int | None, after: bool = False) -> Shown:
        shown = self.bench.insulation(point, volts, seconds or 60)
        noted = [Circumstance.AFTER_CLEANING] if after else []
        if self.habits.remark is not None and self.rng.random() < 0.5:
            noted.append(self.habits.remark)
        time = Decimal(seconds) if seconds is not None and self.habits.notes_time else None
        self._write(point, shown, self.bench.tester.id, noted, volts, time)
        return shown

    def _keep(
        self, point: Point, shown: Shown, instrument: str, zeroed: bool = False, position: str | None = None
    ) -> None:
        self._write(point, shown, instrument, [Circumstance.LEADS_ZEROED] if zeroed else [], position=position)

    def _write(
        self,
        point: Point,
        shown: Shown,
        instrument: str,
        noted: Sequence[Circumstance],
        volts: int | None = None,
        seconds: Decimal | None = None,
        position: str | None = None,
    ) -> None:
        named = swapped_leads(point, self.leads[0], self.leads[1]) if self.habits.swaps_leads else point
        named = swapped_section(named) if self.habits.swaps_section else named
        measurement = Measurement(
            record_id=f"r{len(self.entries)}",
            axis="X",
            section=named.section,
            kind=named.kind,
            terminals=self.habits.manner.name(named),
            quantity=Quantity(shown.digits, shown.unit, shown.qualifier),
            test_voltage_set=None if volts is None else Decimal(volts),
            test_voltage_built=None if shown.built_v is None else Decimal(shown.built_v),
            elapsed_s=seconds,
            instrument_id=instrument,
            position=position,
            circumstances=frozenset(noted),
        )
        self.entries.append(Entry(measurement, named))


def _ohm(shown: Shown) -> float:
    """Give what the technician takes a display for, ohm."""
    if shown.qualifier in (Qualifier.OPEN, Qualifier.ABOVE):
        return 1e12
    if shown.qualifier is Qualifier.COLLAPSED or shown.digits is None:
        return 0.0
    return float(shown.digits) * _SCALE[shown.unit]


def numbered(entries: Sequence[Entry], change: Callable[[Measurement], Measurement]) -> Iterator[Entry]:
    """Give the entries with record ids in order, each changed as told."""
    for number, entry in enumerate(entries):
        yield Entry(change(replace(entry.measurement, record_id=f"r{number}")), entry.point)
