"""How a reading enters the conversation: as the answer to a question, joined to its photo or words, or on its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from api.dialogue.events import Settled
from api.dialogue.turn import Turn
from api.ledger.trail import What
from api.visit.notes import Notes, joined
from api.visit.proposals import (
    Proposal,
    ProposedReading,
    Source,
    correct,
    find_partner,
    join,
    new_proposal,
    require_open,
)
from api.visit.records import Decision, Record, current_records, put_event, record_of
from capture.comparison import contradict, same_dimension, same_place, same_test, same_value
from capture.completeness import fits
from capture.language.prompts import NOT_UNDERSTOOD
from capture.language.readback import value_words
from capture.reading import Context, Doubt, Reading
from grading.terms.quantity import Qualifier
from grading.terms.section import Section

_PLACE = ("kind", "axis", "section", "terminals", "test_voltage_set", "test_voltage_built", "elapsed_s")

UNIT_DOUBTS = frozenset({Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE, Doubt.PREFIX_UNSURE})
"""Doubts that a unit settles which a person says or taps."""


def merged(new: Reading, old: Reading) -> Reading:
    """Lay a new statement over an old one: what it leaves out stays, the unit too where only digits were given."""
    gaps = {name: getattr(old, name) for name in _PLACE if getattr(new, name) is None}
    reading = replace(new, **gaps)
    quantity = reading.quantity
    if quantity.unit is None and quantity.digits is not None and old.quantity.unit is not None:
        reading = replace(reading, quantity=replace(quantity, unit=old.quantity.unit))
    return reading


def said_anew(reading: Reading, axis: str | None, section: Section | None, terminals: str | None) -> Reading:
    """Give a reading with only the place that was said with it, without what was carried forward."""
    point = terminals if terminals is None or not terminals.endswith("-") else None
    return replace(reading, kind=None, axis=axis, section=section, terminals=point, test_voltage_set=None)


def refuse_unit(turn: Turn, reading: Reading) -> None:
    """Say that a unit cannot be right; nothing else happens."""
    turn.say(f"{value_words(reading)}: that unit does not fit. {NOT_UNDERSTOOD}")


def take(turn: Turn, given: ProposedReading, source: Source, decision: Decision | None = None) -> Proposal:
    """Take a reading in: joined to its partner of the other sense, as the answer to what was asked, or on its own.

    Args:
        turn: The turn.
        given: The reading.
        source: Where it came from.
        decision: Who said it, where words can answer a question; None for a photo.
    """
    partner = find_partner(turn.waiting, given.reading, source)
    if partner is not None:
        return join_to(turn, partner, noted_beside(partner, given), source)
    if decision is not None:
        answered = _answered(turn, given)
        if answered is not None:
            change(turn, answered[0], noted_beside(*answered), source, decision)
            return answered[0]
    return propose(turn, given, source)


def noted_beside(proposal: Proposal, given: ProposedReading) -> ProposedReading:
    """Add what was noted beside a proposal to what is noted beside its new value."""
    return given if given.notes is None else replace(given, notes=joined(proposal.notes, given.notes))


def propose(turn: Turn, given: ProposedReading, source: Source, supersedes: str | None = None) -> Proposal:
    """Make a proposal of its own; what was noted beside the record that it would replace stays, unless said anew."""
    if supersedes is not None and given.notes is None:
        given = replace(given, notes=record_of(turn.session, supersedes).notes)
    if supersedes is None:
        given, supersedes = beside_rivals(turn, given)
    proposal = new_proposal(turn.transaction, turn.job, given, source, supersedes)
    turn.keep(What.PROPOSED, proposal, note={"source": source.kind})
    return proposal


def beside_rivals(turn: Turn, given: ProposedReading) -> tuple[ProposedReading, str | None]:
    """Say what is on record of the same point and cannot be true beside a reading, and put it beside that in doubt.

    Returns:
        The reading, in doubt where there is such a record, and the id of the record that it would replace, if any.
    """
    rivals = rivals_of(turn, given.reading, given.notes or Notes())
    if not rivals:
        return given, None
    for rival in rivals:
        turn.say(f"On record {rival.id} this point has {value_words(rival.reading)}.")
    old = tuple(rival.reading for rival in reversed(rivals))
    doubts = (*given.doubts, Doubt.CONTRADICTED)
    notes = given.notes or rivals[-1].notes
    given = replace(given, doubts=doubts, alternatives=(*given.alternatives, *old), notes=notes)
    return given, rivals[-1].id


def rivals_of(turn: Turn, reading: Reading, notes: Notes) -> list[Record]:
    """Give the records in force that say of the same point what cannot be true beside a reading, oldest first.

    At another position, or after cleaning, say, another value may well be true.
    """
    mine = [one for one in current_records(turn.session, turn.job.id) if one.notes == notes]
    return [one for one in mine if contradict(one.reading, reading)]


def keep_both(turn: Turn, decision: Decision) -> bool:
    """Let a value stand beside one that it contradicts, since the person says that both hold; False where none is."""
    asked = [proposal for proposal in turn.asked() if Doubt.CONTRADICTED in proposal.doubts]
    for proposal in asked:
        proposal.row.supersedes = None
        doubts = tuple(doubt for doubt in proposal.doubts if doubt is not Doubt.CONTRADICTED)
        change(
            turn, proposal, _as_is(proposal, proposal.reading, doubts), Source("typed", decision.captured_at), decision
        )
    turn.ask(asked) if asked else None
    return bool(asked)


def join_to(turn: Turn, partner: Proposal, given: ProposedReading, source: Source, *, again: bool = False) -> Proposal:
    """Join a reading to the proposal of the other sense, or, `again`, read the photo of a proposal anew."""
    agree = join(partner, given, source, turn.job, turn.transaction.now)
    note = {"agree": agree, "source": source.kind}
    turn.keep(What.JOINED, partner, note={**note, "again": True} if again else {**note})
    return partner


def change(turn: Turn, proposal: Proposal, given: ProposedReading, source: Source, decision: Decision) -> None:
    """Replace a proposal's value by a person's word; the event keeps the value before."""
    before = {**proposal.reading.to_json(), **proposal.notes.to_json()}
    correct(proposal, given, source, turn.job, turn.transaction.now)
    after = {**proposal.reading.to_json(), **proposal.notes.to_json()}
    detail = {"before": before, "after": after}
    turn.transaction.put(proposal.stored())
    put_event(turn.transaction, turn.job.id, "correct", decision, proposal=proposal, detail=detail)
    turn.keep(What.CORRECTED, proposal, by=decision.by, note={"words": decision.words})


def _answered(turn: Turn, given: ProposedReading) -> tuple[Proposal, ProposedReading] | None:
    """Tell whether a reading answers the one question that is open; None where it cannot."""
    asked = turn.asked()
    # Among several questions nobody can tell which one a value answers.
    if len(asked) != 1:
        return None
    proposal, reading = asked[0], given.reading
    if not proposal.doubts:
        return _said_otherwise(turn, proposal, given)
    old = proposal.reading
    if Doubt.AXIS_MISSING in proposal.doubts:
        old = replace(old, axis=None)
    if not same_dimension(old.quantity, reading.quantity) or not same_place(old, reading):
        return None
    if reading.quantity.digits is None and reading.quantity.qualifier is Qualifier.EQUAL:
        return None
    answer = replace(given, reading=merged(reading, old))
    return (proposal, answer) if fits(answer.reading) else None


def _said_otherwise(turn: Turn, proposal: Proposal, given: ProposedReading) -> tuple[Proposal, ProposedReading] | None:
    """Put two values to choose from where what was to be said again was heard otherwise; None where it was not."""
    old = proposal.reading
    if not turn.value_of(proposal).twice or not same_test(old, given.reading):
        return None
    new = merged(given.reading, old)
    if not same_dimension(old.quantity, new.quantity) or not fits(new):
        return None
    same = same_value(old.quantity, new.quantity)
    doubts = given.doubts if same else (*given.doubts, Doubt.LOW_CONFIDENCE)
    return proposal, replace(given, reading=new, doubts=doubts, alternatives=given.alternatives if same else (old,))


def says_again(turn: Turn, readings: Sequence[Reading]) -> bool:
    """Tell whether readings are exactly those of the open question, said again as they were asked to be."""
    asked = turn.asked()
    wanted = bool(asked) and all(turn.value_of(proposal).twice and not proposal.doubts for proposal in asked)
    if not wanted or len(asked) != len(readings):
        return False
    pairs = zip(asked, readings, strict=True)
    return all(
        same_test(proposal.reading, reading)
        and same_dimension(proposal.reading.quantity, reading.quantity)
        and same_value(proposal.reading.quantity, merged(reading, proposal.reading).quantity)
        for proposal, reading in pairs
    )


def give_unit(turn: Turn, code: str, decision: Decision) -> bool:
    """Give the value that is asked about the unit that it lacks or that is in doubt; False where there is none."""
    for proposal in turn.asked():
        old = proposal.reading
        if not UNIT_DOUBTS & set(proposal.doubts):
            continue
        new = replace(old, quantity=replace(old.quantity, unit=code))
        if not fits(new):
            refuse_unit(turn, new)
            return True
        doubts = tuple(doubt for doubt in proposal.doubts if doubt not in UNIT_DOUBTS)
        source = Source("typed", decision.captured_at)  # the clip of the value stays the value's evidence
        change(turn, proposal, _as_is(proposal, new, doubts), source, decision)
        turn.ask([proposal])
        return True
    return False


def give_place(turn: Turn, proposal: Proposal, context: Context, decision: Decision) -> bool:
    """Fill what a proposal lacks from what was just said about the place; what it has stays."""
    old, doubts = proposal.reading, proposal.doubts
    # An axis that the job does not have counts as missing, and must not keep the right one out.
    if Doubt.AXIS_MISSING in doubts:
        old = replace(old, axis=None)
    place = {name: getattr(context, name) for name in ("axis", "section", "terminals", "kind")}
    gaps = {name: value for name, value in place.items() if getattr(old, name) is None and value is not None}
    new = replace(old, **gaps)
    if new == proposal.reading or not fits(new):
        return False
    change(turn, proposal, _as_is(proposal, new, doubts), Source("typed", decision.captured_at), decision)
    return True


def _as_is(proposal: Proposal, reading: Reading, doubts: tuple[Doubt, ...]) -> ProposedReading:
    """Give a proposal's changed reading with the confidence that it had."""
    return ProposedReading(reading, doubts, (), float(proposal.row.confidence))


def reject(turn: Turn, proposal: Proposal, decision: Decision) -> None:
    """Drop a proposal; it stays on file as rejected.

    Raises:
        ProposalSettled: It is settled already.
    """
    require_open(proposal)
    proposal.row.state = "rejected"
    turn.transaction.put(proposal.stored())
    put_event(turn.transaction, turn.job.id, "reject", decision, proposal=proposal)
    turn.keep(What.REJECTED, proposal, by=decision.by, note={"words": decision.words})
    turn.happened(Settled(proposal.id))
