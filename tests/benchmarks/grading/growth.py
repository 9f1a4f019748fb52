"""How grading grows with the readings of one axis: `python -m tests.benchmarks.grading.growth`.

500, 1,000, 2,000 and 4,000 readings of one axis: mixed rows (parts, leads, voltages, times), all rows of one point,
mixed rows with what makes rules search (early values, every voltage below the one that judges), and rows that are
compared with each other (units, pairs of leads, voltages found, temperatures). Prints processor time in milliseconds
and the growth from one size to the next: 2.0 is linear, 4.0 is with the square.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from rich.console import Console
from rich.table import Table

from grading.measurement import Measurement
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.verdict import grade_axis
from tests.benchmarks.grading.__main__ import SEED
from tests.grading.making import METERS, MOTOR, axis, ir, lg, ll, made

SIZES = (500, 1000, 2000, 4000)
REPEATS = 2
PAIRS = ("U-V", "V-W", "W-U")


def mixed(count: int, draw: random.Random) -> list[Measurement]:
    """Draw rows of all kinds, parts, leads, voltages and times."""
    rows: list[Measurement] = []
    while len(rows) < count:
        section, lead = draw.choice(list(Section)), draw.choice("UVW")
        chance = draw.random()
        if chance < 1 / 8:
            rows.append(ll(section, f"{draw.uniform(1.18, 1.24):.2f}", draw.choice(PAIRS)))
        elif chance < 1 / 5:
            rows.append(lg(section, draw.choice(["OL", "12.5"]), terminals=f"{lead}-PE"))
        else:
            at: dict[str, Any] = {"test_voltage_set": draw.choice([250, 500]), "elapsed_s": draw.choice([30, 60, 600])}
            rows.append(ir(section, f"{10 ** draw.uniform(0, 3.5):.2f}", terminals=f"{lead}-PE", **at))
    return rows


def one_point(count: int, draw: random.Random) -> list[Measurement]:
    """Draw rows of one point: the motor's joined leads to earth at 500 V for a minute."""
    return [ir(MOTOR, f"{10 ** draw.uniform(2, 3):.1f}") for _ in range(count)]


def searching(count: int, draw: random.Random) -> list[Measurement]:
    """Draw rows that each rule looks for a better one to: early ones, and steps below the voltage that judges."""
    rows = []
    for _ in range(count):
        section, lead = draw.choice(list(Section)), draw.choice("UVW")
        early = draw.random() < 1 / 2
        at: dict[str, Any] = {"test_voltage_set": 500 if early else 100, "elapsed_s": 15 if early else 60}
        rows.append(ir(section, f"{10 ** draw.uniform(1, 3):.2f}", terminals=f"{lead}-PE", **at))
    return rows


def two_units(count: int, draw: random.Random) -> list[Measurement]:
    """Draw windings of one part, some in another unit: each is compared with those that its unit sets apart."""
    units = ["Ohm", "mOhm"]
    return [ll(MOTOR, f"{draw.uniform(1.1, 1.3):.2f}", draw.choice(PAIRS), draw.choice(units)) for _ in range(count)]


def unnamed(count: int, draw: random.Random) -> list[Measurement]:
    """Draw windings without the names of their leads beside a pair that was read again and again."""
    return [ll(MOTOR, f"{draw.uniform(1.1, 1.3):.2f}", draw.choice(["U-V", "lead-lead"])) for _ in range(count)]


def live_and_warm(count: int, draw: random.Random) -> list[Measurement]:
    """Draw voltages found on leads, and temperatures that may be in another unit."""
    volts, warm = QuantityKind.VOLTAGE, QuantityKind.TEMPERATURE
    return [
        made(volts, None, f"{draw.uniform(0, 400):.0f}", "V", terminals=f"{draw.choice('UVW')}-PE")
        if number % 2
        else made(warm, None, f"{draw.uniform(15, 90):.0f}", "Cel", terminals="air")
        for number in range(count)
    ]


WAYS: dict[str, Callable[[int, random.Random], list[Measurement]]] = {
    "mixed rows": mixed,
    "one point": one_point,
    "early and low": searching,
    "windings in two units": two_units,
    "windings without names": unnamed,
    "voltages and temperatures": live_and_warm,
}


def spent(rows: list[Measurement]) -> float:
    """Give the least processor time of a few gradings, ms."""
    least = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        grade_axis(rows, axis(), METERS)
        least = min(least, time.process_time() - start)
    return 1000 * least


def main() -> None:
    """Measure, and print the table."""
    table = Table("Rows of one axis", *(f"{size:,}" for size in SIZES), "growth from size to size")
    for name, draw_rows in WAYS.items():
        draw = random.Random(SEED)
        times = [spent(draw_rows(size, draw)) for size in SIZES]
        growth = ", ".join(f"{after / before:.1f}" for before, after in pairwise(times))
        table.add_row(name, *(f"{ms:.0f} ms" for ms in times), growth)
    Console().print(table)


if __name__ == "__main__":
    main()
