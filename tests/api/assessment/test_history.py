"""Earlier visits to the same machine: which count, and that the trend over them reaches findings, trail and report.

Factors of the fall (program's rule, no source): half or less investigate, a third or less act, a tenth or less stop.
"""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.assessment.grade_job import findings_of, newest_grading
from api.assessment.grading_adapter import read_inputs
from api.assessment.history import history_of
from api.dialogue.actions import Confirm
from api.ledger.canonical import canonical, parsed
from api.server.app import create_app
from api.visit.readings import ReadingFields
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from tests.api.makers import JOB
from tests.api.report.parsed import parse, text

READING: ReadingFields = {
    "kind": "insulation_resistance", "unit": "MOhm", "axis": "X", "section": "through_cable",
    "terminals": "lead-ground", "test_voltage_set": "500", "test_voltage_built": "500", "elapsed_s": "60",
}  # fmt: skip


def visit(workspace: Workspace, year: int, *values: str, axis: str = "X", **job: Any) -> str:
    """Make a job of some year with insulation values of one axis; returns its id."""
    made = str(workspace.create_job({**JOB, **job})["id"])
    answers: dict[str, Any] = {step.id: {"answer": "yes", "value": "3"} for step in STEPS}
    workspace.answer_safety(made, axis, answers, captured_at=f"{year}-11-24T08:00:00+00:00")
    for minute, value in enumerate(values, 10):
        at = f"{year}-11-24T08:{minute}:00+00:00"
        asked = workspace.type_reading(made, {**READING, "value": value, "axis": axis}, at)["proposals"][0]
        workspace.act(asked["id"], Confirm(1), captured_at=at)
    return made


def trend(workspace: Workspace, job: str, axis: str = "X") -> dict[str, dict[str, Any]]:
    """Give the trend findings of an axis by rule."""
    with workspace.database.read() as session:
        found = findings_of(session, job)
    [own] = [one for one in found["axes"] if one["axis"] == axis]
    return {finding["rule"]: finding for finding in own["findings"] if finding["rule"].startswith("trend.")}


def counted(workspace: Workspace, job: str) -> list[str]:
    with workspace.database.read() as session:
        return history_of(session, job, read_inputs(session, job)).record_ids


def test_a_fall_since_the_visit_before_is_found_and_names_both_records(workspace: Workspace) -> None:
    visit(workspace, 2025, "550")
    now = visit(workspace, 2026, "160")
    drop = trend(workspace, now)["trend.drop"]
    assert drop["record_ids"] == ["J1-R1", "J2-R1"]
    assert "fallen to a third or less" in drop["statement"]  # 160 / 550 = 0.29
    assert "on 2025-11-24" in drop["statement"]
    assert trend(workspace, "J1") == {}


def test_visits_come_oldest_first_however_their_jobs_were_made(workspace: Workspace) -> None:
    """An old sheet typed in later counts with its own date: 900, 550, 500 and not 550, 900, 500."""
    visit(workspace, 2025, "550")
    now = visit(workspace, 2026, "500")
    visit(workspace, 2024, "900")
    assert counted(workspace, now) == ["J1-R1", "J3-R1"]
    found = trend(workspace, now)
    assert found["trend.drop"]["record_ids"] == ["J1-R1", "J2-R1"]
    assert found["trend.limit"]["record_ids"] == ["J3-R1", "J1-R1", "J2-R1"]


@pytest.mark.parametrize(
    ("before", "counts"),
    [
        ({"machine": "  machining   CENTRE 4 "}, True),
        ({"machine": "Machining centre 5"}, False),
        ({"customer": "Somebody else (invented)"}, False),
        ({"serial": "bg-0417"}, True),
        ({"serial": "BG-0418"}, False),
        ({"axes": [{"name": "X", "motor_kind": "ac_servo"}]}, False),
        ({"axes": [{"name": "Z", "motor_kind": "dc_servo"}, JOB["axes"][0]]}, True),
    ],
)
def test_only_the_same_machine_and_kind_of_motor_counts(
    workspace: Workspace, before: dict[str, Any], counts: bool
) -> None:
    visit(workspace, 2025, "550", **before)
    now = visit(workspace, 2026, "160", serial="BG-0417")
    assert bool(trend(workspace, now)) == counts


def test_other_axes_later_visits_and_withdrawn_records_do_not_count(workspace: Workspace) -> None:
    visit(workspace, 2025, "550", axis="Y")
    visit(workspace, 2027, "550")
    workspace.withdraw(f"{visit(workspace, 2025, '900')}-R1")
    now = visit(workspace, 2026, "160")
    assert counted(workspace, now) == []
    assert trend(workspace, now) == {}


def test_two_jobs_of_one_instant_are_not_each_others_past(workspace: Workspace) -> None:
    first, second = visit(workspace, 2026, "550"), visit(workspace, 2026, "160")
    assert trend(workspace, first) == trend(workspace, second) == {}


def test_the_instruments_of_the_earlier_visit_bound_its_values(workspace: Workspace) -> None:
    """Its own instrument judges an earlier value, not the widest error that stands in for an unknown one."""
    visit(workspace, 2025, "550")
    now = visit(workspace, 2026, "160")
    with workspace.database.read() as session:
        past = history_of(session, now, read_inputs(session, now))
    [found] = past.visits["X"]
    assert found.measurements[0].instrument_id in past.meters
    assert found.context.winding_c is not None


def test_kept_findings_name_what_they_were_compared_with(workspace: Workspace) -> None:
    visit(workspace, 2025, "550")
    now = visit(workspace, 2026, "160")
    workspace.grade(now)
    with workspace.database.read() as session:
        run = newest_grading(session, now)
        again = canonical(findings_of(session, now))
    assert run is not None
    assert run.findings_json == again
    assert parsed(run.findings_json)["earlier_record_ids"] == ["J1-R1"]
    assert workspace.verify().intact


def test_the_report_shows_the_trend_and_links_only_to_its_own_records(workspace: Workspace) -> None:
    visit(workspace, 2025, "550")
    now = visit(workspace, 2026, "160")
    with TestClient(create_app(workspace), base_url="http://localhost") as client:
        client.post(f"/api/jobs/{now}/report")
        page = parse(client.get(f"/api/jobs/{now}/report").content)
        found = client.get(f"/api/jobs/{now}/findings").json()
    assert found["earlier_record_ids"] == ["J1-R1"]
    [drop] = [one for one in page.select("[data-finding]") if "550 MΩ on 2025-11-24" in text(one)]
    assert "Fallen to a third or less" in text(drop)
    assert "From J1-R1 (earlier visit), R1" in text(drop)
    assert [link["href"] for link in drop.select("a:not(.mark)")] == ["#record-J2-R1"]
    places = {str(tag["id"]) for tag in page.select("[id]")}
    assert {str(link["href"])[1:] for link in page.select('a[href^="#"]')} <= places
