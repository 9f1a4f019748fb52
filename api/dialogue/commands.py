"""Commands that no question is about: undo, next, what is left, the verdict, a note, the end of the lock-out."""

from __future__ import annotations

from api.assessment.next_point import next_point, points_left
from api.assessment.spoken_verdict import spoken_verdict
from api.dialogue.beside import take_back
from api.dialogue.turn import Turn
from api.ledger.trail import What
from api.visit.jobs import axis_of
from api.visit.records import Decision, current_records, put_event, record_of, withdraw
from api.visit.safety import ANOTHER_PERSON, POWER_RESTORED, end_lockout
from capture.language.readback import statement, with_beside
from capture.reading import Command
from grading.terms.quantity import QuantityKind


def commanded(turn: Turn, command: Command, decision: Decision) -> None:
    """Carry out a command."""
    if command is Command.UNDO:
        if not take_back(turn, decision):
            undo(turn, decision)
    elif command is Command.CORRECT:
        turn.say("Say the right value after the word correction.")
    elif command is Command.REPEAT:
        _repeated(turn)
    elif command is Command.IN_FULL:
        turn.in_full = True
        _repeated(turn)
    elif command is Command.PHOTO:
        turn.action = "photo"
        turn.say("Take the photo.")
    elif command is Command.NEXT:
        _next(turn)
    elif command is Command.LEFT:
        turn.say(points_left(turn.session, turn.job.id, turn.context, turn.profile))
        turn.asks = True
    elif command is Command.VERDICT:
        turn.say(spoken_verdict(turn.session, turn.job.id, turn.context.axis, turn.profile))
        turn.asks = True
    elif command is Command.SAME:
        turn.say("There is no value yet that could be the same here.")
    elif command in (Command.POWER_RESTORED, Command.ANOTHER_PERSON):
        reason = POWER_RESTORED if command is Command.POWER_RESTORED else ANOTHER_PERSON
        lockout_ended(turn, reason, decision)


def _repeated(turn: Turn) -> None:
    if turn.standing.state.open is not None:
        turn.asks = True
    else:
        turn.say(turn.state.message or "Nothing was said yet.")


def _next(turn: Turn) -> None:
    point = next_point(turn.session, turn.job.id, turn.context, turn.profile)
    turn.context = point.context
    turn.say(point.sentence)
    if point.context.kind is QuantityKind.INSULATION_RESISTANCE and point.context.axis is not None:
        turn.test_meant(point.context.axis)
    turn.asks = True


def lockout_ended(turn: Turn, reason: str, decision: Decision, name: str = "") -> None:
    """Let no safety answer given so far count any more; at the next mention of an insulation test all are asked."""
    axis = axis_of(turn.session, turn.job.id, turn.context.axis or turn.job.axis_names[0])
    end_lockout(
        turn.transaction, axis, reason, how=decision.how, by=decision.by, captured_at=decision.captured_at, note=name
    )
    who = "Power was restored" if reason == POWER_RESTORED else "Another person goes on"
    turn.say(f"{who}: every safety question is open again, on all axes.")
    if turn.context.kind is QuantityKind.INSULATION_RESISTANCE and turn.context.axis is not None:
        turn.test_meant(turn.context.axis)


def keep_note(turn: Turn, decision: Decision) -> None:
    """Keep what was said as a note: the clip, and the words as far as they were understood."""
    detail = {
        "axis": turn.context.axis,
        "section": None if turn.context.section is None else turn.context.section.value,
    }
    put_event(turn.transaction, turn.job.id, "note", decision, detail=detail)
    turn.transaction.entry(What.NOTED, turn.job.id, by=decision.by, note={"words": decision.words})
    turn.say("Noted. The clip is kept.")


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
    turn.say(
        f"Withdrawn: {with_beside(statement(record.reading), record.notes.words)}. The old entry stays in the trail."
    )
    turn.asks = True
