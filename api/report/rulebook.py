"""Titles and sources of rules, for findings that hold nothing against a limit."""

from __future__ import annotations

from grading.rulebook import RULES


def title_of(rule: str) -> str:
    """What the rule answers, in a few words."""
    return RULES[rule].title if rule in RULES else rule.replace(".", ": ").replace("_", " ")


def source_of(rule: str) -> tuple[str, str]:
    """Where the rule comes from, and the limits' status where the source does not say it itself."""
    return (RULES[rule].source, "") if rule in RULES else ("rule not in the rule book", "check before use")


def is_isolation(rule: str) -> bool:
    """Whether the rule tells motor, cable and connection apart."""
    return rule.startswith("isolation.")
