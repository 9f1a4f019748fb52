"""Many hands at once: two hundred captures from ten threads, and writers that wait instead of failing."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, select

from api.errors import WriteFailed
from api.ledger.database import Database
from api.ledger.evidence import adopt_orphans
from api.ledger.tables import CaptureRow, JobRow, TrailEntryRow
from api.ledger.trail import What
from api.workspace import Workspace
from tests.api.makers import JOB, at, clip


def test_two_hundred_captures_from_ten_threads(workspace: Workspace) -> None:
    jobs = [workspace.create_job(JOB)["id"] for _ in range(4)]

    def take(number: int) -> str:
        words = "x ray axis motor alone a one to a two one point zero eight ohms" if number % 3 else "confirm"
        return str(workspace.take_clip(jobs[number % 4], clip(words, number), at(number))["capture"])

    with ThreadPoolExecutor(10) as pool:
        captures = list(pool.map(take, range(200)))
    assert len(set(captures)) == 200
    with workspace.database.read() as session:
        states = list(session.exec(select(CaptureRow.state)).all())
    assert states == ["recognised"] * 200
    found = workspace.verify()
    assert found.intact, found.problems


def test_the_same_capture_sent_by_ten_threads_counts_once(workspace: Workspace) -> None:
    job = workspace.create_job(JOB)["id"]
    data = clip("x ray axis motor alone a one to a two one point zero eight ohms")
    with ThreadPoolExecutor(10) as pool:
        answers = list(pool.map(lambda _: workspace.take_clip(job, data, client_id="phone-1-17"), range(10)))
    assert len({answer["capture"] for answer in answers}) == 1
    assert sum(not answer["repeated"] for answer in answers) == 1
    assert len({answer["proposals"][0]["id"] for answer in answers}) == 1


def make_job(database: Database, number: int) -> None:
    with database.write() as transaction:
        row = JobRow(
            id=f"J{number}",
            title="t",
            customer="c",
            machine="m",
            technician="x",
            alarm_text="",
            air_c=None,
            humidity_percent=None,
            description_json="{}",
            created_at=transaction.now,
        )
        transaction.put(row)
        transaction.entry(What.JOB_CREATED, row.id)


def test_two_processes_worth_of_writers_wait_for_each_other(tmp_path: Path) -> None:
    databases = [Database(tmp_path), Database(tmp_path)]
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda number: make_job(databases[number % 2], number), range(60)))
    with databases[0].read() as session:
        entries = list(session.exec(select(TrailEntryRow.what)).all())
    assert entries == [What.KEY_NAMED.value, *[What.JOB_CREATED.value] * 60]
    for database in databases:
        database.close()


def test_a_read_that_turns_into_a_write_would_fail_and_our_writers_do_not(tmp_path: Path) -> None:
    """Show why every writing transaction begins IMMEDIATE: a deferred one fails at once with a stale snapshot."""
    database = Database(tmp_path)
    with Session(database._readers) as session:
        session.exec(select(JobRow)).all()
        make_job(database, 1)
        session.add(JobRow(**{**JOB_ROW, "id": "J2"}))
        with pytest.raises(OperationalError, match="locked"):
            session.flush()
    started = threading.Barrier(2)

    def read_then_write(number: int) -> None:
        started.wait()
        make_job(database, number)

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(read_then_write, (3, 4)))
    database.close()


JOB_ROW: dict[str, Any] = {
    "title": "t",
    "customer": "c",
    "machine": "m",
    "technician": "x",
    "alarm_text": "",
    "air_c": None,
    "humidity_percent": None,
    "description_json": "{}",
    "created_at": "",
}


def test_a_row_without_a_trail_entry_never_goes_in(tmp_path: Path) -> None:
    database = Database(tmp_path)
    with pytest.raises(AssertionError, match="without a trail entry"), database.write() as transaction:
        transaction.put(JobRow(**{**JOB_ROW, "id": "J1"}))
    with database.read() as session:
        assert session.exec(select(JobRow)).all() == []
    database.close()


@pytest.mark.parametrize(
    "statement", ["UPDATE record SET value = '1'", "DELETE FROM trail_entry", "DELETE FROM proposal"]
)
def test_the_database_itself_forbids_changing_what_proves(workspace: Workspace, statement: str) -> None:
    job = workspace.create_job(JOB)["id"]
    workspace.take_clip(job, clip("x ray axis motor alone a one to a two one point zero eight ohms"))
    workspace.take_clip(job, clip("confirm"))
    with workspace.database._writers.connect() as connection, pytest.raises(Exception, match="never changed"):
        connection.exec_driver_sql(statement)


def test_a_full_disk_is_said_and_loses_nothing(workspace: Workspace) -> None:
    """Let SQLite refuse to grow: what was recorded before stays, and the work goes on once there is room."""
    job = workspace.create_job(JOB)["id"]
    with workspace.database._writers.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    limits: list[Any] = []

    def limit(connection: Any, _record: object, _proxy: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")
        limits.append(connection)

    event.listen(workspace.database._writers, "checkout", limit)

    def fill() -> None:
        for number in range(50):
            workspace.take_clip(job, clip("x ray axis motor alone a one to a two one point zero eight ohms", number))

    with pytest.raises(WriteFailed):
        fill()
    event.remove(workspace.database._writers, "checkout", limit)
    for limited in limits:
        limited.execute("PRAGMA max_page_count = 1000000")
    workspace.evidence.sweep()
    adopt_orphans(workspace.database, workspace.evidence)
    answer = workspace.take_clip(job, clip("confirm", 99))
    assert answer["state"] == "recognised"
    found = workspace.verify()
    assert found.intact, found.problems
