"""`ohmtrail jobs`: list and find jobs, make one, correct one, close or reopen it, give it its plates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data

if TYPE_CHECKING:
    from api.ledger.canonical import PlainData
    from api.workspace import Workspace


def jobs(
    find: Annotated[
        str,
        typer.Argument(help="Only jobs that hold all of these words: machine, customer, date, axis, serial."),
    ] = "",
    new: Annotated[
        Path | None,
        typer.Option(
            "--new", exists=True, dir_okay=False, help="JSON file that describes a new job, or several in a list."
        ),
    ] = None,
    edit: Annotated[str | None, typer.Option("--edit", metavar="JOB", help="Correct this job by --set.")] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="What is from now on, with --edit: machine=Lathe, X.motor_kind=ac_servo, IT-03.serial=4711; "
            "X.name=Z renames an axis, B.motor_kind=spindle adds one. Nothing behind the = for not known.",
        ),
    ] = None,
    close: Annotated[str | None, typer.Option("--close", metavar="JOB", help="Until it is reopened.")] = None,
    reopen: Annotated[str | None, typer.Option("--reopen", metavar="JOB", help="It takes readings again.")] = None,
    archive: Annotated[str | None, typer.Option("--archive", metavar="JOB", help="Out of the list.")] = None,
    restore: Annotated[str | None, typer.Option("--restore", metavar="JOB", help="Back into the list, closed.")] = None,
    withdraw_axis: Annotated[
        str | None,
        typer.Option("--withdraw-axis", metavar="JOB", help="The axis of --of, added by mistake and never measured."),
    ] = None,
    reinstate_axis: Annotated[
        str | None, typer.Option("--reinstate-axis", metavar="JOB", help="The withdrawn axis of --of.")
    ] = None,
    plate: Annotated[
        str | None,
        typer.Option("--plate", metavar="JOB", help="Keep --file as the machine's nameplate, or of what --of names."),
    ] = None,
    logo: Annotated[str | None, typer.Option("--logo", metavar="JOB", help="Keep --file as its report's logo.")] = None,
    file: Annotated[Path | None, typer.Option("--file", exists=True, dir_okay=False, help="The picture.")] = None,
    of: Annotated[str, typer.Option("--of", help="An axis or instrument of the job.")] = "",
    reason: Annotated[str, typer.Option("--reason", help="Why, for the trail.")] = "",
    show_all: Annotated[bool, typer.Option("--all", help="Archived jobs too.")] = False,
    data: Data = Path("data"),
) -> None:
    """List the jobs, open ones first; or make, correct, close, reopen or archive one, or keep a plate of it."""
    from api.workspace import Workspace

    workspace = Workspace.attach(data)
    try:
        if new is not None:
            for description in _described(new):
                typer.echo(f"Job {workspace.create_job(description)['id']} made.")
        if edit is not None:
            _edit(workspace, edit, settings or [], reason)
        for move, job in (("close", close), ("reopen", reopen), ("archive", archive), ("restore", restore)):
            if job is not None:
                typer.echo(f"Job {job} is {workspace.desk.move(job, move, reason)['state']} now.")
        if withdraw_axis is not None:
            workspace.desk.withdraw_axis(withdraw_axis, of, reason)
            typer.echo(f"Axis {of.upper()} of job {withdraw_axis} is withdrawn.")
        if reinstate_axis is not None:
            workspace.desk.reinstate_axis(reinstate_axis, of, reason)
            typer.echo(f"Axis {of.upper()} of job {reinstate_axis} counts again.")
        for use, job in (("plate", plate), ("logo", logo)):
            if job is not None:
                _picture(workspace, job, use, of, file)
        _list(workspace, find, archived=show_all)
    finally:
        workspace.close()


def _described(path: Path) -> list[PlainData]:
    """Read the description of a job, or of several in a list.

    Raises:
        FileNotJson: It is no JSON.
    """
    import json

    from api.commands.errors import FileNotJson

    try:
        given = json.loads(path.read_text("utf-8"))
    except (ValueError, RecursionError):
        raise FileNotJson(path=path) from None
    return given if isinstance(given, list) and given else [given]


def _edit(workspace: Workspace, job: str, settings: list[str], reason: str) -> None:
    """Read the job's description, put in what is set, and write what differs."""
    from api.visit.changes import changes_of
    from api.visit.editing import JobEdit, editable

    with workspace.database.read() as session:
        given = editable(session, job)
    described, axes, instruments = given["description"], list(given["axis_ids"]), list(given["instrument_ids"])
    axes += [None for setting in settings if _put(described, setting)]
    workspace.desk.edit(job, JobEdit(described, axes, instruments, given["revision"], reason))
    with workspace.database.read() as session:
        count = len(changes_of(session, job)) - int(given["revision"])
    typer.echo(f"Job {job}: {count} {'change' if count == 1 else 'changes'} on the trail.")


def _put(described: PlainData, setting: str) -> bool:
    """Put one setting into a description; tells whether it added an axis.

    Raises:
        BadSetting: It has no "=".
    """
    from api.commands.errors import BadSetting

    place, found, value = setting.partition("=")
    if not found or not place:
        raise BadSetting(setting=setting)
    part, dot, name = place.rpartition(".")
    if not dot:
        _set(described, name, value)
        return False
    parts = [(one, "name") for one in described["axes"]] + [(one, "id") for one in described["instruments"]]
    for one, key in parts:
        if str(one[key]).upper() == part.upper():
            _set(one, name, value)
            return False
    described["axes"].append({"name": part, name: value})
    return True


def _set(part: PlainData, name: str, value: str) -> None:
    if value:
        part[name] = value
    else:
        part.pop(name, None)


def _picture(workspace: Workspace, job: str, use: str, of: str, file: Path | None) -> None:
    from api.commands.errors import PictureFileMissing
    from api.visit.jobs import axes_of
    from api.visit.pictures import INSTRUMENT_PLATE, LOGO, MACHINE_PLATE, MOTOR_PLATE

    if file is None:
        raise PictureFileMissing(option="--file")
    with workspace.database.read() as session:
        is_axis = of.upper() in {axis.name for axis in axes_of(session, job)}
    use = LOGO if use == "logo" else MOTOR_PLATE if is_axis else INSTRUMENT_PLATE if of else MACHINE_PLATE
    kept = workspace.desk.picture(job, use, "" if use == LOGO else of, file.read_bytes())
    typer.echo(f"Job {job}: kept as evidence, SHA-256 {kept['sha256']}.")


def _list(workspace: Workspace, find: str, *, archived: bool) -> None:
    from rich.console import Console
    from rich.table import Table

    from api.assessment.job_list import list_jobs
    from api.visit.records import current_records

    table = Table("job", "state", "title", "machine", "axes", "records", "points left", "made")
    with workspace.database.read() as session:
        for job in list_jobs(session, find, archived=archived, profile=workspace.profile):
            axes = " ".join(axis["name"] for axis in job["axes"])
            count, left = len(current_records(session, job["id"])), sum(job.get("left", {}).values())
            row = (job["id"], job["state"], job["title"], job["machine"], axes, str(count), str(left or ""))
            table.add_row(*row, job["created_at"][:16].replace("T", " "))
    Console().print(table)
