"""An axis added by mistake: withdrawn while it has no readings, never lost, brought back, its name given to no other.

Common practice, no source: a row added by mistake leaves the sheet, and whoever reads the sheet later sees that it did.
"""

from __future__ import annotations

import pytest

from api.assessment.grading_adapter import read_inputs
from api.assessment.job_list import list_jobs
from api.dialogue.turn import context_of
from api.errors import BadInput, NotFound, Refused
from api.ledger.sent import AnsweredBeforeError, SentAction
from api.ledger.tables import AxisRow
from api.report.build import build_report
from api.visit.jobs import axes_of, withdrawn_axes_of
from tests.api.conftest import Visit
from tests.api.makers import change


def names(visit: Visit) -> list[str]:
    with visit.workspace.database.read() as session:
        return [axis.name for axis in axes_of(session, visit.job)]


def add(visit: Visit, name: str) -> None:
    visit.workspace.desk.edit(
        visit.job, change(visit.workspace, visit.job, lambda described: described["axes"].append({"name": name}))
    )


def test_an_axis_without_readings_is_withdrawn_and_comes_back(visit: Visit) -> None:
    desk, workspace = visit.workspace.desk, visit.workspace
    add(visit, "B")
    visit.say("bravo axis")
    workspace.grade(visit.job)
    with workspace.database.read() as session:
        assert context_of(session, visit.job).axis == "B"
    answer = desk.withdraw_axis(visit.job, "b", "there is none on this machine")
    assert [axis["name"] for axis in answer["axes"]] == ["X", "Y"]
    assert answer["withdrawn_axes"] == [{"id": "J1-B", "name": "B"}]
    with workspace.database.read() as session:
        assert session.get(AxisRow, "J1-B") is not None, "its row stays"
        assert context_of(session, visit.job).axis is None
        assert set(read_inputs(session, visit.job).contexts) == {"X", "Y"}
        [listed] = list_jobs(session)
        page = build_report(session, workspace.evidence, visit.job).decode()
    assert set(listed["left"]) == {"X", "Y"}
    assert "axis B withdrawn: added by mistake, nothing was measured of it (there is none on this machine)" in page
    assert 'id="axis-B"' not in page
    # What is said of it meanwhile finds no such axis; what waits in a phone is told so.
    with pytest.raises(NotFound, match="no axis 'B'"):
        visit.make_safe("B")
    with pytest.raises(NotFound, match="no axis 'B'"):
        desk.withdraw_axis(visit.job, "B")
    with pytest.raises(BadInput, match="Reinstate it"):
        add(visit, "B")
    workspace.grade(visit.job)
    desk.reinstate_axis(visit.job, "b", "it has one after all")
    assert names(visit) == ["X", "Y", "B"]
    with pytest.raises(NotFound, match="no axis 'B'"):
        desk.reinstate_axis(visit.job, "B")
    with workspace.database.read() as session:
        assert withdrawn_axes_of(session, visit.job) == []
        assert "axis B reinstated" in build_report(session, workspace.evidence, visit.job).decode()
    assert visit.whats().count("job changed") == 3
    # Gradings made with, without and again with the axis each follow from what was known then.
    assert workspace.verify().problems == []


def test_an_axis_with_readings_stays(visit: Visit) -> None:
    desk = visit.workspace.desk
    visit.say("y axis motor alone u to v one point two ohms")
    with pytest.raises(Refused, match="0 readings on record and 1 that wait"):
        desk.withdraw_axis(visit.job, "Y")
    visit.say("confirm")
    with pytest.raises(Refused, match="1 readings on record and 0 that wait"):
        desk.withdraw_axis(visit.job, "Y")
    visit.workspace.withdraw("J1-R1")
    with pytest.raises(Refused, match="rename the axis"):
        desk.withdraw_axis(visit.job, "Y")
    desk.withdraw_axis(visit.job, "X")
    assert names(visit) == ["Y"]
    add(visit, "Z")
    desk.withdraw_axis(visit.job, "Z")
    with pytest.raises(Refused, match="the only one"):
        desk.withdraw_axis(visit.job, "Y")
    desk.move(visit.job, "close")
    for act in (desk.withdraw_axis, desk.reinstate_axis):
        with pytest.raises(Refused, match="closed"):
            act(visit.job, "Y")


def test_an_axis_that_is_asked_about_stays_until_that_is_settled(visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation set five hundred volts")
    with pytest.raises(Refused, match="question about axis X is open"):
        visit.workspace.desk.withdraw_axis(visit.job, "X")
    assert names(visit) == ["X", "Y"]


def test_sent_twice_under_one_id_it_is_done_once(visit: Visit) -> None:
    sent = SentAction("w" * 16, "0" * 64, 200)
    first = visit.workspace.desk.withdraw_axis(visit.job, "Y", sent=sent)
    with pytest.raises(AnsweredBeforeError) as again:
        visit.workspace.desk.withdraw_axis(visit.job, "Y", sent=sent)
    assert again.value.answer == first
    assert visit.whats().count("job changed") == 1
