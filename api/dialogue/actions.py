"""What a tap or a typed line does: the same as words, with the proposal named instead of understood."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from api.dialogue.conversation import recorded, reject
from api.dialogue.errors import BadAction, BadChoice, InstrumentNotOfJob, NothingChanged, RevisionMissing
from api.dialogue.proposal_updates import UNIT_DOUBTS, change, propose
from api.dialogue.turn import Turn
from api.ledger.tables import InstrumentRow, ProposalRow
from api.ledger.trail import What
from api.visit.notes import FIELDS, Notes, notes_from, notes_of
from api.visit.proposals import (
    Belief,
    Source,
    alternatives_of,
    choices_of,
    doubts_of,
    proposal_of,
    require_open,
    set_value,
)
from api.visit.readings import check_dimension, reading_from_json, reading_of
from api.visit.records import Decision, confirm, put_event, record_of, supersede_problem
from capture.reading import Doubt


def typed(turn: Turn, data: dict[str, Any], captured_at: str, supersedes: str | None = None) -> ProposalRow:
    """Make a proposal of a typed reading; what it leaves out is taken from where the work stands.

    Raises:
        BadInput: A field is wrong.
        RecordNotCurrent: The record to correct is not in force.
    """
    context = turn.context
    before = Notes()
    place = {
        "kind": None if context.kind is None else context.kind.value,
        "axis": context.axis,
        "section": None if context.section is None else context.section.value,
    }
    if supersedes is not None:
        record = record_of(turn.session, supersedes)
        if problem := supersede_problem(turn.session, record):
            raise problem
        place, before = reading_of(record).to_json(), notes_of(record)
    reading = reading_from_json({**place, **_of_reading(data)})
    notes = notes_from(data, before)
    said = {"typed": {**reading.to_json(), **notes.to_json()}}
    turn.transaction.entry(What.TYPED, turn.job.id, by=turn.job.technician, note=said)
    turn.context = context.after(reading)
    row = propose(turn, Belief(reading, notes=notes), Source("typed", captured_at), supersedes)
    turn.ask([row])
    return row


def _of_reading(fields: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if name not in FIELDS}


def tap(turn: Turn, proposal_id: str, action: str, decision: Decision, fields: dict[str, Any]) -> None:
    """Act on a tap.

    Args:
        turn: The turn.
        proposal_id: The proposal tapped.
        action: "confirm", "reject", "correct" or "choose".
        decision: Who, when, how.
        fields: `revision` (the one that the person saw; "confirm" needs it), `reading` for "correct" (only what
            changes), `instrument_id` for "correct", `index` for "choose" (place in the proposal's choices).

    Raises:
        OhmtrailError: See `api.visit.records.check_confirmable`; nothing is written then.
        BadInput: Unknown action, or a field is wrong.
    """
    row = proposal_of(turn.session, proposal_id)
    revision = fields.get("revision")
    require_open(row, revision)
    if action == "confirm":
        if not isinstance(revision, int):
            raise RevisionMissing()
        recorded(turn, confirm(turn.transaction, row, decision, revision))
        turn.asking = [pair for pair in turn.asking if pair[0] != row.id]
    elif action == "reject":
        reject(turn, row, decision)
        turn.say("Dropped.")
    elif action == "correct":
        _correct(turn, row, decision, fields)
    elif action == "choose":
        _choose(turn, row, decision, fields.get("index"))
    else:
        raise BadAction(action=action)
    turn.touched(row)
    if row.state == "open":
        turn.ask([row])


def _correct(turn: Turn, row: ProposalRow, decision: Decision, fields: dict[str, Any]) -> None:
    changes = fields.get("reading") or {}
    instrument = fields.get("instrument_id")
    if not changes and instrument is None:
        raise NothingChanged()
    reading = reading_from_json({**reading_of(row).to_json(), **_of_reading(changes)})
    notes = notes_from(changes, notes_of(row))
    check_dimension(reading)
    settled = set(changes) & {"value", "unit", "qualifier"}
    kept: tuple[Doubt, ...] = () if settled else doubts_of(row)
    if settled == {"unit"}:  # the digits are as much in doubt as before
        kept = tuple(doubt for doubt in doubts_of(row) if doubt not in UNIT_DOUBTS)
    belief = Belief(reading, kept, () if settled else alternatives_of(row), notes=notes)
    change(turn, row, belief, _source(decision), decision)
    if instrument is not None:
        _name_instrument(turn, row, str(instrument), decision)


def _name_instrument(turn: Turn, row: ProposalRow, instrument_id: str, decision: Decision) -> None:
    instrument = turn.session.get(InstrumentRow, instrument_id)
    if instrument is None or instrument.job_id != row.job_id:
        raise InstrumentNotOfJob(instrument_id=instrument_id)
    row.instrument_id = instrument.id
    row.revision += 1
    turn.transaction.put(row)
    turn.transaction.entry(What.CORRECTED, row.job_id, by=decision.by, note={"instrument": instrument.id})


def _source(decision: Decision) -> Source:
    return Source("typed", decision.captured_at)


def _choose(turn: Turn, row: ProposalRow, decision: Decision, index: object) -> None:
    choices = choices_of(row)
    if not isinstance(index, int) or isinstance(index, bool) or not 0 <= index < len(choices):
        raise BadChoice(index=index, last=len(choices) - 1)
    before, chosen = reading_of(row), choices[index]
    missing_place = replace(chosen, axis=chosen.axis or before.axis, section=chosen.section or before.section)
    kept = tuple(doubt for doubt in doubts_of(row) if doubt is Doubt.NOT_SETTLED)
    set_value(turn.transaction, row, Belief(missing_place, kept, (), 1.0, sure=True), decision.captured_at)
    if row.agreement == "conflict":
        row.agreement = "chosen"
    turn.transaction.put(row)
    detail = {"before": before.to_json(), "after": reading_of(row).to_json()}
    put_event(turn.transaction, turn.job.id, "choose", decision, proposal=row, detail=detail)
    turn.transaction.entry(What.CHOSEN, turn.job.id, by=decision.by, note={"index": index})
