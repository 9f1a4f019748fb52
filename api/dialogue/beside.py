"""Circumstances of a reading by voice: said with its value, about what is asked, or before the reading to come.

Said alone they join what is asked about, which is then read back with them; where no value is asked about they wait for
the next reading. Either way they are confirmed with the value, never by themselves, and "undo that" takes back those
said last as long as nothing was recorded with them.
"""

from __future__ import annotations

from dataclasses import replace

from api.dialogue.proposal_updates import reject
from api.dialogue.standing import BesideLast
from api.dialogue.turn import Turn
from api.ledger.trail import What
from api.visit.notes import Notes, joined, notes_with
from api.visit.proposals import Proposal, ProposedReading, set_value
from api.visit.records import Decision, put_event, record_of
from capture.completeness import AMBIENT_KINDS
from capture.reading import Reading, SaidBeside


def note_beside(turn: Turn, proposal: Proposal, notes: Notes, decision: Decision) -> None:
    """Note circumstances beside a proposal, whose value stays as it is; the event keeps those before."""
    before = {**proposal.reading.to_json(), **proposal.notes.to_json()}
    confidence = float(proposal.row.confidence)
    # The value is as sure or unsure as it was, so nothing new is asked about it.
    given = ProposedReading(
        proposal.reading, proposal.doubts, proposal.alternatives, confidence, chosen=True, notes=notes
    )
    set_value(proposal, given, turn.job, decision.captured_at, turn.transaction.now)
    detail = {"before": before, "after": {**proposal.reading.to_json(), **proposal.notes.to_json()}}
    turn.transaction.put(proposal.stored())
    put_event(turn.transaction, turn.job.id, "correct", decision, proposal=proposal, detail=detail)
    turn.keep(What.CORRECTED, proposal, by=decision.by, note={"words": decision.words})


def said_alone(turn: Turn, beside: SaidBeside, decision: Decision) -> None:
    """Note circumstances that were said without a value: beside what is asked about, else for the reading to come."""
    asked = turn.asked()
    if not asked:
        _wait_for_reading(turn, notes_with(turn.standing.coming, beside), decision)
        return
    last = []
    for proposal in asked:
        before, after = proposal.notes, notes_with(proposal.notes, beside)
        if after != before:
            note_beside(turn, proposal, after, decision)
            last.append(BesideLast(proposal.id, proposal.revision, before))
    if last:
        turn.standing.beside_last = tuple(last)
    turn.ask(asked)


def _wait_for_reading(turn: Turn, notes: Notes, decision: Decision) -> None:
    before = turn.standing.coming
    if notes == before:
        turn.say(f"Noted for the next reading: {notes.words}." if notes.words else "Nothing is noted for it.")
        turn.asks = True
        return
    turn.standing.coming = notes
    turn.standing.beside_last = (BesideLast("", 0, before),)
    put_event(turn.transaction, turn.job.id, "note", decision, detail={"next_reading": notes.to_json()})
    turn.transaction.entry(What.NOTED, turn.job.id, by=decision.by, note={"words": decision.words})
    held = f"Noted for the next reading: {notes.words}." if notes.words else "Nothing is noted for the next reading."
    turn.say(f'{held} For the last record say "correction" first.', held)
    turn.asks = True


def takes_coming(reading: Reading) -> bool:
    """Tell whether circumstances that wait belong to a reading: not to the air of the shop, say."""
    return reading.kind not in AMBIENT_KINDS


def with_notes(given: ProposedReading, coming: Notes, beside: SaidBeside) -> ProposedReading:
    """Give a reading with the circumstances that waited for it and those said with it."""
    waited = coming if takes_coming(given.reading) else Notes()
    notes = notes_with(waited, beside)
    return given if notes == Notes() else replace(given, notes=joined(given.notes or Notes(), notes))


def came(turn: Turn, proposals: list[Proposal]) -> None:
    """Let what waited for the next reading wait no more, once readings came that took it."""
    coming = turn.standing.coming
    if coming == Notes() or not any(takes_coming(proposal.reading) for proposal in proposals):
        return
    turn.standing.coming = Notes()
    left = {one.id: tuple(c for c in one.notes.circumstances if c not in coming.circumstances) for one in proposals}
    turn.standing.beside_last = tuple(
        BesideLast(one.id, one.revision, Notes("" if coming.position else one.notes.position, left[one.id]))
        for one in proposals
    )


def take_back(turn: Turn, decision: Decision) -> bool:
    """Take back the circumstances said last; False where none can be: then a record is meant.

    Those of a value that was recorded, dropped or changed since stay: a record is withdrawn as a whole.
    """
    last, turn.standing.beside_last = turn.standing.beside_last, ()
    if last and not last[0].proposal and turn.standing.coming != last[0].before:
        turn.standing.coming = last[0].before
        put_event(turn.transaction, turn.job.id, "note", decision, detail={"next_reading": last[0].before.to_json()})
        turn.transaction.entry(What.NOTED, turn.job.id, by=decision.by, note={"words": decision.words})
        held = last[0].before.words
        turn.say(f"Taken back. Noted for the next reading: {held or 'nothing'}.")
        turn.asks = True
        return True
    asked = {(proposal.id, proposal.revision): proposal for proposal in turn.asked()}
    found = [(asked[one.proposal, one.revision], one) for one in last if (one.proposal, one.revision) in asked]
    if found:
        turn.say("Taken back.")
    for proposal, one in found:
        note_beside(turn, proposal, one.before, decision)
        if _changes_nothing(turn, proposal):
            # What is left of a correction says what stands on record already: there is nothing to confirm.
            turn.say("The record stays as it was.")
            reject(turn, proposal, decision)
    if found:
        turn.ask([proposal for proposal, _ in found if proposal.is_open])
    return bool(found)


def _changes_nothing(turn: Turn, proposal: Proposal) -> bool:
    """Tell whether a correction of a record says exactly what that record says."""
    if proposal.row.supersedes is None:
        return False
    record = record_of(turn.session, proposal.row.supersedes)
    return (proposal.reading, proposal.notes) == (record.reading, record.notes)
