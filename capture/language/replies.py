"""Plain answers to a plain question: yes, no, or a number of volts."""

from __future__ import annotations

from dataclasses import dataclass

from capture.language.items import Cue, scan
from capture.language.vocabulary import plain_text
from capture.reading import Doubt, Utterance
from grading.terms.quantity import UNITS, Qualifier, Quantity

CLEAR_WORD = 0.6
"""Confidence of a word from which a plain answer is taken (program's rule, as of `capture.speech.confidence`)."""

_YES = frozenset({"yes", "yeah", "affirmative"})
_NO = frozenset({"no"})
_UNHEARD = frozenset(
    {Doubt.TEEN_OR_TY, Doubt.DIGITS_AMBIGUOUS, Doubt.LOW_CONFIDENCE, Doubt.UNKNOWN_WORDS, Doubt.CONFLICT}
)
"""Doubts about what was said; all others are about a reading, which an answer is not."""


@dataclass(frozen=True)
class Reply:
    """A plain answer.

    Attributes:
        answer: "yes", "no" or "volts".
        volts: Each voltage that the words can mean, V in plain notation, the likeliest first.
        sure: Nothing about the hearing is in doubt.
    """

    answer: str
    volts: tuple[str, ...] = ()
    sure: bool = True


def reply_of(utterance: Utterance, *, volts_wanted: bool) -> Reply | None:
    """Give the plain answer that an utterance is; None where it is none.

    Args:
        utterance: What was understood.
        volts_wanted: A bare number is taken for volts.
    """
    # A plain word has no meaning that the hearing could have been judged by: its own confidence counts.
    clear = all(word.confidence >= CLEAR_WORD for word in utterance.heard.words)
    sure = clear and not _UNHEARD & set(utterance.doubts)
    if volts_wanted and len(utterance.readings) == 1 and utterance.command is None:
        quantities = [reading.quantity for reading in (utterance.readings[0], *utterance.alternatives)]
        volts = [_volts(quantity) for quantity in quantities]
        return None if volts[0] is None else Reply("volts", tuple(found for found in volts if found is not None), sure)
    if utterance.readings or utterance.command is not None:
        return None
    pieces = [item for item in scan(plain_text(utterance.heard.text)) if item.piece not in (Cue.FILLER, Cue.PAUSE)]
    words = plain_text(utterance.heard.text)
    said = {word for item in pieces for word in words[item.start : item.end]}
    if said and said <= _YES:
        return Reply("yes", sure=sure)
    if said and said <= _NO:
        return Reply("no", sure=sure)
    return None


def _volts(quantity: Quantity) -> str | None:
    if quantity.digits is None or quantity.qualifier not in (Qualifier.EQUAL, Qualifier.BELOW):
        return None
    if quantity.unit is None:
        return quantity.digits
    if UNITS[quantity.unit].dimension != "voltage":
        return None
    value = quantity.in_unit("V")
    return None if value is None else format(value.normalize(), "f")
