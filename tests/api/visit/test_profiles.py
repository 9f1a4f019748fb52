"""What instruments can show, in a job: described, set, learnt; and what that does to photos."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from api import cli
from api.errors import BadInput, NotFound
from api.server.app import create_app
from api.visit.profiles import display_check
from api.workspace import Workspace
from capture.reading import Context, DisplayAlternative, DisplayReading, LeftOpen, Seen
from grading.terms.quantity import Quantity, QuantityKind
from tests.api.conftest import Visit
from tests.api.makers import JOB, FakeEngines

OWN: dict[str, Any] = {
    "name": "own",
    "title": "Own tester",
    "range": [{"unit": "MOhm", "top": "40.00"}, {"unit": "MOhm", "top": "4000", "bottom": "300"}],
    "over": [{"shown": ">4000", "unit": "MOhm", "test_voltage": [500]}],
}


def described(profile: Any) -> dict[str, Any]:
    instruments = [{**JOB["instruments"][0], "display_profile": profile}, JOB["instruments"][1]]
    return {**JOB, "instruments": instruments}


def profile_of(workspace: Workspace, job: str, label: str = "IT-03") -> dict[str, Any]:
    from api.visit.profiles import instrument_of, profile_for_page

    with workspace.database.read() as session:
        return profile_for_page(session, instrument_of(session, job, label))


def test_a_job_describes_what_its_instrument_shows(workspace: Workspace) -> None:
    by_name = workspace.create_job(described("insulation-4000"))["id"]
    assert profile_of(workspace, by_name)["profile"]["name"] == "insulation-4000"
    written_out = workspace.create_job(described(OWN))["id"]
    found = profile_of(workspace, written_out)
    assert (found["origin"], found["profile"]["range"][0]["top"]) == ("described", "40.00")
    with pytest.raises(BadInput, match="insulation-4000"):
        workspace.create_job(described("no such"))
    with pytest.raises(BadInput, match="botom"):
        workspace.create_job(described({**OWN, "range": [{"unit": "MOhm", "top": "1", "botom": "0"}]}))


def insulation(visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation set to five hundred volts")


def test_an_impossible_reading_is_refused_and_its_photo_kept(visit: Visit) -> None:
    visit.workspace.set_profile(visit.job, "IT-03", OWN)
    insulation(visit)
    answer = visit.show("99.99", "MOhm")
    assert answer["proposals"] == []
    assert "Own tester cannot show 99.99 MΩ" in answer["message"]
    assert answer["seen"]["displays"][0]["accepted"] is False
    assert visit.workspace.evidence.read(answer["sha256"])
    assert "profile set" in visit.whats()
    assert visit.workspace.verify().intact


def test_an_unlikely_reading_is_asked_about(visit: Visit) -> None:
    visit.workspace.set_profile(visit.job, "IT-03", OWN)
    visit.make_safe()
    insulation(visit)
    answer = visit.show("4000", "MOhm")
    [proposal] = answer["proposals"]
    assert "unusual" in proposal["doubts"]
    assert "seldom shows" in answer["message"]
    refused = visit.say("confirm")
    assert refused["records"] == []


def test_a_unit_that_was_not_seen_follows_from_what_is_measured_and_the_meter(visit: Visit) -> None:
    """With a test voltage on the display; without, the tester may stand on its ohms range, and the unit is asked."""
    visit.workspace.set_profile(visit.job, "IT-03", "insulation-4000")
    insulation(visit)
    asked = visit.show("34.70", None, doubts=["unit_missing"])
    assert {"unit_missing", "unit_unsure"} & set(asked["proposals"][0]["doubts"])
    assert not asked["seen"]["displays"][0]["unit_by_profile"]
    told = visit.show("34.71", None, doubts=["unit_missing"], secondary={"test_voltage": "512"})
    display = told["seen"]["displays"][0]
    assert (display["unit"], display["unit_by_profile"], display["doubts"]) == ("MOhm", True, [])


def test_voice_that_says_the_same_settles_it(visit: Visit) -> None:
    visit.workspace.set_profile(visit.job, "IT-03", OWN)
    insulation(visit)
    visit.say("four thousand megohms")
    answer = visit.show("4000", "MOhm")
    assert "unusual" not in answer["proposals"][0]["doubts"]


def test_the_voltage_of_the_conversation_counts(visit: Visit) -> None:
    visit.workspace.set_profile(visit.job, "IT-03", OWN)
    visit.say("x ray axis motor alone insulation set to two fifty volts")
    answer = visit.show("4000", "MOhm", ">")
    assert "unusual" in answer["proposals"][0]["doubts"], "it ends there at 500 V only"


def test_without_a_profile_or_for_another_instrument_nothing_is_refused(visit: Visit) -> None:
    insulation(visit)
    assert visit.show("99.99", "MOhm")["proposals"]
    visit.workspace.set_profile(visit.job, "IT-03", OWN)
    visit.say("yankee axis through the cable u to v winding resistance", after=125)
    assert visit.show("1.21", "Ohm")["proposals"], "the ohmmeter has no profile"


def test_formats_are_learnt_from_confirmed_photos_and_then_asked_about(visit: Visit) -> None:
    visit.make_safe()
    insulation(visit)
    for n in range(1, 9):
        visit.show(f"{n}.{n}0", "MOhm", after=125)
        assert visit.say("confirm")["records"], n
    learnt = profile_of(visit.workspace, visit.job)
    assert learnt["origin"] == "learnt"
    assert [one["top"] for one in learnt["profile"]["range"]] == ["9.99"]
    asked = visit.show("570", "MOhm", after=125)
    assert "unusual" in asked["proposals"][0]["doubts"]
    other = visit.workspace.create_job(JOB)["id"]
    assert profile_of(visit.workspace, other)["origin"] == "learnt", "the same instrument on another job"


def test_wrong_profiles_and_instruments_are_refused(visit: Visit) -> None:
    with pytest.raises(NotFound, match="IT-03, MM-11"):
        visit.workspace.set_profile(visit.job, "IT-99", OWN)
    with pytest.raises(BadInput, match="multimeter-6000"):
        visit.workspace.set_profile(visit.job, "IT-03", "nonsense")
    with pytest.raises(BadInput, match="in quotes"):
        visit.workspace.set_profile(visit.job, "IT-03", {"name": "x", "range": [{"unit": "MOhm", "top": 1.5}]})
    assert "profile set" not in visit.whats()


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    with TestClient(create_app(workspace), base_url="http://localhost") as opened:
        yield opened


def test_profiles_over_http(client: TestClient) -> None:
    assert {one["name"] for one in client.get("/api/profiles").json()} >= {"insulation-4000", "multimeter-6000"}
    job = client.post("/api/jobs", json=JOB).json()["id"]
    path = f"/api/jobs/{job}/instruments/IT-03/profile"
    assert client.get(path).json() == {
        "instrument": "IT-03", "kind": "insulation_tester", "origin": "", "profile": None,
    }  # fmt: skip
    assert client.put(path, json="insulation-4000").json()["profile"]["name"] == "insulation-4000"
    assert client.put(path, json=OWN).json()["profile"]["title"] == "Own tester"
    assert [one["origin"] for one in client.get(f"/api/jobs/{job}/profiles").json()] == ["set", ""]
    assert client.put(path, json={"name": "x"}).json()["code"] == "profile_invalid"
    assert client.get(f"/api/jobs/{job}/instruments/nope/profile").status_code == 404


def test_profiles_from_the_command_line(tmp_path: Path) -> None:
    runner = CliRunner()
    shown = runner.invoke(cli.app, ["profiles"])
    assert shown.exit_code == 0
    assert "insulation-4000" in shown.stdout
    workspace = Workspace.open(tmp_path / "data", engines=FakeEngines())
    job = workspace.create_job(JOB)["id"]
    workspace.close()
    file = tmp_path / "own.toml"
    file.write_text('name = "own"\n[[range]]\nunit = "MOhm"\ntop = "40.00"\n', "utf-8")
    assert "40.00" in runner.invoke(cli.app, ["profiles", str(file)]).stdout
    given = ["profiles", str(file), "--job", job, "--instrument", "IT-03", "--data", str(tmp_path / "data")]
    done = runner.invoke(cli.app, given)
    assert done.exit_code == 0, done.output
    workspace = Workspace.open(tmp_path / "data", engines=FakeEngines())
    assert profile_of(workspace, job)["profile"]["name"] == "own"
    workspace.close()
    assert runner.invoke(cli.app, ["profiles", "--job", job]).exit_code == 2


@pytest.mark.parametrize("accepted", [True, False])
@pytest.mark.parametrize(("kind", "text"), [(QuantityKind.CURRENT, "0.253"), (QuantityKind.VOLTAGE, "12.05")])
def test_the_number_of_the_quantity_that_the_visit_expects_counts_without_any_profile(
    workspace: Workspace, kind: QuantityKind, text: str, accepted: bool
) -> None:
    """A display of volts and amperes, accepted by one of them or refused as two numbers of one size."""

    def shown(digits: str, unit: str) -> DisplayReading:
        sure = {"value": 1.0, "dot": 1.0, "unit": 1.0}
        return DisplayReading(digits, Quantity(digits, unit), {}, sure, True, "", (), units_seen=((unit, 0.97),))

    numbers = (shown("12.05", "V"), shown("0.253", "A"))
    both = tuple(DisplayAlternative(LeftOpen.NUMBER, one) for one in numbers)
    reason = "" if accepted else "two numbers"
    display = replace(numbers[0], accepted=accepted, reason=reason, alternatives=both)
    job = workspace.create_job(JOB)["id"]
    with workspace.database.read() as session:
        check = display_check(session, job, Context(kind=kind))
        found = check(Seen((display,), reason)).displays[0]
    assert (found.text, found.accepted, found.doubts) == (text, True, ())
