"""`ohmtrail export`: one visit with all that proves it, to be checked by anybody."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def export(
    job: Annotated[
        str, typer.Argument(help='Number of the job, e.g. "J1"; with --imported, the SHA-256 of an import.')
    ],
    to: Annotated[Path, typer.Argument(help='Folder to make, or a file that ends in ".zip".')],
    reduced: Annotated[
        bool,
        typer.Option("--reduced", help="Clips trimmed to their words and pictures without position, not originals."),
    ] = False,
    imported: Annotated[bool, typer.Option("--imported", help="Give an imported export back, byte for byte.")] = False,
    data: Data = Path("data"),
) -> None:
    """Write a visit as a BagIt bag: evidence, records, trail, proofs, provenance, reports, and what checks them.

    It works beside a running server. Whoever gets it needs no Ohmtrail: README.txt in it says how to check it.
    """
    from rich.console import Console
    from rich.markup import escape

    from api.exchange.export import export_job
    from api.exchange.imported import write_imported
    from api.ledger.signing import fingerprint
    from api.proof.words import words_of
    from api.workspace import Workspace

    console = Console(highlight=False, soft_wrap=True)
    workspace = Workspace.attach(data)
    try:
        if imported:
            write_imported(workspace.database, workspace.evidence, job, to)
            console.print(f"{escape(str(to))}: as it was imported.")
            return
        with console.status("Exporting…") as status:
            made = export_job(
                workspace.database, workspace.evidence, workspace.reports, job, to, reduced=reduced,
                told=lambda step: status.update(f"Exporting: {step}…"),
            )  # fmt: skip
    finally:
        workspace.close()
    for sentence in made.left_out:
        console.print(f"[yellow]not enclosed:[/yellow] {escape(sentence)}")
    console.print(f"{escape(str(to))}: {made.records} records, {made.files} files, {made.size} bytes")
    console.print(f"Head: entry {made.head.size}, {words_of(made.head.root)}, key {fingerprint(made.head.key)}")
    console.print("To check it: python3 check.py in it; README.txt says how to do without.")
