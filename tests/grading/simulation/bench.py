"""One axis on the bench: connects an instrument to two terminals of the true circuit and takes the reading."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from tests.grading.simulation.circuit import CABLE, JOINT, MOTOR, Circuit, Flaw
from tests.grading.simulation.healthy import M
from tests.grading.simulation.instrument import Meter, Shown, Tester
from tests.grading.simulation.solver import OPEN_OHM, Branch, connected, resistance

IR, LL = QuantityKind.INSULATION_RESISTANCE, QuantityKind.WINDING_RESISTANCE
LG, CORE, VOLTS = QuantityKind.RESISTANCE_TO_GROUND, QuantityKind.CONTINUITY, QuantityKind.VOLTAGE
WHOLE, MOTOR_ALONE, CABLE_ALONE = Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE
EARTH = "PE"
PARTS = {
    WHOLE: {MOTOR: True, CABLE: True, JOINT: True},
    MOTOR_ALONE: {MOTOR: True},
    CABLE_ALONE: {CABLE: True},
}
"""What is connected to the instrument."""
AUXILIARY = frozenset({"B1", "B2", "T1", "T2", "S1", "S2"})
"""Leads of brake and thermistor, and the ends of the encoder's shield."""


@dataclass(frozen=True)
class Point:
    """Where an instrument is connected.

    Attributes:
        section: What hangs on it.
        kind: What is measured.
        first: Leads joined at one clip.
        second: Leads joined at the other, or (EARTH,).
    """

    section: Section
    kind: QuantityKind
    first: tuple[str, ...]
    second: tuple[str, ...]

    @property
    def auxiliary(self) -> bool:
        """Whether it is a lead of brake or thermistor, or the encoder's shield."""
        return bool(AUXILIARY & {*self.first, *self.second})

    @property
    def to_earth(self) -> bool:
        """Whether one clip is on earth."""
        return self.second == (EARTH,)


def nodes(point: Point) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give the nodes of the network that a point's clips are on."""
    here = "m" if point.section is MOTOR_ALONE else "c"
    if point.kind is CORE and not point.auxiliary:
        name = point.first[0]
        return (("E",), ("P",)) if name == EARTH else ((f"c{name}",), (f"k{name}",))
    earth = "F" if point.section is MOTOR_ALONE or point.auxiliary else "E"

    def named(leads: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(earth if lead == EARTH else lead if lead in AUXILIARY else f"{here}{lead}" for lead in leads)

    return named(point.first), named(point.second)


@dataclass
class Bench:
    """A circuit with the instruments that measure it.

    Attributes:
        circuit: As it is now; cleaning changes it.
        tester: For insulation.
        meter: For windings.
        hand: The ohmmeter for everything else; the same, or a multimeter beside a milliohmmeter.
        rng: Source of noise.
        absorption: How much more current flows at first: conductance of sound insulation times (1 + absorption
            (60/t - 1)) after t seconds.
        brush: Draws the contact resistance of the brushes at a shaft position, ohm.
    """

    circuit: Circuit
    tester: Tester
    meter: Meter
    hand: Meter
    rng: random.Random
    absorption: float = 0.0
    brush: tuple[float, float] = field(default=(0.0, 0.0))
    _solved: dict[tuple[object, ...], float] = field(default_factory=dict)
    _networks: dict[Section, list[Branch]] = field(default_factory=dict)
    _solved_for: Circuit | None = None

    @cached_property
    def sound(self) -> Circuit:
        """The circuit without its faults."""
        return self.circuit.with_faults(())

    def network(self, point: Point, circuit: Circuit) -> list[Branch]:
        """Give the branches that a point's instrument sees."""
        if point.auxiliary:
            return circuit.auxiliary()
        brush = self.rng.uniform(*self.brush) if point.kind is LL else 0.0
        if brush or circuit is not self.circuit:
            return connected(circuit.power(brush), PARTS[point.section])
        if point.section not in self._networks:
            self._networks[point.section] = connected(circuit.power(), PARTS[point.section])
        return self._networks[point.section]

    def ideal(self, point: Point, seconds: float = 60.0) -> Callable[[float], float]:
        """Give what an ideal instrument would show, by voltage, ohm."""
        first, second = nodes(point)
        if self._solved_for is not self.circuit:
            self._solved, self._networks, self._solved_for = {}, {}, self.circuit
        known = self._solved.get((point.section, first, second))
        if known is not None and (point.kind is not IR or seconds == 60):
            return self._drifting(point, known)
        branches = self.network(point, self.circuit)
        early = 0.0
        if point.kind is IR and seconds != 60:
            healthy = resistance(self.network(point, self.sound), first, second)
            early = self.absorption * (60 / seconds - 1) / healthy
        if any(branch.creeps or branch.onset_v for branch in branches):
            branches = [replace(b, ohm=b.ohm * 60 / seconds) if b.creeps else b for b in branches]
            return self._drifting(point, lambda volts: resistance(branches, first, second, volts), early)
        fixed = resistance(branches, first, second)
        if self.brush == (0.0, 0.0) or point.kind is not LL:
            self._solved[point.section, first, second] = fixed
        return self._drifting(point, fixed, early)

    def _drifting(
        self, point: Point, ohm: float | Callable[[float], float], early: float = 0.0
    ) -> Callable[[float], float]:
        """Give a resistance with what still charges, and good insulation with its drift between readings."""
        drift = self.rng.uniform(0.94, 1.06) if point.kind is IR else 1.0

        def at(volts: float) -> float:
            now = ohm if isinstance(ohm, float) else ohm(volts)
            siemens = max(1 / now + early, 1 / OPEN_OHM)
            return 1 / siemens * (drift if siemens < 1 / (10 * M) else 1.0)

        return at

    def insulation(self, point: Point, volts: int, seconds: float) -> Shown:
        """Take an insulation reading."""
        return self.tester.shows(self.ideal(point, seconds), volts, seconds, self.rng)

    def ohms(self, point: Point, zeroed: bool = False) -> Shown:
        """Take a reading with the ohmmeter for such a point."""
        return self.ohmmeter(point).shows(self.ideal(point), self.rng, zeroed)

    def ohmmeter(self, point: Point) -> Meter:
        """Give the ohmmeter that is used at a point."""
        return self.meter if point.kind is LL and not point.auxiliary else self.hand

    def volts(self, lead: int) -> float:
        """Give the voltage on a lead, V: a few tenths picked up, or what was left on it."""
        live = [f.onset_v for f in self.circuit.faults if f.flaw is Flaw.LIVE and f.lead == lead]
        return live[0] if live else self.rng.uniform(0.0, 0.6)
