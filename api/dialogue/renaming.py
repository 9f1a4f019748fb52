"""An axis that gets another name, or is withdrawn, while the conversation goes on: what is open follows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from api.dialogue.events import Question, SafetyQuestion
from api.dialogue.standing import standing_from_json, standing_to_json
from api.ledger.canonical import PlainData, canonical, parsed
from api.ledger.database import Transaction
from api.ledger.tables import DialogueStateRow
from api.visit.errors import AxisIsAskedAbout
from api.visit.proposals import proposals_of
from api.visit.readings import context_from_json, context_to_json
from capture.reading import Context


def rename_open(transaction: Transaction, job_id: str, names: Mapping[str, str]) -> None:
    """Let open proposals, questions and the place of the work bear the new names; the caller writes the entry.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        names: The new name of each renamed axis by its old one.
    """
    for proposal in proposals_of(transaction.session, job_id, "open"):
        row = proposal.row
        if row.axis is not None and row.axis in names:
            row.axis = names[row.axis]
            for column in ("voice_json", "photo_json", "alternatives_json"):
                setattr(row, column, canonical(_renamed(parsed(getattr(row, column)), names)))
            transaction.put(row)
    state = transaction.session.get(DialogueStateRow, job_id)
    if state is None:
        return
    context, standing = context_from_json(parsed(state.context_json)), standing_from_json(parsed(state.asking_json))
    last = context.last
    if last is not None and last.axis is not None and last.axis in names:
        last = replace(last, axis=names[last.axis])
    context = replace(context, axis=names.get(context.axis or "", context.axis or "") or None, last=last)
    old = standing.state
    answered = None if old.answered is None else _question(old.answered, names)
    standing.state = replace(
        old,
        questions=tuple(_question(question, names) for question in old.questions),
        answered=answered if isinstance(answered, SafetyQuestion) else None,
    )
    if standing.discharge is not None:
        axis = standing.discharge.axis
        standing.discharge = replace(standing.discharge, axis=names.get(axis, axis))
    state.context_json, state.asking_json = canonical(context_to_json(context)), canonical(standing_to_json(standing))
    transaction.put(state)


def leave_axis(transaction: Transaction, job_id: str, name: str) -> None:
    """Take the work away from an axis that is withdrawn; a discharge that runs goes on being told.

    Args:
        transaction: The writing transaction; the caller writes the entry after it.
        job_id: The job.
        name: The axis; no value of it waits.

    Raises:
        AxisIsAskedAbout: One of its safety questions is open.
    """
    state = transaction.session.get(DialogueStateRow, job_id)
    if state is None:
        return
    context, standing = context_from_json(parsed(state.context_json)), standing_from_json(parsed(state.asking_json))
    if any(isinstance(one, SafetyQuestion) and one.axis == name for one in standing.state.questions):
        raise AxisIsAskedAbout(axis=name)
    if context.axis == name:
        context = Context()
    elif context.last is not None and context.last.axis == name:
        context = replace(context, last=None)
    state.context_json = canonical(context_to_json(context))
    transaction.put(state)


def _question(question: Question, names: Mapping[str, str]) -> Question:
    if isinstance(question, SafetyQuestion):
        return replace(question, axis=names.get(question.axis, question.axis))
    values = (replace(one, gated=names.get(one.gated or "", one.gated)) for one in question.values)
    return replace(question, values=tuple(values))


def _renamed(reading: PlainData, names: Mapping[str, str]) -> PlainData:
    """Give a reading as plain data, or a list of them, under the new names."""
    if isinstance(reading, list):
        return [_renamed(one, names) for one in reading]
    if isinstance(reading, dict) and reading.get("axis") in names:
        return {**reading, "axis": names[str(reading["axis"])]}
    return reading
