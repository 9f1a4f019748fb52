"""The circuit of one axis as it truly is: windings, cable, plug, earth, brake, thermistor, and what is wrong."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from grading.measurement import Connection, MotorKind
from tests.grading.simulation import healthy
from tests.grading.simulation.healthy import M
from tests.grading.simulation.solver import OPEN_OHM, Branch

MOTOR, CABLE, JOINT = "motor", "cable", "joint"
SHIELD_OHM, SHIELD_BOND_OHM = 0.2, 0.05
"""Of the shield of an encoder cable from end to end, and of its bond to earth. Common practice, no source."""


class Flaw(StrEnum):
    """What can be wrong."""

    MOTOR_PHASE = "leak of one phase"
    MOTOR_ALL = "leak of all phases"
    MOTOR_DUST = "leak of the motor that needs voltage"
    MOTOR_CREEPS = "leak of the motor that grows under voltage"
    CABLE_CORE = "leak of a cable core"
    CABLE_DUST = "crack in a core's sheath that needs voltage"
    CORES_TOUCH = "leak between two cable cores"
    MOISTURE = "moisture in the plug"
    SHORTED_TURNS = "shorted turns"
    OPEN_PHASE = "open phase of the motor"
    OPEN_CORE = "open core of the cable"
    BAD_JOINT = "bad joint in the plug"
    BRAKE_LEAK = "leak of the brake coil"
    BRAKE_OPEN = "open brake coil"
    SENSOR_OPEN = "open thermistor"
    EARTH_OPEN = "open earth conductor of the cable"
    LIVE = "voltage left on the leads"
    SHIELD_OPEN = "open shield of the encoder cable"


PLACE: Mapping[Flaw, str] = {
    Flaw.MOTOR_PHASE: MOTOR,
    Flaw.MOTOR_ALL: MOTOR,
    Flaw.MOTOR_DUST: MOTOR,
    Flaw.MOTOR_CREEPS: MOTOR,
    Flaw.CABLE_CORE: CABLE,
    Flaw.CABLE_DUST: CABLE,
    Flaw.CORES_TOUCH: CABLE,
    Flaw.MOISTURE: JOINT,
    Flaw.SHORTED_TURNS: MOTOR,
    Flaw.OPEN_PHASE: MOTOR,
    Flaw.OPEN_CORE: CABLE,
    Flaw.BAD_JOINT: JOINT,
    Flaw.EARTH_OPEN: CABLE,
}
"""The part that is to be blamed; the others blame none of the power circuit."""
LEAKS = frozenset(
    {Flaw.MOTOR_PHASE, Flaw.MOTOR_ALL, Flaw.MOTOR_DUST, Flaw.MOTOR_CREEPS}
    | {Flaw.CABLE_CORE, Flaw.CABLE_DUST, Flaw.MOISTURE, Flaw.CORES_TOUCH}
)
CLEANABLE = frozenset(
    {Flaw.MOTOR_ALL, Flaw.MOTOR_DUST, Flaw.MOTOR_CREEPS, Flaw.MOISTURE, Flaw.MOTOR_PHASE, Flaw.CABLE_CORE}
)
"""What cleaning, drying or repairing one place may help."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    Attributes:
        flaw: What.
        lead: Which lead or phase (index); the first of two where there are two.
        ohm: Of the leak, or of the joint; of shorted turns the share of the phase that is left, 0..1.
        onset_v: Volts that a leak needs; 0 for none. Of a live lead the volts on it.
    """

    flaw: Flaw
    lead: int = 0
    ohm: float = 0.0
    onset_v: float = 0.0

    def words(self) -> str:
        """Say it in plain words."""
        if self.flaw is Flaw.LIVE:
            return f"{self.flaw.value}: {self.onset_v:.0f} V"
        if self.flaw is Flaw.SHORTED_TURNS:
            return f"{self.flaw.value}: phase {self.lead} has {100 * self.ohm:.0f} % of its resistance"
        if self.flaw in LEAKS or self.flaw in (Flaw.BRAKE_LEAK, Flaw.BAD_JOINT):
            needs = f", half of it from {self.onset_v:.0f} V on" if self.onset_v else ""
            return f"{self.flaw.value}: lead {self.lead}, {self.ohm:.4g} Ohm{needs}"
        return f"{self.flaw.value}: lead {self.lead}"


@dataclass(frozen=True)
class Circuit:
    """One axis as it is. Resistances in ohm.

    Attributes:
        motor: Kind of motor.
        connection: Star or delta.
        phases: Of the winding, one for each phase (one for a d.c. armature, without its brushes).
        winding_leak: Joined winding to frame, at the temperature of the visit.
        cable_leak: Joined cores to earth; core to core is the same.
        contact_leak: Each contact of the plug to its shell.
        cores: One for each core, with its contact.
        earth: Earth conductor of the cable.
        bonded: The frame is bonded to the machine's bed besides.
        brake: Coil, or None.
        thermistor: Or None.
        auxiliary_leak: Brake coil to frame.
        winding_c: Temperature of the winding, °C.
        plastic: Its insulation is thermoplastic; else thermosetting.
        faults: What is wrong.
    """

    motor: MotorKind
    connection: Connection
    phases: tuple[float, ...]
    winding_leak: float
    cable_leak: float
    contact_leak: float
    cores: tuple[float, ...]
    earth: float
    bonded: bool
    brake: float | None
    thermistor: float | None
    auxiliary_leak: float
    winding_c: float
    plastic: bool = False
    faults: tuple[Fault, ...] = ()

    @property
    def leads(self) -> tuple[str, ...]:
        """Names of the power leads."""
        return ("A1", "A2") if self.motor is MotorKind.DC_SERVO else ("U", "V", "W")

    def flaws(self) -> frozenset[Flaw]:
        """Give what is wrong, without its size."""
        return frozenset(fault.flaw for fault in self.faults)

    def with_faults(self, faults: Iterable[Fault]) -> Circuit:
        """Give the same circuit with other faults."""
        return replace(self, faults=tuple(faults))

    def power(self, brush_ohm: float = 0.0) -> list[Branch]:
        """Give the network of the power circuit (nodes: cU cabinet, kU plug's cable side, mU motor, E earth, F frame).

        Args:
            brush_ohm: Of both brush contacts at this shaft position.
        """
        return [*self._motor(brush_ohm), *self._cable(), *self._joint(), *self._flawed()]

    def _motor(self, brush_ohm: float) -> list[Branch]:
        count = len(self.leads)
        out = [Branch(f"m{lead}", "F", count * self.winding_leak, MOTOR) for lead in self.leads]
        phases = [self._phase(i, ohm) for i, ohm in enumerate(self.phases)]
        if count == 2:
            return [*out, Branch("mA1", "mA2", phases[0] + brush_ohm, MOTOR)]
        if self.connection is Connection.STAR:
            return [*out, *(Branch(f"m{lead}", "n", ohm, MOTOR) for lead, ohm in zip(self.leads, phases, strict=True))]
        pairs = (("mU", "mV"), ("mV", "mW"), ("mW", "mU"))
        return [*out, *(Branch(a, b, ohm, MOTOR) for (a, b), ohm in zip(pairs, phases, strict=True))]

    def _phase(self, number: int, ohm: float) -> float:
        for fault in self.faults:
            if fault.lead == number and fault.flaw is Flaw.OPEN_PHASE:
                return OPEN_OHM
            if fault.lead == number and fault.flaw is Flaw.SHORTED_TURNS:
                ohm *= fault.ohm
        return ohm

    def _cable(self) -> list[Branch]:
        count, out = len(self.leads), []
        opened = {fault.lead for fault in self.faults if fault.flaw is Flaw.OPEN_CORE}
        for number, (lead, ohm) in enumerate(zip(self.leads, self.cores, strict=True)):
            out.append(Branch(f"c{lead}", f"k{lead}", OPEN_OHM if number in opened else ohm, CABLE))
            out += [Branch(f"{end}{lead}", "E", 2 * count * self.cable_leak, CABLE) for end in "ck"]
            other = self.leads[(number + 1) % count]
            if count > 2 or number == 0:
                out.append(Branch(f"k{lead}", f"k{other}", count * self.cable_leak, CABLE))
        broken = Flaw.EARTH_OPEN in self.flaws()
        out.append(Branch("E", "P", OPEN_OHM if broken else self.earth, CABLE))
        return out

    def _joint(self) -> list[Branch]:
        bad = {fault.lead: fault.ohm for fault in self.faults if fault.flaw is Flaw.BAD_JOINT}
        out = [Branch(f"k{lead}", f"m{lead}", 0.002 + bad.get(i, 0.0), JOINT) for i, lead in enumerate(self.leads)]
        out += [Branch(f"m{lead}", "P", self.contact_leak, JOINT) for lead in self.leads]
        out.append(Branch("P", "F", 0.005, JOINT))
        if self.bonded:
            out.append(Branch("F", "E", 0.05, JOINT))
        return out

    def _flawed(self) -> list[Branch]:
        out: list[Branch] = []
        for fault in self.faults:
            lead = self.leads[fault.lead % len(self.leads)]
            if fault.flaw in (Flaw.MOTOR_PHASE, Flaw.MOTOR_DUST):
                out.append(Branch(f"m{lead}", "F", fault.ohm, MOTOR, fault.onset_v))
            elif fault.flaw is Flaw.MOTOR_CREEPS:
                out.append(Branch(f"m{lead}", "F", fault.ohm, MOTOR, creeps=True))
            elif fault.flaw is Flaw.MOTOR_ALL:
                share = fault.ohm * len(self.leads)
                out += [Branch(f"m{each}", "F", share, MOTOR, fault.onset_v) for each in self.leads]
            elif fault.flaw in (Flaw.CABLE_CORE, Flaw.CABLE_DUST):
                out.append(Branch(f"c{lead}", "E", fault.ohm, CABLE, fault.onset_v))
            elif fault.flaw is Flaw.CORES_TOUCH:
                other = self.leads[(fault.lead + 1) % len(self.leads)]
                out.append(Branch(f"k{lead}", f"k{other}", fault.ohm, CABLE, fault.onset_v))
            elif fault.flaw is Flaw.MOISTURE:
                out.append(Branch(f"m{lead}", "P", fault.ohm, JOINT, fault.onset_v))
        return out

    def auxiliary(self) -> list[Branch]:
        """Give the network of brake, thermistor and encoder shield (nodes: B1, B2, T1, T2, S1, S2, F)."""
        flaws = self.flaws()
        # The shield of the encoder's cable, on earth at the cabinet's end.
        out = [Branch("S1", "S2", OPEN_OHM if Flaw.SHIELD_OPEN in flaws else SHIELD_OHM, CABLE)]
        out.append(Branch("S1", "F", SHIELD_BOND_OHM, CABLE))
        if self.brake is not None:
            out.append(Branch("B1", "B2", OPEN_OHM if Flaw.BRAKE_OPEN in flaws else self.brake, MOTOR))
            out.append(Branch("B1", "F", self.auxiliary_leak, MOTOR))
            out += [Branch("B2", "F", f.ohm, MOTOR) for f in self.faults if f.flaw is Flaw.BRAKE_LEAK]
        if self.thermistor is not None:
            out.append(Branch("T1", "T2", OPEN_OHM if Flaw.SENSOR_OPEN in flaws else self.thermistor, MOTOR))
            out.append(Branch("T1", "F", self.auxiliary_leak, MOTOR))
        return out


def log_between(rng: random.Random, low: float, high: float) -> float:
    """Draw evenly over decades."""
    return float(low * (high / low) ** rng.random())


def draw_circuit(rng: random.Random) -> tuple[Circuit, healthy.Known]:
    """Draw a healthy circuit within its tolerances, and what is known of it."""
    motor = rng.choices((MotorKind.AC_SERVO, MotorKind.SPINDLE, MotorKind.DC_SERVO), (55, 20, 25))[0]
    brushed = motor is MotorKind.DC_SERVO
    size = log_between(rng, 0.05, 0.8) if motor is MotorKind.SPINDLE else log_between(rng, 0.3, 12)
    mean = size * rng.uniform(0.97, 1.03)
    phases = (mean,) if brushed else tuple(mean * rng.uniform(0.994, 1.006) for _ in range(3))
    connection = rng.choice((Connection.STAR, Connection.DELTA))
    warm = rng.uniform(14, 32) if rng.random() < 0.85 else rng.uniform(32, 65)
    plastic = rng.random() < 0.15
    least = healthy.MOTOR_LEAST_40C[motor] / healthy.factor_at(warm, plastic=plastic)
    most = max(least * 3, (2000 if brushed else 20000) * M)
    length, area = rng.uniform(3, 60), rng.choice((1.5, 2.5, 4.0, 6.0))
    core = healthy.loop_ohm(length, area) / 2
    count = 2 if brushed else 3
    brake = rng.choice((None, rng.uniform(15, 60), rng.uniform(200, 900), rng.uniform(1000, 2500)))
    sensor = rng.choice((None, rng.uniform(0.1, 1), rng.uniform(60, 750), rng.uniform(550, 1200)))
    circuit = Circuit(
        motor=motor,
        connection=connection,
        phases=phases,
        winding_leak=log_between(rng, 1.1 * least, most),
        cable_leak=log_between(rng, 1.2 * healthy.CABLE_LEAST, 20000 * M),
        contact_leak=log_between(rng, 1.2 * healthy.CONTACT_LEAST, 100_000 * M),
        cores=tuple(core * rng.uniform(0.995, 1.005) + 0.002 for _ in range(count)),
        earth=core + 0.01,
        bonded=rng.random() < 0.9,
        brake=brake,
        thermistor=sensor,
        auxiliary_leak=log_between(rng, 1.5 * healthy.AUXILIARY_LEAST, 5000 * M),
        winding_c=warm,
        plastic=plastic,
    )
    plate = None
    if rng.random() < 0.35:
        factor = 1.0 if brushed else 2.0 if connection is Connection.STAR else 2 / 3
        plate = factor * size
    # A catalogue's value holds at 20 °C; the winding was drawn there and is warmer now.
    heated = (healthy.ALPHA_ZERO + warm) / (healthy.ALPHA_ZERO + 20)
    circuit = replace(circuit, phases=tuple(ohm * heated for ohm in phases))
    on_record = rng.random() < 0.7
    known = healthy.Known(
        motor, round(warm, 1), plate, 20.0, length if on_record else None, area if on_record else None
    )
    return circuit, known


_WEIGHTS: Mapping[Flaw, int] = {
    Flaw.MOTOR_PHASE: 12,
    Flaw.MOTOR_ALL: 8,
    Flaw.MOTOR_DUST: 7,
    Flaw.MOTOR_CREEPS: 4,
    Flaw.CABLE_CORE: 14,
    Flaw.CABLE_DUST: 5,
    Flaw.CORES_TOUCH: 4,
    Flaw.MOISTURE: 9,
    Flaw.SHORTED_TURNS: 7,
    Flaw.OPEN_PHASE: 6,
    Flaw.OPEN_CORE: 6,
    Flaw.BAD_JOINT: 4,
    Flaw.BRAKE_LEAK: 4,
    Flaw.BRAKE_OPEN: 2,
    Flaw.SENSOR_OPEN: 2,
    Flaw.EARTH_OPEN: 3,
    Flaw.LIVE: 4,
}


def draw_fault(rng: random.Random, circuit: Circuit) -> Fault:
    """Draw one fault with its severity."""
    weights = dict(_WEIGHTS)
    if circuit.motor is MotorKind.DC_SERVO:
        weights[Flaw.SHORTED_TURNS] = 0
    for absent, flaws in (
        (circuit.brake, (Flaw.BRAKE_LEAK, Flaw.BRAKE_OPEN)),
        (circuit.thermistor, (Flaw.SENSOR_OPEN,)),
    ):
        if absent is None:
            weights.update(dict.fromkeys(flaws, 0))
    flaw = rng.choices([*weights], [*weights.values()])[0]
    winding = flaw in (Flaw.OPEN_PHASE, Flaw.SHORTED_TURNS)
    lead = 0 if flaw is Flaw.BRAKE_LEAK else rng.randrange(len(circuit.phases if winding else circuit.leads))
    return Fault(flaw, lead, *_severity(rng, circuit, flaw))


def _severity(rng: random.Random, circuit: Circuit, flaw: Flaw) -> tuple[float, float]:
    """Draw how bad a fault is: ohm (or share), and volts."""
    top = 4 * M if circuit.motor is MotorKind.DC_SERVO else 20 * M
    spans = {
        Flaw.MOTOR_DUST: (2e3, 3 * top),
        Flaw.CABLE_DUST: (2e3, 3 * top),
        Flaw.MOTOR_CREEPS: (1e5, 3 * top),
        Flaw.MOISTURE: (1e3, top),
        Flaw.BRAKE_LEAK: (1.0, 500e3),
        Flaw.BAD_JOINT: (0.3, 30.0),
    }
    ohm = log_between(rng, *spans.get(flaw, (1.0, top)))
    onset = rng.uniform(20, 300) if flaw in (Flaw.MOTOR_DUST, Flaw.CABLE_DUST) else 0.0
    if flaw is Flaw.MOISTURE:
        onset = rng.choice((0.0, rng.uniform(10, 200)))
    elif flaw is Flaw.SHORTED_TURNS:
        ohm = rng.uniform(0.3, 0.88)
    elif flaw is Flaw.BAD_JOINT:
        ohm += circuit.phases[0] * rng.uniform(0.1, 1)
    elif flaw is Flaw.LIVE:
        onset = log_between(rng, 70, 600)
    return ohm, onset
