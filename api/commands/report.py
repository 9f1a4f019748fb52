"""`ohmtrail report`: write a job's report to a file, as HTML, PDF, short text or CSV."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from api.commands.options import Data, Profile
from api.report.issued import Form, Paper, Wanted

if TYPE_CHECKING:
    from api.workspace import Workspace


class _Shown:
    """Shows how far the making of a report is, on standard error."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._tasks: dict[str, TaskID] = {}

    def __call__(self, what: str, done: int, whole: int) -> None:
        if what not in self._tasks:
            self._tasks[what] = self._progress.add_task(what, total=whole or None)
        self._progress.update(self._tasks[what], completed=done + 1 if whole else done)


def report(
    job: Annotated[str, typer.Argument(help='Number of the job, e.g. "J1".')],
    form: Annotated[
        Form, typer.Option("--as", help="html (with sound), pdf (PDF/A-3), short (text for a phone), csv (the table).")
    ] = Form.HTML,
    paper: Annotated[Paper, typer.Option(help="Size of the paper, for html and pdf.")] = Paper.A4,
    logo: Annotated[
        Path | None,
        typer.Option(envvar="OHMTRAIL_LOGO", help="PNG or JPEG for the head of page one.", exists=True, dir_okay=False),
    ] = None,
    files: Annotated[
        bool, typer.Option("--files", help="Write every photo and clip whole into a folder beside.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="File to write; otherwise report-J1.html, .pdf ... in the data folder."),
    ] = None,
    data: Data = Path("data"),
    profile: Profile = None,
) -> None:
    """Write a job's report in one of its forms, and keep it in the data folder."""
    from api.assessment.shop_limits import read_shop
    from api.ledger.store import write_synced
    from api.workspace import Workspace

    shop = None if profile is None else read_shop(profile)
    workspace = Workspace.attach(data, shop=shop)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed}"), TimeElapsedColumn())
    try:
        with Progress(*columns, console=Console(stderr=True), disable=not sys.stderr.isatty(), transient=True) as shown:
            picture = None if logo is None else logo.read_bytes()
            row = workspace.make_report(job, Wanted(form, paper, picture, _Shown(shown)))
        path, content = out or data / row.name, workspace.reports.read(row.sha256)
        if out is None:
            write_synced(path, content)  # private, and never half there for `verify`
        else:
            path.write_bytes(content)
        if files:
            _write_files(workspace, job, path.with_name(f"{path.stem}-files"))
    finally:
        workspace.close()
    typer.echo(f"{path.resolve()}: {row.size} bytes, SHA-256 {row.sha256}")


def _write_files(workspace: Workspace, job: str, folder: Path) -> None:
    """Write the whole of each photo and clip under the name that the report gives it."""
    from api.report.exhibits import files_of

    folder.mkdir(exist_ok=True)
    with workspace.database.read() as session:
        names = files_of(session, job)
    missing = 0
    for name, sha256 in names.items():
        if workspace.evidence.path(sha256).is_file():
            (folder / name).write_bytes(workspace.evidence.read(sha256))
        else:
            missing += 1
    lost = f"; {missing} are missing from the data folder: run “ohmtrail verify”" if missing else ""
    typer.echo(f"{folder}: {len(names) - missing} files{lost}")
