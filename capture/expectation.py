"""What the dialogue asked for last, and so what can come now: the state that hearing goes by.

An expectation makes what it names likelier among the things that were really heard. It never makes anything of sound
that was not heard, and never keeps anything else from being heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from grading.terms.quantity import Quantity


class Asked(StrEnum):
    """What the open question, if any, can be answered with."""

    NOTHING = "nothing"  # no question is open: a place, a value or a command
    CONFIRMATION = "confirmation"  # "... Right?": yes, no, a correction
    VALUE = "value"  # a value is missing or in doubt: number and unit, one of the choices, or digit by digit
    UNIT = "unit"  # a number waits for its unit
    VOLTAGE = "voltage"  # a number of volts
    ANSWER = "answer"  # a safety question: yes, no, does not apply
    PLACE = "place"  # axis, part of the axis, or what was measured


@dataclass(frozen=True)
class Expectation:
    """What can come now.

    Attributes:
        asked: What the open question can be answered with.
        choices: The values that were read back or offered, best first; empty where none were.
    """

    asked: Asked = Asked.NOTHING
    choices: tuple[Quantity, ...] = ()
