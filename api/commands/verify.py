"""`ohmtrail verify`: check everything against the audit trail."""

from __future__ import annotations

from pathlib import Path

import typer

from api.commands.options import Data


def verify(data: Data = Path("data")) -> None:
    """Check database, trail, head, rows, evidence and reports; exit status 1 where anything was changed."""
    from rich.console import Console
    from rich.markup import escape

    from api.ledger.verify import verify_folder

    console = Console(highlight=False, soft_wrap=True)
    with console.status("Verifying…") as status:
        found = verify_folder(data, lambda step: status.update(f"Verifying: {step}…"))
    for note in found.notes:
        console.print(f"note: {escape(note)}")
    for problem in found.problems:
        console.print(f"[red]changed:[/red] {escape(problem)}")
    console.print(f"{found.entries} entries, {found.files} files, head {found.head}")
    if not found.intact:
        console.print(f"[red]{len(found.problems)} problems found.[/red]")
        raise typer.Exit(1)
    console.print("[green]intact[/green]: every row, file and report is as it was noted.")
