"""Whether the confirmed readings could show a fault: no healthy circuit, over all its tolerances, can give them.

Each test below is a necessary property of every healthy circuit; a reading (or two, or three together) that breaks one
shows a fault. All of them err to one side: a circuit that breaks none may still be faulty, and its visit is set aside.

* One reading against the least and most of the healthy network, both solved: exact by Rayleigh's monotonicity law, as
  all tolerances are independent and the resistance between two terminals rises with each of them.
* The ratio of two lead-to-lead readings: if all lie within u of their mean, no ratio exceeds (1 + u)/(1 - u).
* The whole against its parts: cutting a network in two never lowers a resistance to earth (the same law), and the
  conductance of the whole is at most that of its parts and of the plug between them.
* Insulation against itself: at a higher voltage it stays within the drop of the step test, later it is not lower.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from grading.measurement import Connection, Instrument, MotorKind
from grading.terms.circumstance import Circumstance
from tests.grading.simulation import healthy
from tests.grading.simulation.bench import (
    CABLE_ALONE,
    CORE,
    IR,
    LG,
    LL,
    MOTOR_ALONE,
    PARTS,
    VOLTS,
    WHOLE,
    Point,
    nodes,
)
from tests.grading.simulation.circuit import Circuit
from tests.grading.simulation.confirmed import Possible, cannot_stand, possible
from tests.grading.simulation.solver import OPEN_OHM, connected, resistance
from tests.grading.simulation.technician import Entry


@dataclass(frozen=True)
class Evidence:
    """Readings that no healthy circuit gives.

    Attributes:
        ids: Their record ids.
        why: In plain words.
    """

    ids: tuple[str, ...]
    why: str


def in_force(entries: Sequence[Entry]) -> list[Entry]:
    """Give the rows in force: a retest after cleaning replaces what came before at the same point, voltage and kind."""
    kept: list[Entry] = []
    retested: set[tuple[object, ...]] = set()
    for entry in reversed(entries):
        m = entry.measurement
        # An unnamed lead of a winding is the same circuit as any other; an unnamed core of a cable is not.
        unnamed = m.terminals.startswith("lead-") and entry.point.section is not CABLE_ALONE
        key = (m.section, m.kind, m.terminals if unnamed else entry.point, m.test_voltage_set)
        if Circumstance.AFTER_CLEANING in entry.measurement.circumstances:
            retested.add(key)
        elif key in retested:
            continue
        kept.append(entry)
    return kept[::-1]


def visible(entries: Sequence[Entry], known: healthy.Known, instruments: Mapping[str, Instrument]) -> list[Evidence]:
    """Give everything in the confirmed rows that no healthy circuit could have given."""
    rows = [
        found
        for entry in in_force(entries)
        if not cannot_stand(entry, instruments) and (found := possible(entry, instruments)) is not None
    ]
    return [
        *_single(rows, known),
        *_unequal(rows, known),
        *_whole_and_parts(rows),
        *_with_voltage(rows),
        *_joints(rows, known),
    ]


def _single(rows: Sequence[Possible], known: healthy.Known) -> Iterator[Evidence]:
    for row in rows:
        point = _alike(row.entry.point)
        seconds = min(60.0, row.seconds[0]) if row.entry.point.kind is IR else 60.0
        least, most = healthy_bounds(point, _bearing(point, known), seconds)
        if row.high < least:
            yield Evidence(
                (row.id,), f"{row.id} is at most {row.high:.4g}, a healthy circuit gives at least {least:.4g}"
            )
        elif row.low > most:
            yield Evidence((row.id,), f"{row.id} is at least {row.low:.4g}, a healthy circuit gives at most {most:.4g}")


def _alike(point: Point) -> Point:
    """Give the point that stands for all of its kind: the leads of a healthy axis are alike."""
    if point.auxiliary or point.kind in (VOLTS, CORE):
        return point
    names = ("A1", "A2") if {"A1", "A2"} & {*point.first, *point.second} else ("U", "V", "W")
    first = names[: len(point.first)]
    second = point.second if point.to_earth else names[len(first) : len(first) + len(point.second)]
    return replace(point, kind=IR if point.kind is LG else point.kind, first=first, second=second)


def _bearing(point: Point, known: healthy.Known) -> healthy.Known:
    """Give what of the known bears on a point, so that axes that differ in the rest share one solution."""
    if point.kind is LL and not point.auxiliary:
        return known
    warm = None if point.section is CABLE_ALONE else known.winding_c
    return healthy.Known(known.motor, warm, rated_v=known.rated_v)


@lru_cache(maxsize=20_000)
def healthy_bounds(point: Point, known: healthy.Known, seconds: float = 60.0) -> tuple[float, float]:
    """Give the least and most that a healthy circuit shows at a point, ohm (V for a voltage).

    Args:
        point: Where.
        known: Of the axis.
        seconds: Time under voltage.
    """
    if point.kind is VOLTS:
        return 0.0, healthy.DEAD_MOST_V if point.to_earth else math.inf
    if point.auxiliary:
        return _auxiliary_bounds(point)
    if point.kind is CORE:
        return 0.0, healthy.CONTINUITY_MOST_OHM
    low, high = (_corner(known, least=least) for least in (True, False))
    first, second = nodes(point)
    bounds = [resistance(connected(c.power(), PARTS[point.section]), first, second) for c in (low, high)]
    if point.kind is LL:
        brushes = healthy.BRUSH_MOST_OHM if known.motor is MotorKind.DC_SERVO else 0.0
        return bounds[0], bounds[1] + brushes
    least = bounds[0] * min(1.0, seconds / 60) ** healthy.ABSORPTION_POWER
    return least, math.inf


def _auxiliary_bounds(point: Point) -> tuple[float, float]:
    """Give the same of brake, thermistor and encoder shield, which is on earth by design."""
    kind = point.first[0][0]
    if point.to_earth:
        return (0.0 if kind == "S" else healthy.AUXILIARY_LEAST), math.inf
    between = {"B": healthy.BRAKE_OHM, "T": healthy.THERMISTOR_OHM, "S": (0.0, healthy.CONTINUITY_MOST_OHM)}
    return between[kind]


def _corner(known: healthy.Known, *, least: bool) -> Circuit:
    """Give the healthy circuit with every tolerance at its least, or at its most."""
    warm = (10.0, 85.0) if known.winding_c is None else (known.winding_c - 3, known.winding_c + 3)
    brushed = known.motor is MotorKind.DC_SERVO
    if known.plate_ohm is None:
        between = (0.001, 60.0)
    else:
        heat = [(healthy.ALPHA_ZERO + t) / (healthy.ALPHA_ZERO + known.plate_c) for t in warm]
        slack = healthy.NAMEPLATE + healthy.WINDING_UNBALANCE
        between = (known.plate_ohm * (1 - slack) * heat[0], known.plate_ohm * (1 + slack) * heat[1])
    if known.length_m is None or known.core_mm2 is None:
        core = (0.0005, 3.5)
    else:
        loop = healthy.loop_ohm(known.length_m, known.core_mm2) / 2
        core = (0.85 * loop, 1.25 * loop + max(0.05, 0.05 * between[1]))
    here = 0 if least else 1
    phase = between[here] if brushed else between[here] / 2
    count = 2 if brushed else 3
    motor = healthy.JUDGED_LEAST_40C[known.motor] / healthy.least_factor_at(known.winding_c)
    return Circuit(
        motor=known.motor,
        connection=Connection.STAR,
        phases=(phase,) * (1 if brushed else 3),
        winding_leak=motor if least else OPEN_OHM,
        # In this network a core by itself shows 1.5 times the joined value, so this is on the safe side.
        cable_leak=known.cable_least / 2 if least else OPEN_OHM,
        contact_leak=healthy.CONTACT_LEAST if least else OPEN_OHM,
        cores=(core[here],) * count,
        earth=core[here],
        bonded=True,
        brake=None,
        thermistor=None,
        auxiliary_leak=healthy.AUXILIARY_LEAST,
        winding_c=20.0,
    )


def _unequal(rows: Sequence[Possible], known: healthy.Known) -> Iterator[Evidence]:
    if known.motor is MotorKind.DC_SERVO:
        return
    for section, share in ((MOTOR_ALONE, healthy.WINDING_UNBALANCE), (WHOLE, healthy.CABLE_UNBALANCE)):
        own = [r for r in rows if r.entry.point.section is section and r.entry.point.kind is LL]
        own = [r for r in own if not r.entry.point.auxiliary and r.count]
        if len(own) < 2:
            continue
        top, bottom = max(own, key=lambda r: r.tight[0]), min(own, key=lambda r: r.tight[1])
        if top.tight[0] > bottom.tight[1] * (1 + share) / (1 - share):
            why = f"{top.id} is at least {top.tight[0]:.4g}, {bottom.id} at most {bottom.tight[1]:.4g} Ohm: unequal"
            yield Evidence((top.id, bottom.id), why)


def _judging(rows: Sequence[Possible]) -> list[Possible]:
    return [r for r in rows if r.entry.point.kind is IR and r.entry.point.to_earth and r.seconds[1] <= 120]


def _grown(earlier: float, later: float) -> float:
    """Give the most by which a sound value can have grown from one time under voltage to a later one, 1 and more."""
    return float(max(1.0, later / earlier) ** healthy.ABSORPTION_POWER)


def _whole_and_parts(rows: Sequence[Possible]) -> Iterator[Evidence]:
    tests = _judging(rows)
    for whole in (r for r in tests if r.entry.point.section is WHOLE):
        same = [r for r in tests if r.volts == whole.volts and r.entry.point.section is not WHOLE]
        for part in same:
            if whole.low > healthy.WHOLE_HIGH * part.high * _grown(part.seconds[0], whole.seconds[1]):
                why = (
                    f"the whole ({whole.id}) is above {whole.low:.4g}, its part ({part.id}) at most {part.high:.4g} Ohm"
                )
                yield Evidence((whole.id, part.id), why)
        motor = [r for r in same if r.entry.point.section is MOTOR_ALONE]
        cable = [r for r in same if r.entry.point.section is CABLE_ALONE]
        leads = {lead for r in cable for lead in r.entry.point.first}
        if not motor or len(leads) < (2 if "A1" in leads else 3):
            continue
        siemens = 1 / max(*(r.low for r in motor), 1.0) + sum(1 / max(r.low, 1.0) for r in cable)
        siemens += 3 / healthy.CONTACT_LEAST
        latest = max(r.seconds[1] for r in (*motor, *cable))
        if whole.high * _grown(whole.seconds[0], latest) < healthy.WHOLE_LOW / siemens:
            why = f"the whole ({whole.id}) is at most {whole.high:.4g}, its parts give {1 / siemens:.4g} Ohm or more"
            yield Evidence((whole.id, *(r.id for r in (*motor, *cable))), why)


def _with_voltage(rows: Sequence[Possible]) -> Iterator[Evidence]:
    tests = [r for r in rows if r.entry.point.kind is IR]
    for one in tests:
        for other in tests:
            if one.entry.point != other.entry.point:
                continue
            grown = _grown(other.seconds[0], one.seconds[1])
            drop = (1 - healthy.STEP_DROP) * (1 - healthy.REPEATABILITY) / grown
            if one.volts < other.volts and other.high < one.low * drop:
                why = f"{one.id} falls from {one.low:.4g} or more to {other.high:.4g} ({other.id}) with voltage"
                yield Evidence((one.id, other.id), why)
            later = one.volts == other.volts and one.seconds[1] <= other.seconds[0] and one is not other
            if later and other.high < one.low * (1 - healthy.REPEATABILITY) / grown:
                why = f"{one.id} falls from {one.low:.4g} or more to {other.high:.4g} ({other.id}) with time"
                yield Evidence((one.id, other.id), why)


def _joints(rows: Sequence[Possible], known: healthy.Known) -> Iterator[Evidence]:
    if known.length_m is None or known.core_mm2 is None:
        return
    loop = 1.25 * healthy.loop_ohm(known.length_m, known.core_mm2)
    brushed = healthy.BRUSHED_SPREAD if known.motor is MotorKind.DC_SERVO else 0.0
    windings = [r for r in rows if r.entry.point.kind is LL and not r.entry.point.auxiliary and r.count]
    for whole in (r for r in windings if r.entry.point.section is WHOLE):
        for motor in (r for r in windings if r.entry.point.section is MOTOR_ALONE):
            if whole.entry.point.first != motor.entry.point.first:
                continue
            most = motor.high * (1 + brushed) + loop
            most += max(healthy.JOINTS_MOST_OHM, healthy.JOINTS_MOST_SHARE * motor.high)
            if whole.low > most:
                yield Evidence((whole.id, motor.id), f"{whole.id} is {whole.low - most:.3g} Ohm above motor and cable")


def unseen(
    visit_faults: Sequence[object], entries: Sequence[Entry], part: str | None, *, needs_volts: bool, slips: bool
) -> str:
    """Say why nothing could show the fault of a visit that is set aside.

    Args:
        visit_faults: What is wrong.
        entries: What was confirmed.
        part: Where, or None.
        needs_volts: Only a test voltage shows it.
        slips: A name, unit or temperature was typed wrong.
    """
    parts = {"motor": (WHOLE, MOTOR_ALONE), "cable": (WHOLE, CABLE_ALONE), "joint": (WHOLE,)}.get(part or "", ())
    touching = [e for e in entries if not parts or e.point.section in parts]
    if not touching:
        return "the faulty part was not measured"
    if needs_volts and not any(e.point.kind is IR for e in touching):
        return "no test voltage was applied to the faulty part"
    if slips:
        return "a name, unit or temperature was typed wrong"
    return "the deviation lies within tolerances and uncertainties, or the point that shows it was skipped"
