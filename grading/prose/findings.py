"""A finding as a statement, as the short reason beside a limit, and as a recommendation."""

from __future__ import annotations

from grading.facts import Fact
from grading.finding import Finding
from grading.prose import absorption, entries, ground, insulation, isolation, motor, tester, trend, winding
from grading.prose.wording import Wording, Writer, head_of
from grading.steps import Advice
from grading.words import sentence

WRITERS: dict[Fact, Writer] = {
    fact: writer
    for family in (entries, insulation, motor, tester, absorption, ground, winding, isolation, trend)
    for fact, writer in family.WRITERS.items()
}
_ADVICE: dict[Advice, str] = {
    Advice.NOT_TO_ENERGISE: "We recommend not to re-energise from the drive.",
    Advice.CLEAN_AND_PLAN_REPAIR: "We recommend to clean, dry and retest, and to plan the repair of the motor.",
    Advice.CLEAN_BEFORE_WORK: "We recommend to clean, dry and retest before the axis goes back to work.",
    Advice.CLEAN_BEFORE_REPLACING: "We recommend to clean, dry and retest before any part is replaced.",
    Advice.REPLACE_CABLE: "We recommend to replace the cable before re-energising.",
    Advice.CLEAN_OR_REPAIR_MOTOR: (
        "We recommend to clean, dry and retest the motor, and to repair or replace it if it stays low."
    ),
    Advice.CABLE_THEN_MOTOR: "We recommend to replace the cable first, then to repair or replace the motor.",
    Advice.CLEAN_CONNECTOR: "We recommend to open, clean and dry the connector and to retest.",
}


def wording_of(finding: Finding) -> Wording:
    """Give the parts of a finding's statement."""
    return WRITERS[finding.fact](finding)


def finding_text(finding: Finding) -> str:
    """Write a finding: place, what was found, the figures, and what limits or explains it."""
    return _text(finding, wording_of(finding))


def finding_texts(finding: Finding) -> tuple[str, str]:
    """Write a finding in full and short (`finding_text`, `finding_reason`), its parts once."""
    found = wording_of(finding)
    return _text(finding, found), _reason(found, caveat=True)


def _text(finding: Finding, found: Wording) -> str:
    head = head_of(finding.place) if found.head is None else found.head
    text = f"{head}: {found.clause}{found.figures}"
    return sentence(f"{text}. {sentence(found.caveat)}" if found.caveat else text)


def finding_reason(finding: Finding, caveat: bool = True) -> str:
    """Write what a finding says of its value, without the place before it and the figures after it.

    Args:
        finding: The finding.
        caveat: Whether what limits or explains it follows.
    """
    return _reason(wording_of(finding), caveat=caveat)


def _reason(found: Wording, *, caveat: bool) -> str:
    return sentence(found.clause) + (f" {sentence(found.caveat)}" if caveat and found.caveat else "")


def finding_caveat(finding: Finding) -> str:
    """Write only what limits or explains a finding; "" where nothing does."""
    caveat = wording_of(finding).caveat
    return sentence(caveat) if caveat else ""


def finding_short(finding: Finding) -> str:
    """Write a finding without the place before it: what was found, the figures, and what limits or explains it."""
    found = wording_of(finding)
    text = sentence(f"{found.clause}{found.figures}")
    return f"{text} {sentence(found.caveat)}" if found.caveat else text


def advice_text(advice: Advice | None) -> str:
    """Write a recommendation; "" where there is none."""
    return "" if advice is None else _ADVICE[advice]
