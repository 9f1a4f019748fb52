"""A whole visit on disk, and copies of it to tamper with."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from api.access.codes import Grant
from api.access.devices import pair_device
from api.access.roles import Role
from api.ledger.canonical import sha256_hex
from api.ledger.sent import SentAction
from api.workspace import Workspace
from capture.display.profile_files import shipped
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines, change, photo


@pytest.fixture(scope="session")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Leave a whole visit on disk, closed: every table has rows, both folders have files."""
    folder = tmp_path_factory.mktemp("sealed") / "data"
    workspace = Workspace.open(folder, engines=FakeEngines())
    visit = Visit(workspace)
    visit.make_safe()
    workspace.set_profile(visit.job, "IT-03", next(iter(shipped())))
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.show("1.080", "Ohm")
    visit.say("confirm")
    visit.say("insulation set five hundred volts")
    visit.say("lead to ground five hundred megohms")
    visit.say("correction five hundred fifty megohms")
    visit.say("confirm")
    visit.say("take it back")
    visit.say("noise")
    pair_device(workspace.database, "Phone", "Technician 7", Grant(Role.TECHNICIAN))
    sent = SentAction("a" * 16, sha256_hex("again"))
    workspace.end_lockout(visit.job, "power_restored", captured_at=visit._later(20), sent=sent)
    given = change(workspace, visit.job, lambda described: described["axes"][1].update(motor_kind="spindle"))
    workspace.desk.edit(visit.job, given)
    workspace.desk.picture(visit.job, "motor_plate", "X", photo(None, None))
    workspace.grade(visit.job)
    workspace.make_report(visit.job)
    workspace.close()
    with sqlite3.connect(folder / "ohmtrail.db") as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return folder


@pytest.fixture
def folder(sealed: Path, tmp_path: Path) -> Path:
    """Copy the visit, to tamper with it."""
    return Path(shutil.copytree(sealed, tmp_path / "copy"))
