"""The safety answers of one axis as its report shows them: those that its insulation readings stand on.

What holds for the whole cabinet is answered on whichever axis, and again for the next one; what counts for a reading is
what had been answered when it was taken, not what was answered last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from api.ledger.clock import parse_instant, seconds_between
from api.ledger.tables import AxisRow, RecordRow, SafetyAnswerRow
from api.report.content import ReportedAnswer, SafetyRound
from api.report.rows import Rows
from api.visit.readings import reading_of
from api.visit.safety import LOCKOUT_ENDED, in_force, is_gated, not_met

ANSWERS = {"yes": "yes", "no": "no", "not_applicable": "does not apply"}


def safety_rounds(rows: Rows, axis: AxisRow, questions: Mapping[str, str]) -> tuple[SafetyRound, ...]:
    """Give the answers of an axis, one round for each lock-out and day on which its insulation was measured.

    Args:
        rows: All rows of the job.
        axis: The axis.
        questions: Safety questions by step, in the order in which they are asked.

    Returns:
        Where no insulation reading is on record, one round of what was answered for this axis, or none.
    """
    ends = [row.captured_at for row in rows.answers if row.step == LOCKOUT_ENDED]
    gated = [row for row in rows.records if row.axis == axis.name and is_gated(reading_of(row))]
    firsts = _firsts(gated, ends)
    if not firsts:
        own = (row for row in rows.answers if row.axis_id == axis.id or row.step == LOCKOUT_ENDED)
        held = _in_words(in_force(own, axis.id), questions)
        return (SafetyRound(held),) if held else ()
    return tuple(_round(rows, axis.id, first.captured_at, ends, questions) for first in firsts)


def _firsts(gated: Sequence[RecordRow], ends: Sequence[str]) -> list[RecordRow]:
    """Give the earliest reading of each lock-out and day, in order of time."""
    firsts: dict[tuple[str, int], RecordRow] = {}
    for row in sorted(gated, key=lambda one: parse_instant(one.captured_at)):
        before = sum(seconds_between(end, row.captured_at) > 0 for end in ends)
        firsts.setdefault((row.captured_at[:10], before), row)
    return list(firsts.values())


def _round(rows: Rows, axis_id: str, taken: str, ends: Iterable[str], questions: Mapping[str, str]) -> SafetyRound:
    held = in_force(rows.answers, axis_id, taken, until=taken)
    following = min((end for end in ends if seconds_between(taken, end) > 0), key=parse_instant, default=None)
    later = in_force(rows.answers, axis_id, taken, until=following)
    # A "no" that became "yes" only afterwards is as late as a question that nobody had answered.
    lacked = {step.id for step in not_met(held)}
    late = {step: row for step, row in later.items() if step not in held or (step in lacked and row != held[step])}
    answers = _in_words(held, questions) + _in_words(late, questions, "answered after the reading")
    return SafetyRound(answers, taken, len(late))


def _in_words(
    answers: Mapping[str, SafetyAnswerRow], questions: Mapping[str, str], remark: str = ""
) -> tuple[ReportedAnswer, ...]:
    order = {step: place for place, step in enumerate(questions)}
    out = []
    for step in sorted(answers, key=lambda one: order.get(one, len(order))):
        answer = answers[step]
        text = ANSWERS.get(answer.answer, answer.answer)
        text += f", {answer.value} V measured" if answer.value else ""
        text += "".join(f" ({note})" for note in (answer.note, remark) if note)
        out.append(ReportedAnswer(questions.get(step, step.replace("_", " ")), text, answer.by, answer.captured_at))
    return tuple(out)
