"""What the second engine says of the first one's word sequences for a stretch, and both scores put together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from capture.language.numbers import TWINS
from capture.reading import Judged, OwnTranscript
from capture.speech.choice import Choice, exchanged
from capture.speech.second_opinion.engine import SecondOpinion, Sound
from capture.speech.second_opinion.wording import in_our_words, plain_ways, spellings

JUDGED = 10
"""Word sequences of the first engine that are judged, best first: the next twenty held two of 200 truths more."""


@dataclass(frozen=True)
class Weights:
    """How the two engines' scores are put together.

    Attributes:
        second: Weight of the second engine's log probability beside the first one's score.
        own_cost: What a word sequence that only the second engine thought of costs against the first one's best.
        apart_cost: What one costs that was only found as digits one by one.
    """

    second: float = 0.75
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
                both[text] = exchanged(best.words, text.split(), 0.0, end), Judged(best.score, 0.0, added=1)
        second = self._second(sound, list(both))
        own = replace(own, plain_log_p=self._plainly(sound, own, second))
        judged = []
        for text, (words, one) in both.items():
            found = replace(one, second=second[text])
            judged.append(Choice(self.weights.total(found), words, found))
        return sorted(judged, key=lambda choice: -choice.score), own

    @staticmethod
    def _plainly(sound: Sound, own: OwnTranscript, told: dict[str, float]) -> float:
        """Judge the second engine's transcript as candidates are judged.

        As it writes it, with capitals and marks, it is another text: of a single digit that both engines heard, the
        plain word lies as far behind "Four." as talk does.
        """
        ways = plain_ways(own.text)
        fresh = [way for way in ways if way not in told]
        found = [told[way] for way in ways if way in told] + (sound.log_p(fresh) if fresh else [])
        return max(found, default=own.log_p)

    @staticmethod
    def _second(sound: Sound, texts: Sequence[str]) -> dict[str, float]:
        """Judge every text, in whichever way the engine would write its words; -teen and -ty as one.

        It does not tell "fifteen" from "fifty", so it may not decide between texts that differ in nothing else.
        """
        ways = {text: spellings(text) for text in texts}
        told = dict(zip(ways[texts[0]], sound.log_p(ways[texts[0]]), strict=True))
        # The way that it would write the first engine's best is taken for all: to try each way for each costs double.
        way = max(range(len(ways[texts[0]])), key=lambda at: told[ways[texts[0]][at]])
        written = {text: some[min(way, len(some) - 1)] for text, some in ways.items()}
        rest = [text for text in dict.fromkeys(written.values()) if text not in told]
        told |= dict(zip(rest, sound.log_p(rest), strict=True))
        best: dict[str, float] = {}
        for text, how in written.items():
            best[untwinned(text)] = max(best.get(untwinned(text), -math.inf), told[how])
        return {text: best[untwinned(text)] for text in texts}


def untwinned(text: str) -> str:
    """Put -ty for every -teen, so that texts that differ in these alone become one."""
    return " ".join(TWINS[word] if word.endswith("teen") and word in TWINS else word for word in text.split())
