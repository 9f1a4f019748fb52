"""Counts what a profile alone would say of a unit that was not seen: right, or wrong since another thing is shown.

    python -m tests.benchmarks.display.units [--strings 3000]

Main strings of all rendered styles, drawn by seed, with the unit left out, under each shipped profile and quantity.
"Own" ones the instrument can show in a measurement of that quantity; all others are foreign, or of another of its
measurements. "One unit" is what a rule would settle that takes the only unit in which the digits fit; it is why
`capture.display.expected` asks for more than that. "Settled" is what is settled without anything seen of the unit.
"""

from __future__ import annotations

import argparse
from collections import Counter

from rich.console import Console
from rich.table import Table

from capture.display.check import checked
from capture.display.expected import of_kind, possible_units
from capture.display.profile import Possibility, Profile
from capture.display.profile_files import shipped
from capture.display.strings import parse_main
from capture.reading import DisplayReading, Doubt
from fixtures.training.displays import sampling
from fixtures.training.displays.faces import STYLES
from grading.terms.quantity import UNITS, QuantityKind

FIRST_SEED = 900_000
KINDS = {
    "insulation-4000": (QuantityKind.INSULATION_RESISTANCE,),
    "insulation-bench": (QuantityKind.INSULATION_RESISTANCE,),
    "milliohm-four-wire": (QuantityKind.WINDING_RESISTANCE,),
    "multimeter-6000": (QuantityKind.RESISTANCE_TO_GROUND, QuantityKind.VOLTAGE, QuantityKind.CURRENT),
    "climate": (QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY),
}


def counted(profile: Profile, kind: QuantityKind, strings: list[tuple[str, str | None]]) -> Counter[str]:
    """Count under one profile and quantity."""
    counts: Counter[str] = Counter()
    for text, unit in strings:
        quantity, shown = parse_main(text, None), parse_main(text, unit)
        if quantity is None or shown is None or quantity.digits is None:
            continue
        possible = profile.possibility(shown)[0] is Possibility.POSSIBLE
        own = "own" if unit in UNITS and possible and of_kind(unit, kind) else "foreign"
        counts[own] += 1
        units = possible_units(quantity, profile, None, kind)
        if len(units) == 1:
            counts[f"{own}, one unit, {'right' if units[0] == unit else 'wrong'}"] += 1
        unseen = DisplayReading(text, quantity, {}, {"unit": 0.0}, True, "", (), (Doubt.UNIT_MISSING,))
        found = checked(unseen, profile, kind=kind)
        if found.accepted and not found.doubts:
            counts[f"{own}, settled, {'right' if found.quantity.unit == unit else 'wrong'}"] += 1
    return counts


def main() -> None:
    """Count and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.display.units", description=__doc__,
        formatter_class=argparse.RawTextHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--strings", type=int, default=3000)
    count = parser.parse_args().strings
    drawn = (sampling.description(FIRST_SEED + i, styles=STYLES_ALL, negatives=0)["shows"] for i in range(count))
    strings = [(str(shows.get("main", "")), shows.get("unit")) for shows in drawn]
    table = Table(title=f"{count} strings whose unit is not seen: right / wrong")
    for name in ("profile", "quantity", "own", "one unit", "settled", "foreign", "one unit ", "settled "):
        table.add_column(name, justify="left" if name in ("profile", "quantity") else "right")
    for name, kinds in KINDS.items():
        for kind in kinds:
            c = counted(shipped()[name], kind, strings)
            cells = [name, kind.value.replace("_", " ")]
            for one in ("own", "foreign"):
                cells += [str(c[one])]
                cells += [f"{c[f'{one}, {what}, right']} / {c[f'{one}, {what}, wrong']}" for what in WHAT]
            table.add_row(*cells)
    Console(width=130).print(table)


STYLES_ALL = tuple(STYLES)
WHAT = ("one unit", "settled")

if __name__ == "__main__":
    main()
