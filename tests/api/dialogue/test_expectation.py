"""What the dialogue expects: what it asked last decides what can come now."""

from __future__ import annotations

import pytest

from api.dialogue.turn import context_of
from capture.expectation import Asked, Expectation
from capture.language.prompts import answered_by
from capture.reading import Context, Doubt
from tests.api.conftest import Visit


def expects(visit: Visit) -> Expectation:
    with visit.workspace.database.read() as session:
        return context_of(session, visit.job).expects


def test_nothing_is_asked_at_first_and_after_an_answer(visit: Visit) -> None:
    assert expects(visit) == Expectation()
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    assert expects(visit).asked is Asked.CONFIRMATION
    visit.say("confirm")
    assert expects(visit) == Expectation()


@pytest.mark.parametrize(
    ("said", "asked", "choices"),
    [
        ("x ray axis through the cable lead one to ground insulation five fifty", Asked.UNIT, ("550", "5.50", "515")),
        ("five fifty meg", Asked.PLACE, ("550", "5.50", "515")),
        ("x ray axis through the cable lead one to ground insulation fifteen meg", Asked.CONFIRMATION, ("15", "50")),
        ("x ray axis through the cable lead one to ground insulation doesn't build", Asked.VOLTAGE, (None,)),
        ("x ray axis through the cable lead one to ground insulation infinity", Asked.VALUE, (None,)),
    ],
)
def test_what_answers_the_question_is_expected(
    visit: Visit, said: str, asked: Asked, choices: tuple[str | None, ...]
) -> None:
    visit.say(said)
    found = expects(visit)
    assert (found.asked, tuple(choice.digits for choice in found.choices)) == (asked, choices)


def test_the_first_question_counts_and_a_bare_read_back_wants_a_yes_or_no() -> None:
    assert answered_by([Doubt.SECTION_MISSING, Doubt.UNIT_MISSING]) is Asked.PLACE
    assert answered_by([Doubt.TEEN_OR_TY]) is Asked.VALUE
    assert answered_by([]) is Asked.CONFIRMATION


def test_it_is_no_part_of_what_was_said() -> None:
    assert Context(expects=Expectation(Asked.UNIT)) == Context()
