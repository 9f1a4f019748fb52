"""`ohmtrail restore`: a data folder from a backup, verified."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import first_line


def restore(
    file: Annotated[Path, typer.Argument(help="The backup.", exists=True, dir_okay=False)],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Data folder to make: new or empty.", file_okay=False)],
    without_key: Annotated[
        bool, typer.Option("--without-key", help="Leave a signing key that the backup holds; a new one begins.")
    ] = False,
    passphrase_file: Annotated[
        Path | None,
        typer.Option(help="Read the passphrase from the first line of a file.", exists=True, dir_okay=False),
    ] = None,
) -> None:
    """Make a data folder from a backup, and verify it; for a signing key in it the passphrase is asked.

    Exit status: 0 restored and intact; 1 not restored, or restored as changed as it was; 2 misuse; 3 it cannot be read.
    """
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    from api.assessment.recheck import verify_all
    from api.ledger.restore import holds_key
    from api.ledger.restore import restore as unpack

    console = Console(highlight=False, soft_wrap=True)
    passphrase = None
    if not without_key and holds_key(file):
        passphrase = first_line(passphrase_file) or typer.prompt("Passphrase of the signing key", hide_input=True)
    with Progress(console=console, transient=True) as shown:
        task = shown.add_task("Restoring")
        unpack(file, folder, lambda done, of: shown.update(task, completed=done, total=of), passphrase)
    with console.status("Verifying…"):
        found = verify_all(folder)
    for sentence in (*found.notes, *found.unread, *found.problems):
        console.print(escape(sentence))
    if passphrase is None:
        console.print("The signing key was not restored: the next start makes a new one, and `verify` names it.")
    console.print(f"{escape(str(folder))}: {escape(found.summary)}")
    if not found.intact:
        raise typer.Exit(found.exit_status)
