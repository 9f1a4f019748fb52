"""Measures displays with several numbers of about one size: `python -m tests.benchmarks.display.several [--count N]`.

Rendered by fixed seeds (`fixtures.training.displays.several_shown`), N of each kind of display; only those count on
which a careful eye can read every number and unit. Each is read once, then taken as if nobody knew what was to be
measured, and as if each of its numbers had been expected in turn. "Right" is the number expected (without expectation:
one that is shown) with its own unit, or with the unit asked for; "asked" of those, with any question. "Another shown"
is a reading of another number than the one expected, with that one's own unit. "Wrong" is everything else accepted.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
from rich.console import Console
from rich.table import Table

from capture.display import refusal
from capture.display.check import each_expected
from capture.display.see import see_photo
from capture.reading import DisplayReading, Doubt, Seen
from fixtures.training.displays.photo import SeenDisplay, render, to_jpeg
from fixtures.training.displays.several_shown import KINDS, description
from grading.terms.quantity import UNITS, QuantityKind
from tests.benchmarks.display.measure import same_digits
from tests.benchmarks.display.tables import share

FIRST_SEED = 571_000
UNIT_ASKED = {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE, Doubt.DIGITS_AMBIGUOUS}
EXPECTED = {
    "climate": (QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY),
    "source": (QuantityKind.VOLTAGE, QuantityKind.CURRENT, None),
    "timed": (QuantityKind.CONTINUITY, QuantityKind.TIME),
    "tester": (QuantityKind.INSULATION_RESISTANCE, QuantityKind.VOLTAGE),
}
"""What each number of a kind of display is; nothing is expected of power."""
ALIKE = {"V": QuantityKind.VOLTAGE, "Cel": QuantityKind.TEMPERATURE, "Ohm": QuantityKind.CONTINUITY}


@dataclass(frozen=True)
class Number:
    """A number that is shown, its unit (UCUM code; "unit_other" for none of ours; None for none), and what it is."""

    text: str
    unit: str | None
    kind: QuantityKind | None


def numbers_of(kind: str, shows: dict[str, Any]) -> list[Number]:
    """List the numbers of a description, the main one first."""
    every = [(shows["main"], shows.get("unit")), *((one["text"], one.get("unit")) for one in shows["others"])]
    if kind == "alike":
        return [Number(text, unit, ALIKE[str(unit)]) for text, unit in every]
    return [Number(text, unit, what) for (text, unit), what in zip(every, EXPECTED[kind], strict=False)]


def all_legible(display: SeenDisplay) -> bool:
    """Tell whether a careful eye can read every number and unit."""
    parts = [mark for mark in display.marks if mark.part in ("main", "unit") or mark.part.startswith("other")]
    return bool(parts) and all(mark.legible for mark in parts)


def verdict(seen: Seen, numbers: list[Number], wanted: Number | None) -> str:
    """Judge what a person would be asked about: "right", "another", "wrong", "two" (refused as such) or "refused"."""
    display = seen.displays[0] if seen.displays else None
    if display is None or not display.accepted:
        return "two" if display is not None and display.reason == refusal.TWO_VALUES else "refused"
    shown = [one for one in numbers if same_digits(display.text, one.text) and _unit_holds(display, one)]
    if not shown:
        return "wrong"
    return "right" if wanted is None or wanted in shown else "another"


def _unit_holds(display: DisplayReading, number: Number) -> bool:
    if UNIT_ASKED & set(display.doubts):
        return True
    own = number.unit or {QuantityKind.TIME: "s"}.get(number.kind or QuantityKind.VOLTAGE)
    return display.quantity.unit == own


def pictures(kind: str, count: int) -> Iterator[tuple[bytes, list[Number]]]:
    """Render displays of a kind with what they show; those that no eye can read are left out."""
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        spec = description(seed, kind)
        photo = render(spec)
        if all_legible(photo.displays[0]):
            yield to_jpeg(photo, spec), numbers_of(kind, spec["shows"])


def count_one(counts: Counter[str], data: bytes, numbers: list[Number], *, alike: bool) -> None:
    """Read a picture and count what follows without expectation and with each."""
    seen = see_photo(data)
    counts["pictures"] += 1
    _add(counts, "none", seen, numbers, None)
    for number in numbers[: 1 if alike else None]:
        if number.kind is not None:
            counts["expected"] += 1
            _add(counts, "kind", each_expected(seen, number.kind), numbers, number)
    if seen.displays and seen.displays[0].accepted:
        display = seen.displays[0]
        for number in (one for one in numbers if not same_digits(display.text, one.text)):
            counts["beside"] += 1
            found = next((one for one in display.secondary_seen if same_digits(one.text, number.text)), None)
            counts["beside read"] += found is not None
            known = number.unit in UNITS
            counts["beside with unit"] += known
            counts["beside unit read"] += known and found is not None and found.unit == number.unit


def _add(counts: Counter[str], tag: str, seen: Seen, numbers: list[Number], wanted: Number | None) -> None:
    found = verdict(seen, numbers, wanted)
    counts[f"{tag} {found}"] += 1
    counts[f"{tag} asked"] += found == "right" and bool(seen.displays[0].doubts)


def table(every: dict[str, Counter[str]]) -> Table:
    """Tabulate the counts by kind of display."""
    made = Table(title="several numbers of one size")
    names = ("right", "asked", "another shown", "refused as two", "refused", "wrong")
    made.add_column("display, expectation")
    for name in ("of", *names, "beside: read", "beside: unit"):
        made.add_column(name, justify="right")
    keys = ("right", "asked", "another", "two", "refused", "wrong")
    for kind, counts in every.items():
        beside = (
            share(counts["beside read"], counts["beside"]),
            share(counts["beside unit read"], counts["beside with unit"]),
        )
        for tag, title, total in (("none", "none", "pictures"), ("kind", "each number", "expected")):
            cells = [str(counts[f"{tag} {key}"]) for key in keys]
            made.add_row(f"{kind}, {title}", str(counts[total]), *cells, *(beside if tag == "none" else ("", "")))
    return made


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.display.several", description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="pictures of each kind (20)")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    every: dict[str, Counter[str]] = defaultdict(Counter)
    for kind in KINDS:
        for data, numbers in pictures(kind, given.count):
            count_one(every[kind], data, numbers, alike=kind == "alike")
    Console(width=170).print(table(every))


if __name__ == "__main__":
    main()
