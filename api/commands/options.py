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
