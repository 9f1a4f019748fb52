"""Random attacks on exports: `python -m tests.attacks [--each 800] [--seed 1] [--enclosed 0]`.

An export of a visit is made, its files are changed in so many random ways of each kind (`tests.attacks.kinds`), and it
is verified by the program's own verification, a share of them by the verifier that is enclosed in every export as well.
An attack that leaves every byte as it was is none, and is drawn again. Untouched exports are verified between, so that
a false alarm would show. Exit status 1 where anything is missed or falsely told.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

from tests.attacks.kinds import BEYOND, FOUND
from tests.attacks.play import Played, Target, make_target, play


def _missed(kind: str, count: int) -> str:
    if kind in BEYOND:
        return f"{count} said to be beyond proof"
    return "" if kind == "nothing changed" else str(count)


def table_of(played: list[Played]) -> Table:
    """Show what was played, by kind."""
    table = Table("attack", "made", "found", "missed", "found by the enclosed verifier", "by a head from outside")
    for kind in {one.kind: None for one in played}:
        mine = [one for one in played if one.kind == kind]
        found, enclosed = sum(one.found for one in mine), [one for one in mine if one.enclosed is not None]
        beyond = kind in BEYOND
        table.add_row(
            kind, str(len(mine)), str(found), _missed(kind, len(mine) - found),
            f"{sum(bool(one.enclosed) for one in enclosed)} of {len(enclosed)}",
            f"{sum(one.outside for one in mine)} of {len(mine)}" if beyond else "",
        )  # fmt: skip
    return table


def play_all(target: Target, each: int, seed: int, enclosed: int, *, shown: bool = False) -> list[Played]:
    """Play each kind so many times; the enclosed verifier looks at the first few of each."""
    drawn, played = random.Random(seed), []
    kinds = {**FOUND, **BEYOND, "nothing changed": None}
    todo = [(kind, attack, number) for kind, attack in kinds.items() for number in range(each)]
    for kind, attack, number in track(todo, "attacking", disable=not shown):
        played.append(play(target, kind, attack, drawn, with_enclosed=number < enclosed))
    return played


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=800)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--enclosed", type=int, default=20, help="of each kind, how many the enclosed verifier checks")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        played = play_all(make_target(Path(folder)), given.each, given.seed, given.enclosed, shown=True)
    Console(width=140).print(table_of(played))
    wrong = [one for one in played if one.wrong]
    print(f"{len(played)} exports: {len(wrong)} wrongly judged.")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
