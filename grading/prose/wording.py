"""How a fact becomes a sentence: what it says, the figures behind it, and what limits it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from grading.facts import MeasuredValue, Place
from grading.finding import Finding
from grading.terms.section import section_in_full
from grading.words import limit_value, limit_words, measured, place

T = TypeVar("T")


@dataclass(frozen=True)
class Wording:
    """The parts of a statement, in the order in which they are written.

    Attributes:
        clause: What the fact says, without figures: "below the limit".
        figures: What follows it: "; measured 0.80 MΩ at 500 V (limit at least 1 MΩ, ...)".
        caveat: Sentences that limit or explain it, each with a capital letter, no full stop at the end.
        head: What stands before it; None for the place.
    """

    clause: str
    figures: str = ""
    caveat: str = ""
    head: str | None = None


Writer = Callable[[Finding], Wording]


def need(value: T | None) -> T:
    """Give a figure that the fact cannot be without.

    Raises:
        ValueError: A finding of this fact was made without it.
    """
    if value is None:
        raise ValueError("A finding lacks a figure that its fact speaks of.")
    return value


def detail(finding: Finding, kind: type[T]) -> T:
    """Give the detail of a finding, of the type that its fact has.

    Raises:
        ValueError: A finding of this fact was made with another.
    """
    if not isinstance(finding.detail, kind):
        raise ValueError(f"{finding.fact.value} needs a detail of type {kind.__name__}.")
    return finding.detail


def first(finding: Finding) -> MeasuredValue:
    """Give the first measured value of a finding."""
    return need(finding.values[0] if finding.values else None)


def last(finding: Finding) -> MeasuredValue:
    """Give the last measured value of a finding."""
    return need(finding.values[-1] if finding.values else None)


def held(finding: Finding) -> str:
    """Write the limit in brackets: " (limit at least 1 MΩ, IEC 60204-1, 18.3 (...))"; "" without one."""
    return "" if finding.limit is None else f" ({limit_words(finding.limit)})"


LOW_FOR_KIND = "meets its limits, but is lower than such a part usually reads; to be watched"


def watched(finding: Finding) -> str:
    """Write the level below which a value is watched, in brackets; it is no limit that must be met."""
    limit = need(finding.limit)
    return f" (watch level {limit_value(limit)}, {limit.cited()})"


def measured_clause(clause: str) -> Writer:
    """Write a fact that speaks of its one measured value only."""
    return lambda finding: Wording(clause, f"; {measured(first(finding))}")


def held_clause(clause: str) -> Writer:
    """Write a fact that speaks of its one measured value and its limit."""
    return lambda finding: Wording(clause, f"; {measured(first(finding))}{held(finding)}")


def head_of(where: Place) -> str:
    """Write where: "Axis X, motor alone, U-PE"; only what is spoken of."""
    if where.terminals is not None:
        return place(where)
    return f"Axis {where.axis}" if where.section is None else f"Axis {where.axis}, {section_in_full(where.section)}"
