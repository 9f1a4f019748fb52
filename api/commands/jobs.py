"""`ohmtrail jobs`: list the jobs, or make one from a description."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def jobs(
    new: Annotated[
        Path | None, typer.Option("--new", exists=True, dir_okay=False, help="JSON file that describes a new job.")
    ] = None,
    data: Data = Path("data"),
) -> None:
    """List the jobs, or make one from a JSON description."""
    import json

    from rich.console import Console
    from rich.table import Table

    from api.commands.errors import FileNotJson
    from api.visit.jobs import all_jobs, axes_of
    from api.visit.records import current_records
    from api.workspace import Workspace

    workspace = Workspace.attach(data)
    try:
        if new is not None:
            try:
                description = json.loads(new.read_text("utf-8"))
            except (ValueError, RecursionError):
                raise FileNotJson(path=new) from None
            typer.echo(f"Job {workspace.create_job(description)['id']} made.")
        table = Table("job", "title", "machine", "axes", "records", "made")
        with workspace.database.read() as session:
            for job in all_jobs(session):
                axes = " ".join(axis.name for axis in axes_of(session, job.id))
                count = len(current_records(session, job.id))
                table.add_row(job.id, job.title, job.machine, axes, str(count), job.created_at[:16].replace("T", " "))
        Console().print(table)
    finally:
        workspace.close()
