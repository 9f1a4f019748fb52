"""`ohmtrail plan` says what the voice says: one plan for all."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from api.cli import app
from api.dialogue.turn import context_of
from tests.api.conftest import Visit


def planned(folder: Path, *options: str) -> str:
    done = CliRunner().invoke(app, ["plan", "J1", "--data", str(folder), *options])
    assert done.exit_code == 0, done.output
    return done.output


def test_the_command_line_has_the_same_next_and_the_same_left_as_the_voice(visit: Visit) -> None:
    folder = visit.workspace.folder
    left = visit.say("what is left")["message"]
    visit.say("next")
    with visit.workspace.database.read() as session:
        wanted = context_of(session, visit.job)
    visit.workspace.close()
    told = json.loads(planned(folder, "--json"))
    [point] = [task for axis in told["axes"] for task in axis["tasks"] if task["state"] == "next"][:1]
    assert (point["kind"], point["section"], point["terminals"]) == (wanted.kind, wanted.section, wanted.terminals)
    assert left.startswith(told["left"].partition("Next:")[0])
    shown = " ".join(planned(folder).split())
    assert told["left"] in shown
    assert shown.count("to do") + shown.count("next") >= 1


def test_a_job_that_is_not_there_is_named(visit: Visit) -> None:
    folder = visit.workspace.folder
    visit.workspace.close()
    done = CliRunner().invoke(app, ["plan", "J9", "--data", str(folder)])
    assert done.exit_code == 1
    assert "J9" in str(done.exception)
