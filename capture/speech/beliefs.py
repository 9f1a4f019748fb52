"""Where the recogniser's belief lies: how much of it on word sequences that mean the same, and what the others mean.

The scores of alternatives are logarithms of likelihoods, so their differences within one clip can be compared though
they have no fixed scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from capture.language.parse import parse
from capture.language.vocabulary import UNKNOWN
from capture.reading import Context, Heard, Hypothesis, Reading, Utterance, Word
from capture.speech.hearing import belief

FARTHEST = 15.0
"""Largest margin told: beyond it the runner-up is out of the running."""

FILLERS = frozenset({"uh", "um", "er", "so", "now", "well", "the", "please", "it's", "it", "is", "that's", "got", "i"})
"""Words that carry no meaning of their own."""

_SHARE_OF_A_RIVAL = 0.02  # less than this is no candidate worth offering


@dataclass(frozen=True)
class Beliefs:
    """What the alternatives of one clip say about its meaning.

    Attributes:
        meaning: Share of belief on word sequences that mean the same, 0..1.
        wording: Share on exactly these words, 0..1.
        margin: Score of the best sequence less that of the best one that means something else, 0..`FARTHEST`.
        rivals: The other readings, best first.
    """

    meaning: float
    wording: float
    margin: float
    rivals: tuple[Reading, ...]


def meaning_of(utterance: Utterance) -> tuple[object, ...]:
    """What an utterance would do, so that two of them can be compared."""
    return utterance.readings, utterance.command, utterance.context if not utterance.readings else None


def beliefs(heard: Heard, utterance: Utterance, context: Context) -> Beliefs:
    """Compare the meaning of every alternative with the one that was understood.

    Args:
        heard: What the recogniser made of a clip.
        utterance: What its words mean.
        context: What held before.
    """
    choices = heard.alternatives or (Hypothesis(heard.text, 0.0),)
    shares = belief([choice.score for choice in choices])
    wanted = meaning_of(utterance)
    same, wording, runner_up = 0.0, 1.0, choices[0].score - FARTHEST
    rivals: list[Reading] = []
    for choice, share in zip(choices, shares, strict=True):
        other = utterance if choice.text == heard.text else parse(choice.text, context)
        if choice.text == heard.text:
            wording = share
        if meaning_of(other) == wanted:
            same += share
            continue
        runner_up = max(runner_up, choice.score)
        if len(other.readings) == 1 and share > _SHARE_OF_A_RIVAL:
            rivals.append(other.readings[0])
    return Beliefs(same, wording, max(0.0, choices[0].score - runner_up), tuple(rivals))


def carrying(words: Sequence[Word]) -> list[Word]:
    """The words that carry meaning."""
    return [word for word in words if word.word not in FILLERS and word.word != UNKNOWN]


def least_sure(words: Sequence[Word]) -> float:
    """Confidence of the least sure word that carries meaning, 0..1; 1 without words."""
    return min((word.confidence for word in carrying(words)), default=1.0)
