"""Position and circumstances beside a typed reading: taken, kept through corrections, judged by grading, printed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

import pytest
from fastapi.testclient import TestClient

from api.assessment.grading_adapter import measurement
from api.errors import BadInput
from api.report.wording import CIRCUMSTANCES
from api.server.app import create_app
from api.visit.notes import Notes, notes_from
from api.visit.readings import ReadingFields
from api.visit.records import current_records
from grading.terms.circumstance import Circumstance
from tests.api.conftest import Visit
from tests.api.report.parsed import parse, row_of, text

WINDING = {
    "kind": "winding_resistance",
    "value": "1.08",
    "unit": "Ohm",
    "axis": "X",
    "section": "motor_alone",
    "terminals": "A1-A2",
}
NOTED = {"position": "30°", "circumstances": ["leads_zeroed", "reversed"]}


@pytest.fixture
def client(visit: Visit) -> Iterator[TestClient]:
    with TestClient(create_app(visit.workspace), base_url="http://localhost") as opened:
        yield opened


def typed(client: TestClient, visit: Visit, **fields: Any) -> dict[str, Any]:
    """Type a reading; returns its proposal."""
    answer = client.post(f"/api/jobs/{visit.job}/typed", json={**WINDING, "captured_at": visit._later(1), **fields})
    assert answer.status_code == 201, answer.text
    return dict(answer.json()["proposals"][0])


def confirm(client: TestClient, proposal: dict[str, Any]) -> dict[str, Any]:
    """Confirm a proposal; returns its record."""
    answer = client.post(f"/api/proposals/{proposal['id']}/confirm", json={"revision": proposal["revision"]})
    assert answer.status_code == 200, answer.text
    return dict(answer.json()["records"][0])


def test_they_go_from_the_typed_line_into_the_record_and_to_grading(client: TestClient, visit: Visit) -> None:
    proposal = typed(client, visit, position="  30° ", circumstances=["reversed", "leads_zeroed", "reversed"])
    assert {name: proposal[name] for name in NOTED} == NOTED
    record = confirm(client, proposal)
    assert {name: record[name] for name in NOTED} == NOTED
    with visit.workspace.database.read() as session:
        found = measurement(current_records(session, visit.job)[0])
    assert found is not None
    assert found.position == "30°"
    assert found.circumstances == frozenset({Circumstance.LEADS_ZEROED, Circumstance.REVERSED})
    assert visit.workspace.verify().intact


def test_nothing_is_noted_where_nothing_was_said(client: TestClient, visit: Visit) -> None:
    record = confirm(client, typed(client, visit))
    assert (record["position"], record["circumstances"]) == ("", [])
    with visit.workspace.database.read() as session:
        found = measurement(current_records(session, visit.job)[0])
    assert found is not None
    assert (found.position, found.circumstances) == (None, frozenset())


def test_a_correction_changes_what_it_names_and_must_be_confirmed_anew(client: TestClient, visit: Visit) -> None:
    first = typed(client, visit, **NOTED)
    path = f"/api/proposals/{first['id']}/correct"
    second = client.post(path, json={"reading": {"position": "60°"}}).json()["proposals"][0]
    assert (second["position"], second["circumstances"]) == ("60°", NOTED["circumstances"])
    assert second["revision"] == first["revision"] + 1
    stale = client.post(f"/api/proposals/{first['id']}/confirm", json={"revision": first["revision"]})
    assert (stale.status_code, stale.json()["code"]) == (409, "changed")
    third = client.post(path, json={"reading": {"value": "1.09", "circumstances": None}}).json()["proposals"][0]
    assert (third["value"], third["position"], third["circumstances"]) == ("1.09", "60°", [])
    assert confirm(client, third)["position"] == "60°"


def test_a_record_that_replaces_another_keeps_its_notes_unless_said_anew(client: TestClient, visit: Visit) -> None:
    confirm(client, typed(client, visit, **NOTED))
    answer = client.post(f"/api/jobs/{visit.job}/typed", json={"value": "1.07", "supersedes": f"{visit.job}-R1"})
    second = confirm(client, answer.json()["proposals"][0])
    assert {name: second[name] for name in NOTED} == NOTED
    visit.say("correction one point zero six ohms")
    third = visit.say("confirm")["records"][0]
    assert (third["value"], third["position"], third["circumstances"]) == ("1.06", "30°", NOTED["circumstances"])
    body = {"position": None, "supersedes": third["id"]}
    fourth = confirm(client, client.post(f"/api/jobs/{visit.job}/typed", json=body).json()["proposals"][0])
    assert (fourth["value"], fourth["position"], fourth["circumstances"]) == ("1.06", "", NOTED["circumstances"])


def test_a_photo_that_joins_leaves_the_notes(client: TestClient, visit: Visit) -> None:
    at = visit._later(5)
    typed(client, visit, **NOTED, captured_at=at)
    joined = visit.show("1.080", "Ohm")["proposals"][0]
    assert (joined["agreement"], joined["value"]) == ("agree", "1.080")
    assert {name: joined[name] for name in NOTED} == NOTED


@pytest.mark.parametrize(
    "fields", [{"position": "x" * 41}, {"circumstances": ["tired"]}, {"circumstances": "flexed"}, {"position": 3}]
)
def test_what_is_wrong_is_refused_and_nothing_is_written(
    client: TestClient, visit: Visit, fields: dict[str, Any]
) -> None:
    answer = client.post(f"/api/jobs/{visit.job}/typed", json={**WINDING, **fields})
    assert (answer.status_code, answer.json()["code"]) == (422, "bad_request")
    with pytest.raises(BadInput) as refused:
        visit.workspace.type_reading(visit.job, cast("ReadingFields", {**WINDING, **fields}))
    assert refused.value.code in ("bad_position", "bad_circumstance")
    assert client.get(f"/api/jobs/{visit.job}/proposals").json() == []


def test_control_characters_are_no_position() -> None:
    with pytest.raises(BadInput):
        notes_from({"position": "3\u0000"}, Notes())
    assert notes_from({"position": "full\tleft"}, Notes()).position == "full left"


def test_the_worst_shaft_position_is_named_by_grading_and_the_report(client: TestClient, visit: Visit) -> None:
    """Name the position of the one reading in eight that is more than 20 % off (program's rule, no source)."""
    for step, value in enumerate(("1.08", "1.09", "1.08", "1.90", "1.07", "1.08", "1.09", "1.08")):
        record = confirm(client, typed(client, visit, value=value, position=f"{45 * step}°"))
        assert record["position"] == f"{45 * step}°"
    [axis] = [a for a in client.get(f"/api/jobs/{visit.job}/findings").json()["axes"] if a["axis"] == "X"]
    [armature] = [finding for finding in axis["findings"] if finding["rule"] == "winding.armature"]
    assert "135°" in armature["statement"]
    client.post(f"/api/jobs/{visit.job}/report")
    page = parse(client.get(f"/api/jobs/{visit.job}/report").content)
    assert "Taken at position 135°." in text(row_of(page, f"{visit.job}-R4"))


def test_a_reading_after_cleaning_is_compared_with_the_one_before_it(client: TestClient, visit: Visit) -> None:
    """Have `grading.rules.cleaning` compare a value marked "after cleaning" with the one before it."""
    visit.make_safe()
    insulation = {
        "kind": "insulation_resistance",
        "unit": "MOhm",
        "section": "motor_alone",
        "terminals": "lead-ground",
        "test_voltage_set": "500",
        "test_voltage_built": "500",
        "elapsed_s": "60",
    }
    confirm(client, typed(client, visit, **insulation, value="2"))
    confirm(client, typed(client, visit, **insulation, value="550", circumstances=["after_cleaning"]))
    [axis] = [a for a in client.get(f"/api/jobs/{visit.job}/findings").json()["axes"] if a["axis"] == "X"]
    assert [f["record_ids"] for f in axis["findings"] if f["rule"] == "insulation.cleaning"] == [["J1-R1", "J1-R2"]]
    client.post(f"/api/jobs/{visit.job}/report")
    page = parse(client.get(f"/api/jobs/{visit.job}/report").content)
    assert "Noted: first reading after cleaning, drying or repair." in text(row_of(page, "J1-R2"))


def test_every_circumstance_has_words() -> None:
    assert set(CIRCUMSTANCES) == set(Circumstance)
    assert len(set(CIRCUMSTANCES.values())) == len(Circumstance)
