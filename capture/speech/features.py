"""Features of an utterance: numbers from which `capture.speech.confidence` makes a probability that it is right.

Each is a plain number of the words, their times and confidences, the alternatives and the noise. None of them
looks at the value itself, so that no value is favoured over another.
"""

from __future__ import annotations

import math
from functools import cache

from capture.language.lexicon import parts
from capture.language.numbers import TWINS
from capture.language.vocabulary import UNKNOWN
from capture.reading import Utterance, Word
from capture.speech.candidates import NOT_FROM_HEARING, Ranking, content_words
from capture.speech.level import MAX_OVER_NOISE_DB

FEATURES = (
    "least_word", "mean_word", "meaning", "wording", "margin", "unknown", "words", "over_noise", "short", "long",
    "twin", "command", "place", "doubted", "reranked",
)  # fmt: skip
"""Names of the features, in the order of `features`.

Log odds: "least_word", "mean_word" of the word confidences, "meaning", "wording" of the posteriors. "margin": see
`Ranking`. "unknown": share of unknown words. "words": how many, of 12. "over_noise": speech over noise, of 60 dB.
"short", "long": the hastiest and the slowest word, log of its time over the usual one. 0 or 1: "twin" a -teen or -ty;
"command", "place" (a setting) instead of a reading; "doubted" for its words; "reranked": see `Ranking`.
"""

JUDGED_FEATURES = (*FEATURES, "behind", "disagree", "second_margin")
"""Names of the features where a second engine was asked: see `capture.speech.candidates.Opinion`. "behind" is kept
within 0 to 10, "disagree" is 0 or 1."""

_MOST_BEHIND = 10.0  # talk lies 3 to 9 behind; what lies further is no more certainly talk
_MIN_PROBABILITY = 0.002  # a confidence of exactly 0 or 1 has no logarithm
_USUAL_PHONE_S = 0.085  # about 12 phones a second (Levelt 1989, Speaking, ch. 1: ten to fifteen)
_LONGEST_WORDS = 12


def log_odds(share: float) -> float:
    """Give the natural logarithm of a probability's odds, kept within ±6.2."""
    held = min(max(share, _MIN_PROBABILITY), 1 - _MIN_PROBABILITY)
    return math.log(held / (1 - held))


@cache
def _phones(word: str) -> int:
    """Count the phones of a word; a guess from its letters where the lexicon lacks it."""
    found = parts().get(word)
    return len(found[0].split()) if found else max(1, round(len(word) * 0.8))


def _pace(word: Word) -> float:
    """Give the natural logarithm of how long a word took against what its phones usually take."""
    return math.log(max(0.02, word.end - word.start) / (_phones(word.word) * _USUAL_PHONE_S))


def features(utterance: Utterance, found: Ranking) -> tuple[float, ...]:
    """Compute the features of one utterance, in the order of `FEATURES`, or `JUDGED_FEATURES` with a second opinion.

    Args:
        utterance: What its words mean.
        found: How its candidates rank.
    """
    heard = utterance.heard
    words = content_words(heard.words)
    # Without words of meaning, as for unknown speech alone, these features stay neutral; "unknown" carries the weight.
    odds = [log_odds(word.confidence) for word in words] or [log_odds(1.0)]
    paces = [_pace(word) for word in words] or [0.0]
    unknown = sum(word.word == UNKNOWN for word in heard.words)
    # Not measured (a test, a typed line): halfway, so that neither side of the regression is favoured.
    over_noise = MAX_OVER_NOISE_DB / 2 if heard.over_noise_db is None else heard.over_noise_db
    alone = (
        min(odds),
        sum(odds) / len(odds),
        log_odds(found.meaning),
        log_odds(found.wording),
        found.margin,
        unknown / max(1, len(heard.words)),
        min(len(words), _LONGEST_WORDS) / _LONGEST_WORDS,
        over_noise / MAX_OVER_NOISE_DB,
        max(0.0, *(-pace for pace in paces)),
        max(0.0, *paces),
        float(any(word.word in TWINS for word in words)),
        float(not utterance.readings and utterance.command is not None),
        float(not utterance.readings and utterance.command is None),
        float(bool(set(utterance.doubts) - NOT_FROM_HEARING)),
        float(found.reranked),
    )
    if found.opinion is None:
        return alone
    behind = min(max(found.opinion.behind, 0.0), _MOST_BEHIND)
    return (*alone, behind, float(not found.opinion.agree), found.opinion.margin)
