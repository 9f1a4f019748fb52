"""What must be settled before an axis can be judged: rows left out, values that cannot be, questions not answered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from grading.case import Case
from grading.entries import LeftOutRow, LeftOutValue, Question, Subject
from grading.facts import Fact, Place
from grading.finding import Finding, Urgency, Verdict
from grading.steps import ReasonKind, StepKind, step

LEFT_OUT = "quantity.left_out"
POSSIBLE = "quantity.possible"
PLAUSIBLE = "quantity.plausible"


def judge_rows(axis: str, rows: Sequence[LeftOutRow]) -> Iterator[Finding]:
    """Call for every row to be settled that was left out and may belong to the axis."""
    following = step(StepKind.SETTLE_ROWS, ReasonKind.ROW_MAY_HOLD_FAULT)
    for row in rows:
        yield Finding(
            LEFT_OUT,
            Verdict.INCONCLUSIVE,
            Urgency.REPEAT,
            Place(axis),
            Fact.ROW_LEFT_OUT,
            detail=row,
            next_step=following,
        )


def judge_entries(case: Case) -> Iterator[Finding]:
    """Name every value that cannot be and was left out, and ask about every one that is not plausible."""
    for refused in case.refused:
        yield _cannot_be(case.context.axis, refused)
    for question in case.questions:
        yield _asked_about(question)


def _cannot_be(axis: str, refused: LeftOutValue) -> Finding:
    return Finding(
        POSSIBLE,
        Verdict.INCONCLUSIVE,
        Urgency.REPEAT,
        Place(axis),
        Fact.CANNOT_BE,
        detail=refused,
        limit=refused.bound,
        record_ids=(refused.name,) if refused.subject is Subject.READING else (),
        next_step=step(StepKind.CORRECT_ENTRIES, ReasonKind.CANNOT_BE_USED),
    )


def _asked_about(question: Question) -> Finding:
    return Finding(
        PLAUSIBLE,
        Verdict.INCONCLUSIVE,
        Urgency.REPEAT,
        Place(question.axis),
        Fact.ASKED_ABOUT,
        detail=question,
        limit=question.limit,
        record_ids=() if question.record_id is None else (question.record_id,),
        next_step=step(StepKind.ANSWER_QUESTIONS, ReasonKind.NOT_ANSWERED),
    )
