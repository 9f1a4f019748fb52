"""The pictures that are measured, each with what it shows: rendered by seed, the demo's, and folders of real ones."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from capture.display.picture import open_picture
from capture.display.strings import SYMBOLS, is_time
from fixtures.training.display_model import stock
from fixtures.training.display_model.asked import shown_in
from fixtures.training.displays.faces import TRAINING_STYLES, UNSEEN_STYLES
from grading.terms.quantity import UNITS
from tests.benchmarks.display.cases import Case, Shown
from tests.benchmarks.display.text import canonical

TRUTH = Path(__file__).parents[3] / "fixtures" / "visit" / "truth.json"
FIRST = {"seen": 500_000, "unseen": 510_000, "nothing": 520_000, "crops": 530_000, "wild": 540_000}
"""First seed of each rendered set; none reaches those of the calibration (600,000) and the training (1,000,000)."""
PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".bmp")


def _shown(truth: stock.Truth) -> Shown:
    main = canonical(str(truth.shows.get("main", "")))
    small = {k: str(truth.shows[k]) for k in ("test_voltage", "set_voltage", "elapsed") if truth.shows.get(k)}
    if truth.shows.get("second"):
        small["humidity"] = str(truth.shows["second"])
    reading = bool(main) and not set(main) - set("0123456789.:-<>LF") and set(main) != {"-"}
    unit = (truth.shows.get("unit") or None) if truth.unit_known else ""
    time = is_time(main)  # a colon says that these are seconds; that they are is asked
    unit, told = ("s", truth.digits) if time else (unit, truth.unit)
    return Shown(
        main, unit, truth.digits and reading, told and reading, small, truth.row,
        truth.unit_mark,
    )  # fmt: skip


def case_of(picture: stock.Picture, group: str) -> Case:
    """Make a case of a rendered picture."""
    return Case(
        f"{group}-{picture.seed}", group, picture.style, picture.grade, picture.data, picture.marked,
        tuple(_shown(truth) for truth in picture.truths),
    )  # fmt: skip


def wishes(group: str, count: int) -> list[stock.Wish]:
    """List what to render for a set; gradings 1 to 5 take turns."""
    kind = "crop" if group == "crops" else "photo"
    every = (*TRAINING_STYLES, *UNSEEN_STYLES)
    styles = {"seen": TRAINING_STYLES, "unseen": UNSEEN_STYLES, "wild": UNSEEN_STYLES}.get(group, every)
    nothing = 1.0 if group == "nothing" else 0.0
    return [stock.Wish(FIRST[group] + i, kind, styles, nothing, 1 + i % 5, group == "wild") for i in range(count)]


def rendered(group: str, count: int, *, workers: int = 1, folder: Path | None = stock.CACHE) -> Iterator[Case]:
    """Render a set, a key of `FIRST`."""
    for picture in stock.pictures(wishes(group, count), folder=folder, workers=workers):
        yield case_of(picture, group)


def demo(truth: Path = TRUTH) -> Iterator[Case]:
    """Load the demo photos of fixtures/visit/truth.json."""
    for entry in json.loads(truth.read_text(encoding="utf-8"))["photos"]:
        shows: dict[str, Any] = entry.get("shows") or {}
        readable = bool(entry.get("readable", True))
        shown = Shown(canonical(str(shows.get("main", ""))), shows.get("unit"), readable, readable)
        yield Case(entry["file"], "demo", "demo", 0, (truth.parent / entry["file"]).read_bytes(), False, (shown,))


def labelled(folder: Path, labels: Path, *, crop: bool) -> list[Case]:
    """Load real pictures with a CSV file of labels: file,text[,unit].

    `text` is the main string as shown ("12.50", ">4000", "OL"), empty where nothing can be read; `unit` a UCUM code or
    the symbol. Without the column the unit is not graded.

    Raises:
        SystemExit: The labels lack a column, name a file that is not there or a unit that is not known.
    """
    cases = []
    with labels.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.DictReader(file)
        if not {"file", "text"} <= set(rows.fieldnames or ()):
            raise SystemExit(f"{labels}: the first line must name the columns file,text and perhaps unit.")
        for row in rows:
            path = folder / row["file"]
            if not path.is_file():
                raise SystemExit(f"{labels}, line {rows.line_num}: {path} is not there.")
            name = (row.get("unit") or "").strip()
            unit = name if name in UNITS else SYMBOLS.get(name, "")
            if name and not unit:
                raise SystemExit(f"{labels}, line {rows.line_num}: unit {name!r} is not known.")
            text = canonical(row["text"].strip())
            shown = Shown(text, unit, bool(text), bool(text) and bool(unit))
            cases.append(Case(row["file"], folder.name, "real", 0, path.read_bytes(), crop, (shown,) if text else ()))
    return cases


def opened(folder: Path, use: str) -> list[Case]:
    """Load real pictures from a folder with `manifest.jsonl`; every line names file, text, unit, legible and use.

    Args:
        folder: With the pictures and the manifest.
        use: Of which lines, say "fit" or "test".

    Raises:
        SystemExit: There is no manifest, or no line of that use.
    """
    manifest = folder / "manifest.jsonl"
    if not manifest.is_file():
        raise SystemExit(f"{manifest} is not there.")
    lines = [json.loads(line) for line in manifest.read_text(encoding="utf-8").splitlines()]
    cases = []
    for entry in (one for one in lines if one["use"] == use):
        texts = shown_in(entry)
        name = entry.get("unit") or ""
        unit = name if name in UNITS else SYMBOLS.get(name, "")
        legible = bool(entry["legible"] and texts[0])
        shown = tuple(
            Shown(canonical(text), unit if i == 0 else "", legible, legible and bool(unit))
            for i, text in enumerate(texts)
            if text
        )
        data = (folder / entry["file"]).read_bytes()
        cases.append(Case(entry["file"], f"open, {use}", "real", 0, data, False, shown if legible else ()))
    if not cases:
        raise SystemExit(f"{manifest}: no line has the use {use!r}.")
    return cases


def digits(folder: Path) -> list[Case]:
    """Load pictures of single digits in folders named 00 to 09; 11 holds blanks."""
    cases = []
    for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in PICTURES):
        if not path.parent.name.isdigit():
            raise SystemExit(f"{path}: the folder's name must be the digit, 00 to 09, or 11 for a blank.")
        text = "" if path.parent.name == "11" else str(int(path.parent.name))
        shown = (Shown(text, "", True, False),) if text else ()
        name = f"{path.parent.name}/{path.name}"
        cases.append(Case(name, "single digits", "real", 0, path.read_bytes(), True, shown))
    return cases


def tiled(cases: list[Case], length: int = 3) -> list[Case]:
    """Set single digits side by side into numbers, as many as the rarest digit has pictures."""
    by_text: dict[str, list[Case]] = {}
    for case in cases:
        if case.shown:
            by_text.setdefault(case.shown[0].main, []).append(case)
    rng = np.random.default_rng(1)
    result = []
    for i in range(min((len(v) for v in by_text.values()), default=0)):
        names = [sorted(by_text)[int(k)] for k in rng.integers(0, len(by_text), length)]
        parts = [open_picture(by_text[name][i].data).pixels for name in names]
        height = min(p.shape[0] for p in parts)
        row = np.hstack([p[:height] for p in parts])
        done, data = cv2.imencode(".png", row[:, :, ::-1])
        assert done
        shown = Shown("".join(names), "", True, False)
        result.append(Case(f"tiled-{i}", "tiled digits", "real", 0, bytes(data.tobytes()), True, (shown,)))
    return result
