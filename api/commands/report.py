"""`ohmtrail report`: write a job's report to a file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data, Profile


def report(
    job: Annotated[str, typer.Argument(help='Number of the job, e.g. "J1".')],
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write; report-J1.html if not given.")] = None,
    data: Data = Path("data"),
    profile: Profile = None,
) -> None:
    """Write a job's report as one HTML file, and keep it in the data folder."""
    from api.assessment.shop_limits import read_shop
    from api.workspace import Workspace

    shop = None if profile is None else read_shop(profile)
    workspace = Workspace.attach(data, shop=shop)
    try:
        row = workspace.make_report(job)
        path = out or Path(row.name)
        path.write_bytes(workspace.reports.read(row.sha256))
    finally:
        workspace.close()
    typer.echo(f"{path}: {row.size} bytes, SHA-256 {row.sha256}")
