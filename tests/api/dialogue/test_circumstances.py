"""Circumstances of a reading by voice: read back, confirmed, corrected, undone; what must hold is the issue's promise.

That a value is only recorded as it was read back is the product's own law (DESIGN); which circumstances there are is
what grading takes (`grading.terms.circumstance`).
"""

from __future__ import annotations

from typing import Any

import pytest

from api.visit.records import current_records, record_for_page
from capture.language.vocabulary import CIRCUMSTANCES
from grading.terms.circumstance import Circumstance
from tests.api.conftest import Visit

VALUE = "x ray axis motor alone winding resistance u to v one point one ohms"


def recorded(visit: Visit) -> list[dict[str, Any]]:
    """Give the records in force, with what is noted beside them."""
    with visit.workspace.database.read() as session:
        return [record_for_page(record) for record in current_records(session, visit.job)]


def noted(visit: Visit) -> list[list[str]]:
    return [record["circumstances"] for record in recorded(visit)]


def test_every_circumstance_that_a_form_takes_can_be_said() -> None:
    assert set(CIRCUMSTANCES.values()) == set(Circumstance)


def test_said_with_its_value_it_is_read_back_and_recorded_with_its_clip(visit: Visit) -> None:
    answer = visit.say(f"{VALUE} after cleaning")
    assert "after cleaning. Right?" in answer["spoken"]
    assert "after cleaning" in visit.say("confirm")["message"]
    [record] = recorded(visit)
    assert record["circumstances"] == ["after_cleaning"]
    assert record["clip_sha256"]


@pytest.mark.parametrize(("words", "meant"), CIRCUMSTANCES.items())
def test_said_alone_it_joins_what_is_asked_and_is_asked_again(visit: Visit, words: str, meant: Circumstance) -> None:
    visit.say(VALUE)
    answer = visit.say(words)
    assert answer["spoken"].endswith("Right?")
    assert visit.records() == []
    visit.say("confirm")
    assert noted(visit) == [[meant.value]]


@pytest.mark.parametrize("shown", ["1.100", "1.300"])
def test_said_with_the_words_that_join_a_photo_it_stays(visit: Visit, shown: str) -> None:
    """The value is photographed first: agreeing or not, what is said with the words is noted beside it."""
    visit.show(shown, "Ohm")
    [proposal] = visit.say(f"{VALUE} after cleaning")["proposals"]
    assert (proposal["source"], proposal["circumstances"]) == ("speech+photo", ["after_cleaning"])


def test_a_confirmation_spoken_before_the_circumstance_confirms_nothing(visit: Visit) -> None:
    visit.say(VALUE)
    visit.say("brushes out")
    assert visit.say("confirm", after=-5)["problem"]["code"] == "said_before"
    assert visit.records() == []


def test_a_position_is_taken_in_degrees_and_as_a_place(visit: Visit) -> None:
    assert "position thirty degrees. Right?" in visit.say(f"{VALUE} at position thirty degrees")["spoken"]
    visit.say("position three")
    visit.say("confirm")
    [record] = recorded(visit)
    assert (record["position"], record["value"]) == ("3", "1.1")


def test_said_before_its_reading_it_waits_for_one_reading_only(visit: Visit) -> None:
    assert "Noted for the next reading: leads zeroed." in visit.say("leads zeroed")["message"]
    visit.say("air temperature twenty degrees")  # not of this
    visit.say("confirm")
    assert "leads zeroed" in visit.say(VALUE)["spoken"]
    visit.say("confirm")
    visit.say("v to w one point two ohms")
    visit.say("confirm")
    assert noted(visit) == [[], ["leads_zeroed"], []]


def test_undo_takes_back_the_circumstance_said_last_then_the_record(visit: Visit) -> None:
    visit.say("low battery")
    assert "Taken back" in visit.say("undo that")["message"]
    visit.say(VALUE)
    visit.say("cable moved")
    assert "cable moved" not in visit.say("undo that")["spoken"]
    visit.say("confirm")
    assert noted(visit) == [[]]
    visit.say("undo that")
    assert noted(visit) == []


def test_it_is_corrected_on_what_is_asked_and_on_any_record(visit: Visit) -> None:
    visit.say(f"{VALUE} brushes out")
    assert "brushes out" not in visit.say("not brushes out")["spoken"]
    visit.say("confirm")
    visit.say("x ray axis motor alone winding resistance v to w one point two ohms")
    visit.say("confirm")
    answer = visit.say("correction u to v leads zeroed")
    assert "U to V, one point one ohms, leads zeroed. Right?" in answer["spoken"]
    visit.say("confirm")
    current = {record["terminals"]: record for record in recorded(visit)}
    assert current["U-V"]["circumstances"] == ["leads_zeroed"]
    assert current["U-V"]["value"] == "1.1"
    assert current["V-W"]["circumstances"] == []


def test_undoing_all_of_a_correction_leaves_the_record_and_asks_nothing(visit: Visit) -> None:
    visit.say(VALUE)
    visit.say("confirm")
    before = recorded(visit)
    assert visit.say("correction leads zeroed")["spoken"].endswith("leads zeroed. Right?")
    answer = visit.say("undo that")
    assert answer["message"].startswith("Taken back. The record stays as it was.")
    assert "Right?" not in answer["message"]
    visit.say("confirm")
    assert recorded(visit) == before


def test_a_value_after_cleaning_is_no_rival_of_the_one_before(visit: Visit) -> None:
    visit.make_safe("X")
    visit.say("x ray axis motor alone insulation set five hundred volts u to ground one megohm")
    visit.say("confirm")
    answer = visit.say("u to ground five hundred megohms after cleaning")
    assert "Both cannot be true" not in answer["message"]
    visit.say("confirm")
    assert noted(visit) == [[], ["after_cleaning"]]


def test_it_opens_no_gate(visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation set five hundred volts u to ground one megohm")
    visit.say("after cleaning")
    assert visit.say("confirm")["records"] == []


def test_a_winding_temperature_is_never_the_air_of_the_shop(visit: Visit) -> None:
    """Grading takes a temperature without an axis for the shop's air, and corrects insulation by the winding's."""
    assert "Which axis" in visit.say("winding temperature forty degrees")["spoken"]
    visit.say("x ray axis")
    visit.say("confirm")
    visit.say("yankee axis")
    assert visit.say("winding temperature thirty degrees")["spoken"].startswith("Yankee motor, ")
    visit.say("confirm")
    visit.say("air temperature twenty degrees")
    visit.say("confirm")
    visit.say("humidity fifty percent")
    visit.say("confirm")
    found = [(record["kind"], record["axis"], record["value"]) for record in recorded(visit)]
    assert found == [
        ("temperature", "X", "40"),
        ("temperature", "Y", "30"),
        ("temperature", None, "20"),
        ("humidity", None, "50"),
    ]


def test_talk_and_a_pause_note_nothing(visit: Visit) -> None:
    visit.say(VALUE)
    visit.say("[unk] after cleaning [unk]")
    visit.say("stop listening")
    visit.say("after cleaning")
    visit.say("resume listening")
    visit.say("confirm")
    assert noted(visit) == [[]]
