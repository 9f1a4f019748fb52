"""How evenly the characters of a main string stand: a gap is two numbers side by side, or a digit that was missed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.display.fields import Fields
from capture.display.marks import Mark

POINTED = 2.2
"""A step over a point may be up to this many times as long as one without, since a point may take a place of its own;
practice, no source."""
OWN_PLACE = (0.35, 0.65)
"""Where in its step a point stands that takes a place of its own, shares of the step; practice, no source."""


def pitch(fields: Fields) -> float:
    """Measure how unevenly characters stand: spread of the steps over their mean, 0..1; 0 for fewer than three."""
    steps = _steps(fields)
    return float(np.clip(np.std(steps) / max(float(np.mean(steps)), 1.0), 0.0, 1.0)) if len(steps) > 1 else 0.0


def widest_step(fields: Fields) -> float:
    """Give the longest step between characters in units of the others' median; 1 for fewer than three."""
    steps = np.sort(_steps(fields))
    return float(steps[-1] / max(float(np.median(steps[:-1])), 1.0)) if len(steps) > 1 else 1.0


def _has_own_place(marks: list[Mark]) -> bool:
    """Tell whether a point stands midway between two characters: where a digit was missed beside it, it does not."""
    share = (marks[1].x - marks[0].x) / max(marks[-1].x - marks[0].x, 1.0)
    return len(marks) == 3 and OWN_PLACE[0] < share < OWN_PLACE[1]


def _steps(fields: Fields) -> NDArray[np.float64]:
    """Measure the steps between the main string's characters, sign aside, canvas px; a point's own place left out."""
    row = [m for m in fields.chars if m.name not in "-<>"]
    digits = [i for i, m in enumerate(row) if m.group == 0]
    steps = np.array([row[j].x - row[i].x for i, j in pairwise(digits)])
    pointed = np.array([j - i > 1 and _has_own_place(row[i : j + 1]) for i, j in pairwise(digits)], bool)
    if len(steps) > 1:
        plain = float(np.median(steps[~pointed])) if (~pointed).any() else float(np.min(steps))
        steps[pointed & (steps > plain) & (steps < POINTED * plain)] = plain
    return steps
