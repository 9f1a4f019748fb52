"""`ohmtrail grade`: grade readings typed by hand into a CSV or JSON file, without a server or a job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress, TextColumn
from rich.table import Table
from rich.text import Text

from api.assessment.shop_limits import read_shop
from api.commands.errors import SheetNoText, SheetTooLarge
from api.errors import BadInput
from grading.finding import Urgency, Verdict, plain
from grading.outcome import AxisVerdict, JobVerdict
from grading.prose.axis import cost_text, drive_text, headline_text
from grading.prose.findings import finding_text
from grading.prose.notices import notice_text
from grading.prose.steps import action_text, reason_sentence
from grading.sheet import Sheet, SheetError, read_sheet
from grading.sheet_columns import COLUMNS
from grading.sources import sources_of
from grading.verdict import grade_job

MAX_BYTES = 64 * 1024 * 1024
"""Largest file read, bytes."""

_COLOURS = {
    Verdict.ACCEPTABLE: "green",
    Verdict.MARGINAL: "yellow",
    Verdict.INCONCLUSIVE: "magenta",
    Verdict.UNACCEPTABLE: "red",
}

HELP = (
    "Grade readings typed by hand: a verdict for each axis, with limits and sources.\n\n"
    "The file is CSV with a header line (comma, semicolon or tab), or JSON: a list of objects, or an object with that "
    'list under "readings". One row is one reading. Columns:\n\n\b\n'
    + "\n".join(f"{name:<20} {text}" for name, text in COLUMNS.items())
    + "\n\nWhat is said of an axis or an instrument in one row holds for its other rows. Bad rows are named and left "
    "out; their axis is inconclusive until they are corrected or deleted.\n"
    "Ends with exit code 1 when a row was left out, 2 when the file could not be read."
)


def grade(
    file: Annotated[Path, typer.Argument(help="CSV or JSON file of readings (.json is read as JSON).")],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object instead of tables.")] = False,
    profile: Annotated[Path | None, typer.Option(help="TOML file with the shop's own limits.")] = None,
) -> None:
    """Grade readings typed by hand; the help shown is `HELP`."""
    notes = Console(stderr=True, highlight=False)
    try:
        limits = None if profile is None else read_shop(profile).profile
        with Progress(TextColumn("{task.description}"), console=notes, transient=True) as bar:
            bar.add_task(f"Reading and grading {file.name}", total=None)
            sheet = read_sheet(read_text(file), as_json=file.suffix.lower() == ".json")
            job = grade_job(
                sheet.measurements,
                sheet.contexts,
                sheet.instruments,
                profile=limits,
                history=sheet.history,
                left_out=sheet.problems,
            )
    except (BadInput, OSError, SheetError, ValueError) as error:
        notes.print(str(error), style="red", markup=False)
        raise typer.Exit(2) from None
    if as_json:
        data = job.to_dict() | {"left_out": [plain(p) for p in sheet.problems], "ignored_columns": list(sheet.ignored)}
        typer.echo(json.dumps(data, ensure_ascii=False, indent=2))
    else:
        show(job, sheet, Console(highlight=False))
    for problem in sheet.problems:
        left = "left out" if problem.whole else "a value left out"
        notes.print(f"{file.name}, line {problem.line}: {left}. {problem.reason}", style="red", markup=False)
    if sheet.ignored:
        notes.print(f"Columns not known and not used: {', '.join(sheet.ignored)}.", style="yellow", markup=False)
    if sheet.problems:
        raise typer.Exit(1)


grade.__doc__ = HELP  # the command's help is made of the table of columns


def read_text(path: Path) -> str:
    """Read a text file in UTF-8.

    Raises:
        OSError: It cannot be read.
        SheetTooLarge: It is over the limit.
        SheetNoText: It is no UTF-8 text.
    """
    size = path.stat().st_size
    if size > MAX_BYTES:
        raise SheetTooLarge(path=path, most=MAX_BYTES // 1024 // 1024)
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise SheetNoText(path=path) from None


def show(job: JobVerdict, sheet: Sheet, console: Console) -> None:
    """Print the verdicts as tables, the words for each axis under its own."""
    console.print(overview(job))
    for axis in job.axes:
        console.print(Text(headline_text(axis.summary), style="bold"))
        console.print(Text(drive_text(axis.drive)))
        cost = cost_text(axis.summary)
        if cost:
            console.print(Text(cost))
        console.print(details(axis))
        for number, step in enumerate(axis.next_steps, 1):
            console.print(Text(f"  {number}. {action_text(step.action)} {reason_sentence(step.reason)}"))
        console.print()
    for notice in job.notices:
        console.print(Text(notice_text(notice), style="dim"))
    console.print(sources(job))
    lost = sum(problem.whole for problem in sheet.problems)
    console.print(f"{sheet.rows} readings graded, {lost} rows left out.")


def overview(job: JobVerdict) -> Table:
    """Give one line per axis."""
    table = Table("Axis", "Verdict", "Fault", "Drive", "First step")
    for axis in job.axes:
        step = action_text(axis.next_steps[0].action) if axis.next_steps else ""
        table.add_row(
            Text(axis.axis),
            Text(axis.verdict.value, style=_COLOURS[axis.verdict]),
            Text(axis.fault.value),
            Text(axis.drive.verdict.value, style=_COLOURS[axis.drive.verdict]),
            Text(step),
        )
    return table


def sources(job: JobVerdict) -> Table:
    """List the sources of the limits, with the remark that the word beside a limit stands for."""
    table = Table("Source", "Word", "How its figures were seen")
    for source in sources_of(job):
        table.add_row(Text(source.document), Text(source.origin.value), Text(source.remark))
    return table


def details(axis: AxisVerdict) -> Table:
    """List every finding that judges, most serious first."""
    table = Table("Verdict", "Rule", "Finding", "Records")
    for finding in axis.findings:
        if finding.urgency is not Urgency.INFORMATION:
            verdict = Text(finding.verdict.value, style=_COLOURS[finding.verdict])
            table.add_row(verdict, Text(finding.rule), Text(finding_text(finding)), Text(", ".join(finding.record_ids)))
    return table
