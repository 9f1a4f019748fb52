"""Limits listed under a rule are those that it really reads (`tests.grading.limits_read` says how that is seen)."""

from __future__ import annotations

from functools import cache

from grading.limits import LIMITS
from tests.grading.limits_read import Reads, corpus, listed, not_listed, not_read, observe


@cache
def reads() -> Reads:
    return observe(corpus(), listed())


def test_no_rule_lists_a_limit_that_it_never_reads() -> None:
    assert not_read(reads()) == {}, "Take it off the rule's list, or add an axis on which it counts to the corpus."


def test_every_limit_that_a_finding_cites_is_listed_under_its_rule() -> None:
    assert not_listed(reads()) == {}


def test_a_limit_that_is_not_read_would_be_found() -> None:
    """A rule does not move with what it has nothing to do with."""
    assert "winding.unbalance" in reads().moved["winding.unbalance_random"]
    assert "winding.unbalance" not in reads().moved["insulation.watch_brushed"]
    assert not reads().moved["insulation.armature_2000"]
    assert len(reads().moved) <= len(LIMITS)
