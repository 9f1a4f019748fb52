"""The safety steps of one axis, as data with their sources, and the gate that they hold.

No insulation-resistance value (test voltage of 50 V or more) enters the record before every step below is answered
as required. This is a checklist of the usual order of work. The site's own lock-out procedure, the machine builder's
manual and the law come first, and nothing here says that anything is safe to touch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TypedDict

from sqlmodel import Session, select

from api.ledger.canonical import JsonObject
from api.ledger.database import Transaction
from api.ledger.evidence import evidence_of
from api.ledger.ids import in_order
from api.ledger.tables import AxisRow, SafetyAnswerRow
from api.ledger.trail import What
from api.visit.errors import BadAnswer, NoAnswer, NoSuchStep, ValueMissing
from capture.reading import Reading
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import auxiliary

GATED_VOLTAGE_V = Decimal(50)
"""Test voltages from here on are gated, V (29 CFR 1910.333(a)(1): live parts below 50 V to ground are exempt)."""

BUS_LIMIT_V = Decimal(50)
"""Highest voltage on the DC bus at which a test may start, V (house rule after the same 50 V)."""


LONGEST_NOTE = 400
"""Longest remark beside an answer, characters; the rest is left out."""


@dataclass(frozen=True)
class SafetyStep:
    """One question.

    Attributes:
        id: Stable name.
        question: What is asked, answered by "yes", "no" or "not_applicable".
        why: What happens otherwise, in one sentence.
        source: Where it comes from, and how well that is known.
        may_not_apply: "not_applicable" is an answer that lets the work go on.
        value_unit: Unit of a measured value that must come with "yes"; empty for none.
    """

    id: str
    question: str
    why: str
    source: str
    may_not_apply: bool = False
    value_unit: str = ""


STEPS: tuple[SafetyStep, ...] = (
    SafetyStep(
        "sources_identified",
        "Is every source known: mains, control transformer, UPS, second feeder, vertical axis, hydraulics, spindle?",
        "A source that was overlooked is not locked out.",
        "NFPA 70E 120.5 step 1 (read in a secondary text); 29 CFR 1910.147(d)(1) (read)",
    ),
    SafetyStep(
        "vertical_supported",
        "Are vertical axes parked on blocks or held otherwise than by their brakes?",
        "A brake alone is no block for work below it.",
        "29 CFR 1910.147(d)(5)(i) (read)",
        may_not_apply=True,
    ),
    SafetyStep(
        "isolated_and_locked",
        "Is the disconnecting means open, locked and tagged with your own lock?",
        "Emergency stop and interlocks isolate nothing.",
        "29 CFR 1910.147(d)(3)–(4) (read); NFPA 70E 120.5 (read in a secondary text)",
    ),
    SafetyStep(
        "bus_discharged",
        "Has the drive's marked waiting time passed, and what does the meter show on its DC bus?",
        "Bleeder resistors fail open; only the measured voltage counts.",
        "29 CFR 1910.333(b)(2)(ii)(C), IEC 60204-1 6.2.4 (read in secondary texts); below 50 V: house rule",
        value_unit="V",
    ),
    SafetyStep(
        "meter_proved_before",
        "Was the meter tried on a known source before the test for absence of voltage?",
        "A dead meter shows zero on anything.",
        "NFPA 70E 120.5, live–dead–live (read in a secondary text)",
    ),
    SafetyStep(
        "proved_dead",
        "Does it show no voltage, a.c. and d.c., pole to pole and each pole to ground?",
        "A value from a live circuit is worthless, and taking it can kill.",
        "NFPA 70E 120.5; EN 50110-1 rule 3 (read in secondary texts)",
    ),
    SafetyStep(
        "meter_proved_after",
        "Was the meter tried on the known source again afterwards?",
        "It may have failed in between.",
        "NFPA 70E 120.5, live–dead–live (read in a secondary text)",
    ),
    SafetyStep(
        "adjacent_protected",
        "Are live parts nearby covered or barred, where other cabinets are still on?",
        "What is not under test may still be live.",
        "EN 50110-1 rule 5 (read in a secondary text)",
        may_not_apply=True,
    ),
    SafetyStep(
        "drive_disconnected",
        "Are the motor leads off the drive, marked and photographed?",
        "The test voltage destroys a drive's output stage, and a drive falsifies the value.",
        "Maintenance texts (secondary); universal rule of drive makers (from memory)",
    ),
    SafetyStep(
        "auxiliary_out",
        "Are encoder, brake, thermal sensor and fan leads unplugged and out of the test?",
        "Their electronics do not survive the test voltage.",
        "Maintenance text (secondary); no clause of a standard names them: house rule",
        may_not_apply=True,
    ),
    SafetyStep(
        "suppressors_out",
        "Are surge suppressors and filter capacitors off the circuit, or the test voltage below their level?",
        "They conduct, and look like bad insulation.",
        "IEC 60204-1 18.3 (from memory)",
        may_not_apply=True,
    ),
    SafetyStep(
        "people_clear",
        "Is everybody clear of both cable ends, and is the shaft held still?",
        "At 500 V nobody holds a lead; a turned permanent-magnet motor is a generator.",
        "House rule",
    ),
)
"""In the order of work. Discharging after the test is reminded of (`AFTER_TEST`), not gated."""

STEP_BY_ID = {step.id: step for step in STEPS}

AFTER_TEST = "Keep the leads discharged for at least four times the test time, then earth them before you touch them."
"""Said after an insulation value is recorded (IEEE 43's four times the charging time: from memory)."""


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
        number = Decimal(value if value is not None else "missing")
        if not number.is_finite():
            raise InvalidOperation
    except InvalidOperation:
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


def answers_of(session: Session, axis_id: str) -> dict[str, SafetyAnswerRow]:
    """Read the newest answer to each step of an axis."""
    rows = session.exec(select(SafetyAnswerRow).where(SafetyAnswerRow.axis_id == axis_id)).all()
    return {row.step: row for row in in_order(rows)}


def _is_met(step: SafetyStep, answer: SafetyAnswerRow | None) -> bool:
    if answer is None:
        return False
    if answer.answer == "not_applicable":
        return step.may_not_apply
    if answer.answer != "yes":
        return False
    # abs: a meter connected the wrong way round shows the bus as negative.
    return not step.value_unit or (answer.value is not None and abs(Decimal(answer.value)) < BUS_LIMIT_V)


def open_steps(session: Session, axis_id: str) -> Sequence[SafetyStep]:
    """Give the steps of an axis that still keep an insulation value out of the record."""
    answers = answers_of(session, axis_id)
    return [step for step in STEPS if not _is_met(step, answers.get(step.id))]


def safety_for_page(session: Session, axis: AxisRow) -> JsonObject:
    """Give all steps with their answers, as the page shows them."""
    answers = answers_of(session, axis.id)
    return {
        "axis": axis.name,
        "open": [step.id for step in open_steps(session, axis.id)],
        "after_test": AFTER_TEST,
        "steps": [
            {
                "id": step.id,
                "question": step.question,
                "why": step.why,
                "source": step.source,
                "may_not_apply": step.may_not_apply,
                "value_unit": step.value_unit,
                "met": _is_met(step, answers.get(step.id)),
                "answer": None
                if step.id not in answers
                else answers[step.id].model_dump(include={"id", "answer", "value", "note", "by", "at", "captured_at"}),
            }
            for step in STEPS
        ],
    }
