"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Data = Annotated[
    Path,
    typer.Option(
        "--data", envvar="OHMTRAIL_DATA", help="Data folder with database, evidence and reports.", file_okay=False
    ),
]
"""The data folder."""

Profile = Annotated[
    Path | None,
    typer.Option(
        "--profile", envvar="OHMTRAIL_PROFILE", help="TOML file with the shop's own limits; the published ones if none."
    ),
]
"""The shop profile."""

SecondOpinion = Annotated[
    bool,
    typer.Option(
        "--second-opinion/--no-second-opinion",
        help="Ask a second engine about what was heard, if it is installed; slower and surer.",
    ),
]
"""Whether a second engine is asked."""


def first_line(file: Path | None) -> str | None:
    """Read the first line of a file, as a passphrase is kept in one; None for no file."""
    return None if file is None else file.read_text("utf-8").partition("\n")[0]
