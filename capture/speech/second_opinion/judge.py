"""What the second engine says of the first one's word sequences for a stretch, and both scores put together."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from capture.language.numbers import TWINS
from capture.language.vocabulary import UNKNOWN
from capture.reading import Judged, OwnTranscript
from capture.speech.choice import Choice, exchanged
from capture.speech.second_opinion.engine import SecondOpinion, Sound
from capture.speech.second_opinion.wording import (
    in_our_words,
    is_unit,
    numbers_alone,
    plain_ways,
    spellings,
    trade_words,
)

JUDGED = 8
"""Word sequences of the first engine that are judged, best first: ten gave 2 more of 1,104 lines set aside."""


TRADE_WORD = 2.0
"""What a word of the trade that the second engine does not know is worth, in log probability. Of right lines set aside,
clean and at 10 dB, "megohms" and "milliohms" cost it 1.4 to 1.9; at 5 dB 1.5 and 3 gave 5 and 7 lines of 392 more."""

NUMBERS_ALONE, OTHER_WORDS = 1, 2
"""How often its own cost a word sequence bears that only the second engine thought of."""


@dataclass(frozen=True)
class Weights:
    """How the two engines' scores are put together.

    Attributes:
        second: Weight of the second engine's log probability beside the first one's score.
        own_cost: What a word sequence that only the second engine thought of costs against the first one's best: once
            where it is numbers alone, which any engine knows, twice with other words.
        apart_cost: What one costs that was only found as digits one by one.
    """

    second: float = 1.0
    own_cost: float = 4.0
    apart_cost: float = 1.0

    def total(self, judged: Judged) -> float:
        """Put the scores of one word sequence together."""
        cost = self.own_cost * judged.added + self.apart_cost * judged.apart
        return judged.first + self.second * judged.second - cost


class Judge:
    """Judges stretches of speech with a second engine."""

    def __init__(
        self,
        engine: SecondOpinion,
        weights: Weights | None = None,
        knows: Callable[[str], bool] | None = None,
    ) -> None:
        """Keep what judging needs.

        Args:
            engine: The second engine.
            weights: How scores are put together; None for those fitted.
            knows: Tells whether a plain word may come out; None for the whole vocabulary.
        """
        self.engine, self.weights, self._knows = engine, weights or Weights(), knows

    def judge(
        self, pcm: bytes, choices: Sequence[Choice], apart: Sequence[Choice] = ()
    ) -> tuple[list[Choice], OwnTranscript]:
        """Judge the word sequences of one stretch, and those that the second engine adds.

        Args:
            pcm: The stretch: 16 kHz mono samples, signed 16 bit.
            choices: The first engine's, best first; at least one.
            apart: The first engine's with the number as digits one by one, scored against the best of them.

        Returns:
            All of them by both scores, best first, and the second engine's own transcript.

        Raises:
            EngineError: The second engine failed.
        """
        sound = self.engine.listen(pcm)
        own = sound.own()
        kept = [choice for choice in choices[:JUDGED] if choice.words] or list(choices[:1])
        best = kept[0]
        end = best.words[-1].end if best.words else 0.0
        both = {choice.text: (choice.words, Judged(choice.score, 0.0)) for choice in reversed(kept)}
        both = dict(reversed(both.items()))
        for choice in apart:
            if choice.text not in both:
                both[choice.text] = choice.words, Judged(best.score + choice.score, 0.0, apart=1)
        for text in in_our_words(own.text, best.text, self._knows):
            if text not in both:
                added = NUMBERS_ALONE if numbers_alone(text) else OTHER_WORDS
                both[text] = exchanged(best.words, text.split(), 0.0, end), Judged(best.score, 0.0, added)
        # As the engine writes it, with capitals and marks, its transcript is another text than the plain words that
        # candidates are: the "four" that both engines heard lies as far behind "Four." as talk does.
        plainly = plain_ways(own.text)
        second, told = self._second(sound, list(both), plainly)
        if self._knows is not None:
            second |= _told_nothing(second)
        own = replace(own, plain_log_p=max((told[way] for way in plainly), default=own.log_p))
        judged = []
        for text, (words, one) in both.items():
            found = replace(one, second=second[text])
            judged.append(Choice(self.weights.total(found), words, found))
        return sorted(judged, key=lambda choice: -choice.score), own

    @staticmethod
    def _second(sound: Sound, texts: Sequence[str], also: Sequence[str]) -> tuple[dict[str, float], dict[str, float]]:
        """Judge every text, in whichever way the engine would write its words; see `as_it_tells`.

        Args:
            sound: What was said.
            texts: The candidates.
            also: Texts to judge as they stand, in the same go.

        Returns:
            What it says of each candidate, and of each text as it was written.
        """
        ways = {text: spellings(text) for text in texts}
        told = dict(zip(ways[texts[0]], _log_p(sound, ways[texts[0]]), strict=True))
        # The way that it would write the first engine's best is taken for all: to try each way for each costs double.
        way = max(range(len(ways[texts[0]])), key=lambda at: told[ways[texts[0]][at]])
        written = {text: some[min(way, len(some) - 1)] for text, some in ways.items()}
        rest = [text for text in dict.fromkeys([*written.values(), *also]) if text not in told]
        told |= dict(zip(rest, _log_p(sound, rest), strict=True))
        best: dict[str, float] = {}
        for text, how in written.items():
            best[as_it_tells(text)] = max(best.get(as_it_tells(text), -math.inf), told[how])
        return {text: best[as_it_tells(text)] for text in texts}, told


def _told_nothing(second: Mapping[str, float]) -> dict[str, float]:
    """Let the second engine say nothing for unknown speech where a list says what can come: as much as for the rest.

    Unknown speech is written as nothing, which is likelier to it than a digit that it hardly knows over a telephone: of
    300 single digits (Free Spoken Digit Dataset), ten phrases listed, 80 came out as unknown speech instead of 32. With
    the whole vocabulary that very vote keeps talk out, and stays.
    """
    known = [told for text, told in second.items() if UNKNOWN not in text.split()]
    return {text: max(known) for text in second if UNKNOWN in text.split()} if known else {}


def _log_p(sound: Sound, texts: Sequence[str]) -> list[float]:
    """Judge texts, words of the trade at what they are worth."""
    return [told + TRADE_WORD * trade_words(text) for text, told in zip(texts, sound.log_p(texts), strict=True)]


def as_it_tells(text: str) -> str:
    """Make one of texts that the second engine may not decide between: -ty for every -teen, and no units.

    It does not tell "fifteen" from "fifty"; and of units it knows few: in noise "5.5" is likelier to it than "5.5 ohms"
    by e to the tenth, and "milliamps" than "milliohms", whatever was said.
    """
    words = (word for word in text.split() if not is_unit(word))
    return " ".join(TWINS[word] if word.endswith("teen") and word in TWINS else word for word in words)
