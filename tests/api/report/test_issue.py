"""Issues of a report: numbered by job, independent of other jobs, each naming the one it replaces."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.ledger.clock import parse_instant
from api.ledger.database import last_head
from api.report.issued import Form, Paper, Wanted
from api.visit.description import read_description
from api.visit.jobs import create_job
from grading.terms.section import Section
from tests.api.report import visit
from tests.api.report.parsed import one, parse, section, text


@pytest.fixture
def made(tmp_path: Path) -> Iterator[visit.Visit]:
    found = visit.make(tmp_path)
    yield found
    found.workspace.close()


def page_of(made: visit.Visit, sha256: str) -> str:
    return text(parse(made.workspace.reports.read(sha256)))


def another_reading(made: visit.Visit) -> None:
    made.say(visit.insulation("Y", Section.MOTOR_ALONE, "900"), 20, words="motor alone nine hundred meg")


def test_every_form_of_one_state_is_one_issue(made: visit.Visit) -> None:
    files = {form: made.workspace.make_report("J1", Wanted(form)) for form in Form}
    assert {row.name for row in files.values()} == {
        "report-J1.html", "report-J1.pdf", "report-J1-short.txt", "report-J1.csv"
    }  # fmt: skip
    assert len({(row.trail_seq, row.trail_hash) for row in files.values()}) == 1
    assert "Report J1-1" in made.workspace.reports.read(files[Form.SHORT].sha256).decode()
    assert "Report J1-1" in page_of(made, files[Form.HTML].sha256)


def test_the_same_state_is_given_again(made: visit.Visit) -> None:
    first = made.workspace.make_report("J1", Wanted(Form.PDF))
    assert made.workspace.make_report("J1", Wanted(Form.PDF)).id == first.id
    assert made.workspace.make_report("J1", Wanted(Form.PDF, Paper.LETTER)).name == "report-J1-letter.pdf"


def test_another_job_changes_nothing(made: visit.Visit) -> None:
    before = made.workspace.make_report("J1")
    with made.database.write() as transaction:
        create_job(transaction, read_description(visit.DESCRIPTION))
    assert made.workspace.make_report("J1").id == before.id
    assert "Report J2-1" in page_of(made, made.workspace.make_report("J2").sha256)


def test_a_later_state_is_a_new_issue_and_names_the_one_before(made: visit.Visit) -> None:
    first = made.workspace.make_report("J1")
    pdf = made.workspace.make_report("J1", Wanted(Form.PDF))
    another_reading(made)
    second = made.workspace.make_report("J1")
    page = parse(made.workspace.reports.read(second.sha256))
    assert "Report J1-2" in text(one(page, "header"))
    assert "replaces J1-1" in text(one(page, "header"))
    proof = text(section(page, "s-proof"))
    assert first.sha256 in proof
    assert pdf.sha256 in proof
    another_reading(made)
    assert "replaces J1-2" in page_of(made, made.workspace.make_report("J1").sha256)


def test_every_issued_file_stays_and_verifies(made: visit.Visit) -> None:
    rows = [made.workspace.make_report("J1", Wanted(form)) for form in Form]
    another_reading(made)
    rows += [made.workspace.make_report("J1", Wanted(form)) for form in Form]
    assert len({row.id for row in rows}) == 8
    for row in rows:
        content = made.workspace.reports.read(row.sha256)
        assert hashlib.sha256(content).hexdigest() == row.sha256
    found = made.workspace.verify()
    assert found.result == "intact", found.problems


def test_a_report_of_an_earlier_version_counts_as_an_issue(made: visit.Visit) -> None:
    """Reports of 0.1.0 covered the head of the whole trail, which can be an entry of another job or of a report."""
    with made.database.write() as transaction:
        create_job(transaction, read_description(visit.DESCRIPTION))
    with made.database.read() as session:
        printed = f"<p>as it was, head {last_head(session).hash}</p>".encode()
    made.workspace.keep_report("J1", "report-J1.html", "text/html; charset=utf-8", printed)
    again = made.workspace.make_report("J1")
    assert "Report J1-1" in page_of(made, again.sha256), "the same state: the same issue in another layout"
    another_reading(made)
    assert "replaces J1-1" in page_of(made, made.workspace.make_report("J1").sha256)
    assert made.workspace.verify().result == "intact"


def test_a_replayed_visit_is_dated_by_its_own_clock(tmp_path: Path) -> None:
    """All times of the demo are of one clock, whatever day it is replayed on."""
    made = visit.begin(tmp_path, visit.DESCRIPTION)
    old = parse_instant("2019-05-06T10:00:00+02:00")
    with made.database.device_time(old):
        answers = {"sources_identified": "yes"}
        made.workspace.answer_safety("J1", "X", answers, captured_at=old.isoformat())
    page = page_of(made, made.workspace.make_report("J1").sha256)
    made.workspace.close()
    assert "issued 2019-05-06" in page
    assert str(dt.date(2026, 11, 24)) not in page
