"""Choosing among alternatives: what the words allow decides between what sounds nearly alike, and nothing else does."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from capture.reading import Command, Context, Doubt, Heard, Hypothesis, Word
from capture.speech.candidates import DOUBT_COST, MAX_MARGIN, candidates, choose, reworded
from capture.speech.understand import best_meaning, understand
from grading.terms.quantity import QuantityKind

IR = Context(kind=QuantityKind.INSULATION_RESISTANCE)


def heard(*choices: tuple[str, float]) -> Heard:
    text = choices[0][0]
    words = tuple(Word(word, at * 0.3, at * 0.3 + 0.25, 0.9) for at, word in enumerate(text.split()))
    return Heard(text, words, tuple(Hypothesis(*choice) for choice in choices), 3.0)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("six fifteen", "six fifteen meg"),  # the unit was swallowed
        ("six five thousand volts", "set five thousand volts"),
        ("whiskey to uniform seventy point hours", "whiskey to uniform seventy point oh ohms"),
        ("[unk] [unk]", "say again"),
        ("insulation five celsius", "insulation five gig"),
    ],
)
def test_words_that_fit_together_win_over_words_that_do_not(first: str, second: str) -> None:
    utterance, found = best_meaning(heard((first, 0.0), (second, -0.8)), IR)
    assert utterance.heard.text == second
    assert found.reranked


@pytest.mark.parametrize(
    ("kind", "first", "second"),
    [
        (QuantityKind.WINDING_RESISTANCE, "eight megohms", "eight milliohms"),  # no servo winding has megohms
        (QuantityKind.INSULATION_RESISTANCE, "eight milliohms", "eight megohms"),  # no tester shows milliohms
    ],
)
def test_the_test_being_made_decides_between_units_that_sound_alike(
    kind: QuantityKind, first: str, second: str
) -> None:
    context = Context(kind=kind, terminals="U-V" if kind is QuantityKind.WINDING_RESISTANCE else "U-PE")
    assert understand(heard((first, 0.0), (second, -1.0)), context).heard.text == second
    assert understand(heard((second, 0.0), (first, -1.0)), context).heard.text == second


@pytest.mark.parametrize("behind", [DOUBT_COST + 0.5, 6.0])
def test_what_sounds_much_better_is_kept_whatever_its_doubts(behind: float) -> None:
    utterance, found = best_meaning(heard(("six fifteen", 0.0), ("six fifteen meg", -behind)), IR)
    assert utterance.heard.text == "six fifteen"
    assert Doubt.UNIT_MISSING in utterance.doubts
    assert not found.reranked


def test_words_that_fit_equally_are_not_exchanged() -> None:
    utterance, found = best_meaning(heard(("fifty meg", 0.0), ("fifteen meg", -0.1)), IR)
    assert utterance.heard.text == "fifty meg"
    assert found.margin == pytest.approx(0.1)
    assert [rival.quantity.digits for rival in found.rivals] == ["15"]


def test_alternatives_that_mean_the_same_count_together() -> None:
    choices = heard(("two gig", 0.0), ("five meg", -0.2), ("five megs", -0.3), ("five megohms", -0.4))
    utterance, found = best_meaning(choices, IR)
    assert utterance.readings[0].quantity.digits == "5"
    weights = [math.exp(score) for score in (0.0, -0.2, -0.3, -0.4)]
    assert found.meaning == pytest.approx(sum(weights[1:]) / sum(weights))
    assert found.margin == pytest.approx(math.log(sum(weights[1:])))


def test_the_wording_heard_is_kept_where_its_meaning_wins() -> None:
    utterance, found = best_meaning(heard(("five meg", 0.0), ("five megs", -0.1), ("nine meg", -1.0)), IR)
    assert utterance.heard.text == "five meg"
    assert found.wording < found.meaning


def test_other_words_of_the_meaning_that_wins_cost_the_words_heard_nothing() -> None:
    """The first engine hears "five megs", both together would write "five meg": nobody needs to be asked."""
    likelier = replace(heard(("five meg", 0.0), ("five megs", -4.0), ("nine meg", -3.0)), text="five megs")
    utterance, found = best_meaning(likelier, IR)
    weights = [1.0, math.exp(-4.0), math.exp(-3.0)]
    assert utterance.heard.text == "five megs"
    assert found.wording == pytest.approx(weights[0] / sum(weights))


def test_an_axis_that_the_job_lacks_must_sound_much_better() -> None:
    choices = (("golf axis", 0.0), ("bravo axis", -1.0))
    assert understand(heard(*choices), Context()).heard.text == "golf axis"
    assert understand(heard(*choices), Context(axes=("X", "B"))).heard.text == "bravo axis"
    assert understand(heard(*choices), Context(axes=("X", "G"))).heard.text == "golf axis"


def test_alone_it_is_as_far_ahead_as_can_be_told() -> None:
    only = heard(("five meg", -3.0))
    _, found = choose(candidates(only, understand(only, IR), IR))
    assert (found.margin, found.meaning, found.wording) == (MAX_MARGIN, 1.0, 1.0)


def test_new_words_take_the_time_of_those_they_replace() -> None:
    before = heard(("six five thousand volts", 0.0))
    after = reworded(before, "set five thousand volts", 0.4)
    assert [word.word for word in after.words] == ["set", "five", "thousand", "volts"]
    assert after.words[1:] == before.words[1:]
    assert (after.words[0].start, after.words[0].end, after.words[0].confidence) == (0.0, 0.25, 0.4)


@pytest.mark.parametrize("text", ["five meg", "uh five meg now", "x ray axis five point five meg", "[unk]", "meg"])
def test_times_stay_in_order_whatever_is_exchanged(text: str) -> None:
    after = reworded(heard(("nine point oh gigohms please", 0.0)), text, 0.5)
    assert " ".join(word.word for word in after.words) == text == after.text
    edges = [edge for word in after.words for edge in (word.start, word.end)]
    assert edges == sorted(edges)
    assert edges[-1] <= after.duration_s


def test_a_command_is_not_made_out_of_a_reading_that_fits() -> None:
    utterance = understand(heard(("five meg", 0.0), ("confirm", -0.3)), IR)
    assert utterance.command is not Command.CONFIRM
