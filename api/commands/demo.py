"""`ohmtrail demo`: replays the invented visit of `fixtures/` through the real path and leaves data and a report.

The replay knows the order of events and nothing of what the clips say or the photos show. As at a real visit, a spoken
"confirm" is refused while anything about the value is in doubt; what stays open is listed in the report.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from api.errors import OhmtrailError
from api.ledger.canonical import PlainData
from api.ledger.clock import parse_instant
from api.ledger.store import write_synced
from api.settings import read_settings

if TYPE_CHECKING:
    from api.workspace import Workspace

FIXTURES = Path(__file__).parents[2] / "fixtures" / "visit"


def replay(
    workspace: Workspace, fixtures: Path, progress: Progress | None = None, console: Console | None = None
) -> tuple[str, Counter[str]]:
    """Make the job and take every event of the visit in.

    Args:
        workspace: Where it goes; a new job is made in it.
        fixtures: Folder with `job.json`, `visit.json`, `clips/` and `photos/`.
        progress: Progress display to advance, if any.
        console: Where each exchange is printed, if anywhere.

    Returns:
        The job's id, and how often each thing happened.
    """
    job = workspace.create_job(json.loads((fixtures / "job.json").read_text("utf-8")))
    events: list[PlainData] = json.loads((fixtures / "visit.json").read_text("utf-8"))
    counts: Counter[str] = Counter()
    task = None if progress is None else progress.add_task("Replaying the visit", total=len(events))
    with workspace.database.device_time(parse_instant(events[-1]["at"])):  # the story's own time, whatever today is
        for event in events:
            _do(workspace, str(job["id"]), event, fixtures, counts, console)
            if progress is not None and task is not None:
                progress.advance(task)
    return str(job["id"]), counts


def _do(
    workspace: Workspace, job_id: str, event: PlainData, fixtures: Path, counts: Counter[str], console: Console | None
) -> None:
    if event["event"] == "safety":
        workspace.answer_safety(job_id, event["axis"], event["answers"], captured_at=event["at"])
        counts["safety questions"] += len(event["answers"])
        return
    take = workspace.take_clip if event["event"] == "clip" else workspace.take_photo
    answer = take(job_id, (fixtures / event["file"]).read_bytes(), event["at"])
    _count(counts, event["event"], answer)
    if console is not None:
        console.print(f"[dim]{event['file']:>14}[/dim]  {answer['message']}", highlight=False, soft_wrap=True)


def _count(counts: Counter[str], event: str, answer: PlainData) -> None:
    counts[f"{event}s"] += 1
    counts["records"] += len(answer["records"])
    if answer["state"] == "failed":
        counts["could not be read"] += 1
    elif answer["problem"] is not None:
        counts["confirmations refused"] += 1


def _summary(console: Console, verdict: PlainData, counts: Counter[str], seconds: float) -> None:
    table = Table(title="Verdicts")
    for heading in ("axis", "verdict", "why, and what next"):
        table.add_column(heading)
    for axis in verdict["axes"]:
        steps = [step["action"] for step in axis["next_steps"][:1]]
        table.add_row(axis["axis"], axis["verdict"], " ".join([axis["headline"], *steps]))
    console.print(table)
    console.print(", ".join(f"{number} {name}" for name, number in counts.items()) + f" in {seconds:.0f} s")


def demo(
    data: Annotated[
        Path | None, typer.Option(help="Data folder; default: the OHMTRAIL_DATA setting, else ./data")
    ] = None,
    fixtures: Annotated[Path, typer.Option(help="Folder of the invented visit")] = FIXTURES,
    serve: Annotated[bool, typer.Option("--serve", help="Open the page on this machine afterwards")] = False,
    talk: Annotated[
        bool, typer.Option("--talk", help="Print what the tool would say after each clip and photo")
    ] = False,
) -> None:
    """Replay the invented visit: clips and photos in, graded report with its evidence out."""
    from api.intake.pooled import PooledEngines
    from api.workspace import Workspace

    console = Console()
    if not (fixtures / "visit.json").is_file():
        console.print(f"There is no visit in {fixtures}. Run this from a clone of the repository, or give --fixtures.")
        raise typer.Exit(2)
    folder = data or read_settings().data
    started = time.perf_counter()
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    # Models that were loaded here would stay in the memory of the server that follows; a process takes them with it.
    engines = PooledEngines(count=1) if serve else None
    try:
        workspace = Workspace.open(folder, engines=engines)
        with Progress(*columns, console=console) as progress:
            job_id, counts = replay(workspace, fixtures, progress, console if talk else None)
        verdict = workspace.grade(job_id)
        kept = workspace.make_report(job_id)
    except OhmtrailError as problem:
        console.print(f"[red]{problem}[/red]")
        raise typer.Exit(1) from None
    finally:
        if engines is not None:
            engines.close()
    report = folder / kept.name
    write_synced(report, workspace.reports.read(kept.sha256))  # private, and never half there for `verify`
    _summary(console, verdict, counts, time.perf_counter() - started)
    console.print(f"Data folder: {folder.resolve()}\nReport:      {report.resolve()}", soft_wrap=True)
    console.print(f"As PDF:      ohmtrail report {job_id} --as pdf --data {folder}", soft_wrap=True)
    console.print(f"Audit trail: {workspace.verify().summary}")
    workspace.close()
    if serve:
        from api.commands.serve import serve as open_page

        open_page(data=folder)
