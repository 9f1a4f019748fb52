"""What the report says was answered before each axis was tested: what held then, not what was answered last.

Rules checked: DESIGN of the product (answers given after a reading stay marked as such; the answers count no more after
a stated break of the lock-out).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from bs4 import BeautifulSoup, Tag

from api.report.build import build_report
from api.visit.jobs import axis_of
from api.visit.proposals import proposals_of
from api.visit.records import Decision, all_records, confirm
from api.visit.safety import POWER_RESTORED, StepReply, end_lockout, put_answers
from api.visit.safety_steps import STEPS
from capture.reading import Reading
from grading.terms.section import Section
from tests.api.report import visit
from tests.api.report.parsed import one, parse, section, text

AXES = ("X", "Y", "Z")
LATE = "A safety step of this axis was answered after this reading was taken."


def answer(made: visit.Visit, name: str, minute: float, *, vertical: str = "not_applicable", volts: str = "3") -> None:
    """Answer every step on one axis at that minute."""
    with made.database.write() as transaction:
        replies = {step.id: StepReply(answer="yes", value=volts if step.value_unit else None) for step in STEPS}
        replies["vertical_supported"] = StepReply(answer=vertical)
        axis = axis_of(transaction.session, made.job_id, name)
        put_answers(transaction, axis, replies, how="tapped", by="Technician 7", captured_at=made.at(minute))


def said(made: visit.Visit) -> Sequence[str]:
    """Give the captions of the tables of answers, each with its answers, as the report prints them."""
    with made.database.read() as session:
        page = parse(build_report(session, made.store, made.job_id))
    return [text(table) for table in page.select("table.safety")]


def insulated(name: str) -> Reading:
    """Give an insulation value of a motor."""
    return visit.insulation(name, Section.MOTOR_ALONE, "550")


@pytest.fixture
def made(tmp_path: Path) -> visit.Visit:
    return visit.begin(tmp_path, visit.DESCRIPTION)


def test_each_axis_stands_on_what_was_answered_before_it(made: visit.Visit) -> None:
    for place, name in enumerate(AXES):
        answer(made, name, 10 * place, vertical="yes" if name == "Z" else "not_applicable")
        made.say(insulated(name), 10 * place + 5, words="five hundred fifty meg")
    answer(made, "X", 40)  # for whatever comes next; no reading stands on it
    tables = said(made)
    made.database.close()
    assert len(tables) == 2, "X and Y were answered alike, Z otherwise"
    assert "Axis X: Technician 7, 2026-11-24 09:30:00 +01:00; first insulation reading" in tables[0]
    assert "Axis Y: Technician 7, 2026-11-24 09:40:00 +01:00; first insulation reading" in tables[0]
    assert "held otherwise than by their brakes? does not apply" in tables[0]
    assert "Axis Z: Technician 7, 2026-11-24 09:50:00 +01:00" in tables[1]
    assert "held otherwise than by their brakes? yes" in tables[1]


def test_answers_given_again_make_no_earlier_reading_late(made: visit.Visit) -> None:
    answer(made, "X", 0)
    made.say(insulated("X"), 5, words="five hundred fifty meg", confirmed=False)
    answer(made, "Y", 6)
    with made.database.write() as transaction:
        (waiting,) = proposals_of(transaction.session, made.job_id, "open")
        record = confirm(transaction, waiting, Decision("tapped", "Technician 7", made.at(7)), waiting.revision)
    made.database.close()
    assert LATE not in record.row.note


def read_late(made: visit.Visit) -> BeautifulSoup:
    """Take an insulation reading of X that must be noted as late; gives the report."""
    made.say(insulated("X"), 5, words="five hundred fifty meg")
    with made.database.read() as session:
        page = parse(build_report(session, made.store, made.job_id))
        (record,) = all_records(session, made.job_id)
    made.database.close()
    assert record.row.note.startswith(LATE)
    return page


def test_what_was_answered_after_the_reading_is_marked(made: visit.Visit) -> None:
    answer(made, "X", 9)
    page = read_late(made)
    axis: Tag = section(page, "axis-1")
    assert (
        f"{len(STEPS)} of {len(STEPS)} safety questions were answered only after the first insulation reading"
        in text(axis)
    )
    assert text(one(page, "table.safety")).count("(answered after the reading)") == len(STEPS)


def test_a_no_that_became_yes_after_the_reading_is_late(made: visit.Visit) -> None:
    answer(made, "X", 0, vertical="no")
    with made.database.write() as transaction:
        axis = axis_of(transaction.session, made.job_id, "X")
        put_answers(
            transaction, axis, {"vertical_supported": StepReply(answer="yes")}, how="tapped", by="Technician 7",
            captured_at=made.at(9),
        )  # fmt: skip
    page = read_late(made)
    sentence = f"1 of {len(STEPS)} safety questions were answered only after the first insulation reading"
    assert sentence in text(section(page, "axis-1"))
    table = text(one(page, "table.safety"))
    assert "held otherwise than by their brakes? no" in table
    assert "held otherwise than by their brakes? yes (answered after the reading)" in table


def test_a_second_lock_out_has_answers_of_its_own(made: visit.Visit) -> None:
    answer(made, "X", 0, volts="3")
    made.say(insulated("X"), 5, words="five hundred fifty meg")
    with made.database.write() as transaction:
        axis = axis_of(transaction.session, made.job_id, "X")
        end_lockout(transaction, axis, POWER_RESTORED, how="tapped", by="Technician 7", captured_at=made.at(20))
    answer(made, "X", 30, volts="4")
    made.say(visit.insulation("X", Section.CABLE_ALONE, "900"), 35, words="cable alone nine hundred meg")
    tables = said(made)
    made.database.close()
    assert len(tables) == 2
    assert "yes, 3 V measured" in tables[0]
    assert "yes, 4 V measured" in tables[1]
