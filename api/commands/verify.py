"""`ohmtrail verify`: check everything against the audit trail."""

from __future__ import annotations

from pathlib import Path

import typer

from api.commands.options import Data


def verify(data: Data = Path("data")) -> None:
    """Check database, trail, head, rows, evidence, reports and findings.

    Nothing in the folder is written, so it may lie on a medium that cannot be. Captures may come in meanwhile.

    Exit status: 0 intact; 1 changed; 2 misuse; 3 no folder or database there, or it cannot be read.
    """
    from rich.console import Console
    from rich.markup import escape

    from api.assessment.recheck import verify_all
    from api.ledger.verify import VerifyResult

    console = Console(highlight=False, soft_wrap=True)
    with console.status("Verifying…") as status:
        found = verify_all(data, lambda step: status.update(f"Verifying: {step}…"))
    for note in found.notes:
        console.print(f"note: {escape(note)}")
    for sentence in found.unread:
        console.print(f"[red]not read:[/red] {escape(sentence)}")
    missing = found.result is VerifyResult.MISSING
    for problem in found.problems:
        console.print(f"[red]{'missing' if missing else 'changed'}:[/red] {escape(problem)}")
    if not missing:
        console.print(f"{found.entries} entries, {found.files} files, head {found.head}")
    colour = "green" if found.intact and not found.lag else "yellow" if found.intact else "red"
    console.print(f"[{colour}]{escape(found.summary)}[/{colour}]")
    if not found.intact:
        raise typer.Exit(found.exit_status)
