"""What is carried forward must be able to belong to the value, and a photo that comes late finds its record.

The product's own promise (DESIGN: nothing is guessed); that insulation testers show no ohms is common practice of the
trade, without a source.
"""

from __future__ import annotations

import pytest

from api.errors import BadInput
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB, clip


def insulation(visit: Visit) -> None:
    visit.make_safe()
    visit.say("x ray axis motor alone insulation set five hundred volts lead to ground")


def test_a_photo_in_ohms_after_an_insulation_test_is_asked_about(visit: Visit) -> None:
    insulation(visit)
    [proposal] = visit.show("1.10", "Ohm")["proposals"]
    assert "quantity_missing" in proposal["doubts"]
    assert proposal["test_voltage_set"] is None


def test_ohms_said_after_an_insulation_test_are_asked_about(visit: Visit) -> None:
    insulation(visit)
    [proposal] = visit.say("one point one zero ohms")["proposals"]
    assert "quantity_missing" in proposal["doubts"]


def test_megohms_after_an_insulation_test_are_not(visit: Visit) -> None:
    insulation(visit)
    [proposal] = visit.show("110.0", "MOhm")["proposals"]
    assert proposal["doubts"] == []
    assert (proposal["kind"], proposal["test_voltage_set"]) == ("insulation_resistance", "500")


def test_context_grows_old(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    import datetime as dt

    insulation(visit)
    clock = visit.workspace.database.clock
    monkeypatch.setattr(visit.workspace.database, "clock", lambda: clock() + dt.timedelta(minutes=31))
    [proposal] = visit.say("one hundred megohms")["proposals"]
    assert {"section_missing", "quantity_missing"} <= set(proposal["doubts"])
    assert proposal["axis"] == "X"


def recorded(visit: Visit) -> None:
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.say("confirm")


def test_a_photo_after_its_reading_was_confirmed_joins_it(visit: Visit) -> None:
    recorded(visit)
    answer = visit.show("1.080", "Ohm")
    assert "agrees with record J1-R1" in answer["message"]
    assert answer["proposals"] == []
    assert len(visit.records()) == 1
    assert visit.workspace.verify().intact


def test_a_photo_that_differs_from_its_record_is_asked_about(visit: Visit) -> None:
    recorded(visit)
    answer = visit.show("1.800", "Ohm")
    [proposal] = answer["proposals"]
    assert "differs from record J1-R1" in answer["message"]
    assert (proposal["supersedes"], "conflict" in proposal["doubts"]) == ("J1-R1", True)
    assert visit.say("confirm")["problem"]["code"] == "in_doubt"
    assert [r["value"] for r in visit.records()] == ["1.08"]


def test_the_same_photo_twice_is_said(visit: Visit) -> None:
    from tests.api.makers import photo

    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    data = photo("1.080", "Ohm", "=", 7)
    visit.workspace.take_photo(visit.job, data, visit._later(5))
    visit.say("confirm")
    again = visit.workspace.take_photo(visit.job, data, visit._later(200))
    assert "stands with record J1-R1 already" in again["message"]
    assert len(visit.records()) == 1


def test_a_decimal_comma_is_taken(visit: Visit) -> None:
    fields: ReadingFields = {"kind": "winding_resistance", "axis": "X", "section": "motor_alone", "terminals": "A1-A2"}
    [proposal] = visit.workspace.type_reading(visit.job, {**fields, "value": "0,80", "unit": "Ohm"})["proposals"]
    assert proposal["value"] == "0.80"
    with pytest.raises(BadInput, match="can be"):
        visit.workspace.type_reading(visit.job, {**fields, "value": "1,234", "unit": "Ohm"})


def test_an_axis_whose_name_cannot_be_said_has_a_spoken_one(workspace: Workspace) -> None:
    job = workspace.create_job(
        {**JOB, "axes": [{"name": "X-1", "motor_kind": "ac_servo"}, {"name": "turret", "motor_kind": "ac_servo"}]}
    )
    assert [axis["said"] for axis in job["axes"]] == ["X-ray one axis", "Tango axis"]
    said = clip("tango axis motor alone u to v two ohms")
    answer = workspace.take_clip(job["id"], said, "2026-11-24T08:31:00+00:00")
    assert answer["proposals"][0]["axis"] == "TURRET"


def of_one_point(visit: Visit) -> None:
    insulation(visit)
    visit.say("greater than four thousand megohms")
    visit.say("confirm")
    answer = visit.say("five hundred fifty megohms")
    assert "On record J1-R1 this point has greater than four zero zero zero megohms." in answer["message"]
    assert "Both cannot be true" in answer["message"]
    assert visit.say("confirm")["problem"]["code"] == "in_doubt"


def test_of_values_that_cannot_all_be_true_one_is_chosen(visit: Visit) -> None:
    of_one_point(visit)
    visit.say("five hundred fifty megohms")
    visit.say("confirm")
    assert [r["value"] for r in visit.records()] == ["550"]
    visit.say("one point three two megohms")
    visit.say("one point three two megohms")
    visit.say("confirm")
    assert [(r["value"], r["supersedes"]) for r in visit.records()] == [("1.32", "J1-R2")]
    assert visit.workspace.verify().intact


def test_both_can_be_kept(visit: Visit) -> None:
    of_one_point(visit)
    assert "Right?" in visit.say("both")["message"]
    visit.say("confirm")
    assert [(r["qualifier"], r["value"]) for r in visit.records()] == [(">", "4000"), ("=", "550")]


@pytest.mark.parametrize("words", ["five hundred megohms after thirty seconds", "insulation set two fifty volts"])
def test_other_times_and_voltages_contradict_nothing(visit: Visit, words: str) -> None:
    insulation(visit)
    visit.say("lead to ground greater than four thousand megohms after one minute")
    visit.say("confirm")
    answer = visit.say(words)
    answer = answer if answer["proposals"] else visit.say("lead to ground five hundred megohms")
    assert "contradicted" not in answer["proposals"][0]["doubts"]
