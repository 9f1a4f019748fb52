"""Random rows of the right columns and any content, as CSV and JSON: each ends with verdicts or is named.

    python -m tests.grading.random_sheets --rows 100000 --seed 1

reads and grades sheets of random rows until so many have been through, shows its progress, and ends with a table. A
trace ends it with the sheet printed, and exit code 1.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import random
import sys
import time
from collections import Counter

from rich.console import Console
from rich.progress import Progress

from grading.sheet import Sheet, SheetError, read_sheet
from grading.sheet_columns import COLUMNS
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import UNITS
from grading.verdict import grade_job

AXES = ["X", "Y", "Z", "x", "SPINDLE", "1", "<b>", "é"]
WILD = ["NaN", "Infinity", "-Infinity", "-10", "0", "-0", "1e999999", "1E-999999", "9" * 30, "soon", "1,5", "½", "0x10"]
USUAL = ["1", "25", "50", "60", "90", "100", "250", "400", "500", "600", "1000", "0.5", "3", "30", "45", "85"]
WORDS: dict[str, list[str]] = {
    "axis": AXES,
    "quantity": ["insulation", "insulation", "insulation", "winding", "winding", "ground", "continuity", "temperature",
                 "humidity", "voltage", "current", "capacitance", "time", "megging"],
    "value": ["0.80", "550", ">4000", "<0.01", "OL", "short", "collapsed", "none", "0", "0.00", "1.20", "1.21", "2.40",
              "-5", "999999999999", "1e3", "five", ">", "∞", "12", "25", "325"],
    "unit": ["MOhm", "MOhm", "MOhm", "Ohm", "GOhm", "kOhm", "MΩ", *UNITS, "MOHM", "bananas"],
    "section": ["cabinet", "motor", "cable", "whole", "lid"],
    "terminals": ["U-PE", "V-PE", "U+V+W-PE", "U-V", "V-W", "W-U", "A1-A2", "A1+A2-PE", "B+-B-", "lead-lead",
                  "lead-ground", "-", "U-SHAFT", "PE-PE", "F1-F2", "U1-U2", "+"],
    "at": ["2026-11-25", "2026-11-25T14:05:00-05:00", "2025-11-25T10:00:00+00:00", "0001-01-01T00:00:00+14:00",
           "9999-12-31T23:59:59-14:00", "yesterday", "2026-02-30"],
    "visit": ["2026-11-25", "2025-11-25", "2024-11-25", "0001-01-01", "never"],
    "noted": [c.value for c in Circumstance] + ["flexed unsteady", "wobbly"],
    "checked": ["value", "motor", "rated_power winding_temperature", "everything"],
    "record": ["r1", "r2", "r3"],
    "motor": ["dc_servo", "ac_servo", "spindle", "stepper"],
    "insulation_system": ["thermosetting", "thermoplastic", "unknown", "paper"],
    "instrument": ["IT-03", "M2", "gone"],
    "calibration_due": ["2027-03-31", "2020-01-01", "soon"],
    "position": ["1", "2", "3", "full left"],
    "done_before": ["cleaned", "new cable"],
}  # fmt: skip
"""Columns of words; every other column holds numbers."""
OFTEN = {"axis": 0.98, "quantity": 0.98, "value": 0.98, "unit": 0.9, "section": 0.9, "terminals": 0.8,
         "test_voltage": 0.7, "seconds": 0.7, "record": 0.02, "visit": 0.97, "checked": 0.05}  # fmt: skip
SELDOM = 0.04


def random_row(draw: random.Random, wildness: float, columns: list[str]) -> dict[str, str]:
    """Draw one row.

    Args:
        draw: Source of chance.
        wildness: How often a cell holds what cannot be, 0 to 1.
        columns: Columns that it may have.
    """
    row: dict[str, str] = {}
    for column in columns:
        if draw.random() < OFTEN.get(column, SELDOM):
            words = WORDS.get(column)
            if words is None:
                row[column] = draw.choice(WILD if draw.random() < wildness else USUAL)
            else:
                row[column] = draw.choice(words if draw.random() < wildness else words[: max(1, len(words) // 2)])
    return row


def random_rows(draw: random.Random, count: int) -> list[dict[str, str]]:
    """Draw the rows of one sheet: tame or wild, with or without visits."""
    wildness = draw.choice([0.0, 0.02, 0.2, 1.0])
    columns = [name for name in COLUMNS if name != "visit" or draw.random() < 1 / 2]
    return [random_row(draw, wildness, columns) for _ in range(count)]


def as_csv(rows: list[dict[str, str]]) -> str:
    """Write rows as CSV."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(COLUMNS), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def graded(text: str, *, as_json: bool, rows: int) -> tuple[Sheet, Counter[str]]:
    """Read and grade a sheet as the command does, and write its report as data.

    Raises:
        AssertionError: A row is neither graded nor named, or an axis with a row left out is acceptable.
    """
    sheet = read_sheet(text, as_json=as_json)
    job = grade_job(
        sheet.measurements, sheet.contexts, sheet.instruments, history=sheet.history, left_out=sheet.problems
    )
    json.dumps(job.to_dict())
    lost = sum(problem.whole for problem in sheet.problems)
    assert sheet.rows + lost == rows, (sheet.rows, lost, rows)
    unsettled = {problem.axis for problem in sheet.problems}
    for axis in job.axes:
        if axis.axis in unsettled or None in unsettled:
            assert axis.verdict.value in ("inconclusive", "unacceptable"), axis.axis
    return sheet, Counter(axis.verdict.value for axis in job.axes)


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(prog="tests.grading.random_sheets", description="Grade random rows.")
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    draw, verdicts, done, named, sheets = random.Random(given.seed), Counter[str](), 0, 0, 0
    began = time.monotonic()
    with Progress(console=Console(stderr=True), disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("Rows", total=given.rows)
        while done < given.rows:
            rows = [row for row in random_rows(draw, draw.choice([1, 5, 20, 60])) if row]
            as_json = draw.random() < 1 / 2
            text = json.dumps(rows) if as_json else as_csv(rows)
            try:
                sheet, found = graded(text, as_json=as_json, rows=len(rows))
            except SheetError:
                continue
            except Exception:
                Console(stderr=True).print(text, markup=False)
                raise
            verdicts += found
            named += len(sheet.problems)
            done, sheets = done + len(rows), sheets + 1
            bar.update(task, completed=done)
    seconds = time.monotonic() - began
    out = Console()
    out.print(f"{done} rows in {sheets} sheets, seed {given.seed}, {seconds:.0f} s: none ended with a trace.")
    out.print(f"{named} rows or values were left out and named.")
    for verdict, count in verdicts.most_common():
        out.print(f"{verdict:<14} {count} axes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
