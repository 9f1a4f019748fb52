"""Runs the display reader over pictures with known content and counts right, refused and wrong."""

from __future__ import annotations

import json
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from capture.display.see import see_photo
from capture.display.strings import parse_main
from capture.reading import DisplayReading, Seen
from fixtures.displays.chance import description
from fixtures.displays.photo import render, to_jpeg
from grading.quantity import Qualifier, Quantity


@dataclass(frozen=True)
class Case:
    """A picture and what it shows.

    Attributes:
        name: For the report.
        style: Which line of the table it counts in.
        data: The file.
        shows: What the first display shows; None where there is no display.
        legible: Whether a careful eye can read main string and unit.
        others: What further displays in the picture show.
    """

    name: str
    style: str
    data: bytes
    shows: dict[str, Any] | None
    legible: bool
    others: tuple[dict[str, Any], ...] = ()


@dataclass
class Tally:
    """Counts of one line; `small` counts secondary fields among right readings."""

    right: int = 0
    refused: int = 0
    wrong: int = 0
    legible: int = 0
    small_right: int = 0
    small_all: int = 0
    seconds: list[float] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def canonical(text: str) -> str:
    """A main string as the reader spells it: seven segments do not tell O from 0."""
    return text.replace("O", "0").replace(" ", "")


def matches(reading: DisplayReading, shows: dict[str, Any]) -> bool:
    """Whether an accepted reading is what the display shows: digits, point, sign, unit."""
    want = canonical(shows.get("main", ""))
    if set(want) <= {"-"}:
        return set(reading.text) <= {"-"}
    meant = parse_main(want, None)
    if meant is not None and meant.digits is None and meant.qualifier is Qualifier.ABOVE:  # a point in OL says nothing
        return reading.quantity == Quantity(None, shows.get("unit"), Qualifier.ABOVE)
    return reading.text.removesuffix(".") == want.removesuffix(".") and reading.quantity.unit == shows.get("unit")


def small_fields(reading: DisplayReading, shows: dict[str, Any]) -> tuple[int, int]:
    """How many of the secondary fields were read right, and how many there are; a wrong one counts as not right."""
    wanted = {k: shows[k] for k in ("test_voltage", "set_voltage", "elapsed") if shows.get(k)}
    if shows.get("second"):
        wanted["humidity"] = shows["second"]
    return sum(reading.secondary.get(k) == v for k, v in wanted.items()), len(wanted)


def judge(case: Case, seen: Seen) -> tuple[str, str]:
    """("right" | "refused" | "wrong", what was seen)."""
    accepted = [d for d in seen.displays if d.accepted]
    if not accepted:
        return "refused", seen.reason
    known = [s for s in (case.shows, *case.others) if s is not None]
    for reading in accepted:
        if not any(matches(reading, shows) for shows in known):
            return "wrong", f"read {reading.text!r} {reading.quantity.unit} {reading.confidence}"
    return "right", ""


def count(tally: Tally, case: Case, seen: Seen, seconds: float) -> str:
    """Add one picture to a line; returns the verdict."""
    verdict, note = judge(case, seen)
    setattr(tally, verdict, getattr(tally, verdict) + 1)
    tally.legible += case.legible
    tally.seconds.append(seconds)
    if verdict == "right" and case.shows is not None:
        first = next((d for d in seen.displays if d.accepted and matches(d, case.shows)), None)
        if first is not None:
            good, total = small_fields(first, case.shows)
            tally.small_right += good
            tally.small_all += total
    if verdict == "wrong" or (verdict == "refused" and case.legible):
        shown = "nothing" if case.shows is None else f"{case.shows.get('main')!r} {case.shows.get('unit')}"
        tally.notes.append(f"{case.name} {case.style} shows {shown}: {verdict}: {note}")
    return verdict


def rendered(seeds: range, **options: Any) -> Iterator[Case]:
    """Rendered photos that the training never saw: seeds below 1,000,000."""
    for seed in seeds:
        spec = description(seed, **options)
        photo = render(spec)
        first = photo.displays[0] if photo.displays else None
        yield Case(
            f"seed {seed}",
            spec["style"],
            to_jpeg(photo, spec),
            None if first is None else first.shows,
            first is not None and first.legible and _is_reading(first.shows),
            tuple(d.shows for d in photo.displays[1:]),
        )


def _is_reading(shows: dict[str, Any]) -> bool:
    """Whether there is a value with its unit to be read."""
    main = canonical(shows.get("main", ""))
    return bool(shows.get("unit")) and bool(main) and not set(main) - set("0123456789.-<>LF") and set(main) != {"-"}


def demo(truth: Path) -> Iterator[Case]:
    """The demo photos of fixtures/truth.json."""
    for entry in json.loads(truth.read_text(encoding="utf-8"))["photos"]:
        data = (truth.parent / entry["file"]).read_bytes()
        yield Case(entry["file"], "demo", data, entry.get("shows"), bool(entry.get("readable", True)))


def run(cases: Iterator[Case]) -> dict[str, Tally]:
    """Read all cases; a line per style."""
    lines: dict[str, Tally] = defaultdict(Tally)
    for case in cases:
        start = time.perf_counter()
        seen = see_photo(case.data)
        count(lines[case.style], case, seen, time.perf_counter() - start)
    return dict(lines)


def digits_folder(folder: Path) -> tuple[int, int, int, list[str]]:
    """Single-digit pictures, folder name = digit (00–09; 11 = blank): right, refused, wrong, notes.

    Each picture is taken as a display of its own; a unit is not expected, so only the digit is judged, at the
    reader's own threshold for digits.
    """
    from capture.display.judge import VALUE_SURE

    right = refused = wrong = 0
    notes = []
    for path in sorted(folder.rglob("*.jpg")):
        want = {"11": ""}.get(path.parent.name, str(int(path.parent.name)))
        reading = see_photo(path.read_bytes(), crop=True).displays[0]
        sure = reading.confidence["value"] >= VALUE_SURE and "?" not in reading.text
        if want == "":
            right, wrong = (right + 1, wrong) if not (reading.text and sure) else (right, wrong + 1)
        elif not sure:
            refused += 1
        elif reading.text.strip(".") == want:
            right += 1
        else:
            wrong += 1
            notes.append(f"{path.parent.name}/{path.name}: read {reading.text!r}")
    return right, refused, wrong, notes
