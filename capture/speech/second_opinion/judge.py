"""What the second engine says of the first one's word sequences for a stretch, and both scores put together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from capture.language.numbers import TWINS
from capture.reading import Judged, OwnTranscript
from capture.speech.choice import Choice, exchanged, plain
from capture.speech.second_opinion.engine import SecondOpinion, Sound
from capture.speech.second_opinion.wording import in_our_words, spellings

JUDGED = 10
"""Word sequences of the first engine that are judged, best first: the next twenty held two of 200 truths more."""


@dataclass(frozen=True)
class Weights:
    """How the two engines' scores are put together.

    Attributes:
        second: Weight of the second engine's log probability beside the first one's score.
        own_cost: What a word sequence that only the second engine thought of costs against the first one's best.
    """

    second: float = 0.75
    own_cost: float = 4.0

    def total(self, judged: Judged) -> float:
        """Put the scores of one word sequence together."""
        return judged.first + self.second * judged.second - self.own_cost * judged.added


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

    def judge(self, pcm: bytes, choices: Sequence[Choice]) -> tuple[list[Choice], OwnTranscript]:
        """Judge the word sequences of one stretch, and those that the second engine adds.

        Args:
            pcm: The stretch: 16 kHz mono samples, signed 16 bit.
            choices: The first engine's, best first; at least one.

        Returns:
            All of them by both scores, best first, and the second engine's own transcript.

        Raises:
            EngineError: The second engine failed.
        """
        sound = self.engine.listen(pcm)
        own = sound.own()
        kept = [choice for choice in choices[:JUDGED] if choice.words] or list(choices[:1])
        best = kept[0]
        texts = {choice.text for choice in kept}
        added = [text for text in in_our_words(own.text, best.text, self._knows) if text not in texts]
        end = best.words[-1].end if best.words else 0.0
        both = [(choice.words, choice.score, 0) for choice in kept]
        both += [(exchanged(best.words, text.split(), 0.0, end), best.score, 1) for text in added]
        texts_of = [plain(" ".join(word.word for word in words)) for words, _, _ in both]
        second = self._second(sound, texts_of)
        judged = []
        for (words, first, new), text in zip(both, texts_of, strict=True):
            found = Judged(first, second[text], new)
            judged.append(Choice(self.weights.total(found), words, found))
        return sorted(judged, key=lambda choice: -choice.score), own

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
