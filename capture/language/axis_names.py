"""What a person says for each axis of a machine: names on drawings cannot always be said, or not be heard.

A letter, a letter with one digit ("X1", "X-1") and SPINDLE are said as they are. Any other name gets its first letter,
or that letter with the first free digit: "Tango axis" for TURRET.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from capture.language.readback import axis_words

_SAID = re.compile(r"([A-Z])[-_]?([0-9]?)")


def spoken_names(names: Sequence[str], *, strict: bool = False) -> dict[str, str]:
    """Give the name that is said and heard for each axis name.

    Args:
        names: Upper-case names, each once.
        strict: Refuse names that cannot be told apart; else such a name stays as it is, and is only typed.

    Returns:
        By axis name "X", "X1" or "SPINDLE": each once.

    Raises:
        ValueError: `strict`, and two names would be said alike; the message says which.
    """
    said: dict[str, str] = {}
    for name in names:
        match = _SAID.fullmatch(name)
        if name != "SPINDLE" and match is None:
            continue
        spoken = name if match is None else match[1] + match[2]
        twin = next((other for other, form in said.items() if form == spoken), None)
        if twin is not None and not strict:
            spoken = name
        elif twin is not None:
            raise ValueError(f"{twin} and {name} are said alike; give one of them another letter or number.")
        said[name] = spoken
    for name in names:
        if name in said:
            continue
        forms = (name[0], *(f"{name[0]}{digit}" for digit in "123456789"))
        free = [form for form in forms if form not in said.values()]
        if not free and strict:
            raise ValueError(f"There is nothing left to say for {name}; give it another first letter.")
        said[name] = free[0] if free else name
    return {name: said[name] for name in names}


def how_to_say(name: str, names: Sequence[str]) -> str:
    """Word what is said for an axis: "X-ray axis", "Tango axis" for TURRET."""
    return axis_words(spoken_names(names)[name])
