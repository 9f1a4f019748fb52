"""Prints the table of rules as Markdown: rule, source, limits and number of checks (`python -m tests.standards`).

The counts are those of `vectors.jsonl`; the contributor's guide includes this table, and a test holds the two equal.
"""

from __future__ import annotations

from collections import Counter

from grading.limits import LIMITS
from grading.rulebook import RULES
from grading.words import limit_value
from tests.standards.vectors import vectors

START, END = "<!-- rules table: begin -->", "<!-- rules table: end -->"


def counts() -> Counter[str]:
    """Tell how many vectors check each rule."""
    return Counter(vector.rule for vector in vectors())


def rules_table() -> str:
    """Give one line per rule, in the rulebook's order."""
    checks = counts()
    lines = ["| Rule | What it answers | Source | Limits | Vectors |", "|---|---|---|---|---|"]
    for rule in RULES.values():
        limits = ", ".join(f"{limit_value(LIMITS[name])}" for name in rule.limits) or "–"
        lines.append(f"| `{rule.id}` | {rule.title} | {rule.source} | {limits} | {checks[rule.id]} |")
    lines.append(f"| all | | | {len(LIMITS)} limits | {sum(checks.values())} |")
    return "\n".join(lines)


def limits_table() -> str:
    """Give one line per limit with its citation."""
    lines = ["| Limit | Quantity | Condition | Value | Source |", "|---|---|---|---|---|"]
    lines += [
        f"| `{limit.id}` | {limit.quantity} | {limit.condition} | {limit.direction.value} {limit_value(limit)} | "
        f"{limit.citation()} |"
        for limit in LIMITS.values()
    ]
    return "\n".join(lines)


def included(document: str) -> str | None:
    """Give the table that a document holds between its two marks; None where it has none."""
    if START not in document or END not in document:
        return None
    return document.split(START, 1)[1].split(END, 1)[0].strip()


def with_table(document: str) -> str:
    """Give the document with the table of today between its two marks.

    Raises:
        ValueError: It does not hold the marks.
    """
    if included(document) is None:
        raise ValueError(f"The document needs the lines {START} and {END}.")
    head, rest = document.split(START, 1)
    return f"{head}{START}\n{rules_table()}\n{END}{rest.split(END, 1)[1]}"
