"""`ohmtrail backup`: one archive of the data folder, taken while the server runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data, first_line


def backup(
    to: Annotated[Path, typer.Argument(help="File to write, or a folder, in which it is named by its time.")],
    with_key: Annotated[
        bool, typer.Option("--with-key", help="Enclose the key that signs, under a passphrase that is asked for.")
    ] = False,
    passphrase_file: Annotated[
        Path | None,
        typer.Option(help="Read the passphrase from the first line of a file.", exists=True, dir_okay=False),
    ] = None,
    data: Data = Path("data"),
) -> None:
    """Write a backup of the data folder to one ZIP file; the server may go on meanwhile.

    Without the key, a restored folder begins a new one, and says so. Keep its passphrase apart from the backup.

    Exit status: 0 written; 1 not written, or something in the folder was missing or changed; 2 misuse; 3 no folder or
    database there, or it cannot be read.
    """
    import sqlite3

    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    from api.ledger.backup import back_up
    from api.ledger.verify import ExitStatus

    console = Console(highlight=False, soft_wrap=True)
    if not (data / "ohmtrail.db").is_file():
        console.print(f"[red]missing:[/red] there is no database in {escape(str(data))}.")
        raise typer.Exit(ExitStatus.NOT_READ)
    passphrase = first_line(passphrase_file)
    if with_key and passphrase is None:
        passphrase = typer.prompt("Passphrase for the signing key", hide_input=True, confirmation_prompt=True)
    try:
        with Progress(console=console, transient=True) as shown:
            task = shown.add_task("Backing up")
            made = back_up(data, to, lambda done, of: shown.update(task, completed=done, total=of), passphrase)
    except (sqlite3.Error, OSError) as error:
        console.print(f"[red]not read:[/red] {escape(str(error))}. Run `ohmtrail verify` to see more.")
        raise typer.Exit(ExitStatus.NOT_READ) from None
    for fault in made.faults:
        console.print(f"[red]changed:[/red] {escape(fault)}")
    console.print(f"{escape(str(made.path))}: {made.entries} entries, {made.files} files, {made.size} bytes")
    if passphrase is not None:
        console.print(
            "It holds the signing key under your passphrase. Without the passphrase the key is lost with the folder."
        )
    if made.faults:
        console.print("The backup holds the folder as it was found. Run `ohmtrail verify` on it.")
        raise typer.Exit(ExitStatus.CHANGED)
