"""What grading gives back: findings with their limits and sources, and the verdicts made of them.

A finding is computed, never typed, and can be computed again from the same records at any time. `plain` turns every
object here into plain data: decimals as strings in plain notation, enums as their values, dates in ISO 8601.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from enum import Enum, StrEnum
from typing import Any

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


class SourceStatus(StrEnum):
    """How the number in a limit was come by."""

    READ = "read in the document"  # V1
    SECONDARY = "read in a secondary text"  # V2
    QUOTED = "quoted second-hand, document not opened"  # Q
    FROM_MEMORY = "from memory, check before quoting the clause"  # M
    COMMON_PRACTICE = "common practice, no source"  # CP
    HOUSE_RULE = "house rule"  # P
    COMPUTED = "computed from a stated formula"  # C


class Direction(StrEnum):
    """Which side of a limit is good."""

    AT_LEAST = "at least"
    AT_MOST = "at most"


class Basis(StrEnum):
    """Which value is held against a limit."""

    AS_MEASURED = "as measured"
    CORRECTED_40C = "corrected to 40 °C"
    COMPUTED = "computed from readings"


@dataclass(frozen=True)
class Limit:
    """One limit as data.

    Attributes:
        id: Stable name; a shop profile refers to it.
        quantity: What it limits, in words.
        condition: When it applies, in words (winding kind, rated voltage, test voltage, section).
        value: The limit.
        unit: UCUM code of the limit ("MOhm", "%", "1" for a ratio).
        source: Document and edition, or "Common practice", or "House rule".
        clause: Clause or table, or "".
        status: How the number was come by.
        direction: Which side is good.
        basis: Which value is held against it.
        decided_by: Who changed it in a shop profile, or "".
        reason: Why, or "".
        loosened_from: The published value where a profile loosened it; every report must say so.
    """

    id: str
    quantity: str
    condition: str
    value: Decimal
    unit: str
    source: str
    clause: str
    status: SourceStatus
    direction: Direction = Direction.AT_LEAST
    basis: Basis = Basis.AS_MEASURED
    decided_by: str = ""
    reason: str = ""
    loosened_from: Decimal | None = None

    def citation(self) -> str:
        """Source and clause with its status, e.g. "IEC 60204-1, 18.3 (quoted second-hand, document not opened)"."""
        where = f"{self.source}, {self.clause}" if self.clause else self.source
        named = self.status.value.lower().startswith(where.lower())
        text = self.status.value if named else f"{where} ({self.status.value})"
        if self.loosened_from is None:
            return text
        return f"{text}; loosened from {self.loosened_from:f} by {self.decided_by}: {self.reason}"


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class NextStep:
    """What to do next, and why.

    Attributes:
        action: One sentence in the imperative.
        reason: Why, in one sentence.
        settles: What change or value would settle the question, or "".
    """

    action: str
    reason: str
    settles: str = ""


@dataclass(frozen=True)
class Finding:
    """One rule applied to some records.

    Attributes:
        rule: Id in `grading.rules.RULES`.
        verdict: How it stands.
        urgency: The finer word.
        statement: Plain words first, numbers after; "measured" for facts, "indicates" for inferences.
        limit: What it was held against; None for rules without a limit.
        record_ids: The records used, in the order measured.
        margin: How far from the limit.
        next_step: What to do; None where nothing follows.
        section: Part of the axis concerned, where it is one.
        recommendation: An opinion, marked as such ("We recommend ..."), or "".
    """

    rule: str
    verdict: Verdict
    urgency: Urgency
    statement: str
    limit: Limit | None = None
    record_ids: tuple[str, ...] = ()
    margin: Margin | None = None
    next_step: NextStep | None = None
    section: Section | None = None
    recommendation: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As plain data (see `plain`), with the limit's citation spelled out."""
        return _as_dict(self)


class Fault(StrEnum):
    """Where isolation puts the fault."""

    MOTOR = "motor"
    CABLE = "cable"
    BOTH = "both"
    CONNECTOR_OR_MOISTURE = "connector or moisture"
    NEITHER = "neither"
    CONTRADICTORY = "contradictory"
    UNDETERMINED = "undetermined"  # not enough measured yet


@dataclass(frozen=True)
class DriveVerdict:
    """Whether the drive may be connected to what was measured.

    Attributes:
        verdict: Unacceptable where any part measured is below the floor.
        statement: Fact and consequence in plain words.
        record_ids: The records it rests on.
    """

    verdict: Verdict
    statement: str
    record_ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class AxisVerdict:
    """The outcome for one axis.

    Attributes:
        axis: Axis name.
        verdict: The worst of its findings.
        urgency: The finer word of the worst finding.
        headline: One or two plain sentences for the customer.
        fault: Where isolation puts the fault.
        findings: Every finding, most serious first.
        drive: Whether the drive may be connected.
        cost_of_ignoring: What is at stake, in one sentence; "" where nothing is.
        next_steps: What to do, most useful first, without repeats.
        record_ids: Every record of the axis that a finding used.
    """

    axis: str
    verdict: Verdict
    urgency: Urgency
    headline: str
    fault: Fault
    findings: tuple[Finding, ...]
    drive: DriveVerdict
    cost_of_ignoring: str = ""
    next_steps: tuple[NextStep, ...] = ()
    record_ids: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain data (see `plain`)."""
        return _as_dict(self)


@dataclass(frozen=True)
class JobVerdict:
    """The outcome of one visit.

    Attributes:
        verdict: The worst of its axes.
        axes: One verdict per axis, most serious first.
        notices: What every report must say (loosened limits, instruments out of calibration, method statements).
        cable_order: Axes in the order in which their cables are worth opening, with scores where known.
    """

    verdict: Verdict
    axes: tuple[AxisVerdict, ...]
    notices: tuple[str, ...] = ()
    cable_order: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain data (see `plain`)."""
        return _as_dict(self)


_FORMS: tuple[tuple[Any, Callable[[Any], Any]], ...] = (
    (Decimal, lambda value: format(value, "f")),
    ((dt.datetime, dt.date), lambda value: value.isoformat()),
    (Mapping, lambda value: {str(plain(key)): plain(item) for key, item in value.items()}),
    ((frozenset, set), lambda value: sorted(plain(item) for item in value)),
    ((tuple, list), lambda value: [plain(item) for item in value]),
)


def plain(value: object) -> Any:
    """Turn grading's objects into plain data for JSON.

    Decimals become strings in plain notation, enums their values, dates and times ISO 8601, tuples and sets lists.

    Raises:
        TypeError: For a type that has no plain form.
    """
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, (bool, int, str)):
        return value
    for kind, form in _FORMS:
        if isinstance(value, kind):
            return form(value)
    if is_dataclass(value) and not isinstance(value, type):
        return _as_dict(value)
    raise TypeError(f"{type(value).__name__} has no plain form.")


def _as_dict(value: Any) -> dict[str, Any]:
    out = {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Limit):
        out["citation"] = value.citation()
    return out
