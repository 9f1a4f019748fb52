"""Print the table of simulated visits."""

from __future__ import annotations

import argparse
import math
import random

from tests.api.dialogue.simulation.desk import Counts, Desk
from tests.api.dialogue.simulation.person import Person
from tests.api.dialogue.simulation.rates import (
    HEADSET,
    HEADSET_ALIKE,
    NO_PHOTO,
    PHOTO,
    SHOP,
    SHOP_ALIKE,
    Ear,
    Eye,
    People,
)

AXES = ("X", "Y", "Z", "B", "SPINDLE")
NOTICE = (1.0, 0.95, 0.80)


def simulate(ear: Ear, eye: Eye, people: People, visits: int, seed: int, *, twice: bool = False) -> Counts:
    """Run visits of five axes with twelve readings each, values confirmed by a word or by saying them `twice`."""
    counts = Counts()
    for number in range(visits):
        rng = random.Random(f"{seed} {number} {ear.name} {eye.name} {people.notice}")
        Person(Desk(AXES, counts, said_twice=twice), ear, eye, people, rng).works()
    return counts


def interval(found: int, of: int) -> tuple[float, float]:
    """Give the 95 % interval of a share (Wilson 1927)."""
    z, share = 1.959964, found / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, middle - half), middle + half


def row(ear: Ear, eye: Eye, by: str, notice: float, counts: Counts) -> str:
    """Write one line of the table."""
    low, high = interval(counts.wrong, counts.readings)
    wrong = f"{1e4 * counts.wrong / counts.readings:.1f} ({1e4 * low:.1f}-{1e4 * high:.1f})"
    per = counts.readings
    return (
        f"| {ear.name} | {eye.name} | {by} | {100 * notice:.0f} | {counts.readings:,} | {wrong} | "
        f"{counts.words / per:.1f} | {counts.questions / per:.2f} | {counts.answers / per:.2f} | "
        f"{counts.taps / counts.axes:.3f} | {counts.broken} |"
    )


def main() -> None:
    """Read the command line and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    told = parser.parse_args()
    heads = (
        "ear",
        "eye",
        "confirmed by",
        "notices, %",
        "readings",
        "wrong confirmed in 10,000",
        "words",
        "questions",
        "answers",
    )
    print(f"| {' | '.join((*heads, 'taps an axis', 'laws broken'))} |")
    print(f"|{'---|' * (len(heads) + 2)}")
    for ear in (HEADSET, HEADSET_ALIKE, SHOP, SHOP_ALIKE):
        for eye in (NO_PHOTO, PHOTO) if ear in (HEADSET, SHOP) else (NO_PHOTO,):
            for twice, by in ((False, "a word"), (True, "the value again")):
                if ear not in (HEADSET, SHOP) and not twice:
                    continue  # what is said once is not heard twice
                for notice in NOTICE:
                    counts = simulate(ear, eye, People(notice), told.visits, told.seed, twice=twice)
                    print(row(ear, eye, by, notice, counts), flush=True)


if __name__ == "__main__":
    main()
