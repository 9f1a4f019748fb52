"""The command line: `ohmtrail COMMAND`. Each command lives in `api.commands`, in a module of its own name."""

from __future__ import annotations

import sys

import typer

# What is heavy (web server, database, models) is imported inside the commands, so that `--help` answers at once.
from api.commands import (
    backup,
    day,
    demo,
    devices,
    export,
    grade,
    hear,
    imports,
    jobs,
    keys,
    listen,
    plan,
    profiles,
    report,
    restore,
    see,
    serve,
    verify,
    witness,
)
from api.errors import OhmtrailError
from capture.errors import CaptureError

app = typer.Typer(
    help="Hears and reads measurements, asks for confirmation, grades them, and keeps an audit trail.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for command in (
    demo.demo,
    day.day,
    serve.serve,
    hear.hear,
    listen.listen,
    see.see,
    profiles.profiles,
    grade.grade,
    verify.verify,
    backup.backup,
    restore.restore,
    report.report,
    jobs.jobs,
    plan.plan,
    export.export,
    keys.keys,
    witness.witness,
    devices.devices,
):
    app.command()(command)
app.command("import")(imports.imports)


def main() -> None:
    """Run the command line; our own errors become one sentence and exit status 1."""
    try:
        app()
    except (OhmtrailError, CaptureError) as error:
        typer.echo(f"{error}", err=True)
        sys.exit(1)
