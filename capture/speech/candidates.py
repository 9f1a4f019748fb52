"""Ranks the recogniser's alternatives by meaning: which is meant, with which posterior probability.

Alternatives that mean the same are added up. One whose words raise doubts (no unit, an unknown word, two units in a
row, a value that cannot be, an axis that the job does not have) must sound that much better than one that raises none.
The scores are logarithms of likelihoods, so their differences within one clip can be compared though they have no
fixed scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from capture.expectation import Asked
from capture.language.number_model import is_shown
from capture.language.parse import parse
from capture.language.vocabulary import UNKNOWN
from capture.reading import (
    Context,
    Doubt,
    Heard,
    Hypothesis,
    Judged,
    OwnTranscript,
    Reading,
    Utterance,
    Word,
)
from capture.speech.choice import exchanged
from capture.speech.hearing import posteriors

DOUBT_COST = 2.0
"""What a doubt costs an alternative, as a logarithm. Voices set aside, 300 clips at 10 dB: by sound alone 94.7 % came
out right, at a cost of 1 or 2 95.7 %, at 3 or 5 95.3 % (`fixtures.training.speech_model.trials choice`)."""

NOT_SHOWN_COST = 1.0
"""What a number costs an alternative that no instrument shows, as a logarithm; see `tests.benchmarks.speech.states`."""

MAY_LACK = {
    Asked.VALUE: frozenset({Doubt.UNIT_MISSING}),
    Asked.VOLTAGE: frozenset({Doubt.UNIT_MISSING}),
    Asked.UNIT: frozenset({Doubt.VALUE_MISSING}),
    Asked.PLACE: frozenset({Doubt.VALUE_MISSING}),
}
"""What an answer may leave out, since the question or the value read back has it: no fault of the hearing then."""

MAX_MARGIN = 15.0
"""Largest margin reported: beyond it the runner-up is out of the running."""

FILLERS = frozenset({"uh", "um", "er", "so", "now", "well", "the", "please", "it's", "it", "is", "that's", "got", "i"})
"""Words that carry no meaning of their own."""

NOT_FROM_HEARING = frozenset({Doubt.QUANTITY_MISSING})
"""Doubts that are no fault of the hearing: what is measured was not said, and no context gives it."""

_RIVAL_POSTERIOR = 0.02  # a candidate below this is not worth offering


@dataclass(frozen=True)
class Candidate:
    """One alternative: its words, what they mean, its score less what its doubts cost, and how each engine judges it.

    `judged` holds the first engine's score less what the doubts cost too.
    """

    text: str
    utterance: Utterance
    score: float
    judged: Judged | None = None


@dataclass(frozen=True)
class Opinion:
    """What the second engine says of the meaning that was chosen.

    Attributes:
        behind: How far the chosen words lie behind what it would write itself, both in plain words, in log probability
            for each token.
        agree: Of all candidates it prefers one of the meaning that the first engine prefers.
        margin: Its log probability of the chosen meaning less that of the best other one, within ±`MAX_MARGIN`.
        preferred: The readings that either engine alone would have chosen, if others.
    """

    behind: float
    agree: bool
    margin: float
    preferred: tuple[Reading, ...]


@dataclass(frozen=True)
class Ranking:
    """How the candidates of one clip rank around the meaning that was chosen.

    Attributes:
        meaning: Posterior of the meaning: that of all word sequences which mean the same, 0..1.
        wording: Posterior of the likeliest words of this meaning, 0..1.
        margin: Score of this meaning less that of the next one, 0..`MAX_MARGIN`.
        rivals: The other readings, best first.
        reranked: The words that sounded best were passed over.
        opinion: What a second engine says; None where none was asked.
    """

    meaning: float
    wording: float
    margin: float
    rivals: tuple[Reading, ...]
    reranked: bool = False
    opinion: Opinion | None = None


def meaning_of(utterance: Utterance) -> tuple[object, ...]:
    """Give what an utterance would do, so that two of them can be compared."""
    context = utterance.context if not utterance.readings else None
    return utterance.readings, utterance.command, context, utterance.beside


def candidates(heard: Heard, spoken: Utterance, context: Context, doubt_cost: float = DOUBT_COST) -> list[Candidate]:
    """Parse every alternative into a candidate, in the recogniser's order.

    Args:
        heard: What the recogniser made of a clip.
        spoken: What its own words mean, pauses considered.
        context: What held before.
        doubt_cost: What a doubt costs an alternative; 0 where only the sound may decide.
    """
    found = []
    excused = NOT_FROM_HEARING | MAY_LACK.get(context.expects.asked, frozenset())
    for choice in heard.alternatives or (Hypothesis(heard.text, 0.0),):
        # Only the first choice has word times, so only it can be parsed with its pauses.
        utterance = spoken if choice.text == heard.text else parse(choice.text, context)
        cost = doubt_cost * (len(set(utterance.doubts) - excused) + _elsewhere(utterance, context))
        cost += NOT_SHOWN_COST * sum(not is_shown(reading.quantity) for reading in utterance.readings)
        judged = None if choice.judged is None else replace(choice.judged, first=choice.judged.first - cost)
        found.append(Candidate(choice.text, utterance, choice.score - cost, judged))
    return found


def _elsewhere(utterance: Utterance, context: Context) -> bool:
    """Tell whether an axis is named that this job does not have."""
    named = [reading.axis for reading in utterance.readings] or [utterance.context.axis]
    return bool(context.axes) and any(axis is not None and axis not in context.axes for axis in named)


def choose(
    found: Sequence[Candidate], own: OwnTranscript | None = None, text: str | None = None
) -> tuple[Candidate, Ranking]:
    """Choose the candidate to go on with, and tell how far it is ahead.

    Args:
        found: At least one candidate, the likeliest first.
        own: What the second engine would write; None where none was asked.
        text: The words that the recogniser heard; None for those of the first candidate.
    """
    groups: dict[tuple[object, ...], list[Candidate]] = {}
    for one in found:
        groups.setdefault(meaning_of(one.utterance), []).append(one)
    totals = {meaning: _total(group) for meaning, group in groups.items()}
    ranked = sorted(groups, key=lambda meaning: -totals[meaning])
    winners = groups[ranked[0]]
    # Among wordings of one meaning the recogniser's own is kept: its words have confidences and times of their own, and
    # what a second engine writes for a word of the trade that it does not know is no word that was not understood.
    said = found[0].text if text is None else text
    best = next((one for one in winners if one.text == said), None) or max(winners, key=lambda one: one.score)
    shares = posteriors([one.score for one in found])
    rivals = [
        one.utterance.readings[0]
        for one, share in sorted(zip(found, shares, strict=True), key=lambda pair: -pair[1])
        if one not in winners and len(one.utterance.readings) == 1 and share > _RIVAL_POSTERIOR
    ]
    opinion = None if own is None else _opinion(found, winners, own)
    if opinion is not None:  # what either engine would have chosen alone is worth offering, however unlikely
        rivals += opinion.preferred
    margin = totals[ranked[0]] - totals[ranked[1]] if len(ranked) > 1 else MAX_MARGIN
    return best, Ranking(
        meaning=sum(share for one, share in zip(found, shares, strict=True) if one in winners),
        wording=max(share for one, share in zip(found, shares, strict=True) if one in winners),
        margin=min(margin, MAX_MARGIN),
        rivals=tuple(dict.fromkeys(rivals)),
        reranked=found[0] not in winners,
        opinion=opinion,
    )


def _opinion(found: Sequence[Candidate], winners: Sequence[Candidate], own: OwnTranscript) -> Opinion | None:
    """Tell what the second engine says of the winners; None where it was not asked about all of them."""
    judged = [(one, one.judged) for one in found if one.judged is not None]
    mine = [said.second for one, said in judged if one in winners]
    if len(judged) < len(found) or not mine:
        return None
    others = [said.second for one, said in judged if one not in winners]
    margin = max(mine) - max(others) if others else MAX_MARGIN
    # Of a clip of many stretches every candidate kept may hold words that only the second engine thought of.
    least = min(said.added + said.apart for _, said in judged)
    usual = [pair for pair in judged if pair[1].added + pair[1].apart == least]
    first, _ = max(usual, key=lambda pair: pair[1].first)
    second, _ = max(judged, key=lambda pair: pair[1].second)
    return Opinion(
        behind=((own.log_p if own.plain_log_p is None else own.plain_log_p) - max(mine)) / own.tokens,
        agree=meaning_of(first.utterance) == meaning_of(second.utterance),
        margin=min(max(margin, -MAX_MARGIN), MAX_MARGIN),
        preferred=tuple(
            one.utterance.readings[0]
            for one in (first, second)
            if one not in winners and len(one.utterance.readings) == 1
        ),
    )


def _total(group: Sequence[Candidate]) -> float:
    best = max(one.score for one in group)  # taken out, or exp() of a large score would overflow
    return best + math.log(sum(math.exp(one.score - best) for one in group))


def reworded(heard: Heard, text: str, share: float) -> Heard:
    """Put the words of an alternative in place of those heard in a clip.

    Args:
        heard: What the recogniser made of a clip.
        text: The alternative's words, of `heard.alternatives`.
        share: Its posterior, 0..1: the confidence of the words that are new; they share the time of those replaced.
    """
    if text == heard.text:
        return heard
    return replace(heard, text=text, words=exchanged(heard.words, text.split(), share, heard.duration_s))


def content_words(words: Sequence[Word]) -> list[Word]:
    """Give the words that carry meaning."""
    return [word for word in words if word.word not in FILLERS and word.word != UNKNOWN]


def least_confidence(words: Sequence[Word]) -> float:
    """Give the least confidence among the words that carry meaning, 0..1; 1 without words."""
    return min((word.confidence for word in content_words(words)), default=1.0)
