"""What is at fault, from isolation and from every finding that fails: no cause may contradict its verdict."""

from __future__ import annotations

from collections.abc import Sequence

from grading.details import BesideCircuit
from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.isolation import Fault
from grading.rules.phases import PAIRS
from grading.terms.component import Component
from grading.terms.section import Section

_UNEQUAL = (Fact.PHASES_UNEQUAL, Fact.ARMATURE_UNEVEN)


def settle_fault(located: Fault, findings: Sequence[Finding]) -> Fault:
    """Give the fault of an axis: where isolation puts it, else where the findings that fail lie.

    Args:
        located: What the two laws say, in parallel and in series.
        findings: Every finding of the axis.
    """
    judged = [f for f in findings if f.urgency is not Urgency.INFORMATION]
    failing = [f for f in judged if f.verdict is Verdict.UNACCEPTABLE]
    worst = max((f.verdict.severity for f in judged), default=0)
    if located not in (Fault.NEITHER, Fault.UNDETERMINED):
        return located
    beside = [f for f in failing if _is_beside(f)]
    own = [f for f in failing if f not in beside]
    if any(f.urgency is Urgency.DO_NOT_ENERGISE for f in own):
        own = [f for f in own if f.urgency is Urgency.DO_NOT_ENERGISE]
    if beside and not own:
        return Fault.BESIDE
    odd = {_odd_part(f, judged, findings) for f in (own or judged) if f.fact in _UNEQUAL}
    sections = {f.section for f in own if f.fact not in _UNEQUAL} | odd
    motor, cable = Section.MOTOR_ALONE in sections, Section.CABLE_ALONE in sections
    if motor or cable:
        return Fault.BOTH if motor and cable else Fault.MOTOR if motor else Fault.CABLE
    return Fault.UNDETERMINED if worst >= Verdict.INCONCLUSIVE.severity else located


def _is_beside(finding: Finding) -> bool:
    """Tell whether a finding is of a circuit beside the power circuit; a field is part of the motor."""
    detail = finding.detail
    return isinstance(detail, BesideCircuit) and detail.component is not Component.FIELD


def _odd_part(finding: Finding, judged: Sequence[Finding], findings: Sequence[Finding]) -> Section | None:
    """Give the part that makes phases unequal: the motor where they are unequal there, the cable where they are not."""
    if finding.section is not Section.THROUGH_CABLE:
        return finding.section
    if any(f.fact in _UNEQUAL and f.section is Section.MOTOR_ALONE for f in judged):
        return Section.MOTOR_ALONE
    alike = any(
        f.fact is Fact.PHASES_ALIKE and f.section is Section.MOTOR_ALONE and len(f.values) >= PAIRS for f in findings
    )
    return Section.CABLE_ALONE if alike else None
