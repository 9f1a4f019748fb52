"""The conversation: what words do to proposals, records and safety answers.

What a person says becomes an event of the machine (`api.dialogue.machine`), which decides what it answers; here the
effects are carried out. Rules that hold whatever comes in, in whatever order: nothing is confirmed without a
confirmation after the last change of its value; a doubt blocks a bare confirmation; silence confirms nothing; a
confirmation with nothing open does nothing and says so; a clip that holds a value and a confirmation confirms nothing,
since the read-back of that value was not heard yet.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from api.dialogue.attention import heeded_at_rest
from api.dialogue.beside import came, said_alone, with_notes
from api.dialogue.commands import commanded, keep_note
from api.dialogue.corrections import corrected, fields_corrected
from api.dialogue.events import Do as Carry
from api.dialogue.events import (
    Drop,
    Effect,
    Event,
    Hold,
    Ignored,
    KeepNote,
    MakeRecords,
    OtherwiseSaid,
    PutAnswer,
    Replied,
    SafetyQuestion,
    SaidAgain,
    Settled,
    StepsOpen,
    TakeBackAnswer,
    Told,
    Value,
    ValueQuestion,
)
from api.dialogue.proposal_updates import (
    give_place,
    give_unit,
    keep_both,
    refuse_unit,
    reject,
    rivals_of,
    says_again,
    take,
)
from api.dialogue.sentences import answer_words, duration_words
from api.dialogue.turn import Turn
from api.errors import OhmtrailError
from api.ledger.trail import What
from api.visit.errors import SafetyOpen, SaidBefore
from api.visit.jobs import axis_of
from api.visit.notes import Notes, notes_with
from api.visit.proposals import ProposedReading, Source
from api.visit.records import Decision, Record, check_confirmable, confirm, withdraw
from api.visit.safety import StepReply, is_gated, put_answers
from api.visit.safety_steps import AFTER_TEST, STEP_BY_ID, discharge_s, meets
from capture.carrying import can_carry
from capture.completeness import fits
from capture.language.axis_names import how_to_say, spoken_names
from capture.language.items import Cue, UnitSpoken, scan
from capture.language.parse import parse
from capture.language.prompts import NOT_UNDERSTOOD, heard_context
from capture.language.readback import statement, volts_words, with_beside
from capture.language.replies import reply_of
from capture.language.vocabulary import plain_text
from capture.reading import Command, Context, Doubt, Reading, Utterance
from grading.terms.quantity import QuantityKind

MAY_BE_MISSING = frozenset({Doubt.AXIS_MISSING, Doubt.SECTION_MISSING, Doubt.QUANTITY_MISSING})
"""What a value that is said again need not name once more."""

_ANSWERS = (Command.CONFIRM, Command.REJECT, Command.NOT_APPLICABLE)


def heard(
    turn: Turn, utterance: Utterance, source: Source, *, obeyed: bool = True, open_microphone: bool = False
) -> None:
    """Act on a clip.

    Args:
        turn: The turn.
        utterance: What was understood.
        source: The clip.
        obeyed: Whether commands and answers count: not in what is read again after an interruption, since the question
            that they answered may be another one by now.
        open_microphone: It was listened to; a clip that somebody sent is meant for the tool, whatever is in it.
    """
    utterance = _with_own_names(turn, utterance)
    decision = Decision("spoken", turn.job.technician, source.captured_at, utterance.heard.text, source.sha256)
    event = _event(turn, utterance)
    if not obeyed and (utterance.command is not None or not isinstance(event, OtherwiseSaid)):
        turn.say("A command from before the interruption was not obeyed. Say it again.")
        return
    if open_microphone and turn.at_rest and not heeded_at_rest(utterance, turn.context):
        turn.heeded = False  # kept as evidence, and answered by nothing: it was said to somebody else
        return
    question, standing = turn.standing.state.open, turn.standing.state
    answers = isinstance(event, Replied) or (isinstance(event, Told) and event.command in _ANSWERS)
    if question is not None and answers and turn.spoken_too_early() and not (standing.paused or standing.noting):
        turn.refuse(SaidBefore())
        return
    # A command that was perhaps misheard is asked about, never acted on: "confirm" makes a record.
    if isinstance(event, Told) and utterance.doubts and not (standing.paused or standing.noting):
        turn.say(f'Was that "{event.command.value.replace("_", " ")}"? Say it again, please.')
        turn.tone = "not_understood"
        return
    effects = turn.happened(event, _gates(turn))
    if isinstance(event, OtherwiseSaid) and not effects:
        _said(turn, utterance, source, decision)
        return
    if isinstance(event, SaidAgain) and any(isinstance(effect, MakeRecords) for effect in effects):
        for proposal in turn.asked():
            proposal.row.agreement = "said_again"
            note = {"agree": True, "source": "speech", "sha256": source.sha256}
            turn.keep(What.JOINED, proposal, by=decision.by, note=note)
    for effect in effects:
        carry_out(turn, effect, decision)
    if isinstance(event, Told) and event.command is Command.CORRECT and not effects:
        turn.asks = True


def _with_own_names(turn: Turn, utterance: Utterance) -> Utterance:
    """Put the axes' own names for what is said for them: TURRET for "Tango"."""
    names = {said: name for name, said in spoken_names(turn.job.axis_names).items()}
    if all(said == name for said, name in names.items()):
        return utterance

    def own(reading: Reading) -> Reading:
        return replace(reading, axis=names.get(reading.axis or "", reading.axis))

    context = utterance.context
    return replace(
        utterance,
        readings=tuple(own(reading) for reading in utterance.readings),
        alternatives=tuple(own(reading) for reading in utterance.alternatives),
        context=replace(context, axis=names.get(context.axis or "", context.axis)),
    )


def _event(turn: Turn, utterance: Utterance) -> Event:
    """Tell the machine's event that an utterance is: an answer to what is asked, a command, or anything else."""
    question = turn.standing.state.open
    volts_wanted = isinstance(question, SafetyQuestion) and bool(STEP_BY_ID[question.step].value_unit)
    reply = reply_of(utterance, volts_wanted=volts_wanted)
    if reply is not None and (question is not None or not utterance.context.axis):
        sure, volts = reply.sure, reply.volts[0] if reply.volts else None
        if isinstance(question, SafetyQuestion) and volts is not None:
            step = STEP_BY_ID[question.step]
            # "Fifteen" that may have been "fifty" is asked again where it decides.
            sure = sure and len({meets(step, "yes", found) for found in reply.volts}) == 1
        return Replied(reply.answer, volts, sure)
    if utterance.command is not None and not utterance.readings:
        # A correction may name a place or a circumstance instead of a value: "correction, leads zeroed".
        named = utterance.context != turn.context or utterance.beside.anything
        return OtherwiseSaid() if utterance.command is Command.CORRECT and named else Told(utterance.command)
    surely = utterance.command is None and not set(utterance.doubts) - MAY_BE_MISSING
    if turn.standing.twice and surely and says_again(turn, utterance.readings) and not turn.spoken_too_early():
        as_noted = all(notes_with(one.notes, utterance.beside) == one.notes for one in turn.asked())
        return SaidAgain() if as_noted else OtherwiseSaid()
    return OtherwiseSaid()


def _gates(turn: Turn) -> dict[str, tuple[str, ...]]:
    """Give the open safety steps of every axis that the open question holds a gated value of."""
    question = turn.standing.state.open
    if not isinstance(question, ValueQuestion):
        return {}
    axes = {value.gated for value in question.values if value.gated is not None}
    # By the time of the reading, as the confirmation itself looks at it.
    waiting = {proposal.id: proposal for proposal in turn.asked()}
    gates: dict[str, tuple[str, ...]] = {}
    for axis in axes:
        moments = [
            waiting[v.proposal].row.captured_at for v in question.values if v.gated == axis and v.proposal in waiting
        ]
        gates[axis] = turn.steps_open(axis, max(moments, default=None))
    return gates


def carry_out(turn: Turn, effect: Effect, decision: Decision) -> None:
    """Carry out what the machine decided."""
    if turn.tell(effect):
        return
    if isinstance(effect, MakeRecords):
        _confirmed(turn, effect.values, decision)
    elif isinstance(effect, Drop):
        _dropped(turn, effect.values, decision)
    elif isinstance(effect, Hold):
        first = STEP_BY_ID[effect.steps[0]].question
        turn.refuse(SafetyOpen(count=len(effect.steps), axis=effect.axis, question=first))
    elif isinstance(effect, PutAnswer):
        reply = StepReply(answer=effect.answer, value=effect.volts, evidence_sha256=decision.clip_sha256)
        _answered(turn, effect.axis, effect.step, reply, decision)
        turn.say(answer_words(effect))
    elif isinstance(effect, TakeBackAnswer):
        _answered(turn, effect.axis, effect.step, StepReply(answer="no", note="withdrawn"), decision)
        turn.say("Taken back.")
    elif isinstance(effect, KeepNote):
        keep_note(turn, decision)
    elif isinstance(effect, Carry):
        commanded(turn, effect.command, decision)
    elif isinstance(effect, Ignored):
        turn.heeded = False


def _answered(turn: Turn, axis: str, step: str, reply: StepReply, decision: Decision) -> None:
    row = axis_of(turn.session, turn.job.id, axis)
    put_answers(
        turn.transaction, row, {step: reply}, how=decision.how, by=decision.by, captured_at=decision.captured_at
    )
    steps_changed(turn)


def steps_changed(turn: Turn) -> None:
    """Ask no more what was answered elsewhere: on the page, or for the whole cabinet on another axis."""
    axes = dict.fromkeys(q.axis for q in turn.standing.state.questions if isinstance(q, SafetyQuestion))
    for axis in axes:
        turn.happened(StepsOpen(axis, turn.steps_open(axis)))


def _said(turn: Turn, utterance: Utterance, source: Source, decision: Decision) -> None:
    """Act on words that are neither an answer nor a command."""
    before, turn.context = turn.context, _on_known_axis(turn, utterance.context)
    if utterance.readings and utterance.command is Command.CORRECT:
        corrected(turn, utterance, _given(utterance, 0), source, decision)
    elif utterance.command is Command.CORRECT:
        fields_corrected(turn, utterance, decision)
    elif utterance.readings:
        _new_readings(turn, utterance, source, decision)
    elif utterance.beside.anything:
        if turn.context != before:
            _no_value(turn, utterance, before, decision)
        said_alone(turn, utterance.beside, decision)
        if Doubt.CONFLICT in utterance.doubts:
            turn.say("I heard a circumstance and a command in one breath. Listen first, then answer.")
    else:
        _no_value(turn, utterance, before, decision)
    _mind_the_gate(turn, utterance, before)


def _mind_the_gate(turn: Turn, utterance: Utterance, before: Context) -> None:
    """Ask the safety questions at the first mention of an insulation test, before anybody presses the button."""
    context = turn.context
    if context.kind is not QuantityKind.INSULATION_RESISTANCE or context.axis is None:
        return
    named = "insulation" in plain_text(utterance.heard.text)
    new = (context.kind, context.axis, context.test_voltage_set) != (before.kind, before.axis, before.test_voltage_set)
    if named or new:
        turn.test_meant(context.axis)


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
    reading, others = _as_far_as_it_fits(utterance, index), utterance.alternatives
    if len(utterance.readings) > 1:  # alternatives carry no index: which value one belongs to follows from its place
        others = tuple(other for other in others if replace(other, quantity=reading.quantity) == reading)
    return ProposedReading(reading, doubts, others, utterance.confidence)


def _as_far_as_it_fits(utterance: Utterance, index: int) -> Reading:
    """Give a reading without the test that was carried forward to it, where that test cannot show its unit."""
    reading = utterance.readings[index]
    if can_carry(reading.kind, reading.quantity):
        return reading
    alone = parse(utterance.heard.text, Context(axes=utterance.context.axes)).readings
    named = index < len(alone) and alone[index].kind is not None
    return reading if named else replace(reading, kind=None, test_voltage_set=None)


def _new_readings(turn: Turn, utterance: Utterance, source: Source, decision: Decision) -> None:
    taken = []
    noted = utterance.beside.anything or turn.standing.coming != Notes()
    for index in range(len(utterance.readings)):
        given = _given(utterance, index)
        if not fits(given.reading):
            refuse_unit(turn, given.reading)
            continue
        if noted:
            given = with_notes(given, turn.standing.coming, utterance.beside)
        taken.append(take(turn, given, source, decision))
    if noted:
        came(turn, taken)
    # Whoever says value and "confirm" in one breath has not heard what was understood: the value is proposed, and the
    # confirmation is not one of it.
    if Doubt.CONFLICT in utterance.doubts or utterance.command is Command.CONFIRM:
        turn.say("I heard a value and a command in one breath. Listen first, then answer.")
    if taken:
        turn.ask(list(dict.fromkeys(taken)))


def _confirmed(turn: Turn, values: tuple[Value, ...], decision: Decision) -> None:
    """MakeRecords, at one spoken word, everything that the open question is about, or nothing of it."""
    asked = turn.asked()
    revisions = {value.proposal: value.revision for value in values}
    try:
        # All before any: the one word was said of all of them, so that none is recorded without the others.
        for proposal in asked:
            check_confirmable(turn.session, proposal, revisions[proposal.id], decision.captured_at)
    except OhmtrailError as problem:
        turn.refuse(problem)
        return
    for proposal in asked:
        recorded(turn, confirm(turn.transaction, proposal, decision, revisions[proposal.id]))
    for value in values:
        turn.happened(Settled(value.proposal))


def recorded(turn: Turn, record: Record) -> None:
    """Say what now stands in the record, and what to do with the leads; their discharge is counted down from now."""
    turn.records.append(record)
    if record.row.supersedes is not None:  # of values that cannot all be true, one was chosen
        for rival in rivals_of(turn, record.reading, record.notes):
            reason = f"cannot be true beside {record.id}, which was chosen"
            withdraw(turn.transaction, rival, Decision("derived", record.row.confirmed_by, turn.captured_at, reason))
            turn.withdrawn.append(rival.id)
    turn.tone = "confirmed"
    turn.say(f"Recorded: {with_beside(statement(record.reading), record.notes.words)}.", "Recorded.")
    if is_gated(record.reading):
        seconds = discharge_s(record.reading.elapsed_s)
        turn.discharging(record.reading.axis or "", seconds)
        turn.say(f"{AFTER_TEST} Discharge now: {duration_words(seconds)}.")


def _dropped(turn: Turn, values: tuple[Value, ...], decision: Decision) -> None:
    asked = turn.asked()
    turn.say("Dropped. Say it again.")
    for proposal in asked:
        reject(turn, proposal, decision)
    for value in values:
        turn.happened(Settled(value.proposal))


def _unit_alone(text: str) -> str | None:
    """Give the unit where an utterance is nothing but one; None otherwise."""
    pieces = [item.piece for item in scan(plain_text(text)) if item.piece not in (Cue.FILLER, Cue.PAUSE)]
    if len(pieces) != 1 or not isinstance(pieces[0], UnitSpoken) or pieces[0].doubt is not None:
        return None
    return pieces[0].code


def _no_value(turn: Turn, utterance: Utterance, before: Context, decision: Decision) -> None:
    """Act on words without a value: a unit, where the work goes on, or nothing understood."""
    asked = turn.asked()
    code = _unit_alone(utterance.heard.text)
    if code is not None and give_unit(turn, code, decision):
        return
    if set(plain_text(utterance.heard.text)) == {"both"} and keep_both(turn, decision):
        return
    if turn.context != before:
        changed = [give_place(turn, proposal, turn.context, decision) for proposal in asked]
        turn.ask(asked) if any(changed) else turn.say(heard_context(turn.context, before))
    elif Doubt.AXIS_MISSING in utterance.doubts and not turn.said:
        names = ", ".join(how_to_say(name, turn.job.axis_names) for name in turn.job.axis_names)
        turn.say(f"Which axis? Say one of {names}.")
        turn.tone = "not_understood"
    elif utterance.confidence and not utterance.doubts and not turn.said:
        turn.say(_unchanged(turn.context))
        turn.asks = True
    elif not turn.said:
        turn.say(NOT_UNDERSTOOD)
        turn.tone = "not_understood"


def _unchanged(context: Context) -> str:
    """Word the answer to a setting that holds already."""
    where = heard_context(context).rstrip(".")
    volts = context.test_voltage_set
    parts = [where] if where != NOT_UNDERSTOOD.rstrip(".") else []
    if volts is not None and volts_words(volts) not in where:
        parts.append(f"test voltage {volts_words(Decimal(volts))}")
    return f"Still {', '.join(parts)}." if parts else NOT_UNDERSTOOD
