"""The conversation: what words, photos and taps do to proposals and records.

    listening --words or photo--> asking --"confirm"--> confirmed
                                  asking --new value--> asking (higher revision)
                                  asking --"negative"-> listening

Rules that hold whatever comes in, in whatever order: nothing is confirmed without a confirmation after the last
change of its value; a doubt blocks a bare confirmation; silence confirms nothing; a confirmation with nothing open
does nothing and says so; a clip that holds a value and a confirmation confirms nothing, since the read-back of that
value was not heard yet.
"""

from __future__ import annotations

from dataclasses import replace

from api.assessment.next_point import next_point
from api.dialogue.proposal_updates import change, give_place, give_unit, merged, propose, refuse_unit, take
from api.dialogue.turn import Turn
from api.errors import OhmtrailError
from api.ledger.trail import What
from api.visit.proposals import Proposal, ProposedReading, Source, require_open
from api.visit.records import (
    Decision,
    Record,
    check_confirmable,
    confirm,
    current_records,
    put_event,
    record_of,
    withdraw,
)
from api.visit.safety import AFTER_TEST, is_gated
from capture.completeness import fits
from capture.language.items import Cue, UnitSpoken, scan
from capture.language.prompts import NOT_UNDERSTOOD, heard_context
from capture.language.readback import axis_words, statement, volts_words
from capture.language.vocabulary import SOFT_ANSWERS, plain_text
from capture.reading import Command, Context, Doubt, Utterance


def heard(turn: Turn, utterance: Utterance, source: Source) -> None:
    """Act on a clip."""
    decision = Decision("spoken", turn.job.technician, source.captured_at, utterance.heard.text, source.sha256)
    before, turn.context = turn.context, _on_known_axis(turn, utterance.context)
    command = utterance.command
    if utterance.readings and command is Command.CORRECT:
        _corrected(turn, _given(utterance, 0), source, decision)
    elif utterance.readings:
        _new_readings(turn, utterance, source, decision)
    # A command that was perhaps misheard is asked about, never acted on: "confirm" makes a record.
    elif command is not None and utterance.doubts:
        turn.say(f'Was that "{command.value}"? Say it again, please.')
    elif command is not None:
        _commanded(turn, command, decision)
    else:
        _no_value(turn, utterance, before, decision)


def _on_known_axis(turn: Turn, context: Context) -> Context:
    """Keep the work where it was if the context names an axis that this job does not have."""
    names = turn.job.axis_names
    if context.axis is None or context.axis in names:
        return context
    turn.say(f"This job has no axis {context.axis}; it has {', '.join(names)}.")
    return replace(context, axis=turn.context.axis)


def _given(utterance: Utterance, index: int) -> ProposedReading:
    """Give one of an utterance's readings with its doubts (a stray command word is no doubt about the value)."""
    doubts = tuple(doubt for doubt in utterance.doubts if doubt is not Doubt.CONFLICT)
    reading, others = utterance.readings[index], utterance.alternatives
    if len(utterance.readings) > 1:  # alternatives carry no index: which value one belongs to follows from its place
        others = tuple(other for other in others if replace(other, quantity=reading.quantity) == reading)
    return ProposedReading(reading, doubts, others, utterance.confidence)


def _new_readings(turn: Turn, utterance: Utterance, source: Source, decision: Decision) -> None:
    taken = []
    for index in range(len(utterance.readings)):
        given = _given(utterance, index)
        if not fits(given.reading):
            refuse_unit(turn, given.reading)
            continue
        taken.append(take(turn, given, source, decision))
    # Whoever says value and "confirm" in one breath has not heard what was understood: the value is proposed, and the
    # confirmation is not one of it.
    if Doubt.CONFLICT in utterance.doubts or utterance.command is Command.CONFIRM:
        turn.say("I heard a value and a command in one breath. Listen first, then answer.")
    if taken:
        turn.ask(taken)


def _corrected(turn: Turn, given: ProposedReading, source: Source, decision: Decision) -> None:
    """Replace what is asked about; with nothing open, propose to replace the newest record."""
    asked = turn.asked()
    last = current_records(turn.session, turn.job.id)[-1:]
    if not asked and not last:
        turn.ask([propose(turn, given, source)])
        return
    given = replace(given, reading=merged(given.reading, asked[-1].reading if asked else last[0].reading))
    if not fits(given.reading):
        refuse_unit(turn, given.reading)
    elif asked:
        change(turn, asked[-1], given, source, decision)
        turn.ask(asked)
    else:
        turn.ask([propose(turn, given, source, supersedes=last[0].id)])


def _commanded(turn: Turn, command: Command, decision: Decision) -> None:
    if command is Command.CONFIRM:
        _confirmed(turn, decision)
    elif command is Command.REJECT:
        _rejected(turn, decision)
    elif command is Command.UNDO:
        undo(turn, decision)
    elif command is Command.CORRECT:
        turn.say("Say the right value after the word correction.")
    elif command is Command.REPEAT:
        _repeated(turn)
    elif command is Command.PHOTO:
        turn.action = "photo"
        turn.say("Take the photo.")
    elif command is Command.NEXT:
        point = next_point(turn.session, turn.job.id, turn.context, turn.profile)
        turn.context = point.context
        turn.say(point.sentence)
    elif command is Command.SAME:
        turn.say("There is no value yet that could be the same here.")


def _repeated(turn: Turn) -> None:
    asked = turn.asked()
    if asked:
        turn.ask(asked)
    else:
        turn.say(turn.state.message or "Nothing was said yet.")


def _confirmed(turn: Turn, decision: Decision) -> None:
    """Confirm, at one spoken word, everything that was read back last, or nothing of it."""
    revisions = dict(turn.asking)
    asked = turn.asked()
    if not asked:
        turn.say("Nothing is open, so nothing was confirmed.")
        return
    try:
        # All before any: the one word was said of all of them, so that none is recorded without the others.
        for proposal in asked:
            check_confirmable(turn.session, proposal, revisions[proposal.id], decision.captured_at)
    except OhmtrailError as problem:
        turn.refuse(problem)
        turn.asking = [(proposal.id, proposal.revision) for proposal in asked]
        return
    for proposal in asked:
        recorded(turn, confirm(turn.transaction, proposal, decision, revisions[proposal.id]))
    turn.ask_next_open()


def recorded(turn: Turn, record: Record) -> None:
    """Say what now stands in the record, and what to do with the leads."""
    turn.records.append(record)
    turn.say(f"Recorded: {statement(record.reading)}.")
    if is_gated(record.reading):
        turn.say(AFTER_TEST)


def _rejected(turn: Turn, decision: Decision) -> None:
    asked = turn.asked()
    if not asked:
        turn.say("Nothing is open, so nothing was dropped.")
        return
    for proposal in asked:
        reject(turn, proposal, decision)
    turn.say("Dropped. Say it again.")
    turn.ask_next_open()


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
    turn.asking = [pair for pair in turn.asking if pair[0] != proposal.id]


def undo(turn: Turn, decision: Decision, record_id: str | None = None) -> None:
    """Withdraw a record, the newest where none is named.

    Raises:
        RecordWithdrawn: The named one is withdrawn already.
        NoSuchRecord: There is no such record.
    """
    records = current_records(turn.session, turn.job.id)
    if record_id is None and not records:
        turn.say("No record is in force, so nothing was withdrawn.")
        return
    record = records[-1] if record_id is None else record_of(turn.session, record_id)
    withdraw(turn.transaction, record, decision)
    turn.withdrawn.append(record.id)
    turn.say(f"Withdrawn: {statement(record.reading)}. The old entry stays in the trail.")


def _unit_alone(text: str) -> str | None:
    """Give the unit where an utterance is nothing but one; None otherwise."""
    pieces = [item.piece for item in scan(plain_text(text)) if item.piece not in (Cue.FILLER, Cue.PAUSE)]
    if len(pieces) != 1 or not isinstance(pieces[0], UnitSpoken) or pieces[0].doubt is not None:
        return None
    return pieces[0].code


def _no_value(turn: Turn, utterance: Utterance, before: Context, decision: Decision) -> None:
    """Act on words without a value: a unit, a soft answer, where the work goes on, or nothing understood."""
    text = utterance.heard.text
    words = set(plain_text(text))
    asked = turn.asked()
    code = _unit_alone(text)
    if code is not None and give_unit(turn, code, decision):
        return
    if words and words <= SOFT_ANSWERS:
        turn.say('Say "confirm" or "negative".')
        turn.ask(asked)
    elif turn.context != before:
        changed = [give_place(turn, proposal, turn.context, decision) for proposal in asked]
        turn.ask(asked) if any(changed) else turn.say(heard_context(turn.context, before))
    elif Doubt.AXIS_MISSING in utterance.doubts and not turn.said:
        names = ", ".join(axis_words(name) for name in turn.job.axis_names)
        turn.say(f"Which axis? Say one of {names}.")
    elif utterance.confidence and not utterance.doubts and not turn.said:
        turn.say(_unchanged(turn.context))
        turn.ask(asked)
    elif not turn.said:
        turn.say(NOT_UNDERSTOOD)


def _unchanged(context: Context) -> str:
    """Word the answer to a setting that holds already."""
    where = heard_context(context).rstrip(".")
    volts = context.test_voltage_set
    parts = [where] if where != NOT_UNDERSTOOD.rstrip(".") else []
    if volts is not None and volts_words(volts) not in where:
        parts.append(f"test voltage {volts_words(volts)}")
    return f"Still {', '.join(parts)}." if parts else NOT_UNDERSTOOD
