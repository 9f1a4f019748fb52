"""Whether somebody else may have said some of an utterance's words: they are too quiet beside the rest.

Somebody a few steps away is 10 dB quieter and more, and is heard as if the words belonged together ("fourteen meg" with
"picture" before it). One person's words differ less, but for short ones and for the unit at the end, which fades.
"""

from __future__ import annotations

from capture.language.vocabulary import unit_words
from capture.reading import Heard
from capture.speech.candidates import content_words

QUIETER_DB = 10.0
"""By how much the quietest word may lie below the loudest, dB. Voices set aside: of right readings that needed no
question none of 556 (clean, 10 dB, 5 dB) has a quieter word, of wrong ones beside a second talker 5 of 6. One person's
words were seen to lie up to 9.9 dB apart."""

LEAST_S = 0.25
"""Shorter words say nothing, s: "to" and "at" are hardly voiced, and a short word at the end fades."""


def may_be_another_talkers(heard: Heard) -> bool:
    """Tell whether a word of an utterance is so quiet that another person may have said it.

    Args:
        heard: What the recogniser made of a clip; without levels nothing can be told.
    """
    if len(heard.levels_db) != len(heard.words):
        return False
    said = list(zip(heard.words, heard.levels_db, strict=True))
    while said and said[-1][0].word in unit_words():
        said.pop()
    levels = [level for word, level in said if content_words([word]) and word.end - word.start >= LEAST_S]
    return bool(levels) and max(levels) - min(levels) > QUIETER_DB
