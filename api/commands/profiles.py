"""`ohmtrail profiles`: what instruments can show; check a file, or give a job's instrument its profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data

if TYPE_CHECKING:
    from rich.table import Table

    from capture.display.profile import Profile


def profiles(
    profile: Annotated[
        str | None, typer.Argument(help="A generic profile's name, or a TOML or JSON file.", metavar="[NAME|FILE]")
    ] = None,
    job: Annotated[str | None, typer.Option("--job", help="Give it to an instrument of this job.")] = None,
    instrument: Annotated[str | None, typer.Option("--instrument", help="The instrument's own number.")] = None,
    data: Data = Path("data"),
) -> None:
    """List what instruments of common classes can show, check a profile of your own, or give it to an instrument.

    With a profile, a photo's reading that the instrument cannot show is refused with the reason, and one that it
    seldom shows is asked about.
    """
    from rich.console import Console

    from capture.display.profile_files import find_profile, shipped

    if (job is None) != (instrument is None) or (job is not None and profile is None):
        raise typer.BadParameter("Give --job, --instrument and a profile together.")
    found = list(shipped().values()) if profile is None else [find_profile(profile)]
    if job is None or instrument is None:
        for one in found:
            Console().print(_table(one))
        return
    from api.workspace import Workspace

    workspace = Workspace.attach(data)
    try:
        workspace.set_profile(job, instrument, found[0].to_json())
    finally:
        workspace.close()
    typer.echo(f"{instrument} of job {job} now has the profile {found[0].name}.")


def _table(profile: Profile) -> Table:
    from rich.table import Table

    from grading.terms.quantity import UNITS

    table = Table("unit", "from", "to", "at", title=f"{profile.name}: {profile.title}", caption=profile.source)
    for one in profile.ranges:
        volts = ", ".join(f"{v} V" for v in one.test_voltage)
        table.add_row(UNITS[one.unit].symbol, one.bottom, one.top, volts)
    for over in profile.overs:
        unit = "" if over.unit is None else UNITS[over.unit].symbol
        table.add_row(unit, "beyond", over.shown, ", ".join(f"{v} V" for v in over.test_voltage))
    return table
