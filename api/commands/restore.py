"""`ohmtrail restore`: a data folder from a backup, verified."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def restore(
    file: Annotated[Path, typer.Argument(help="The backup.", exists=True, dir_okay=False)],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Data folder to make: new or empty.", file_okay=False)],
) -> None:
    """Make a data folder from a backup, and verify it.

    Exit status: 0 restored and intact; 1 not restored, or restored as changed as it was; 2 misuse; 3 it cannot be read.
    """
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    from api.assessment.recheck import verify_all
    from api.ledger.restore import restore as unpack

    console = Console(highlight=False, soft_wrap=True)
    with Progress(console=console, transient=True) as shown:
        task = shown.add_task("Restoring")
        unpack(file, folder, lambda done, of: shown.update(task, completed=done, total=of))
    with console.status("Verifying…"):
        found = verify_all(folder)
    for sentence in (*found.notes, *found.unread, *found.problems):
        console.print(escape(sentence))
    console.print(f"{escape(str(folder))}: {escape(found.summary)}")
    if not found.intact:
        raise typer.Exit(found.exit_status)
