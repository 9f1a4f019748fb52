"""What a rule gives back: findings, with their limits and margins (the verdicts made of them: `grading.outcome`).

A finding is computed, never typed, and can be computed again from the same records at any time. `plain` turns every
object here into plain data: decimals as strings in plain notation, enums as their values, dates in ISO 8601.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import Enum, StrEnum
from functools import cache
from operator import attrgetter
from typing import Any

from grading.details import Detail
from grading.facts import Fact, MeasuredValue, Place, StatementBasis
from grading.limit import Limit
from grading.steps import Advice, NextStep, Reason
from grading.terms.record import record
from grading.terms.section import Section


class Verdict(StrEnum):
    """How a thing stands against its limits. None of these words means that anything is safe to touch."""

    ACCEPTABLE = "acceptable"  # within limits at the time of test
    MARGINAL = "marginal"  # within limits, but to be watched or to be proved better
    UNACCEPTABLE = "unacceptable"  # below a limit
    INCONCLUSIVE = "inconclusive"  # these readings cannot tell; the next step says what would

    @property
    def severity(self) -> int:
        """0 (acceptable) to 3 (unacceptable): the worst finding gives the headline."""
        return _SEVERITY[self]


_SEVERITY = {Verdict.ACCEPTABLE: 0, Verdict.MARGINAL: 1, Verdict.INCONCLUSIVE: 2, Verdict.UNACCEPTABLE: 3}


class Urgency(StrEnum):
    """The trade's finer words behind a verdict."""

    DO_NOT_ENERGISE = "do_not_energise"  # FAIL - not to be energised
    SERVICE_LIMIT = "service_limit"  # FAIL - service limit: serviceable only at risk
    REPEAT = "repeat"  # INCONCLUSIVE
    WATCH = "watch"  # WATCH
    WITHIN_LIMITS = "within_limits"  # WITHIN LIMITS AT TIME OF TEST
    INFORMATION = "information"  # a fact or a note that judges nothing


class Conformity(StrEnum):
    """Non-binary statement with guard band (ILAC-G8:09/2019, 4.2), mirrored to a lower limit."""

    PASS = "pass"  # noqa: S105 - not a password
    CONDITIONAL_PASS = "conditional_pass"  # noqa: S105 - not a password
    CONDITIONAL_FAIL = "conditional_fail"
    FAIL = "fail"


@record
class Margin:
    """How far a value lies from its limit.

    Attributes:
        value: The value held against the limit, in `unit`; None where only bounds are known.
        low: Lowest value consistent with the reading and its uncertainty; None if unbounded below.
        high: Highest; None if unbounded above (over range).
        limit: The limit, in `unit`.
        unit: UCUM code, or "1".
        expanded_uncertainty: U (k = 2), in `unit`.
        acceptance_limit: Limit plus guard band w = U, in `unit`.
        ratio: value / limit (or low / limit for over-range values).
        probability: Probability of conformity, 0..1 (JCGM 106:2012), for point readings.
        conformity: Pass, conditional pass, conditional fail, fail.
    """

    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    limit: Decimal
    unit: str
    expanded_uncertainty: Decimal | None = None
    acceptance_limit: Decimal | None = None
    ratio: Decimal | None = None
    probability: Decimal | None = None
    conformity: Conformity | None = None


@record
class Finding:
    """One rule applied to some records: facts as fields, no sentence (`grading.prose` writes it).

    Attributes:
        rule: Id in `grading.rulebook.RULES`.
        verdict: How it stands.
        urgency: The finer word.
        place: Where.
        fact: What was found.
        values: The measured values that the fact speaks of, in the order in which it names them.
        detail: Figures and circumstances of the fact, where it has any of its own.
        reason: Why, where the fact has a reason or points at a cause.
        basis: Whether it states a measurement, a calculation or an inference; set by the rule.
        limit: What it was held against; None for rules without a limit.
        record_ids: The records used, in the order measured.
        margin: How far from the limit.
        next_step: What to do; None where nothing follows.
        advice: An opinion, marked as such when it is written, or None.
    """

    rule: str
    verdict: Verdict
    urgency: Urgency
    place: Place
    fact: Fact
    values: tuple[MeasuredValue, ...] = ()
    detail: Detail | None = None
    reason: Reason | None = None
    basis: StatementBasis = StatementBasis.MEASURED
    limit: Limit | None = None
    record_ids: tuple[str, ...] = ()
    margin: Margin | None = None
    next_step: NextStep | None = None
    advice: Advice | None = None

    @property
    def section(self) -> Section | None:
        """Part of the axis concerned, where it is one."""
        return self.place.section


def plain(value: object) -> Any:
    """Turn grading's objects into plain data for JSON.

    Decimals become strings in plain notation, enums their values, dates and times ISO 8601, tuples and sets lists.

    Raises:
        TypeError: For a type that has no plain form.
    """
    kind: Any = type(value)
    return _form_of(kind)(value)


_Form = Callable[[Any], Any]
_FORMS: tuple[tuple[type | tuple[type, ...], _Form], ...] = (
    (Enum, attrgetter("value")),
    ((type(None), bool, int, str), lambda value: value),
    (Decimal, lambda value: format(value, "f")),
    ((dt.datetime, dt.date), lambda value: value.isoformat()),
    (Mapping, lambda value: {str(plain(key)): plain(item) for key, item in value.items()}),
    ((frozenset, set), lambda value: sorted(plain(item) for item in value)),
    ((tuple, list), lambda value: [plain(item) for item in value]),
    (Limit, lambda value: dict(value.data)),
)


@cache
def _form_of(kind: type) -> _Form:
    """Find out once for each type how its values are written."""
    for kinds, form in _FORMS:
        if issubclass(kind, kinds):
            return form
    if is_dataclass(kind):
        return _form_of_record(tuple(f.name for f in fields(kind)))
    raise TypeError(f"{kind.__name__} has no plain form.")


def _form_of_record(names: tuple[str, ...]) -> _Form:
    # Two names at least, so that `attrgetter` gives a tuple.
    values = attrgetter(*names, "__class__", "__class__")
    return lambda record: {name: plain(item) for name, item in zip(names, values(record), strict=False)}
