"""`ohmtrail plan`: what is left to measure on a job and what comes next, from the plan that page and voice go by."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data, Profile

if TYPE_CHECKING:
    from rich.table import Table

    from api.ledger.canonical import PlainData

SHOWN = {"done": "done", "next": "next", "due": "to do", "skipped": "left out"}
"""How the state of a point is called."""


def plan(
    job: Annotated[str, typer.Argument(help='Number of the job, e.g. "J1".')],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object instead of a table.")] = False,
    data: Data = Path("data"),
    profile: Profile = None,
) -> None:
    """Say what is left to measure on a job and what comes next, as "what is left" says it, with every point."""
    import json

    from rich.console import Console

    from api.assessment.next_point import plan_for_page, points_left
    from api.assessment.shop_limits import read_shop
    from api.dialogue.turn import context_of
    from api.visit.jobs import job_of
    from api.workspace import Workspace

    shop = None if profile is None else read_shop(profile)
    workspace = Workspace.attach(data, shop=shop)
    try:
        with workspace.database.read() as session:
            job_of(session, job)
            left = points_left(session, job, context_of(session, job), workspace.profile)
            axes = plan_for_page(session, job, workspace.profile)
    finally:
        workspace.close()
    if as_json:
        typer.echo(json.dumps({"job": job, "left": left, "axes": axes}, ensure_ascii=False, indent=2))
        return
    console = Console(highlight=False)
    for axis in axes:
        console.print(_table(axis))
    console.print(left, markup=False)


def _table(axis: PlainData) -> Table:
    """Give the points of one axis in their order; one that is left out says why."""
    from rich.table import Table
    from rich.text import Text

    from grading.terms.section import SECTION_WORDS, Section

    table = Table("", "Part", "Test", "Point", "Volts", "Why", title=f"Axis {axis['axis']}", title_justify="left")
    for task in axis["tasks"]:
        texts = (
            SHOWN[task["state"]],
            SECTION_WORDS[Section(task["section"])],
            task["kind"].replace("_", " "),
            task["terminals"],
            task["test_voltage"] or "",
            task["skipped"] or task["reason"],
        )
        style = {"next": "bold", "done": "green", "skipped": "dim"}.get(task["state"], "")
        table.add_row(*(Text(text) for text in texts), style=style)
    if axis["stop"]:
        table.caption = Text(axis["stop"])
    return table
