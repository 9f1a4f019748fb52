"""Two engines' scores put together: exactly, by an engine that says what it is told to say."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pytest

from capture.reading import OwnTranscript, Word
from capture.speech.choice import Choice
from capture.speech.second_opinion.judge import TRADE_WORD, Judge, Weights


class Told:
    """A second engine that writes one text, and judges texts by a table; any other is unlikely."""

    name = "told"

    def __init__(self, writes: str, judges: Mapping[str, float]) -> None:
        self._writes, self._judges = writes, judges

    def listen(self, pcm: bytes) -> Told:
        assert pcm
        return self

    def own(self) -> OwnTranscript:
        return OwnTranscript(self.name, self._writes, -1.0, 4)

    def log_p(self, texts: Sequence[str]) -> list[float]:
        return [self._judges.get(text, -50.0) for text in texts]


def choice(text: str, score: float) -> Choice:
    words = text.split()
    return Choice(score, tuple(Word(word, float(at), at + 1.0, 0.9) for at, word in enumerate(words)))


def test_the_scores_are_added_with_their_weights() -> None:
    judge = Judge(Told("", {"five volts": -2.0, "nine volts": -8.0}), Weights(0.5, 3.0))
    judged, own = judge.judge(b"\0\0", [choice("nine volts", 1.0), choice("five volts", 0.0)])
    assert own.text == ""
    assert [(one.text, one.score) for one in judged] == [("five volts", -1.0), ("nine volts", -3.0)]
    assert [one.judged and one.judged.second for one in judged] == [-2.0, -8.0]


def test_its_own_words_take_part_at_a_cost_and_with_times_of_those_they_replace() -> None:
    judge = Judge(Told("5 Meg.", {"five meg": -2.0, "nine meg": -22.0}), Weights(1.0, 3.0))
    judged, _ = judge.judge(b"\0\0", [choice("nine meg", 0.0)])
    assert [one.text for one in judged] == ["five meg", "nine meg"]
    best = judged[0]
    assert best.judged is not None
    # "Meg" is worth 2 wherever it stands; what is not numbers alone bears its cost twice.
    assert (best.judged.added, best.score) == (2, 0.0 - 2.0 + TRADE_WORD - 2 * 3.0)
    assert (best.words[0].start, best.words[0].end) == (0.0, 1.0)
    assert best.words[1] == choice("nine meg", 0.0).words[1]


def test_the_best_spelling_of_a_trade_word_counts() -> None:
    judge = Judge(Told("", {"five mega ohms": -1.0}), Weights(1.0, 3.0))
    judged, _ = judge.judge(b"\0\0", [choice("five megohms", 0.0)])
    assert judged[0].score == -1.0 + TRADE_WORD


@pytest.mark.parametrize("second", [0.0, 0.4, 1.5])
def test_no_candidate_is_lost_and_every_score_is_finite(second: float) -> None:
    judge = Judge(Told("Bananas.", {}), Weights(second, 3.0))
    given = [choice("five meg", 0.0), choice("[unk]", -1.0), choice("nine meg", -2.0)]
    judged, _ = judge.judge(b"\0\0", given)
    assert {one.text for one in judged} == {one.text for one in given}
    assert all(math.isfinite(one.score) for one in judged)


def test_teen_and_ty_are_left_to_the_first_engine() -> None:
    judge = Judge(Told("", {"fifteen volts": -9.0, "fifty volts": -2.0, "five volts": -3.0}), Weights(1.0, 3.0))
    given = [choice("fifteen volts", 1.0), choice("fifty volts", 0.0), choice("five volts", 0.0)]
    judged, _ = judge.judge(b"\0\0", given)
    assert [(one.text, one.score) for one in judged] == [
        ("fifteen volts", -1.0),
        ("fifty volts", -2.0),
        ("five volts", -3.0),
    ]


def test_a_word_of_the_trade_counts_for_what_it_costs_the_engine() -> None:
    """It would rather hear "short" than "ohms", which it seldom writes."""
    judge = Judge(Told("", {"five ohms": -5.0, "five short": -4.0}), Weights(1.0, 3.0))
    judged, _ = judge.judge(b"\0\0", [choice("five short", 0.0), choice("five ohms", 0.0)])
    assert [(one.text, one.score) for one in judged] == [("five ohms", -5.0 + TRADE_WORD), ("five short", -4.0)]


def test_units_are_the_first_engines_to_tell() -> None:
    """In noise the second one writes "5.5" and "milliamps", whatever unit was said."""
    told = {"five ohms": -15.0, "five": -5.0, "five milliamps": -8.0, "nine": -9.0}
    judged, _ = Judge(Told("", told), Weights(1.0, 3.0)).judge(
        b"\0\0", [choice("five ohms", 3.0), choice("five", 0.0), choice("five milliamps", 2.0), choice("nine", 2.5)]
    )
    assert [one.text for one in judged] == ["five ohms", "five milliamps", "five", "nine"]


def test_numbers_that_only_it_thought_of_cost_half_of_what_other_words_do() -> None:
    judge = Judge(Told("7 8.", {"seven eight": -2.0, "seventy": -20.0}), Weights(1.0, 3.0))
    judged, _ = judge.judge(b"\0\0", [choice("seventy", 0.0)])
    assert (judged[0].text, judged[0].score) == ("seven eight", 0.0 - 2.0 - 3.0)


def test_digits_heard_again_take_part_beside_the_best_of_all_words() -> None:
    judge = Judge(Told("", {"seven eight": -2.0, "seventy": -9.0}), Weights(1.0, 3.0, 0.5))
    judged, _ = judge.judge(b"\0\0", [choice("seventy", 4.0)], [choice("seven eight", 0.0), choice("seventy", -1.0)])
    assert [(one.text, one.score) for one in judged] == [("seven eight", 4.0 - 2.0 - 0.5), ("seventy", 4.0 - 9.0)]
    assert [one.judged and one.judged.apart for one in judged] == [1, 0]


@pytest.mark.parametrize(
    ("writes", "plain"), [("Four.", "four"), ("For!", "for"), ("Ben!", "ben"), ("7 8.", "seven eight")]
)
def test_its_transcript_is_judged_in_the_plain_words_that_candidates_are_judged_in(writes: str, plain: str) -> None:
    judge = Judge(Told(writes, {plain: -1.5}), Weights(1.0, 3.0))
    _, own = judge.judge(b"\0\0", [choice("five", 0.0)])
    assert own.plain_log_p == -1.5
    assert own.log_p == -1.0


def test_unknown_speech_gets_no_vote_where_a_list_says_what_can_come() -> None:
    """Written as nothing it is likelier than a digit that the engine hardly knows: the first engine decides."""
    told, given = {"four": -9.0, "": -2.0}, [choice("four", 1.0), choice("[unk]", 0.0)]
    listed, _ = Judge(Told("Boat.", told), Weights(1.0, 3.0), {"four"}.__contains__).judge(b"\0\0", given)
    assert [(one.text, one.score) for one in listed] == [("four", -8.0), ("[unk]", -9.0)]
    anything, _ = Judge(Told("Boat.", told), Weights(1.0, 3.0)).judge(b"\0\0", given)
    assert [one.text for one in anything] == ["[unk]", "four"]
