"""One axis of the report: its values, its plot, what follows from them, and what was not tested."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from api.ledger.tables import AxisRow, RecordRow, SafetyAnswerRow
from api.report import wording
from api.report.content import ReportedAnswer, ReportedAxis, ReportedValue, Statement, VerdictMark
from api.report.plot import Bar, LimitLine, bars
from api.report.rows import Rows
from api.report.rulebook import is_isolation, source_of, title_of
from api.report.values import ValueRows, plotted
from api.visit.safety_steps import STEPS
from grading.finding import Finding
from grading.isolation import Fault
from grading.measurement import MotorKind
from grading.outcome import AxisVerdict
from grading.prose.axis import cost_clause, drive_text, headline_figures, headline_found
from grading.prose.findings import advice_text, finding_text
from grading.prose.steps import action_text, reason_sentence, step_text
from grading.terms.quantity import UNITS, QuantityKind
from grading.terms.terminals import pair, to_earth

NOTHING = "No value was confirmed for this axis."
_LEAD_PAIRS = {MotorKind.DC_SERVO: ("A1-A2",)}
_PHASE_PAIRS = ("U-V", "V-W", "U-W")
ANSWERS = {"yes": "yes", "no": "no", "not_applicable": "does not apply"}


def _motor(axis: AxisRow) -> str:
    parts = [wording.MOTORS.get(axis.motor_kind, axis.motor_kind)]
    parts += [f"{text} {unit} rated" for text, unit in ((axis.rated_voltage, "V"), (axis.rated_power_w, "W")) if text]
    if axis.insulation_system not in ("", "unknown"):
        parts.append(f"{axis.insulation_system} insulation")
    if axis.winding_c is not None:
        parts.append(f"winding at {axis.winding_c} °C")
    return ", ".join(parts)


def statement(finding: Finding) -> Statement:
    """Write a finding in the words of the report."""
    limit = finding.limit
    if limit is None:
        source, status = source_of(finding.rule)
    else:
        source, status = limit.document, limit.origin.value
    advice, step = advice_text(finding.advice), finding.next_step
    if not advice and step is not None:
        advice = f"We recommend: {action_text(step.action)} {reason_sentence(step.reason)}"
    return Statement(
        title=title_of(finding.rule),
        basis=finding.basis.value,
        text=finding_text(finding),
        source=source,
        status=status,
        verdict=wording.of_finding(finding),
        records=finding.record_ids,
        next_step=advice,
    )


def _plot(
    values: Sequence[ReportedValue], records: dict[str, RecordRow], name: str, findings: Sequence[Finding]
) -> str:
    shown = [v for v in values if plotted(v, records[v.record_id])]
    rows = [
        Bar(
            f"{v.record_id.rpartition('-')[2]}  {wording.SHORT_SECTIONS.get(records[v.record_id].section or '', '')}"
            f"{', ohmmeter' if records[v.record_id].kind == 'resistance_to_ground' else ''}",
            v.ohms or Decimal(1),
            v.bound,
            v.shown,
            v.verdict.mark,
        )
        for v in shown
    ]
    lines: dict[Decimal, str] = {}
    for finding in findings:
        limit = finding.limit
        if limit and limit.unit in UNITS and UNITS[limit.unit].dimension == "resistance":
            ohms = limit.value * UNITS[limit.unit].factor
            if set(finding.record_ids) & {v.record_id for v in shown}:
                lines.setdefault(ohms, f"{wording.plain_amount(limit.value, limit.unit)} {limit.source}")
    return bars(
        rows,
        [LimitLine(ohms, label) for ohms, label in lines.items()],
        title=f"Axis {name}: resistance to ground against its limits",
        ident=f"plot-{name.lower()}",
    )


def _points(motor_kind: str) -> Iterator[tuple[QuantityKind, str]]:
    """Say what every axis is tested for from the cabinet."""
    for terminals in _LEAD_PAIRS.get(MotorKind(motor_kind), _PHASE_PAIRS):
        yield QuantityKind.WINDING_RESISTANCE, terminals
    yield QuantityKind.RESISTANCE_TO_GROUND, "lead-ground"
    yield QuantityKind.INSULATION_RESISTANCE, "lead-ground"


def _covered(records: Sequence[RecordRow], kind: QuantityKind, terminals: str) -> bool:
    """Tell whether a record in force, taken from the cabinet, stands for this point of the plan."""
    own = [r.terminals or "" for r in records if r.section == "through_cable" and r.kind == kind.value]
    if kind is QuantityKind.WINDING_RESISTANCE:
        return any(pair(point) == pair(terminals) for point in own)
    return any(to_earth(point) for point in own)


def _not_tested(
    motor_kind: str, records: Sequence[RecordRow], values: Sequence[ReportedValue], located: bool
) -> tuple[str, ...]:
    """Give the points of the plan without a record in force."""
    out = [
        f"{wording.KINDS[kind.value]} {wording.point(terminals)}, {wording.SECTIONS['through_cable']}: "
        "no confirmed value."
        for kind, terminals in _points(motor_kind)
        if not _covered(records, kind, terminals)
    ]
    done = {r.section for r in records if r.kind == QuantityKind.INSULATION_RESISTANCE.value}
    through = [v for v, r in zip(values, records, strict=True) if r.section == "through_cable"]
    if located or any(v.verdict.mark in (VerdictMark.FAIL, VerdictMark.UNSURE) for v in through):
        out += [
            f"Insulation resistance, {wording.SECTIONS[section]}: no confirmed value."
            for section in ("motor_alone", "cable_alone")
            if section not in done
        ]
    elif "through_cable" in done and not done & {"motor_alone", "cable_alone"}:
        out.append(
            "Motor alone and cable alone: not measured apart. Seen from the cabinet both lie in parallel, so neither "
            "can measure lower than the value from the cabinet."
        )
    return tuple(out)


def _answers(rows: Rows, axis_id: str, questions: dict[str, str]) -> tuple[ReportedAnswer, ...]:
    """Give the newest answer to each safety step, in the order of the steps."""
    # What holds for the whole cabinet is answered once, on whichever axis.
    cabinet = {step.id for step in STEPS if step.cabinet}
    newest: dict[str, SafetyAnswerRow] = {a.step: a for a in rows.answers if a.axis_id == axis_id or a.step in cabinet}
    out = []
    for step in sorted(newest, key=lambda s: list(questions).index(s) if s in questions else 99):
        answer = newest[step]
        text = ANSWERS.get(answer.answer, answer.answer)
        text += f", {answer.value} V measured" if answer.value else ""
        text += f" ({answer.note})" if answer.note else ""
        out.append(ReportedAnswer(questions.get(step, step.replace("_", " ")), text, answer.by, answer.captured_at))
    return tuple(out)


def axis_of_report(
    axis: AxisRow, rows: Rows, maker: ValueRows, graded: AxisVerdict | None, questions: dict[str, str]
) -> ReportedAxis:
    """Write one axis of the report.

    Args:
        axis: Its row.
        rows: All rows of the job.
        maker: Makes the value rows.
        graded: Its verdict, or None where no record of it is in force.
        questions: Safety questions by step.
    """
    mine = [r for r in rows.records if r.axis == axis.name]
    values = tuple(maker.row(r) for r in mine)
    pairs = [(v, r) for v, r in zip(values, mine, strict=True) if not v.replaced]
    findings = graded.findings if graded is not None else ()
    rest = [f for f in findings if f.limit is None or len(f.record_ids) != 1 or f.record_ids[0] not in _ids(pairs)]
    isolation = tuple(statement(f) for f in rest if is_isolation(f.rule))
    located = graded is not None and graded.fault not in (Fault.NEITHER, Fault.UNDETERMINED)
    tested = graded is not None and bool(pairs)
    step = action_text(graded.next_steps[0].action) if graded is not None and graded.next_steps else ""
    return ReportedAxis(
        name=axis.name,
        motor=_motor(axis),
        cable="runs in a moving carrier" if axis.moving_cable else "fixed",
        verdict=wording.verdict(graded.verdict, graded.urgency) if tested and graded else wording.NOT_TESTED,
        headline=headline_found(graded.summary) if tested and graded else NOTHING,
        figures=headline_figures(graded.summary) if tested and graded else "",
        action=step or ("Nothing follows from these values." if tested else "Test it on the next visit."),
        ignoring=(cost_clause(graded.summary) if tested and graded else "") or "–",
        values=values,
        statements=tuple(statement(f) for f in rest if not is_isolation(f.rule)),
        isolation=isolation,
        next_steps=tuple(step_text(s) for s in (graded.next_steps if graded else ())),
        not_tested=_not_tested(axis.motor_kind, [r for _, r in pairs], [v for v, _ in pairs], located),
        safety=_answers(rows, axis.id, questions),
        plot=_plot(values, {r.id: r for r in mine}, axis.name, findings),
        drive=drive_text(graded.drive) if tested and graded else "",
    )


def _ids(pairs: Sequence[tuple[ReportedValue, RecordRow]]) -> set[str]:
    return {r.id for _, r in pairs}
