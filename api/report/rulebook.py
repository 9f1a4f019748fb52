"""Titles and sources of rules, for findings that hold nothing against a limit."""

from __future__ import annotations

from grading.rulebook import RULES, Family, family_of


def title_of(rule: str) -> str:
    """Say what the rule answers, in a few words."""
    return RULES[rule].title if rule in RULES else rule


def source_of(rule: str) -> tuple[str, str]:
    """Say where the rule comes from, and the limits' status where the source does not say it itself."""
    return (RULES[rule].source, "") if rule in RULES else ("rule not in the rule book", "check before use")


def is_isolation(rule: str) -> bool:
    """Tell whether the rule tells motor, cable and connection apart."""
    return family_of(rule) is Family.ISOLATION
