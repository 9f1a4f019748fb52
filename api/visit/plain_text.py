"""Text that people type, as pydantic types: one line that shows as it is stored.

A NUL, a line break or a mark that turns the direction of writing can make a name on a report read as another than the
one on file, so they are refused, with their place, and never silently dropped.
"""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator

MOST_INTEGER = 2**63 - 1
"""The largest integer that the database holds (SQLite, "Datatypes", 2)."""

_REFUSED = re.compile(
    "["
    "\x00-\x1f\x7f-\x9f"  # control characters: NUL, tabulator, line breaks, escape (Unicode category Cc)
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # marks that turn the direction of writing (UAX 9, 2)
    "\u2028\u2029"  # line and paragraph separators
    "\ud800-\udfff"  # halves of characters, which are none
    "\ufffe\uffff"  # never characters
    "]"
)


def check_line(text: str) -> str:
    """Give a text back that is one plain line.

    Raises:
        ValueError: It holds a character that is not shown; the sentence names it and its place.
    """
    found = _REFUSED.search(text)
    if found is not None:
        raise ValueError(
            f"Character {found.start() + 1} (U+{ord(found[0]):04X}) is a line break, a control character, half a "
            "character or turns the direction of writing. Leave it out"
        )
    return text


def check_plain(value: object) -> object:
    """Give JSON back in which every text, names of fields included, is one plain line and every integer can be stored.

    Raises:
        ValueError: One is not; the sentence names the place.
    """
    waiting: list[tuple[str, object]] = [("", value)]
    while waiting:
        place, one = waiting.pop()
        if isinstance(one, str):
            try:
                check_line(one)
            except ValueError as error:
                raise ValueError(f"{place}: {error}" if place else str(error)) from None
        elif isinstance(one, int) and abs(one) > MOST_INTEGER:
            raise ValueError(f"{place or 'the number'}: the number is too large")
        elif isinstance(one, dict):
            waiting += [(place, key) for key in one]
            waiting += [(f"{place}.{key}" if place else str(key), each) for key, each in one.items()]
        elif isinstance(one, list):
            waiting += [(f"{place}.{index}" if place else str(index), each) for index, each in enumerate(one)]
    return value


PlainText = Annotated[str, AfterValidator(check_line)]
"""One plain line of text."""

PlainJson = Annotated[dict[str, Any], BeforeValidator(check_plain)]
"""A JSON object whose texts are plain lines."""
