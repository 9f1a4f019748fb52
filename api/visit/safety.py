"""The answers to the safety steps (`api.visit.safety_steps`), and the gate that they hold.

No insulation-resistance value (test voltage of 50 V or more) enters the record before every step is answered as
required. What holds for the whole cabinet is answered once for a lock-out and person, on whichever axis; the answers
count no more after a stated break of it (power restored, another person) or on a later day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import TypedDict

from sqlmodel import Session, select

from api.ledger.canonical import JsonObject
from api.ledger.clock import parse_instant, seconds_between
from api.ledger.database import Transaction
from api.ledger.evidence import evidence_of
from api.ledger.ids import in_order
from api.ledger.tables import AxisRow, SafetyAnswerRow
from api.ledger.trail import What
from api.visit.errors import AnsweredBeforeBreak, BadAnswer, NoAnswer, NoSuchStep, ValueMissing
from api.visit.safety_steps import AFTER_TEST, BUS_LIMIT_V, STEP_BY_ID, STEPS, SafetyStep, meets
from capture.language.typed import plain_number
from capture.reading import Reading
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import auxiliary

GATED_VOLTAGE_V = Decimal(50)
"""Test voltages from here on are gated, V (29 CFR 1910.333(a)(1): live parts below 50 V to ground are exempt)."""

LONGEST_NOTE = 400
"""Longest remark beside an answer, characters; the rest is left out."""

LOCKOUT_ENDED = "lockout_ended"
"""What stands as the step of a row by which the lock-out, or its person, ends: answers before it count no more."""

POWER_RESTORED, ANOTHER_PERSON = "power_restored", "another_person"
"""How a lock-out ends: the answer in such a row."""


def is_gated(reading: Reading) -> bool:
    """Tell whether a reading was taken with a dangerous test voltage: insulation resistance, or 50 V and more set."""
    if reading.kind is QuantityKind.INSULATION_RESISTANCE:
        # A voltage that nobody named is taken for a dangerous one.
        return reading.test_voltage_set is None or reading.test_voltage_set >= GATED_VOLTAGE_V
    resistance = reading.kind in (QuantityKind.RESISTANCE_TO_GROUND, QuantityKind.CONTINUITY)
    return resistance and (reading.test_voltage_built or Decimal(0)) >= GATED_VOLTAGE_V


def auxiliary_lead(reading: Reading) -> str | None:
    """Give the auxiliary lead that a gated reading names as its test point, or None: such a value is refused."""
    leads = auxiliary(reading.terminals or "") if is_gated(reading) else ()
    return leads[0] if leads else None


def check_answer(step_id: str, answer: str, value: str | None) -> tuple[SafetyStep, str | None]:
    """Check one answer before it is written.

    Returns:
        The step, and the value in plain notation.

    Raises:
        NoSuchStep: Unknown step.
        BadAnswer: Unknown answer.
        ValueMissing: A value that is missing or no number.
    """
    step = STEP_BY_ID.get(step_id)
    if step is None:
        raise NoSuchStep(step_id=step_id, steps=tuple(STEP_BY_ID))
    allowed = ("yes", "no", "not_applicable") if step.may_not_apply else ("yes", "no")
    if answer not in allowed:
        raise BadAnswer(answer=answer, allowed=" or ".join(allowed))
    if not step.value_unit:
        return step, None
    try:
        number = Decimal(plain_number(value) if value is not None else "missing")
        if not number.is_finite():
            raise InvalidOperation
    except (InvalidOperation, ValueError):
        if answer == "no":  # it keeps the gate shut with or without a value
            return step, None
        raise ValueMissing(unit=step.value_unit) from None
    return step, format(number, "f")


class StepReply(TypedDict, total=False):
    """What a person says to one step.

    `answer` is "yes", "no" or "not_applicable"; `value` the measured one where the step asks for it, `note` a remark of
    at most 400 characters, `evidence_sha256` a photo that shows it.
    """

    answer: str
    value: str | None
    note: str
    evidence_sha256: str | None


def put_answers(
    transaction: Transaction,
    axis: AxisRow,
    answers: Mapping[str, str | StepReply],
    *,
    how: str,
    by: str,
    captured_at: str,
) -> None:
    """Write the answers to steps of one axis, all of them or none; each is an entry of the trail.

    Args:
        transaction: The writing transaction.
        axis: The axis concerned.
        answers: By step id.
        how: "tapped", "typed" or "spoken".
        by: Who answered.
        captured_at: The device's time.

    Raises:
        NoAnswer: None was given.
        BadInput: See `check_answer`.
        FileNotOnRecord: The photo named never came in.
    """
    if not answers:
        raise NoAnswer()
    for step_id, given in answers.items():
        reply = StepReply(answer=given) if isinstance(given, str) else given
        evidence = reply.get("evidence_sha256")
        if evidence is not None:
            evidence_of(transaction.session, evidence)
        answer, measured = str(reply.get("answer")), reply.get("value")
        step, value = check_answer(step_id, answer, None if measured is None else str(measured))
        row = SafetyAnswerRow(
            id=transaction.next_id(SafetyAnswerRow, axis.job_id),
            job_id=axis.job_id,
            axis_id=axis.id,
            step=step.id,
            answer=answer,
            value=value,
            note=str(reply.get("note") or "")[:LONGEST_NOTE],
            how=how,
            by=by,
            evidence_sha256=evidence,
            captured_at=captured_at,
            at=transaction.now,
        )
        transaction.put(row)
        transaction.entry(What.SAFETY_ANSWERED, axis.job_id, by=by)


def refuse_stale(session: Session, job_id: str, acted_at: datetime) -> None:
    """Refuse an answer that waited in a device while the lock-out ended: it speaks of a machine that is no more.

    Args:
        session: Where to look.
        job_id: The job.
        acted_at: When the person answered, by this machine's clock (`SentAction.acted_at`).

    Raises:
        AnsweredBeforeBreak: A lock-out ended since.
    """
    breaks = session.exec(
        select(SafetyAnswerRow.at).where(SafetyAnswerRow.job_id == job_id, SafetyAnswerRow.step == LOCKOUT_ENDED)
    ).all()
    if any(parse_instant(at) > acted_at for at in breaks):
        raise AnsweredBeforeBreak()


def end_lockout(
    transaction: Transaction, axis: AxisRow, reason: str, *, how: str, by: str, captured_at: str, note: str = ""
) -> None:
    """Write that the lock-out is over, or that somebody else goes on: every step is to be answered again.

    Args:
        transaction: The writing transaction.
        axis: The axis being worked at; it ends for all of the job.
        reason: `POWER_RESTORED` or `ANOTHER_PERSON`.
        how: "tapped", "typed" or "spoken".
        by: Who says so.
        captured_at: The device's time.
        note: The name of the person who goes on, where it was given.
    """
    row = SafetyAnswerRow(
        id=transaction.next_id(SafetyAnswerRow, axis.job_id),
        job_id=axis.job_id,
        axis_id=axis.id,
        step=LOCKOUT_ENDED,
        answer=reason,
        value=None,
        note=note[:LONGEST_NOTE],
        how=how,
        by=by,
        evidence_sha256=None,
        captured_at=captured_at,
        at=transaction.now,
    )
    transaction.put(row)
    transaction.entry(What.SAFETY_ANSWERED, axis.job_id, by=by, note={"lockout": reason})


def answers_of(session: Session, job_id: str, axis_id: str, moment: str | None = None) -> dict[str, SafetyAnswerRow]:
    """Read the answers that hold for an axis now; arguments as of `in_force`."""
    rows = session.exec(select(SafetyAnswerRow).where(SafetyAnswerRow.job_id == job_id)).all()
    return in_force(in_order(rows), axis_id, moment)


def in_force(
    rows: Iterable[SafetyAnswerRow], axis_id: str, moment: str | None = None, until: str | None = None
) -> dict[str, SafetyAnswerRow]:
    """Give the answers that hold for an axis, by step: its own, and those given for the whole cabinet on any axis.

    Args:
        rows: All rows of the job, in the order in which they were written.
        axis_id: The axis.
        moment: The device's time of the reading that they shall hold for; answers of an earlier day do not. None for
            any day.
        until: What was answered after this time of the device is left out. None for all.
    """
    found: dict[str, SafetyAnswerRow] = {}
    for row in rows:
        if until is not None and seconds_between(until, row.captured_at) > 0:
            continue
        step = STEP_BY_ID.get(row.step)
        if row.step == LOCKOUT_ENDED:
            found = {}
        elif step is not None and (step.cabinet or row.axis_id == axis_id) and not _of_earlier_day(row, moment):
            found[row.step] = row
    return found


def _of_earlier_day(row: SafetyAnswerRow, moment: str | None) -> bool:
    # By the day as it is where the work is done: what the device's clock showed, not the day in UTC.
    return moment is not None and row.captured_at[:10] < moment[:10]


def _is_met(step: SafetyStep, answer: SafetyAnswerRow | None) -> bool:
    return answer is not None and meets(step, answer.answer, answer.value)


def open_steps(session: Session, job_id: str, axis_id: str, moment: str | None = None) -> Sequence[SafetyStep]:
    """Give the steps that still keep an insulation value of an axis out of the record; arguments as of `answers_of`."""
    return not_met(answers_of(session, job_id, axis_id, moment))


def not_met(answers: Mapping[str, SafetyAnswerRow]) -> Sequence[SafetyStep]:
    """Give the steps that are not answered as the gate requires, of answers by step."""
    return [step for step in STEPS if not _is_met(step, answers.get(step.id))]


def came_late(session: Session, job_id: str, axis_id: str, taken_at: str) -> bool:
    """Tell whether an insulation reading was taken before every step was answered as required.

    Answers that were given again later, for the next axis say, make no reading late that had its own.

    Args:
        session: Where to look.
        job_id: The job.
        axis_id: Its axis.
        taken_at: The device's time of the reading.
    """
    rows = session.exec(select(SafetyAnswerRow).where(SafetyAnswerRow.job_id == job_id)).all()
    return bool(not_met(in_force(in_order(rows), axis_id, taken_at, until=taken_at)))


def safety_for_page(session: Session, axis: AxisRow, moment: str | None = None) -> JsonObject:
    """Give all steps with their answers, as the page shows them."""
    answers = answers_of(session, axis.job_id, axis.id, moment)
    kept = {"id", "answer", "value", "note", "by", "at", "captured_at", "axis_id"}
    return {
        "axis": axis.name,
        "open": [step.id for step in not_met(answers)],
        "after_test": AFTER_TEST,
        "steps": [
            {
                "id": step.id,
                "question": step.question,
                "why": step.why,
                "source": step.source,
                "may_not_apply": step.may_not_apply,
                "value_unit": step.value_unit,
                "value_below": str(BUS_LIMIT_V) if step.value_unit else "",
                "cabinet": step.cabinet,
                "met": _is_met(step, answers.get(step.id)),
                "answer": None if step.id not in answers else answers[step.id].model_dump(include=kept),
            }
            for step in STEPS
        ],
    }
