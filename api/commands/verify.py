"""`ohmtrail verify`: check everything against the audit trail."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def verify(
    paper: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WORDS]...", help="The six words of a printed report, or the hash that it prints."),
    ] = None,
    data: Data = Path("data"),
    head: Annotated[
        list[Path] | None, typer.Option(help="A signed head from outside: of an export, a QR code, a witness.")
    ] = None,
    printed: Annotated[list[str] | None, typer.Option("--hash", help="A hash that a report prints.")] = None,
    words: Annotated[list[str] | None, typer.Option(help="The six words that a report prints, in quotes.")] = None,
    trust: Annotated[Path | None, typer.Option(help="Certificates that time-stamps may lead to, PEM.")] = None,
) -> None:
    """Check database, trail, head, signatures, rows, evidence, reports and findings, and say what that proves.

    Nothing in the folder is written, so it may lie on a medium that cannot be. Captures may come in meanwhile.

    Exit status: 0 intact; 1 changed; 2 misuse; 3 no folder or database there, or it cannot be read.
    """
    from rich.console import Console
    from rich.markup import escape

    from api.assessment.recheck import verify_all
    from api.ledger.timestamps import read_certificates
    from api.ledger.verification.witnesses import Outside
    from api.ledger.verify import VerifyResult
    from api.proof.witness import read_head_file
    from api.proof.words import printed_outside, words_of

    typed = printed_outside([*(words or []), *([" ".join(paper)] if paper else [])])
    outside = Outside(
        tuple((path.name, read_head_file(path)) for path in head or []),
        (*(printed or []), *typed.hashes),
        () if trust is None else read_certificates(trust),
        typed.words,
    )
    console = Console(highlight=False, soft_wrap=True)
    with console.status("Verifying…") as status:
        found = verify_all(data, lambda step: status.update(f"Verifying: {step}…"), outside)
    for note in found.notes:
        console.print(f"note: {escape(note)}")
    for sentence in found.unread:
        console.print(f"[red]not read:[/red] {escape(sentence)}")
    missing = found.result is VerifyResult.MISSING
    for problem in found.problems:
        console.print(f"[red]{'missing' if missing else 'changed'}:[/red] {escape(problem)}")
    if not missing:
        console.print(f"{found.entries} entries, {found.files} files, head {found.head}")
    for sentence in found.proved:
        console.print(f"proved: {escape(sentence)}")
    for sentence in found.beyond_proof:
        console.print(f"not proved: {escape(sentence)}")
    if found.root:
        console.print(f"Head in words: entry {found.signed}, {words_of(found.root)}")
    colour = "green" if found.intact and not found.lag else "yellow" if found.intact else "red"
    console.print(f"[{colour}]{escape(found.summary)}[/{colour}]")
    if not found.intact:
        raise typer.Exit(found.exit_status)
