"""One simulated visit from its seed: the circuit, what is known of the axis, and the rows that were confirmed."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from grading.measurement import (
    AxisContext,
    Connection,
    Instrument,
    InsulationSystem,
    Measurement,
    MotorKind,
    Visit,
)
from tests.grading.simulation import healthy
from tests.grading.simulation.bench import IR, MOTOR_ALONE, VOLTS, WHOLE, Bench, Point
from tests.grading.simulation.circuit import PLACE, Circuit, Fault, Flaw, draw_circuit, draw_fault
from tests.grading.simulation.instrument import draw_meter, draw_tester
from tests.grading.simulation.naming import draw_manner, with_wrong_unit
from tests.grading.simulation.technician import Entry, Technician, draw_habits

NOW = dt.datetime(2026, 11, 25, 14, tzinfo=dt.UTC)
HEALTHY_SHARE = 0.35
SHIELD_SHARE, SHIELD_OPEN_SHARE = 0.06, 0.3
"""Visits on which the encoder's shield is measured, and those of them on which it is open."""


@dataclass(frozen=True)
class SimulatedVisit:
    """One visit to one axis.

    Attributes:
        seed: Gives the whole visit again.
        begun: The circuit as it was found.
        circuit: As it was left.
        known: What is written down of it that bears on healthy values.
        context: The same as grading gets it.
        instruments: On record.
        entries: What was confirmed.
        history: Earlier visits.
        mistakes: What the technician got wrong: "unit", "leads", "section", "temperature".
        bench: For measuring on.
    """

    seed: int
    begun: Circuit
    circuit: Circuit
    known: healthy.Known
    context: AxisContext
    instruments: Mapping[str, Instrument]
    entries: tuple[Entry, ...]
    history: tuple[Visit, ...]
    mistakes: frozenset[str]
    bench: Bench

    @property
    def measurements(self) -> tuple[Measurement, ...]:
        """What grading gets."""
        return tuple(entry.measurement for entry in self.entries)

    @property
    def faulty(self) -> bool:
        """Whether something is wrong with the circuit as it was left."""
        return bool(self.circuit.faults)

    @property
    def blamed(self) -> str | None:
        """The part that is to be blamed: "motor", "cable", "joint", "both"; None where it is none of them."""
        places = {PLACE[f.flaw] for f in self.circuit.faults if f.flaw in PLACE}
        return next(iter(places)) if len(places) == 1 else "both" if places == {"motor", "cable"} else None


def draw_visit(seed: int) -> SimulatedVisit:
    """Draw one visit; the same seed gives the same visit."""
    rng = random.Random(seed)
    sound, known = draw_circuit(rng)
    found = sound.with_faults(_faults(rng, sound))
    meter = draw_meter(rng)
    hand = draw_meter(rng, "M-11", four_wire=False) if meter.four_wire else meter
    bench = Bench(found, draw_tester(rng), meter, hand, rng)
    brushed = found.motor is MotorKind.DC_SERVO
    bench.absorption = rng.uniform(0, 0.1 if brushed else 0.5)
    bench.brush = (0.01 * sound.phases[0], 0.06 * sound.phases[0]) if brushed else (0.0, 0.0)
    technician = Technician(bench, draw_habits(rng, draw_manner(rng), found.flaws(), brushed), rng)
    technician.work()
    mistakes = set()
    if technician.habits.swaps_leads:
        mistakes.add("leads")
    if technician.habits.swaps_section:
        mistakes.add("section")
    entries = [Entry(replace(e.measurement, record_id=f"r{i}"), e.point) for i, e in enumerate(technician.entries)]
    if entries and rng.random() < 0.02:
        number = rng.randrange(len(entries))
        changed = with_wrong_unit(entries[number].measurement, rng)
        if changed != entries[number].measurement and entries[number].point.kind is not VOLTS:
            entries[number] = Entry(changed, entries[number].point)
            mistakes.add("unit")
    # Drawn apart, so that a seed gives the visit that it gave before encoders had shields.
    found = _measure_shield(random.Random(f"shield {seed}"), found, technician, entries)
    context, known = _written_down(rng, sound, known)
    if known.winding_c is not None and rng.random() < 0.01:
        fahrenheit = round(known.winding_c * 1.8 + 32)
        context = replace(context, winding_c=Decimal(fahrenheit))
        known = replace(known, winding_c=float(fahrenheit))
        mistakes.add("temperature")
    if rng.random() < 0.01:
        context, known = _nonsense(rng, context, known)
        mistakes.add("nonsense")
    instruments = {i.id: i.record() for i in (bench.tester, bench.meter, bench.hand) if i.on_record}
    history = tuple(_earlier(rng, sound, bench, context)) if rng.random() < 0.2 else ()
    if history:
        entries = [Entry(replace(e.measurement, at=NOW), e.point) for e in entries]
    return SimulatedVisit(
        seed, found, bench.circuit, known, context, instruments, tuple(entries), history, frozenset(mistakes), bench
    )


def _measure_shield(rng: random.Random, found: Circuit, technician: Technician, entries: list[Entry]) -> Circuit:
    """Measure the encoder's shield on some visits; on some of those it is open. Gives the circuit as it was found."""
    if rng.random() >= SHIELD_SHARE:
        return found
    bench = technician.bench
    if rng.random() < SHIELD_OPEN_SHARE:
        opened = Fault(Flaw.SHIELD_OPEN)
        unchanged = bench.circuit is found
        found = found.with_faults((*found.faults, opened))
        bench.circuit = found if unchanged else bench.circuit.with_faults((*bench.circuit.faults, opened))
    own = Technician(replace(bench, rng=rng), technician.habits, rng)
    own.shield()
    for entry in own.entries:
        entries.append(Entry(replace(entry.measurement, record_id=f"r{len(entries)}"), entry.point))
    return found


def _faults(rng: random.Random, circuit: Circuit) -> list[Fault]:
    if rng.random() < HEALTHY_SHARE:
        return []
    faults = [draw_fault(rng, circuit)]
    if rng.random() < (0.25 if faults[0].flaw is Flaw.CABLE_CORE else 0.08):
        second = draw_fault(rng, circuit)
        if faults[0].flaw is Flaw.CABLE_CORE:
            second = replace(faults[0], lead=(faults[0].lead + 1) % len(circuit.leads), ohm=1e5)
        if second != faults[0] and Flaw.LIVE not in (second.flaw, faults[0].flaw):
            faults.append(second)
    return faults


def _written_down(rng: random.Random, circuit: Circuit, known: healthy.Known) -> tuple[AxisContext, healthy.Known]:
    if rng.random() < 0.3:
        known = replace(known, winding_c=None)
    air = circuit.winding_c if circuit.winding_c < 32 else 24.0
    brushed = circuit.motor is MotorKind.DC_SERVO
    true = InsulationSystem.THERMOPLASTIC if circuit.plastic else InsulationSystem.THERMOSETTING
    system = true if rng.random() < 0.5 else InsulationSystem.UNKNOWN
    volts = rng.choice((90, 120, 180)) if brushed else rng.choice((200, 400))
    known = replace(known, rated_v=float(volts))
    plate, length, area = known.plate_ohm, known.length_m, known.core_mm2
    context = AxisContext(
        "X",
        circuit.motor,
        rated_voltage=Decimal(volts),
        rated_current=None,
        rated_power_w=Decimal(rng.choice((400, 900, 2500, 7500))),
        insulation_system=system,
        thermal_class=rng.choice((None, "155")),
        winding_c=None if known.winding_c is None else Decimal(str(known.winding_c)),
        air_c=Decimal(str(round(air, 1))) if rng.random() < 0.7 else None,
        humidity_percent=Decimal(rng.randrange(25, 65)) if rng.random() < 0.7 else None,
        connection=circuit.connection if rng.random() < 0.5 and not brushed else Connection.UNKNOWN,
        nameplate_resistance_ohm=None if plate is None else Decimal(str(round(plate, 4))),
        nameplate_c=None if plate is None else Decimal(20),
        cable_length_m=None if length is None else Decimal(str(round(length, 1))),
        core_mm2=None if area is None else Decimal(str(area)),
        moving_cable=rng.random() < 0.5,
        slip_rings=rng.random() < 0.04,
        maker_test_voltage=Decimal(500) if rng.random() < 0.05 else None,
    )
    return context, known


def _nonsense(rng: random.Random, context: AxisContext, known: healthy.Known) -> tuple[AxisContext, healthy.Known]:
    """Give an axis on which one figure cannot be right; what it stood for is then not known."""
    kind = rng.randrange(6)
    if kind == 0:
        return replace(context, rated_current=Decimal(-10)), known
    if kind == 1:
        return replace(context, winding_c=Decimal(-300)), replace(known, winding_c=None)
    if kind == 2:
        return replace(context, core_mm2=Decimal(-1)), replace(known, core_mm2=None)
    if kind == 3:
        return replace(context, rated_voltage=Decimal(0)), known
    if kind == 4:
        return replace(context, humidity_percent=Decimal(140)), known
    return replace(context, nameplate_resistance_ohm=Decimal(0)), replace(known, plate_ohm=None)


def _earlier(rng: random.Random, circuit: Circuit, bench: Bench, context: AxisContext) -> list[Visit]:
    """Give one or two earlier visits: the circuit sound, at another temperature."""
    visits = []
    for years in range(rng.choice((1, 2)), 0, -1):
        then_c = rng.uniform(12, 45)
        here, there = (healthy.factor_at(c, plastic=circuit.plastic) for c in (circuit.winding_c, then_c))
        least = 1.1 * healthy.MOTOR_LEAST_40C[circuit.motor] / there
        cable = circuit.cable_leak * 2 ** ((circuit.winding_c - then_c) / 10)
        then = replace(
            circuit,
            winding_leak=max(least, circuit.winding_leak * here / there),
            cable_leak=max(1.2 * healthy.CABLE_LEAST, cable),
            winding_c=then_c,
        )
        own = Bench(then, bench.tester, bench.meter, bench.hand, rng, bench.absorption)
        rows = []
        for number, section in enumerate((WHOLE, MOTOR_ALONE)[: rng.choice((1, 2))]):
            point = Point(section, IR, circuit.leads, ("PE",))
            technician = Technician(own, draw_habits(rng, draw_manner(rng), frozenset(), brushed=True), rng)
            technician._test(point, 500, 60)
            row = technician.entries[0].measurement
            at = NOW - dt.timedelta(days=365 * years)
            rows.append(replace(row, record_id=f"h{years}-{number}", at=at, elapsed_s=Decimal(60)))
        at = NOW - dt.timedelta(days=365 * years)
        known_then = None if context.winding_c is None else Decimal(str(round(then_c, 1)))
        visits.append(Visit(at, tuple(rows), replace(context, winding_c=known_then)))
    return visits
