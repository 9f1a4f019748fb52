"""Values confirmed by saying them again: what is heard twice alike is recorded, a word alone or another value is not.

Rule checked: DESIGN of the product (a record exists only when a person said or tapped yes to what was read back).
"""

from __future__ import annotations

import pytest

from api.dialogue.actions import Confirm
from api.dialogue.turn import standing_of
from tests.api.conftest import Visit

WINDING = "x ray axis through the cable a one to a two one point zero eight ohms"
INSULATION = "x ray axis motor alone u to ground insulation set five hundred volts one point eight gigohms"


@pytest.fixture
def twice(visit: Visit) -> Visit:
    """Give a visit in which spoken values are said twice."""
    visit.workspace.say_twice(visit.job, True, captured_at=visit._later(1))
    return visit


def test_said_again_is_recorded_with_both_clips(twice: Visit) -> None:
    asked = twice.say(WINDING)
    assert asked["spoken"].endswith("Again?")
    done = twice.say(WINDING)
    [record] = twice.records()
    assert (record["value"], record["agreement"], record["confirmed_how"]) == ("1.08", "said_again", "spoken")
    assert record["clip_sha256"] == asked["sha256"]
    assert done["sha256"] != asked["sha256"]
    assert twice.workspace.verify().intact


def test_the_place_need_not_be_said_again(twice: Visit) -> None:
    twice.say(WINDING)
    twice.say("one point zero eight ohms")
    assert [record["agreement"] for record in twice.records()] == ["said_again"]


@pytest.mark.parametrize("words", ["confirm", "yes", "one point zero eight", "ohms", "x ray axis through the cable"])
def test_less_than_the_value_confirms_nothing(twice: Visit, words: str) -> None:
    twice.say(WINDING)
    twice.say(words)
    assert twice.records() == []


def test_the_word_is_answered_with_what_to_do(twice: Visit) -> None:
    twice.say(WINDING)
    assert "say the value again" in twice.say("confirm")["message"]


def test_another_value_is_asked_about_with_both(twice: Visit) -> None:
    twice.say(WINDING)
    asked = twice.say("one point three eight ohms")
    assert twice.records() == []
    assert "Is it one point three eight ohms or one point zero eight ohms?" in asked["message"]
    assert twice.say("one point three eight ohms")["spoken"].endswith("Again?")  # which it is; now twice alike
    assert twice.records() == []
    twice.say("confirm")
    assert twice.records() == []
    twice.say("one point three eight ohms")
    assert [record["value"] for record in twice.records()] == ["1.38"]


def test_another_lead_is_another_reading(twice: Visit) -> None:
    twice.say(WINDING)
    twice.say("b one to b two one point zero eight ohms")
    assert twice.records() == []
    with twice.workspace.database.read() as session:
        assert len(standing_of(session, twice.job).state.questions) == 2


def test_a_photo_that_agrees_makes_the_word_enough(twice: Visit) -> None:
    twice.say(WINDING)
    twice.show("1.080", "Ohm")
    twice.say("confirm")
    assert [record["agreement"] for record in twice.records()] == ["agree"]


def test_a_tap_confirms_what_is_on_the_screen(twice: Visit) -> None:
    [proposal] = twice.say(WINDING)["proposals"]
    twice.workspace.act(proposal["id"], Confirm(proposal["revision"]))
    assert len(twice.records()) == 1


def test_the_safety_gate_holds_what_is_said_again(twice: Visit) -> None:
    twice.say(INSULATION)
    twice.say(INSULATION)
    assert twice.records() == []


def test_the_word_is_enough_again_when_it_is_turned_off(twice: Visit) -> None:
    twice.say(WINDING)
    said = twice.workspace.say_twice(twice.job, False, captured_at=twice._later(5))
    assert said["message"].endswith("Right?")
    twice.say("confirm")
    assert len(twice.records()) == 1
    assert twice.whats().count("confirmation set") == 2
