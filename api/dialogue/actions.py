"""What a tap or a typed line does: the same as words, with the proposal named instead of understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from api.dialogue.conversation import recorded
from api.dialogue.errors import BadChoice, InstrumentNotOfJob, NothingChanged, RevisionMissing
from api.dialogue.events import Settled
from api.dialogue.proposal_updates import UNIT_DOUBTS, change, propose, reject
from api.dialogue.turn import Turn
from api.ledger.trail import What
from api.visit.notes import Notes, notes_from
from api.visit.proposals import Proposal, ProposedReading, Source, proposal_of, require_open, set_value
from api.visit.readings import ReadingFields, check_dimension, reading_fields, reading_from_json
from api.visit.records import Decision, confirm, put_event, record_of, require_current
from capture.reading import Doubt


@dataclass(frozen=True)
class Confirm:
    """Yes, exactly this revision is right.

    Attributes:
        revision: The one that the person saw; a confirmation without it is refused.
    """

    revision: int | None = None
    name = "confirm"


@dataclass(frozen=True)
class Reject:
    """No: drop it.

    Attributes:
        revision: The one that the person saw, or None.
    """

    revision: int | None = None
    name = "reject"


@dataclass(frozen=True)
class Correct:
    """Some of its fields are wrong.

    Attributes:
        reading: The fields that change.
        instrument_id: The instrument that it was read from, or None to leave it.
        revision: The one that the person saw, or None.
    """

    reading: ReadingFields | None = None
    instrument_id: str | None = None
    revision: int | None = None
    name = "correct"


@dataclass(frozen=True)
class Choose:
    """It is one of the choices.

    Attributes:
        index: Place in the proposal's choices, from 0.
        revision: The one that the person saw, or None.
    """

    index: int
    revision: int | None = None
    name = "choose"


Action = Confirm | Reject | Correct | Choose
"""What a person can do with a proposal by a tap or by typing."""


def typed(turn: Turn, fields: ReadingFields, captured_at: str, supersedes: str | None = None) -> Proposal:
    """Make a proposal of a typed reading; what it leaves out is taken from where the work stands.

    Raises:
        BadInput: A field is wrong.
        RecordNotCurrent: The record to correct is not in force.
    """
    context = turn.context
    before = Notes()
    place: Mapping[str, object] = {
        "kind": None if context.kind is None else context.kind.value,
        "axis": context.axis,
        "section": None if context.section is None else context.section.value,
    }
    if supersedes is not None:
        record = record_of(turn.session, supersedes)
        require_current(record)
        place, before = record.reading.to_json(), record.notes
    reading = reading_from_json({**place, **reading_fields(fields)})
    notes = notes_from(fields, before)
    said = {"typed": {**reading.to_json(), **notes.to_json()}}
    turn.transaction.entry(What.TYPED, turn.job.id, by=turn.job.technician, note=said)
    turn.context = context.after(reading)
    proposal = propose(turn, ProposedReading(reading, notes=notes), Source("typed", captured_at), supersedes)
    turn.ask([proposal])
    return proposal


def act(turn: Turn, proposal_id: str, action: Action, decision: Decision) -> None:
    """Act on a tap.

    Args:
        turn: The turn.
        proposal_id: The proposal tapped.
        action: What to do with it.
        decision: Who, when, how.

    Raises:
        Refused: See `api.visit.records.check_confirmable`; nothing is written then.
        BadInput: A field is wrong.
    """
    proposal = _waiting(turn, proposal_id)
    require_open(proposal, action.revision)
    if isinstance(action, Confirm):
        # The page may show a value that a photo or another phone has changed since.
        if action.revision is None:
            raise RevisionMissing()
        recorded(turn, confirm(turn.transaction, proposal, decision, action.revision))
        turn.happened(Settled(proposal.id))
    elif isinstance(action, Reject):
        turn.say("Dropped.")
        reject(turn, proposal, decision)
    elif isinstance(action, Correct):
        _correct(turn, proposal, decision, action)
    else:
        _choose(turn, proposal, decision, action.index)
    turn.touch(proposal)
    if proposal.is_open:
        turn.ask([proposal])


def _waiting(turn: Turn, proposal_id: str) -> Proposal:
    """Give the open proposal that the turn holds; a settled one is read, to be refused by name."""
    waiting = next((proposal for proposal in turn.waiting if proposal.id == proposal_id), None)
    return proposal_of(turn.session, proposal_id) if waiting is None else waiting


def _correct(turn: Turn, proposal: Proposal, decision: Decision, action: Correct) -> None:
    fields = action.reading or {}
    if not fields and action.instrument_id is None:
        raise NothingChanged()
    changes = reading_fields(fields)
    reading = reading_from_json({**proposal.reading.to_json(), **changes})
    notes = notes_from(fields, proposal.notes)
    check_dimension(reading)
    settled = set(changes) & {"value", "unit", "qualifier"}
    kept = tuple(doubt for doubt in proposal.doubts if not _settles({*changes, *fields}, doubt))
    given = ProposedReading(reading, kept, () if settled else proposal.alternatives, notes=notes)
    change(turn, proposal, given, Source("typed", decision.captured_at), decision)
    if action.instrument_id is not None:
        _name_instrument(turn, proposal, action.instrument_id, decision)


def _settles(changed: set[str], doubt: Doubt) -> bool:
    """Tell whether fields that a person gave settle a doubt; the place only where all of it was given."""
    if doubt is Doubt.PLACE_UNSURE:
        return {"axis", "section"} <= changed
    if doubt is Doubt.NOTES_UNSURE:
        return bool(changed & {"circumstances", "position"})
    values = changed & {"value", "unit", "qualifier"}
    # With the unit alone the digits are as much in doubt as before.
    return doubt in UNIT_DOUBTS if values == {"unit"} else bool(values)


def _name_instrument(turn: Turn, proposal: Proposal, instrument_id: str, decision: Decision) -> None:
    if all(instrument.id != instrument_id for instrument in turn.job.instruments):
        raise InstrumentNotOfJob(instrument_id=instrument_id)
    proposal.row.instrument_id = instrument_id
    proposal.row.revision += 1
    turn.keep(What.CORRECTED, proposal, by=decision.by, note={"instrument": instrument_id})


def _choose(turn: Turn, proposal: Proposal, decision: Decision, index: int) -> None:
    choices = proposal.choices
    if not 0 <= index < len(choices):
        raise BadChoice(index=index, last=len(choices) - 1)
    before, chosen = proposal.reading, choices[index]
    placed = replace(chosen, axis=chosen.axis or before.axis, section=chosen.section or before.section)
    # The person settled which value it was, not whether the display had come to rest, nor where it was measured.
    moved = (placed.axis, placed.section) != (before.axis, before.section)
    others = (Doubt.NOT_SETTLED, Doubt.NOTES_UNSURE)
    open_still = others if moved else (*others, Doubt.PLACE_UNSURE)
    kept = tuple(doubt for doubt in proposal.doubts if doubt in open_still)
    given = ProposedReading(placed, kept, (), 1.0, chosen=True)
    set_value(proposal, given, turn.job, decision.captured_at, turn.transaction.now)
    if proposal.row.agreement == "conflict":
        proposal.row.agreement = "chosen"
    detail = {"before": before.to_json(), "after": proposal.reading.to_json()}
    turn.transaction.put(proposal.stored())
    put_event(turn.transaction, turn.job.id, "choose", decision, proposal=proposal, detail=detail)
    turn.keep(What.CHOSEN, proposal, by=decision.by, note={"index": index})
