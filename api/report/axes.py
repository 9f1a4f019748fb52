"""One axis of the report: its values, its plot, what follows from them, and what was not tested."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.ledger.tables import AxisRow, RecordRow, SafetyAnswerRow
from api.report import wording
from api.report.content import ReportedAnswer, ReportedAxis, ReportedValue, Statement, VerdictMark
from api.report.fields import NOT_RECORDED
from api.report.plot import Bar, LimitLine, bars
from api.report.rows import Rows, loads
from api.report.values import ValueRows, plotted
from api.visit.safety_steps import STEPS
from grading.details import Change, Located, UnmeasuredPart
from grading.finding import Finding
from grading.isolation import Fault, Part
from grading.measurement import MotorKind
from grading.outcome import AxisVerdict
from grading.prose.axis import cost_clause, drive_short, headline_found, headline_values
from grading.prose.findings import advice_text, finding_reason, finding_short
from grading.prose.steps import action_text, step_text
from grading.terms.quantity import UNITS, QuantityKind
from grading.terms.terminals import pair, to_earth

NOTHING = "No value was confirmed for this axis."
UNTESTED = "Test it on the next visit."
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


def statement(finding: Finding, marks: Mapping[str, str]) -> Statement:
    """Write a finding in the words of the report; the values it speaks of stand in the table above it."""
    located = isinstance(finding.detail, Located)
    return Statement(
        basis=finding.basis.value,
        text=finding_reason(finding, caveat=False) if located else finding_short(finding),
        verdict=wording.of_finding(finding),
        mark=marks.get(finding.limit.document, "") if finding.limit is not None else "",
        records=finding.record_ids,
        advice=advice_text(finding.advice),
    )


def _plot(
    values: Sequence[ReportedValue], records: dict[str, RecordRow], name: str, findings: Sequence[Finding]
) -> str:
    shown = [v for v in values if plotted(v, records[v.record_id])]
    earlier = {
        record: (f.detail.before, f.detail.on)
        for f in findings
        if isinstance(f.detail, Change)
        for record in f.record_ids
    }
    rows = [
        Bar(
            f"{v.number}  {wording.SECTIONS.get(records[v.record_id].section or '', '')}"
            f"{', ohmmeter' if records[v.record_id].kind == 'resistance_to_ground' else ''}",
            v.ohms or Decimal(1),
            v.bound,
            v.shown,
            v.verdict.mark,
            built=f"{records[v.record_id].test_voltage_built} V built"
            if records[v.record_id].test_voltage_built
            else "",
            before=earlier[v.record_id][0] if v.record_id in earlier else None,
            before_text=f"{earlier[v.record_id][1]}" if v.record_id in earlier else "",
        )
        for v in shown
    ]
    lines: dict[Decimal, str] = {}
    numbers = {v.record_id for v in shown}
    for finding in findings:
        limit = finding.limit
        if limit and limit.unit in UNITS and UNITS[limit.unit].dimension == "resistance":
            ohms = limit.value * UNITS[limit.unit].factor
            if set(finding.record_ids) & numbers:
                word = "watch level" if finding.fact in wording.WATCH_LEVELS else "limit"
                lines.setdefault(ohms, f"{word} {wording.plain_amount(limit.value, limit.unit)}")
    return bars(
        rows,
        [LimitLine(ohms, label) for ohms, label in lines.items()],
        title=f"Axis {name}: resistance to ground against its limits, logarithmic scale",
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
        f"{wording.KINDS[kind.value]}, {wording.point(terminals)}, {wording.SECTIONS['through_cable']}."
        for kind, terminals in _points(motor_kind)
        if not _covered(records, kind, terminals)
    ]
    done = {r.section for r in records if r.kind == QuantityKind.INSULATION_RESISTANCE.value}
    through = [v for v, r in zip(values, records, strict=True) if r.section == "through_cable"]
    if located or any(v.verdict.mark in (VerdictMark.FAIL, VerdictMark.UNSURE) for v in through):
        out += [
            f"Insulation resistance, {wording.SECTIONS[section]}."
            for section in ("motor_alone", "cable_alone")
            if section not in done
        ]
    elif "through_cable" in done and not done & {"motor_alone", "cable_alone"}:
        out.append(
            "Motor alone and cable alone were not needed: neither can measure lower than both together, which was good."
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
    axis: AxisRow,
    rows: Rows,
    maker: ValueRows,
    graded: AxisVerdict | None,
    questions: dict[str, str],
    marks: Mapping[str, str],
) -> ReportedAxis:
    """Write one axis of the report.

    Args:
        axis: Its row.
        rows: All rows of the job.
        maker: Makes the value rows.
        graded: Its verdict, or None where no record of it is in force.
        questions: Safety questions by step.
        marks: Letters of the sources by document.
    """
    mine = [r for r in rows.records if r.axis == axis.name]
    values = tuple(maker.row(r) for r in mine)
    pairs = [(v, r) for v, r in zip(values, mine, strict=True) if not v.replaced]
    common = _identity(axis) | {"values": values, "safety": _answers(rows, axis.id, questions)}
    if graded is None or not pairs:
        left = _not_tested(axis.motor_kind, [r for _, r in pairs], [v for v, _ in pairs], False)
        return ReportedAxis(
            **common,
            verdict=wording.NOT_TESTED,
            headline=NOTHING,
            actions=(UNTESTED,),
            steps=(UNTESTED,),
            not_tested=left,
        )
    own = {r.id for _, r in pairs}
    done = {r.section for _, r in pairs if r.kind == QuantityKind.INSULATION_RESISTANCE.value}
    rest = [
        f
        for f in graded.findings
        if (len(f.record_ids) != 1 or f.record_ids[0] not in own) and not _superfluous(f, done)
    ]
    located = graded.fault not in (Fault.NEITHER, Fault.UNDETERMINED)
    return ReportedAxis(
        **common,
        verdict=wording.verdict(graded.verdict, graded.urgency),
        headline=headline_found(graded.summary),
        figures=headline_values(graded.summary),
        actions=tuple(action_text(s.action) for s in graded.next_steps),
        steps=tuple(step_text(s) for s in graded.next_steps),
        ignoring=cost_clause(graded.summary),
        statements=tuple(statement(f, marks) for f in rest),
        not_tested=_not_tested(axis.motor_kind, [r for _, r in pairs], [v for v, _ in pairs], located),
        plot=_plot(values, {r.id: r for r in mine}, axis.name, graded.findings),
        drive=drive_short(graded.drive),
    )


def _superfluous(finding: Finding, measured: set[str | None]) -> bool:
    """Tell whether a finding calculates, too uncertainly to be used, a part that was measured: it says nothing then."""
    found = finding.detail
    if not isinstance(found, UnmeasuredPart) or found.magnified is None:
        return False
    return {Part.CABLE: "cable_alone", Part.MOTOR: "motor_alone"}.get(found.part) in measured


def _identity(axis: AxisRow) -> dict[str, Any]:
    given = loads(axis.description_json)
    given = given if isinstance(given, dict) else {}
    note, plate = str(given.get("note") or ""), str(given.get("nameplate") or NOT_RECORDED)
    cable = "runs in a moving carrier" if axis.moving_cable else "fixed"
    return {"name": axis.name, "motor": _motor(axis), "cable": cable, "note": note, "nameplate": plate}
