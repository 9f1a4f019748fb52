"""One axis of the report: its values, its plot, what follows from them, and what was not tested."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.ledger.tables import AxisRow, RecordRow
from api.report import wording
from api.report.content import ReportedAxis, ReportedValue, Statement
from api.report.corrections import of_axis
from api.report.fields import NOT_RECORDED
from api.report.plot import Bar, LimitLine, bars
from api.report.rows import Rows, loads
from api.report.safety_rounds import safety_rounds
from api.report.values import ValueRows, plotted
from api.visit.pictures import MOTOR_PLATE
from grading.details import Change, Located, UnmeasuredPart
from grading.finding import Finding
from grading.isolation import Part
from grading.outcome import AxisVerdict
from grading.plan import PlanState, SkipReason
from grading.prose.axis import cost_clause, drive_short, headline_found, headline_values
from grading.prose.findings import advice_text, finding_reason, finding_short
from grading.prose.steps import action_text, step_text
from grading.terms.quantity import UNITS, QuantityKind
from grading.terms.section import Section

NOTHING = "No value was confirmed for this axis."
NOT_NEEDED = (
    "Motor alone and cable alone were not needed: neither can measure lower than both together, which was good."
)
UNTESTED = "Test it on the next visit."
_KIND_IN_LIST = {
    QuantityKind.WINDING_RESISTANCE: "winding resistance",
    QuantityKind.RESISTANCE_TO_GROUND: "ohmmeter",
    QuantityKind.INSULATION_RESISTANCE: "insulation",
    QuantityKind.CONTINUITY: "continuity",
}


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


def not_tested(plan: PlanState) -> tuple[str, ...]:
    """Say which points of the plan are still to be measured, the same that the page and the spoken "next" go by.

    Args:
        plan: Where the axis stands in its plan.
    """
    left: dict[Section, dict[str, list[str]]] = {}
    for task in plan.tasks:
        if not task.done and not task.skipped:
            volts = "" if task.test_voltage is None else f" at {task.test_voltage.normalize():f} V"
            kinds = left.setdefault(task.point.section, {})
            kinds.setdefault(f"{_KIND_IN_LIST[task.point.kind]}{volts}", []).append(wording.point(task.point.terminals))
    lines = []
    for section, kinds in left.items():
        where = wording.SECTIONS[section.value]
        points = "; ".join(f"{kind} {', '.join(dict.fromkeys(points))}" for kind, points in kinds.items())
        lines.append(f"{where[:1].upper()}{where[1:]}: {points}.")
    whole = [task for task in plan.tasks if task.point.section is Section.THROUGH_CABLE and task.test_voltage]
    parts = [task for task in plan.tasks if task.point.section is not Section.THROUGH_CABLE]
    if (
        whole
        and all(task.done for task in whole)
        and all(task.skipped is SkipReason.WHOLE_NOT_FAILED for task in parts)
    ):
        lines.append(NOT_NEEDED)
    return tuple(lines)


def axis_of_report(
    axis: AxisRow,
    rows: Rows,
    maker: ValueRows,
    graded: AxisVerdict | None,
    questions: dict[str, str],
    marks: Mapping[str, str],
    plan: PlanState,
    zone: str = "",
) -> ReportedAxis:
    """Write one axis of the report.

    Args:
        axis: Its row.
        rows: All rows of the job.
        maker: Makes the value rows.
        graded: Its verdict, or None where no record of it is in force.
        questions: Safety questions by step.
        marks: Letters of the sources by document.
        plan: Where the axis stands in its plan.
        zone: A time whose offset is that of the place.
    """
    mine = [r for r in rows.records if r.axis == axis.name]
    values = tuple(maker.row(r) for r in mine)
    pairs = [(v, r) for v, r in zip(values, mine, strict=True) if not v.replaced]
    plates = [p.sha256 for p in rows.pictures if p.use == MOTOR_PLATE and p.subject_id == axis.id]
    common = _identity(axis) | {"values": values, "safety": safety_rounds(rows, axis, questions)}
    common |= {"plate": plates[0] if plates else "", "corrections": of_axis(rows.changes, axis.id, zone)}
    if graded is None or not pairs:
        return ReportedAxis(
            **common,
            verdict=wording.NOT_TESTED,
            headline=NOTHING,
            actions=(UNTESTED,),
            steps=(UNTESTED,),
            not_tested=not_tested(plan),
        )
    own = {r.id for _, r in pairs}
    done = {r.section for _, r in pairs if r.kind == QuantityKind.INSULATION_RESISTANCE.value}
    rest = [
        f
        for f in graded.findings
        if (len(f.record_ids) != 1 or f.record_ids[0] not in own) and not _superfluous(f, done)
    ]
    return ReportedAxis(
        **common,
        verdict=wording.verdict(graded.verdict, graded.urgency),
        headline=headline_found(graded.summary),
        figures=headline_values(graded.summary),
        actions=tuple(action_text(s.action) for s in graded.next_steps),
        steps=tuple(step_text(s) for s in graded.next_steps),
        ignoring=cost_clause(graded.summary),
        statements=tuple(statement(f, marks) for f in rest),
        not_tested=not_tested(plan),
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
