"""How a reading enters the conversation: as the answer to a question, joined to its photo or words, or on its own."""

from __future__ import annotations

from dataclasses import replace

from api.dialogue.turn import Turn
from api.ledger.tables import ProposalRow
from api.ledger.trail import What
from api.visit.notes import notes_of
from api.visit.proposals import Belief, Source, correct, doubts_of, find_partner, join, new_proposal
from api.visit.readings import reading_of
from api.visit.records import Decision, put_event, record_of
from capture.comparison import same_dimension, same_place
from capture.completeness import fits
from capture.language.prompts import NOT_UNDERSTOOD
from capture.language.readback import value_words
from capture.reading import Context, Doubt, Reading
from grading.terms.quantity import Qualifier

_PLACE = ("kind", "axis", "section", "terminals", "test_voltage_set", "test_voltage_built", "elapsed_s")

UNIT_DOUBTS = frozenset({Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE, Doubt.PREFIX_UNSURE})
"""Doubts that a unit settles which a person says or taps."""


def merged(new: Reading, old: Reading) -> Reading:
    """A new statement over an old one: what it leaves out stays, the unit too where only digits were given."""
    gaps = {name: getattr(old, name) for name in _PLACE if getattr(new, name) is None}
    reading = replace(new, **gaps)
    quantity = reading.quantity
    if quantity.unit is None and quantity.digits is not None and old.quantity.unit is not None:
        reading = replace(reading, quantity=replace(quantity, unit=old.quantity.unit))
    return reading


def refuse_unit(turn: Turn, reading: Reading) -> None:
    """Say that a unit cannot be right; nothing else happens."""
    turn.say(f"{value_words(reading)}: that unit does not fit. {NOT_UNDERSTOOD}")


def propose(turn: Turn, belief: Belief, source: Source, supersedes: str | None = None) -> ProposalRow:
    """Make a proposal of its own; what was noted beside the record that it would replace stays, unless said anew."""
    if supersedes is not None and belief.notes is None:
        belief = replace(belief, notes=notes_of(record_of(turn.session, supersedes)))
    row = new_proposal(turn.transaction, turn.job.id, belief, source, supersedes)
    turn.transaction.entry(What.PROPOSED, turn.job.id, note={"source": source.kind})
    turn.touched(row)
    return row


def join_partner(turn: Turn, belief: Belief, source: Source) -> ProposalRow | None:
    """Join a reading to the open proposal of the other sense; None where there is none."""
    row = find_partner(turn.session, turn.job.id, belief.reading, source)
    if row is None:
        return None
    agree = join(turn.transaction, row, belief, source)
    turn.transaction.put(row)
    turn.transaction.entry(What.JOINED, turn.job.id, note={"agree": agree, "source": source.kind})
    turn.touched(row)
    return row


def change(turn: Turn, row: ProposalRow, belief: Belief, source: Source, decision: Decision) -> None:
    """Replace a proposal's value by a person's word; the event keeps the value before."""
    before = {**reading_of(row).to_json(), **notes_of(row).to_json()}
    correct(turn.transaction, row, belief, source)
    turn.transaction.put(row)
    detail = {"before": before, "after": {**reading_of(row).to_json(), **notes_of(row).to_json()}}
    put_event(turn.transaction, turn.job.id, "correct", decision, proposal=row, detail=detail)
    turn.transaction.entry(What.CORRECTED, turn.job.id, by=decision.by, note={"words": decision.words})
    turn.touched(row)


def answer_question(turn: Turn, belief: Belief, source: Source, decision: Decision) -> ProposalRow | None:
    """Take a reading as the answer to the one question that is open; None where it cannot be one."""
    asked = turn.asked()
    if len(asked) != 1 or not doubts_of(asked[0]):
        return None
    row, reading = asked[0], belief.reading
    old = reading_of(row)
    if Doubt.AXIS_MISSING in doubts_of(row):
        old = replace(old, axis=None)
    if not same_dimension(old.quantity, reading.quantity) or not same_place(old, reading):
        return None
    if reading.quantity.digits is None and reading.quantity.qualifier is Qualifier.EQUAL:
        return None
    belief = replace(belief, reading=merged(reading, old))
    if not fits(belief.reading):
        return None
    change(turn, row, belief, source, decision)
    return row


def give_unit(turn: Turn, code: str, decision: Decision) -> bool:
    """Give the value that is asked about the unit that it lacks or that is in doubt; False where there is none."""
    for row in turn.asked():
        old = reading_of(row)
        if not UNIT_DOUBTS & set(doubts_of(row)):
            continue
        new = replace(old, quantity=replace(old.quantity, unit=code))
        if not fits(new):
            refuse_unit(turn, new)
            return True
        doubts = tuple(doubt for doubt in doubts_of(row) if doubt not in UNIT_DOUBTS)
        source = Source("typed", decision.captured_at)  # the clip of the value stays the value's evidence
        change(turn, row, Belief(new, doubts, (), float(row.confidence)), source, decision)
        turn.ask([row])
        return True
    return False


def give_place(turn: Turn, row: ProposalRow, context: Context, decision: Decision) -> bool:
    """Fill what a proposal lacks from what was just said about the place; what it has stays."""
    old, doubts = reading_of(row), doubts_of(row)
    if Doubt.AXIS_MISSING in doubts:
        old = replace(old, axis=None)
    place = {name: getattr(context, name) for name in ("axis", "section", "terminals", "kind")}
    gaps = {name: value for name, value in place.items() if getattr(old, name) is None and value is not None}
    new = replace(old, **gaps)
    if new == reading_of(row) or not fits(new):
        return False
    source = Source("typed", decision.captured_at)
    change(turn, row, Belief(new, doubts, (), float(row.confidence)), source, decision)
    return True
