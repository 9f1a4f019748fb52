"""What is wrong with a job's description, in words that stand beside their field: never the checking library's own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import ErrorDetails

_MISSING = {
    "title": "Give the job a title.",
    "customer": "Give the customer's name.",
    "machine": "Say which machine it is.",
    "technician": "Give the name of who works on it.",
    "axes": "Give at least one axis.",
    "name": "Give the axis a name, such as X or SPINDLE.",
    "id": "Give the instrument the number or name that it is known by.",
    "kind": "Choose what kind of instrument it is.",
}
"""What to say where a field that is needed is empty, by its name."""

_ID = "Use letters, digits, dots, dashes and underscores, without spaces, at most 31: for example IT-03."
_NUMBER = "Write a number, such as 400 or 0.5, without its unit."
_DATE = "Write the date as year, month and day: 2027-03-31."
_OTHER = "This cannot be read. Correct it or leave it out."


def _limit(context: Mapping[str, Any], name: str) -> str:
    value = context.get(name)
    return f"{value:,}".replace(",", " ") if isinstance(value, int) else str(value)


_BOUNDS = {
    "greater_than": ("gt", "Write a number above {}."),
    "greater_than_equal": ("ge", "Write a number of at least {}."),
    "less_than": ("lt", "Write a number below {}."),
    "less_than_equal": ("le", "Write a number of at most {}."),
    "string_too_long": ("max_length", "Use at most {} characters."),
    "too_many": ("max_length", "Give at most {} of them."),
    "enum": ("expected", "Choose one of {}."),
    "literal_error": ("expected", "Choose one of {}."),
}
"""What to say of a limit, by the check's name of the error and of the fact that it gives."""

_SENTENCES = {
    "string_pattern_mismatch": _ID,
    "extra_forbidden": "There is no field of this name. Correct its spelling or leave it out.",
}

_FAMILIES = {
    "decimal": _NUMBER,
    "int": _NUMBER,
    "float": _NUMBER,
    "finite": _NUMBER,
    "date": _DATE,
    "bool": "Answer yes or no (true or false).",
    "string": "This is of the wrong kind: write text.",
}
"""What to say of the errors of one type of value, by how their names begin."""


def _words(kind: str, field: str, context: Mapping[str, Any]) -> str:
    """Write what is wrong with one field, from the facts that the check gives."""
    if kind in ("missing", "string_too_short", "too_short"):
        return _MISSING.get(field, "This is needed.")
    if kind == "value_error":
        said = str(context.get("error", "")).strip()
        return said if said.endswith((".", "!", "?")) else f"{said}."
    if kind in _BOUNDS:
        name, sentence = _BOUNDS[kind]
        return sentence.format(_limit(context, name))
    family = next((words for begin, words in _FAMILIES.items() if kind.startswith(begin)), _OTHER)
    return _SENTENCES.get(kind, family)


_UNIONS = ("function-before", "function-after", "function-plain", "literal[", "constrained", "nullable")
"""Parts of a place that name no field but a branch of the check."""


def places(errors: Sequence[ErrorDetails]) -> dict[str, str]:
    """Give each field that is wrong, "axes.0.name", with one sentence that says what to do; the first one of each.

    Args:
        errors: As the check gives them.
    """
    found: dict[str, str] = {}
    for error in errors:
        parts = [part for part in error["loc"] if not (isinstance(part, str) and _is_branch(part))]
        field = next((part for part in reversed(parts) if isinstance(part, str)), "")
        # The check calls text and lists alike too long, where a function looks at the text besides.
        kind = error["type"]
        if kind == "too_long":
            kind = "string_too_long" if isinstance(error["input"], str) else "too_many"
        words = _words(kind, field, error.get("ctx", {}))
        found.setdefault(".".join(map(str, parts)), words)
    return found


def _is_branch(part: str) -> bool:
    return part.startswith(_UNIONS) or part in ("decimal", "date", "str", "enum")
