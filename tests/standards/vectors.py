"""The vectors of `vectors.jsonl`: published figures, and figures worked out apart from the code.

Each line names its id, the rule it checks (`grading.rulebook`), the function called, its arguments, what must come
out and how closely, the source, and how the source was seen ("from memory" where it was not).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Vector:
    """One check.

    Attributes:
        id: "TV-" for worked cases, "AX-" for the numeric series.
        rule: Rule checked.
        fn: Function of `functions.FUNCTIONS`.
        args: Its arguments.
        expect: What must come out: a number, a text, or a list or mapping of them.
        tol: Largest absolute difference of numbers, or ["rel", fraction].
        source: Where the figure comes from.
        status: How that was seen.
    """

    id: str
    rule: str
    fn: str
    args: list[Any]
    expect: Any
    tol: Any
    source: str
    status: str


def vectors() -> list[Vector]:
    """Give all of them, in the file's order."""
    text = Path(__file__).with_name("vectors.jsonl").read_text(encoding="utf-8")
    return [Vector(**json.loads(line)) for line in text.splitlines()]
