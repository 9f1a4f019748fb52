"""The conversation, by words, photos and taps, with the real parser, files and database.

Rules checked: DESIGN of the product (a record exists only when a person said or tapped yes; silence confirms nothing;
voice and photo that disagree need a choice).
"""

from __future__ import annotations

import pytest

from api.dialogue.actions import Choose, Confirm, Correct
from api.errors import BadInput, Refused
from api.visit.readings import ReadingFields
from tests.api.conftest import Visit

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


def test_a_spoken_reading_is_read_back_and_recorded_by_confirm(visit: Visit) -> None:
    asked = visit.say(READING)
    assert asked["message"] == "X-ray axis, through the cable, A one to A two: one point zero eight ohms. Right?"
    assert visit.records() == []
    done = visit.say("confirm")
    assert len(done["records"]) == 1
    [record] = visit.records()
    assert (record["value"], record["unit"], record["axis"], record["section"]) == ("1.08", "Ohm", "X", "through_cable")
    assert (record["confirmed_how"], record["confirmed_by"], record["source"]) == ("spoken", "Technician 7", "speech")
    assert record["clip_sha256"] == asked["sha256"]
    assert visit.workspace.verify().intact


def test_a_question_of_the_day_before_comes_after_what_is_said_now(visit: Visit) -> None:
    visit.say(READING)
    said = visit.say("yankee axis motor alone u to v one point two one ohms", after=20 * 3600)
    assert said["message"].startswith("What was left open before waits. Yankee axis")
    visit.say("confirm")
    assert [record["axis"] for record in visit.records()] == ["Y"]
    assert "X-ray axis" in visit.say("repeat")["message"]


def test_confirm_with_nothing_open_says_so(visit: Visit) -> None:
    assert visit.say("confirm")["message"] == "Nothing is open, so nothing was confirmed."
    assert visit.records() == []


def test_silence_and_talk_confirm_nothing(visit: Visit) -> None:
    visit.say(READING)
    for words in ("", "uh so now", "yes", "right", "okay"):
        visit.say(words)
    assert visit.records() == []
    assert "negative" in visit.say("yes")["message"]


def test_negative_drops_and_keeps_on_file(visit: Visit) -> None:
    visit.say(READING)
    answer = visit.say("negative")
    assert answer["proposals"][0]["state"] == "rejected"
    assert "Nothing is open" in visit.say("confirm")["message"]


def test_correction_replaces_the_open_value_and_needs_its_own_confirmation(visit: Visit) -> None:
    visit.say(READING)
    asked = visit.say("correction one point zero nine ohms")
    assert "one point zero nine ohms. Right?" in asked["message"]
    assert visit.records() == []
    visit.say("confirm")
    assert [record["value"] for record in visit.records()] == ["1.09"]
    assert "corrected" in visit.whats()


def test_correction_after_confirmation_supersedes_and_undo_brings_the_old_back(visit: Visit) -> None:
    visit.say(READING)
    visit.say("confirm")
    visit.say("correction one point zero seven ohms")
    assert [record["value"] for record in visit.records()] == ["1.08"]
    visit.say("confirm")
    [record] = visit.records()
    assert (record["value"], record["supersedes"]) == ("1.07", "J1-R1")
    assert visit.say("take it back")["withdrawn"] == ["J1-R2"]
    assert [record["value"] for record in visit.records()] == ["1.08"]
    visit.say("take it back")
    assert visit.records() == []
    assert "nothing was withdrawn" in visit.say("take it back")["message"]


def test_context_is_carried_from_clip_to_clip(visit: Visit) -> None:
    visit.say("yankee axis motor alone")
    visit.say("u to v one point two one ohms")
    visit.say("confirm")
    visit.say("v to w one point two zero ohms")
    visit.say("confirm")
    assert [(r["axis"], r["section"], r["terminals"]) for r in visit.records()] == [
        ("Y", "motor_alone", "U-V"),
        ("Y", "motor_alone", "V-W"),
    ]


def test_a_missing_unit_blocks_confirm_and_can_be_said_alone(visit: Visit) -> None:
    visit.say("x ray axis motor alone ohmmeter lead to ground")
    asked = visit.say("two point two")
    assert "unit_missing" in asked["proposals"][0]["doubts"]
    refused = visit.say("confirm")
    assert refused["problem"]["code"] == "in_doubt"
    assert visit.records() == []
    assert "two point two megohms. Right?" in visit.say("megohms")["message"]
    visit.say("confirm")
    assert [(r["value"], r["unit"]) for r in visit.records()] == [("2.2", "MOhm")]


def test_a_missing_axis_and_section_are_asked_for_and_filled_by_words(visit: Visit) -> None:
    asked = visit.say("a one to a two one point zero eight ohms")
    assert set(asked["proposals"][0]["doubts"]) == {"axis_missing", "section_missing"}
    visit.say("x ray axis")
    assert visit.say("confirm")["problem"]["code"] == "in_doubt"
    visit.say("motor alone")
    visit.say("confirm")
    assert [(r["axis"], r["section"]) for r in visit.records()] == [("X", "motor_alone")]


def test_an_axis_that_the_job_does_not_have_moves_the_work_nowhere(visit: Visit) -> None:
    """Keep a misheard letter from sending the readings that follow to an axis that is not there."""
    visit.say("x ray axis motor alone")
    assert visit.say("victor axis")["message"] == "This job has no axis V; it has X, Y."
    visit.say("a one to a two one point zero eight ohms")
    visit.say("confirm")
    assert [(r["axis"], r["section"]) for r in visit.records()] == [("X", "motor_alone")]


def test_an_axis_that_the_job_does_not_have_is_asked_about(visit: Visit) -> None:
    asked = visit.say("bravo axis motor alone a one to a two one point zero eight ohms")
    assert "axis_missing" in asked["proposals"][0]["doubts"]
    visit.say("x ray axis")
    visit.say("confirm")
    assert visit.records()[0]["axis"] == "X"


def test_value_and_confirmation_in_one_breath_confirm_nothing(visit: Visit) -> None:
    visit.say(READING)
    answer = visit.say("a one to a two one point one ohms confirm")
    assert answer["records"] == []
    assert visit.records() == []
    assert "one breath" in answer["message"]


def test_a_confirmation_spoken_before_the_value_changed_does_not_count(visit: Visit) -> None:
    visit.say(READING)
    late = visit.now + 5
    visit.say("correction one point zero nine ohms", after=20)
    visit.now = late
    assert visit.say("confirm", after=0)["problem"]["code"] == "said_before"
    assert visit.records() == []


def test_voice_and_photo_that_agree_need_one_word(visit: Visit) -> None:
    visit.say(READING)
    seen = visit.show("1.080", "Ohm")
    assert seen["proposals"][0]["agreement"] == "agree"
    assert len(seen["proposals"]) == 1
    visit.say("confirm")
    [record] = visit.records()
    assert (record["value"], record["source"]) == ("1.080", "speech+photo")
    assert record["clip_sha256"]
    assert record["photo_sha256"]
    assert record["crop_sha256"]
    with visit.workspace.database.read() as session:
        from api.ledger.evidence import evidence_of

        crop = evidence_of(session, record["crop_sha256"])
        assert (crop.kind, crop.parent_sha256) == ("crop", record["photo_sha256"])


def test_voice_and_photo_that_disagree_need_a_choice(visit: Visit) -> None:
    visit.say(READING)
    seen = visit.show("1.800", "Ohm")
    assert "conflict" in seen["proposals"][0]["doubts"]
    assert "Voice and photo disagree" in seen["message"]
    assert visit.say("confirm")["problem"]["code"] == "in_doubt"
    choices = {choice["reading"]["value"]: choice["index"] for choice in seen["proposals"][0]["choices"]}
    assert set(choices) == {"1.08", "1.800"}
    chosen = visit.workspace.act("J1-P1", Choose(choices["1.800"]), captured_at=visit._later(5))
    assert visit.records() == []
    visit.workspace.act("J1-P1", Confirm(chosen["proposals"][0]["revision"]))
    [record] = visit.records()
    assert (record["value"], record["agreement"]) == ("1.800", "chosen")


def test_a_retake_settles_a_conflict(visit: Visit) -> None:
    visit.say(READING)
    visit.show("1.800", "Ohm")
    seen = visit.show("1.080", "Ohm")
    assert (seen["proposals"][0]["id"], seen["proposals"][0]["doubts"]) == ("J1-P1", [])
    visit.say("confirm")
    assert len(visit.records()) == 1


def test_photo_first_then_words(visit: Visit) -> None:
    visit.say("x ray axis through the cable")
    seen = visit.show("1.080", "Ohm")
    assert "quantity_missing" in seen["proposals"][0]["doubts"]
    asked = visit.say("a one to a two one point zero eight ohms")
    assert asked["proposals"][0]["id"] == "J1-P1"
    assert asked["proposals"][0]["agreement"] == "agree"
    visit.say("confirm")
    assert [(r["value"], r["terminals"]) for r in visit.records()] == [("1.080", "A1-A2")]


def test_voice_and_photo_too_far_apart_are_not_joined(visit: Visit) -> None:
    visit.say(READING)
    seen = visit.show("1.080", "Ohm", after=121)
    assert seen["proposals"][0]["id"] == "J1-P2"


def test_an_unread_photo_is_kept_with_its_reading(visit: Visit) -> None:
    visit.say(READING)
    seen = visit.show("1.080", "Ohm", refused="The display glares. Turn it and take it again.")
    assert "glares" in seen["message"]
    visit.say("confirm")
    [record] = visit.records()
    assert (record["value"], record["agreement"]) == ("1.08", "photo_not_read")
    assert record["photo_sha256"] == seen["sha256"]


def test_the_photo_gives_the_unit_that_was_not_said(visit: Visit) -> None:
    visit.say("x ray axis motor alone ohmmeter lead to ground")
    visit.say("two point two")
    seen = visit.show("2.20", "MOhm")
    assert seen["proposals"][0]["doubts"] == []
    visit.say("confirm")
    assert [(r["value"], r["unit"]) for r in visit.records()] == [("2.20", "MOhm")]


def test_the_photo_brings_voltage_and_time(visit: Visit) -> None:
    visit.make_safe()
    visit.say("x ray axis through the cable insulation set five hundred volts")
    visit.say("lead to ground greater than four thousand megohms")
    visit.show("4000", "MOhm", ">", secondary={"test_voltage": "512", "elapsed": "1:00"})
    done = visit.say("confirm")
    assert "four times the test time" in done["message"]
    [record] = visit.records()
    assert (record["qualifier"], record["value"], record["unit"]) == (">", "4000", "MOhm")
    assert (record["test_voltage_set"], record["test_voltage_built"], record["elapsed_s"]) == ("500", "512", "60")
    assert record["instrument_id"] == "J1-IT-03"


def test_insulation_is_refused_until_the_safety_steps_are_answered(visit: Visit) -> None:
    visit.say("x ray axis motor alone")
    asked = visit.say("insulation lead to ground five hundred fifty megohms")
    assert "Do not test" in asked["message"]
    refused = visit.say("confirm")
    assert refused["problem"]["code"] == "safety_open"
    assert visit.records() == []
    assert "confirm refused" in visit.whats()
    visit.make_safe()
    visit.say("confirm")
    [record] = visit.records()
    assert record["value"] == "550"
    assert "after this reading was taken" in record["note"]


def test_teen_or_ty_can_be_chosen(visit: Visit) -> None:
    visit.say("x ray axis motor alone ohmmeter lead to ground")
    asked = visit.say("fifteen megohms")
    proposal = asked["proposals"][0]
    values = [choice["reading"]["value"] for choice in proposal["choices"]]
    assert values[:2] == ["15", "50"]


def test_repeat_photo_and_next(visit: Visit) -> None:
    asked = visit.say(READING)
    assert visit.say("repeat")["message"] == asked["message"]
    assert visit.say("photo")["action"] == "photo"
    visit.say("confirm")
    assert visit.say("next")["message"] == (
        "Next: X-ray axis, through the cable, ohmmeter, A one to ground. "
        "A few volts find a solid leak before any test voltage is applied."
    )


def test_typed_readings_go_the_same_way(visit: Visit) -> None:
    asked = visit.workspace.type_reading(visit.job, {"value": "0.80", "unit": "Ohm"})
    assert {"axis_missing", "section_missing", "quantity_missing"} <= set(asked["proposals"][0]["doubts"])
    with pytest.raises(Refused) as refused:
        visit.workspace.act("J1-P1", Confirm(1))
    assert refused.value.code == "in_doubt"
    fields: ReadingFields = {"kind": "winding_resistance", "axis": "X", "section": "motor_alone", "terminals": "A1-A2"}
    fixed = visit.workspace.act("J1-P1", Correct(reading=fields))
    with pytest.raises(Refused) as stale:
        visit.workspace.act("J1-P1", Confirm(1))
    assert stale.value.code == "changed"
    visit.workspace.act("J1-P1", Confirm(fixed["proposals"][0]["revision"]))
    assert [(r["value"], r["confirmed_how"], r["source"]) for r in visit.records()] == [("0.80", "tapped", "typed")]


def test_a_tap_must_name_the_revision_it_saw(visit: Visit) -> None:
    visit.say(READING)
    with pytest.raises(BadInput) as missing:
        visit.workspace.act("J1-P1", Confirm())
    assert missing.value.code == "revision_missing"


def test_an_implausible_value_must_be_chosen_on_purpose(visit: Visit) -> None:
    asked = visit.say("x ray axis through the cable a one to a two nine hundred ohms")
    assert "implausible" in asked["proposals"][0]["doubts"]
    chosen = visit.workspace.act("J1-P1", Choose(0), captured_at=visit._later(5))
    assert chosen["proposals"][0]["doubts"] == []
    visit.workspace.act("J1-P1", Confirm(chosen["proposals"][0]["revision"]))
    assert [record["value"] for record in visit.records()] == ["900"]


def test_an_engine_that_falls_over_loses_nothing(visit: Visit) -> None:
    answer = visit.say("crash")
    assert answer["problem"]["code"] == "engine_failed"
    assert answer["state"] == "failed"
    assert visit.workspace.evidence.read(answer["sha256"])
    assert visit.say("noise")["problem"]["code"] == "silent"
    visit.say(READING)
    visit.say("confirm")
    assert len(visit.records()) == 1
    assert visit.workspace.verify().intact


def test_a_unit_that_cannot_be_is_refused(visit: Visit) -> None:
    with pytest.raises(BadInput) as wrong:
        visit.workspace.type_reading(visit.job, {"kind": "winding_resistance", "value": "2", "unit": "V"})
    assert wrong.value.code == "unit_does_not_fit"


def test_an_auxiliary_lead_never_gets_an_insulation_record(visit: Visit) -> None:
    visit.make_safe()
    fields: ReadingFields = {
        "kind": "insulation_resistance",
        "value": "550",
        "unit": "MOhm",
        "axis": "X",
        "section": "motor_alone",
    }
    visit.workspace.type_reading(visit.job, {**fields, "terminals": "BRAKE-PE", "test_voltage_set": "500"})
    with pytest.raises(Refused) as refused:
        visit.workspace.act("J1-P1", Confirm(1))
    assert refused.value.code == "auxiliary_lead"  # domain TV-A11 (program's rule)


def test_the_trail_holds_every_step_in_order(visit: Visit) -> None:
    visit.say(READING)
    visit.show("1.080", "Ohm")
    visit.say("confirm")
    assert visit.whats() == [
        "signing key named",
        "job created",
        *("evidence stored", "recognised", "proposed", "asked"),
        *("evidence stored", "recognised", "joined", "asked"),
        *("evidence stored", "recognised", "confirmed", "asked"),
    ]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("x ray axis motor alone", "X-ray axis, motor alone"),
        ("set to five hundred volts", "five hundred volts"),
        ("set five hundred", "five hundred volts"),
    ],
)
def test_a_setting_that_holds_already_is_acknowledged(visit: Visit, words: str, expected: str) -> None:
    visit.say("x ray axis motor alone")
    visit.say("set to five hundred volts")
    answer = visit.say(words)["message"]
    assert answer.startswith("Still ")
    assert expected in answer


def test_a_setting_said_again_asks_the_open_question_again(visit: Visit) -> None:
    visit.say("x ray axis motor alone")
    asked = visit.say("u to v one point two one ohms")["message"]
    again = visit.say("x ray axis")["message"]
    assert again.startswith("Still X-ray axis")
    assert again.endswith(asked)
    assert len(visit.say("confirm")["records"]) == 1


@pytest.mark.parametrize("words", ["banana", "uh so now", "[unk] x ray [unk]", "meg"])
def test_what_says_nothing_is_still_not_understood(visit: Visit, words: str) -> None:
    visit.say("x ray axis motor alone")
    assert visit.say(words)["message"].startswith("Nothing understood")


def test_each_reading_of_a_list_is_asked_about_with_its_own_twin(visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation")
    answer = visit.say("u to ground fifteen meg v to ground sixteen meg w to ground two meg")
    others = [[other["value"] for other in row["alternatives"]] for row in answer["proposals"]]
    assert others == [["50"], ["60"], []]


def test_a_letter_that_could_be_several_axes_is_asked_about_with_the_words_to_say(visit: Visit) -> None:
    answer = visit.say("b axis")["message"]
    assert answer == "Which axis? Say one of X-ray axis, Yankee axis."


def test_an_instrument_that_a_person_named_outlasts_a_change_of_the_value(visit: Visit) -> None:
    fields: ReadingFields = {"kind": "resistance_to_ground", "axis": "X", "section": "motor_alone", "value": "1.5"}
    asked = visit.workspace.type_reading(visit.job, {**fields, "unit": "MOhm"})["proposals"][0]
    usual = asked["instrument_id"]
    other = f"{visit.job}-IT-03"
    assert usual != other
    named = visit.workspace.act(asked["id"], Correct(instrument_id=other))["proposals"][0]
    assert named["instrument_id"] == other
    changed = visit.workspace.act(asked["id"], Correct(reading={"value": "1.6"}))["proposals"][0]
    assert (changed["value"], changed["instrument_id"]) == ("1.6", other)
