"""The outcome of a visit: a verdict per axis and one for the job; `to_dict` writes the text beside the facts."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from grading.entries import Question
from grading.finding import Finding, Urgency, Verdict, plain
from grading.isolation import Fault
from grading.notices import Notice
from grading.prose.axis import cost_text, drive_text, headline_figures, headline_found, headline_text
from grading.prose.entries import question_text
from grading.prose.findings import advice_text, finding_texts
from grading.prose.notices import notice_text
from grading.prose.steps import action_text, reason_sentence, settles_text
from grading.sources import LimitSource, sources_of
from grading.steps import NextStep
from grading.summary import DriveVerdict, Summary
from grading.terms.record import record
from grading.words import sentence


@record
class AxisVerdict:
    """The outcome for one axis.

    Attributes:
        axis: Axis name.
        verdict: The worst of its findings.
        urgency: The finer word of the worst finding.
        fault: Where isolation puts the fault.
        findings: Every finding, most serious first.
        drive: Whether the drive may be connected.
        summary: What carries the headline.
        next_steps: What to do, most useful first, without repeats.
        record_ids: Every record of the axis that a finding used.
        questions: What must be answered before the axis can be judged.
    """

    axis: str
    verdict: Verdict
    urgency: Urgency
    fault: Fault
    findings: tuple[Finding, ...]
    drive: DriveVerdict
    summary: Summary
    next_steps: tuple[NextStep, ...] = ()
    record_ids: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Give it as plain data (see `plain`), with the text written from the facts."""
        return {
            "axis": self.axis,
            "verdict": self.verdict.value,
            "urgency": self.urgency.value,
            "headline": headline_text(self.summary),
            "headline_found": headline_found(self.summary),
            "headline_figures": headline_figures(self.summary),
            "fault": self.fault.value,
            "findings": [finding_data(finding) for finding in self.findings],
            "drive": drive_data(self.drive),
            "cost_of_ignoring": cost_text(self.summary),
            "next_steps": [step_data(step) for step in self.next_steps],
            "record_ids": list(self.record_ids),
            "questions": [plain(question) | {"text": sentence(question_text(question))} for question in self.questions],
        }


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
    notices: tuple[Notice, ...] = ()
    cable_order: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Give it as plain data (see `plain`), with the text written from the facts."""
        return {
            "verdict": self.verdict.value,
            "axes": [axis.to_dict() for axis in self.axes],
            "notices": [notice_text(notice) for notice in self.notices],
            "notice_kinds": [notice.kind.value for notice in self.notices],
            "cable_order": list(self.cable_order),
            "sources": [source_data(source) for source in sources_of(self)],
        }


def source_data(source: LimitSource) -> dict[str, Any]:
    """Give a source as plain data: document, the word beside its limits, the remark, and the ids of the limits."""
    return {
        "document": source.document,
        "origin": source.origin.value,
        "remark": source.remark,
        "limits": [limit.id for limit in source.limits],
    }


def finding_data(finding: Finding) -> dict[str, Any]:
    """Give a finding as plain data: its facts, and the text written from them."""
    step = finding.next_step
    statement, short = finding_texts(finding)
    return {
        # The step is written below, with its text.
        **{name: None if name == "next_step" else plain(getattr(finding, name)) for name in _FIELDS},
        "statement": statement,
        "short": short,
        "section": None if finding.section is None else finding.section.value,
        "next_step": None if step is None else step_data(step),
        "recommendation": advice_text(finding.advice),
    }


_FIELDS = tuple(field.name for field in fields(Finding))


def step_data(step: NextStep) -> dict[str, Any]:
    """Give a step as plain data: its text, and the codes under `facts`."""
    return {
        "action": action_text(step.action),
        "reason": reason_sentence(step.reason),
        "settles": settles_text(step.settles),
        "facts": plain(step),
    }


def drive_data(drive: DriveVerdict) -> dict[str, Any]:
    """Give the verdict on the drive as plain data, with its text."""
    return {
        "verdict": drive.verdict.value,
        "fact": drive.fact.value,
        "statement": drive_text(drive),
        "record_ids": list(drive.record_ids),
    }
