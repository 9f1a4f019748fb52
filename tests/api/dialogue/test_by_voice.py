"""A visit steered by voice alone: safety before the test, corrections of any record, notes, pauses, what is left.

What must hold is the product's own promise (DESIGN) and, for the DC bus, 50 V (29 CFR 1910.333(a)(1)).
"""

from __future__ import annotations

import pytest

from api.visit.safety_steps import STEPS
from tests.api.conftest import Visit

SET = "x ray axis motor alone insulation set five hundred volts"
VALUE = "lead to ground five hundred fifty megohms"


def answer_all(visit: Visit, volts: str = "three point one volts") -> int:
    """Answer whatever safety question is open, by voice, until none is; give how many there were."""
    count = 0
    while (step := open_step(visit)) is not None:
        visit.say(volts if step == "bus_discharged" else "yes")
        count += 1
        assert count < 20
    return count


def open_step(visit: Visit) -> str | None:
    from api.dialogue.events import SafetyQuestion
    from api.dialogue.turn import standing_of

    with visit.workspace.database.read() as session:
        question = standing_of(session, visit.job).state.open
    return question.step if isinstance(question, SafetyQuestion) else None


def test_the_first_mention_of_the_test_asks_before_anything_is_measured(visit: Visit) -> None:
    asked = visit.say(SET)
    assert asked["message"].endswith(STEPS[0].question)
    assert answer_all(visit) == 12
    visit.say(VALUE)
    done = visit.say("confirm")
    assert "four times the test time" in done["message"]
    assert "Discharge now: four minutes" in done["message"]
    [record] = visit.records()
    assert record["note"] == ""


def test_answers_are_read_back_with_their_voltage(visit: Visit) -> None:
    visit.say(SET)
    visit.say("yes")
    assert visit.say("does not apply")["message"].startswith("Vertical axes held: does not apply.")
    assert "always applies" in visit.say("does not apply")["message"]
    visit.say("yes")
    assert visit.say("yes")["message"].startswith("How many volts")
    assert visit.say("three point one volts")["message"].startswith("DC bus three point one volts: yes.")


def test_a_bus_of_seventy_five_volts_is_not_yes(visit: Visit) -> None:
    visit.say(SET)
    for words in ("yes", "yes", "yes"):
        visit.say(words)
    answer = visit.say("seven five volts")
    assert "not below fifty volts" in answer["message"]
    assert "Keep clear" in answer["message"]
    assert open_step(visit) is None
    visit.say(VALUE)
    assert visit.say("confirm")["problem"]["code"] == "safety_open"
    assert visit.records() == []


def test_the_cabinet_is_asked_once_and_the_next_axis_only_for_what_differs(visit: Visit) -> None:
    visit.say(SET)
    assert answer_all(visit) == 12
    visit.say("yankee axis")
    assert answer_all(visit) == 4


@pytest.mark.parametrize("words", ["restored power", "power restored", "another person"])
def test_after_a_stated_break_everything_is_asked_again(visit: Visit, words: str) -> None:
    visit.say(SET)
    answer_all(visit)
    assert "open again" in visit.say(words)["message"]
    assert answer_all(visit) == 12


def test_on_another_day_everything_is_asked_again(visit: Visit) -> None:
    visit.say(SET)
    answer_all(visit)
    with visit.workspace.database.read() as session:
        from api.visit.safety import open_steps

        assert open_steps(session, visit.job, f"{visit.job}-X", "2026-11-24T23:59:00+00:00") == []
        assert len(open_steps(session, visit.job, f"{visit.job}-X", "2026-11-25T06:00:00+00:00")) == 12


def test_an_answer_is_taken_back(visit: Visit) -> None:
    visit.say(SET)
    visit.say("yes")
    assert "Taken back" in visit.say("take it back")["message"]
    assert open_step(visit) == STEPS[0].id


def test_answers_after_the_reading_are_marked(visit: Visit) -> None:
    visit.say("x ray axis motor alone")
    visit.say("insulation lead to ground five hundred fifty megohms")
    visit.say("confirm")
    answer_all(visit)
    visit.say("confirm")
    [record] = visit.records()
    assert "answered after this reading was taken" in record["note"]


def measured(visit: Visit) -> None:
    """MakeRecords three ohmmeter readings of Y and one of X."""
    visit.say("yankee axis motor alone ohmmeter")
    for lead, value in (("u", "fifty"), ("v", "two"), ("w", "three")):
        visit.say(f"{lead} to ground {value} megohms")
        visit.say("confirm")
    visit.say("x ray axis motor alone ohmmeter lead to ground four megohms")
    visit.say("confirm")
    assert [r["value"] for r in visit.records()] == ["50", "2", "3", "4"]


@pytest.mark.parametrize(
    "words",
    [
        "correct yankee axis motor alone uniform one five not fifty megohms",
        "correction yankee axis u to ground one five megohms",
        "correction one five megohms not fifty",
    ],
)
def test_an_older_record_is_corrected_by_naming_it(visit: Visit, words: str) -> None:
    measured(visit)
    asked = visit.say(words)
    assert asked["proposals"][0]["supersedes"] == "J1-R1"
    visit.say("confirm")
    found = {r["terminals"]: r["value"] for r in visit.records() if r["axis"] == "Y"}
    assert found == {"U-PE": "15", "V-PE": "2", "W-PE": "3"}


def test_a_part_is_corrected_without_its_value(visit: Visit) -> None:
    visit.say("x ray axis motor alone a one to a two one point zero eight ohms")
    visit.say("correction cable alone")
    visit.say("confirm")
    assert [(r["section"], r["value"]) for r in visit.records()] == [("cable_alone", "1.08")]


def test_questions_wait_in_order_and_can_be_skipped(visit: Visit) -> None:
    visit.say("x ray axis motor alone a one to a two one point zero eight ohms")
    answer = visit.say("yankee axis u to v one point two ohms")
    assert "waits" in answer["message"]
    assert "one point zero eight" in answer["message"]
    assert "one point two ohms" in visit.say("skip it")["message"]
    visit.say("confirm")
    visit.say("confirm")
    assert [r["value"] for r in visit.records()] == ["1.2", "1.08"]


def test_nothing_is_obeyed_in_a_pause(visit: Visit) -> None:
    visit.say("x ray axis motor alone a one to a two one point zero eight ohms")
    visit.say("stop listening")
    assert visit.say("confirm")["message"] == ""
    assert visit.say("yankee axis cable alone u to v two ohms")["message"] == ""
    assert visit.records() == []
    assert "one point zero eight" in visit.say("resume listening")["message"]
    visit.say("confirm")
    assert [(r["axis"], r["value"]) for r in visit.records()] == [("X", "1.08")]


def test_a_note_is_kept_and_not_understood(visit: Visit) -> None:
    visit.say("make a note")
    assert "Noted" in visit.say("confirm")["message"]
    assert "noted" in visit.whats()
    assert visit.records() == []
    assert visit.workspace.verify().intact


def test_what_is_left_and_the_verdict_are_told(visit: Visit) -> None:
    assert "points are left" in visit.say("what is left")["message"]
    assert "no verdict" in visit.say("the verdict")["message"]
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.say("confirm")
    assert "So far, X-ray axis" in visit.say("what is the verdict")["message"]


def test_the_read_back_is_short_and_long_on_request(visit: Visit) -> None:
    asked = visit.say("x ray axis motor alone a one to a two one point zero eight ohms")
    assert asked["spoken"] == "X-ray motor A one to A two, one point zero eight ohms. Right?"
    assert visit.say("in full")["spoken"] == asked["message"]
