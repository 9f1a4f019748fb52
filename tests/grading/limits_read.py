"""Which limits a rule really reads: those whose change changes one of its findings, on a corpus of axes.

Each limit in force is changed a thousandfold either way, and every axis of the corpus that asks for it is graded again.
What a rule lists must be read by it on one of these axes, and what its findings cite must be listed.

    python -m tests.grading.limits_read

prints what each rule was seen to read.
"""

from __future__ import annotations

import datetime as dt
import random
import re
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

import grading
from grading.finding import Finding
from grading.limit import Limit
from grading.limits import FIXED, LIMITS
from grading.measurement import (
    AxisContext,
    Instrument,
    InsulationSystem,
    Measurement,
    MotorKind,
    Visit,
    WindingKind,
)
from grading.outcome import AxisVerdict
from grading.rulebook import RULES
from grading.shop import ShopProfile
from grading.terms.quantity import QuantityKind
from grading.verdict import grade_axis
from tests.grading import careful
from tests.grading.making import CABLE, CORE, METERS, MOTOR, WHOLE, axis, ir, lg, ll, made
from tests.grading.simulation.score import run
from tests.grading.whole_axes import D

SIMULATED = 60
"""Simulated visits in the corpus."""
FACTORS = (Decimal(1000), Decimal("1.5"), Decimal("0.7"), Decimal("0.001"))
"""What a limit is multiplied by: far beyond, and just past, either way."""
FROM_ZERO = 30
"""What a limit of zero is changed to, times a factor."""
THROUGH_OTHERS = {"voltage.choice", "insulation.temperature", "insulation.auxiliary"}
"""Rules with findings of their own that mostly work through those of others."""
MOST_AXES = 40
"""Axes of each rule on which a limit is tried before it counts as not read by it."""


@dataclass(frozen=True)
class Axis:
    """What `grade_axis` is given."""

    measurements: tuple[Measurement, ...]
    context: AxisContext
    instruments: Mapping[str, Instrument]
    history: tuple[Visit, ...] = ()
    about: tuple[str, ...] = ()
    """The limits that it is there for, where only this axis shows it read."""

    def graded(self, limits: Mapping[str, Limit]) -> AxisVerdict:
        """Grade it by other limits."""
        profile = ShopProfile(limits)
        return grade_axis(self.measurements, self.context, self.instruments, profile=profile, history=self.history)


class Recorded(dict[str, Limit]):
    """Limits that remember which of them were asked for."""

    def __init__(self, limits: Mapping[str, Limit]) -> None:
        super().__init__(limits)
        self.asked: set[str] = set()

    def __getitem__(self, name: str) -> Limit:
        self.asked.add(name)
        return super().__getitem__(name)


def by_rule(verdict: AxisVerdict) -> dict[str, list[Finding]]:
    """Give the findings of each rule, in order."""
    found: dict[str, list[Finding]] = defaultdict(list)
    for finding in verdict.findings:
        found[finding.rule].append(finding)
    return found


def changed_rules(before: AxisVerdict, after: AxisVerdict) -> set[str]:
    """Name the rules whose findings are not the same."""
    one, other = by_rule(before), by_rule(after)
    return {rule for rule in one.keys() | other.keys() if one.get(rule) != other.get(rule)}


def cited(found: Any) -> Iterator[str]:
    """Name every limit that a finding holds, its details included."""
    if isinstance(found, Limit):
        yield found.id
    elif is_dataclass(found) and not isinstance(found, type):
        for one in fields(found):
            yield from cited(getattr(found, one.name))
    elif isinstance(found, tuple):
        for part in found:
            yield from cited(part)


@dataclass
class Reads:
    """What was seen: the rules that each limit moves, and the limits that findings of each rule cite."""

    moved: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    cited: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))

    @property
    def found(self) -> set[str]:
        """The rules that found anything on the corpus."""
        return set(self.cited)


def observe(axes: tuple[Axis, ...], wanted: Mapping[str, set[str]]) -> Reads:
    """Change every limit on the axes that ask for it.

    Args:
        axes: The corpus.
        wanted: By limit, the rules that list it; a limit is tried no further once all of them moved.
    """
    reads, asking = Reads(), defaultdict[str, list[tuple[Axis, AxisVerdict]]](list)
    for one in axes:
        limits = Recorded(LIMITS)
        verdict = one.graded(limits)
        for finding in verdict.findings:
            reads.cited[finding.rule] |= set(cited(finding))
        for name in limits.asked:
            asking[name].append((one, verdict))
    for name, own in asking.items():
        limit = LIMITS[name]
        first = [pair for pair in own if name in pair[0].about]
        for one, verdict in (*first, *_spread(own, wanted.get(name, set()))):
            if wanted.get(name, set()) <= reads.moved[name]:
                break
            for factor in FACTORS:
                value = limit.value * factor if limit.value else factor * FROM_ZERO
                other = {**LIMITS, name: replace(limit, value=value)}
                try:
                    reads.moved[name] |= changed_rules(verdict, one.graded(other))
                except ValueError:
                    if name not in FIXED:  # two that no shop can set may not fit together when one is changed
                        raise
    return reads


def _spread(own: list[tuple[Axis, AxisVerdict]], rules: set[str]) -> Iterator[tuple[Axis, AxisVerdict]]:
    """Give axes on which each of the rules found something, and some others, from the whole corpus."""
    draw = random.Random(len(own))
    for rule in (*sorted(rules), None):
        some = [pair for pair in own if rule is None or any(f.rule == rule for f in pair[1].findings)]
        yield from draw.sample(some, min(MOST_AXES, len(some)))


def at_import() -> set[str]:
    """Name the limits that a module reads once, when it is imported: no profile can change them."""
    package = Path(grading.__file__).parent
    texts = (path.read_text("utf-8") for path in package.rglob("*.py"))
    return {name for text in texts for name in re.findall(r"LIMITS\[['\"]([a-z0-9_.]+)['\"]\]", text)}


@cache
def corpus() -> tuple[Axis, ...]:
    """Give the axes: those written by hand to fool grading, some simulated ones, and what those two leave out."""
    found: list[Axis] = []

    def keep(
        measurements: Sequence[Measurement],
        context: AxisContext,
        instruments: Mapping[str, Instrument] | None = None,
        *,
        history: Sequence[Visit] = (),
    ) -> AxisVerdict:
        found.append(Axis(tuple(measurements), context, instruments or {}, tuple(history)))
        return grade_axis(measurements, context, instruments, history=history)

    with mock.patch("tests.grading.careful.grade_axis", keep):
        for case in careful.cases():
            careful.graded(case)
    with mock.patch("tests.grading.simulation.score.grade_axis", keep):
        run(range(SIMULATED))
    return (*found, *_others(), *_slips())


def _others() -> Iterator[Axis]:
    def of(
        *rows: Measurement, motor: MotorKind = MotorKind.AC_SERVO, about: tuple[str, ...] = (), **known: Any
    ) -> Axis:
        return Axis(rows, axis(motor, **known), METERS, about=about)

    values = ("0.02", "0.30", "0.80", "1.05", "4.00", "7.00", "20", "60", "150", "900", ">4000")
    for value in values:
        yield of(ir(WHOLE, value), slip_rings=True)
        for known in (
            {"winding_kind": WindingKind.FORM_WOUND}, {"winding_kind": WindingKind.FORM_WOUND, "rated_voltage": 3000},
            {"winding_kind": WindingKind.FIELD}, {"made_year": 1965}, {"rated_power_w": 400}, {"winding_c": None},
            {"insulation_system": InsulationSystem.UNKNOWN, "made_year": 1980}, {"humidity_percent": 95},
        ):  # fmt: skip
            yield of(ir(MOTOR, value), **known)
        yield of(ir(MOTOR, value), ir(WHOLE, value), motor=MotorKind.DC_SERVO)
        for volts, rated in ((500, 200), (1000, 400), (250, 24), (100, 48), (50, 24)):
            yield of(ir(CABLE, value, test_voltage_set=volts), rated_voltage=rated)
            yield of(ir(MOTOR, value, test_voltage_set=volts), rated_voltage=rated)
        yield of(ir(MOTOR, value, elapsed_s=60), ir(MOTOR, "300", elapsed_s=600), thermal_class="105")
        yield of(ir(MOTOR, value, elapsed_s=60), ir(MOTOR, "300", elapsed_s=600), thermal_class="155")
        yield of(ir(MOTOR, value, elapsed_s=30), ir(MOTOR, "150", elapsed_s=60))
        yield of(ir(WHOLE, value), lg(WHOLE, "0.50"), lg(WHOLE, "5", "Ohm"), lg(WHOLE, "2"))
        yield of(ir(WHOLE, value, instrument_id=None), ll(WHOLE, "1.20", instrument_id=None))
        yield of(ir(WHOLE, value, test_voltage_set=500, test_voltage_built=300))
        yield of(ir(WHOLE, value, test_voltage_set=500, test_voltage_built=640))
        yield of(ir(MOTOR, value), maker_test_voltage=200)
    for spread in ("1.20", "1.23", "1.28", "1.50"):
        for part in (WHOLE, MOTOR):
            rows = (ll(part, "1.20"), ll(part, "1.20", "V-W"), ll(part, spread, "W-U"))
            yield of(*rows)
            yield of(*rows, winding_kind=WindingKind.FORM_WOUND)
            yield of(*rows, nameplate_resistance_ohm=D("1.20"), nameplate_c=None)
            yield of(*rows, nameplate_resistance_ohm=D("0.90"), cable_length_m=20, core_mm2=D("2.5"))
        turned = [ll(MOTOR, v, "A1-A2", position=str(n)) for n, v in enumerate(["0.84"] * 8 + [spread])]
        yield of(*turned, motor=MotorKind.DC_SERVO, rated_current=10)
        yield of(ll(WHOLE, "1.60"), ll(MOTOR, spread), cable_length_m=20, core_mm2=D("2.5"))
    yield of(ll(MOTOR, "5", unit="kOhm"), ll(WHOLE, ">2000"))
    yield of(ir(WHOLE, "550"), air_c=77, rated_power_w=D("1.5"))
    yield of(ir(WHOLE, "550"), rated_power_w=22, rated_current=40)
    yield of(ir(WHOLE, "550"), rated_power_w=900_000)
    yield of(ll(MOTOR, "85", unit="MOhm", instrument_id=None))
    yield of(
        ir(WHOLE, "550"), winding_c=-300, humidity_percent=130, rated_current=D("1e30"), about=("possible.largest",)
    )
    yield of(ir(WHOLE, "550"), made_year=1066)
    yield of(ir(WHOLE, "550"), made(CORE, WHOLE, "2", "kOhm", terminals="ENC shield-ENC shield"))
    for point in ("FAN1-PE", "B+-PE", "TACHO+-PE", "TH1-PE", "F1-PE"):
        for value, volts in (("0.20", 500), ("0.70", 500), ("5", 250), ("5", 1000), ("50", 50)):
            yield of(ir(MOTOR, value, terminals=point, test_voltage_set=volts), ir(WHOLE, "550"))
    yield of(ir(MOTOR, "600", test_voltage_set=500), rated_voltage=90, about=("tester.ceiling_small",))
    yield of(
        ll(WHOLE, "1.20", instrument_id=None), lg(WHOLE, "0.900", instrument_id=None), about=("tester.ohm_counts",)
    )
    yield of(ir(MOTOR, "600", test_voltage_set=500), rated_voltage=24)
    for early, late in (("120", "130"), ("80", "90"), ("300", "310")):
        yield of(ir(MOTOR, early, elapsed_s=60), ir(MOTOR, late, elapsed_s=600), thermal_class="155")
    for value in ("1.20", "1.40", "3.00"):
        plate: dict[str, Any] = {"nameplate_resistance_ohm": D("1.20"), "cable_length_m": 20, "core_mm2": D("2.5")}
        yield of(ll(WHOLE, value, "A1-A2"), motor=MotorKind.DC_SERVO, **plate)
    for shown, amps in (("30", "0.2"), ("325", "5"), ("0.3", "40")):
        live = made(QuantityKind.VOLTAGE, WHOLE, shown, "V", terminals="U-PE", test_voltage_set=None)
        yield of(live, ir(WHOLE, "550"))
        yield of(replace(live, kind=QuantityKind.CURRENT, quantity=replace(live.quantity, digits=amps, unit="mA")))
    for celsius in (15, 30, 45):
        cold = Visit(_day(0), (ir(WHOLE, "900", at=_day(0), air_c=D(10)),), axis())
        yield Axis((ir(WHOLE, "300", at=_day(365), air_c=D(celsius)),), axis(), METERS, (cold,))
    yield of(ir(WHOLE, "550"), core_mm2=D("1e-20"), air_c=5000, about=("possible.smallest",))
    warm = made(QuantityKind.TEMPERATURE, MOTOR, "22", "Cel", terminals="", at=_day(1))
    yield of(warm, ir(MOTOR, "600", at=_day(2)), about=("conditions.age",))
    yield of(ll(MOTOR, "1.20"), maker_test_voltage=200, about=("voltage.single_step",))
    yield of(ll(MOTOR, "1.20"), rated_voltage=200, about=("voltage.first_step_rated",))
    yield of(ir(CABLE, "0.5", terminals="U-V"), ir(WHOLE, "550"), about=("insulation.drive_floor",))
    yield of(ll(MOTOR, "1.20"), rated_voltage=24, about=("voltage.small_first_step",))
    yield of(lg(WHOLE, "short", instrument_id=None), about=("tester.resolution_ohm",))
    yield of(ir(WHOLE, "short", instrument_id=None), about=("tester.resolution_insulation",))
    yield of(ir(WHOLE, "550"), air_c=77, about=("plausible.room_least",))
    for text in ("900 620 410 300 190", "900 850 80", "90 64 45 33 23 16.5 11.8", "500 240", "300 99", "90 500"):
        visited = [ir(WHOLE, value, at=_day(365 * n)) for n, value in enumerate(text.split())]
        visits = tuple(Visit(m.at or _day(0), (m,), axis()) for m in visited[:-1])
        yield Axis((visited[-1],), axis(), METERS, visits, ("trend.retest_share", "insulation.machine"))


def _slips() -> Iterator[Axis]:
    """Give axes on which a unit differs, or a value does not go with what gave it."""
    yield Axis((ir(WHOLE, "650", "Ohm", test_voltage_built=520),), axis(), METERS, (), ("tester.current_most",))
    yield Axis((ll(MOTOR, "0.87", "B+-B-"),), axis(), METERS, (), ("plausible.brake_least",))
    for odd, unit, last in (("1080", "mOhm", "1.20"), ("1200", "mOhm", "4.00"), ("1.08", "mOhm", "1.20")):
        yield Axis((ll(MOTOR, "1.20"), ll(MOTOR, odd, "V-W", unit=unit), ll(MOTOR, last, "W-U")), axis(), METERS)
    coarse = {"IT-03": replace(METERS["IT-03"], resolution_ohm=D(10_000))}
    for fine in ("214.6", "214", "210"):
        yield Axis((ir(WHOLE, fine, "kOhm"),), axis(), coarse)
    for low in ("2", "7", "60"):
        for kind in (MotorKind.DC_SERVO, MotorKind.AC_SERVO):
            yield Axis((ir(WHOLE, low, test_voltage_set=250), ir(WHOLE, "3000")), axis(kind), METERS)


def _day(number: int) -> dt.datetime:
    return dt.datetime(2021, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=number)


def listed() -> dict[str, set[str]]:
    """Give the rules that list each limit."""
    found: dict[str, set[str]] = defaultdict(set)
    for rule in RULES.values():
        for name in rule.limits:
            found[name].add(rule.id)
    return found


def not_read(reads: Reads) -> dict[str, list[str]]:
    """Give the limits that rules list and were not seen to read.

    A rule that works through the findings of others (the error of a reading, a collapsed voltage) reads a limit where
    any finding moves.
    """
    out: dict[str, list[str]] = {}
    constant = at_import()
    for rule in RULES.values():
        for name in rule.limits:
            moved = reads.moved[name]
            through = rule.id not in reads.found or rule.id in THROUGH_OTHERS
            seen = rule.id in moved or (bool(moved) and through) or name in constant
            if not seen:
                out.setdefault(rule.id, []).append(name)
    return out


def not_listed(reads: Reads) -> dict[str, list[str]]:
    """Give the limits that findings of a rule cite and it does not list, but for those of rules behind it."""
    through = {
        name
        for rule in RULES.values()
        if rule.id not in reads.found or rule.id in THROUGH_OTHERS
        for name in rule.limits
    }
    extra = {rule: sorted(names - set(RULES[rule].limits) - through) for rule, names in reads.cited.items()}
    return {rule: names for rule, names in extra.items() if names}


def main() -> int:
    """Print what each rule was seen to read, and where that is not what it lists."""
    reads = observe(corpus(), listed())
    for rule in RULES.values():
        seen = [name for name in rule.limits if reads.moved[name]]
        sys.stdout.write(f"{rule.id}: {', '.join(seen) or 'none'}\n")
    for rule_id, names in not_read(reads).items():
        moves = {name: sorted(reads.moved[name]) for name in names}
        sys.stdout.write(f"listed by {rule_id} and not read: {moves}\n")
    for rule_id, names in not_listed(reads).items():
        sys.stdout.write(f"cited by {rule_id} and not listed: {', '.join(names)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
