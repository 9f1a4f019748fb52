"""One word sequence for one stretch of speech, and the same stretch in other words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from capture.language.vocabulary import plain_words
from capture.reading import Judged, Word


@dataclass(frozen=True)
class Choice:
    """One word sequence for one stretch of speech.

    Attributes:
        score: How well it fits the sound, as a logarithm.
        words: Its words in the engine's spelling.
        judged: How each engine judges it; None where only one was asked.
    """

    score: float
    words: tuple[Word, ...]
    judged: Judged | None = None

    @property
    def text(self) -> str:
        """The plain words."""
        return plain(" ".join(word.word for word in self.words))


def plain(text: str) -> str:
    """Split recogniser words into plain words."""
    return " ".join(part for word in text.split() for part in plain_words(word))


def exchanged(old: Sequence[Word], new: Sequence[str], share: float, end_s: float) -> tuple[Word, ...]:
    """Put other words in place of those heard; words that are new share the time of those that they replace.

    Args:
        old: The words heard.
        new: The words to stand there.
        share: Confidence of the words that are new, 0..1.
        end_s: End of the sound, s.
    """
    made: list[Word] = []
    for kind, start, end, first, last in SequenceMatcher(None, [w.word for w in old], list(new), False).get_opcodes():
        if kind == "equal":
            made += old[start:end]
            continue
        begin = old[start].start if start < end else made[-1].end if made else 0.0
        finish = old[end - 1].end if start < end else old[end].start if end < len(old) else end_s
        step = max(0.0, finish - begin) / max(1, last - first)
        made += [
            Word(word, round(begin + at * step, 3), round(begin + (at + 1) * step, 3), round(share, 4))
            for at, word in enumerate(new[first:last])
        ]
    return tuple(made)
