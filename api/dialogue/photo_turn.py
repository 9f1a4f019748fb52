"""What a photo does in the conversation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from api.dialogue.beside import came, with_notes
from api.dialogue.proposal_updates import join_to, propose, take
from api.dialogue.turn import Turn
from api.ledger.clock import seconds_between
from api.ledger.trail import What
from api.visit.cautions import cautions_of
from api.visit.notes import Notes
from api.visit.proposals import JOIN_WINDOW_S, Proposal, ProposedReading, Source, find_partner
from api.visit.records import Decision, Record, current_records, put_event
from capture.comparison import same_dimension, same_place, says_same
from capture.completeness import fits
from capture.display.placed import reading_seen
from capture.language.readback import statement
from capture.reading import DisplayReading, Doubt, Reading, SaidBeside, Seen
from grading.terms.quantity import Qualifier, Quantity


def seen(turn: Turn, result: Seen, source: Source, crops: Mapping[int, str]) -> None:
    """Act on a photo.

    Args:
        turn: The turn.
        result: What the display reader made of it.
        source: The photo.
        crops: SHA-256 of the cut-out of each display, by its place in `result`.
    """
    turn.warn(cautions_of(result))
    shown = [(index, display) for index, display in enumerate(result.displays) if display.accepted]
    if not shown:
        _not_read(turn, result, source)
        return
    index, display = shown[0]
    source = replace(source, text=display.text, crop=crops.get(index))
    given = _given(turn, display, [other for _, other in shown[1:]])
    before = _seen_before(turn, source)
    if before is None and _of_record(turn, given, source):
        return
    coming = turn.standing.coming
    if coming != Notes() and before is None:
        given = with_notes(given, coming, SaidBeside())
    proposal = take(turn, given, source) if before is None else join_to(turn, before, given, source, again=True)
    if coming != Notes() and before is None:
        came(turn, [proposal])
    if proposal.row.agreement == "agree":
        turn.say("The photo agrees.")
    turn.ask([proposal])


def _of_record(turn: Turn, given: ProposedReading, source: Source) -> bool:
    """Join a photo that came after its reading was confirmed; False where it belongs to no record.

    A photo that agrees is noted with the record. One that differs is asked about: it would replace the record.
    """
    records = current_records(turn.session, turn.job.id)
    twice = next((record for record in records if record.row.photo_sha256 == source.sha256), None)
    if twice is not None:
        turn.say(f"This very photo stands with record {twice.id} already.")
        turn.asks = True
        return True
    late = find_partner(turn.waiting, given.reading, source) is None
    record = next((one for one in reversed(records) if late and _taken_with(one, given.reading, source)), None)
    if record is None:
        return False
    if says_same(given.reading.quantity, record.reading.quantity):
        detail = {"photo": source.sha256, "crop": source.crop, "seen": source.text}
        decision = Decision("photo", turn.job.technician, source.captured_at)
        put_event(turn.transaction, turn.job.id, "photo_agrees", decision, record_id=record.id, detail=detail)
        turn.transaction.entry(What.JOINED, turn.job.id, note={"record": record.id, "agree": True, "source": "photo"})
        turn.say(f"The photo agrees with record {record.id}: {statement(record.reading)}.")
        turn.asks = True
        return True
    built = given.reading.test_voltage_built or record.reading.test_voltage_built
    shown = replace(record.reading, quantity=given.reading.quantity, test_voltage_built=built)
    doubtful = replace(given, reading=shown, doubts=(*given.doubts, Doubt.CONFLICT), alternatives=(record.reading,))
    turn.say(f"The photo differs from record {record.id}.")
    turn.ask([propose(turn, doubtful, source, supersedes=record.id)])
    return True


def _taken_with(record: Record, reading: Reading, source: Source) -> bool:
    """Tell whether a photo can be of a reading that was recorded without one."""
    row = record.row
    near = abs(seconds_between(row.captured_at, source.captured_at)) <= JOIN_WINDOW_S
    same = same_place(record.reading, reading) and same_dimension(record.reading.quantity, reading.quantity)
    return near and same and row.photo_sha256 is None


def _seen_before(turn: Turn, source: Source) -> Proposal | None:
    """Find the open proposal that this very photo made or joined before; None where there is none."""
    return next((one for one in reversed(turn.waiting) if one.row.photo_sha256 == source.sha256), None)


def _given(turn: Turn, display: DisplayReading, others: list[DisplayReading]) -> ProposedReading:
    reading = reading_seen(display, turn.context)
    if not fits(reading):
        # The meter is not set to what the work was at: the person is asked what it measured.
        reading = replace(reading, kind=None)
    alternatives = tuple(reading_seen(other, turn.context) for other in others)
    doubts = (*display.doubts, *((Doubt.DIGITS_AMBIGUOUS,) if alternatives else ()))
    # The confidence of a whole is that of its least certain part: a wrong unit makes all digits wrong.
    return ProposedReading(reading, doubts, alternatives, min(display.confidence.values(), default=0.0))


def _not_read(turn: Turn, result: Seen, source: Source) -> None:
    """Keep a photo that gave no value with the reading that it was taken for."""
    reasons = [result.reason, *(display.reason for display in result.displays)]
    reason = next((text for text in reasons if text), "No display was found in it.")
    context = turn.context
    nothing = Quantity(None, None, Qualifier.NONE)
    place = Reading(None, nothing, context.axis, context.section, context.terminals)
    partner = find_partner(turn.waiting, place, source)
    if partner is not None and partner.row.photo_sha256 is None:
        partner.row.photo_sha256, partner.row.agreement = source.sha256, "photo_not_read"
        turn.keep(What.JOINED, partner, note={"agree": False, "source": "photo", "not_read": reason})
    turn.say(f"Photo kept, but not read: {reason}")
    turn.ask(turn.asked())
