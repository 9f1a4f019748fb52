"""Verdict per axis and per job: runs every rule over the records and ranks what comes out.

`grade_axis` and `grade_job` are the two entry points for the server and the command line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Context, localcontext

from grading.admission import admit_context
from grading.advice import DEAD_FIRST, FIND_IT, PROTECT_DRIVE, cable_order, distinct
from grading.case import Case, build_case
from grading.entries import LeftOutRow
from grading.finding import Finding, Urgency, Verdict
from grading.isolation import Fault
from grading.measurement import AxisContext, Instrument, Measurement, MotorKind, Visit
from grading.notices import Notice, NoticeKind
from grading.outcome import AxisVerdict, JobVerdict
from grading.rules.absorption import judge_absorption
from grading.rules.auxiliary import judge_auxiliary
from grading.rules.blame import settle_fault
from grading.rules.cleaning import judge_cleaning
from grading.rules.entries import judge_entries, judge_rows
from grading.rules.ground import judge_ground
from grading.rules.insulation import judge_complete, judge_insulation
from grading.rules.live import DEAD, judge_live
from grading.rules.locate import Isolation, isolate
from grading.rules.motor import judge_motor
from grading.rules.tester import judge_tester
from grading.rules.trend import judge_trend
from grading.rules.winding import judge_winding
from grading.shop import PUBLISHED, ShopProfile
from grading.steps import NextStep, ReasonKind, StepKind, step
from grading.summary import judge_drive, summarise

_JUDGES: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    judge_entries,
    judge_live,
    judge_insulation,
    judge_motor,
    judge_ground,
    judge_winding,
    judge_absorption,
    judge_tester,
    judge_auxiliary,
    judge_cleaning,
    judge_trend,
)
_URGENCY_ORDER = tuple(Urgency)
# Which rules speak first among findings of equal weight: what must be settled first, where the fault is, what failed.
_FIRST = (
    DEAD,
    "quantity.left_out",
    "quantity.possible",
    "quantity.plausible",
    "isolation.locate",
    "insulation.machine",
    "winding.open",
    "insulation.winding",
    "voltage.steps",
    "absorption.dar",
    "trend.drop",
)

_SPEAKS = {rule: number for number, rule in enumerate(_FIRST)}
_WEIGHT: dict[tuple[Verdict, Urgency], tuple[int, int]] = {
    (verdict, urgency): (1 if urgency is Urgency.INFORMATION else -verdict.severity, number)
    for verdict in Verdict
    for number, urgency in enumerate(Urgency)
}
"""How heavily a finding weighs, the heaviest first; what only informs comes last."""


def grade_axis(
    measurements: Sequence[Measurement],
    context: AxisContext,
    instruments: Mapping[str, Instrument] | None = None,
    *,
    profile: ShopProfile | None = None,
    history: Sequence[Visit] = (),
    left_out: Sequence[LeftOutRow] = (),
) -> AxisVerdict:
    """Grade one axis.

    Args:
        measurements: Records in force (superseded ones left out), in the order measured. Those of other axes are
            ignored.
        context: What is known of the axis.
        instruments: By id. A measurement whose instrument is not here is judged with the widest error that a
            tester of IEC 61557-2 may have, and says so.
        profile: The shop's own limits; None for the published ones.
        history: Earlier visits of this axis, in any order, for the trend.
        left_out: Rows that could not be read and may belong to this axis; it is inconclusive until they are settled.

    Returns:
        The verdict. No input makes this raise: what cannot be judged becomes an inconclusive finding, and so does a
        value that cannot be (`grading.admission`), with the reading or field that was left out for it.
    """
    # One precision whatever the caller's decimal context, so that the same records give the same findings.
    with localcontext(Context(prec=28)):
        case = build_case(tuple(measurements), context, instruments, profile, tuple(history))
        isolation = isolate(case)
        findings = [
            *judge_rows(context.axis, left_out),
            *isolation.findings,
            *(f for judge in _JUDGES for f in judge(case)),
            *judge_complete(case),
        ]
        ranked = tuple(sorted(findings, key=_rank))
        ids = tuple(m.record_id for m in measurements if m.axis == context.axis)
        return _verdict(case, isolation, ranked, ids)


def grade_job(
    measurements: Sequence[Measurement],
    contexts: Mapping[str, AxisContext],
    instruments: Mapping[str, Instrument] | None = None,
    *,
    profile: ShopProfile | None = None,
    history: Mapping[str, Sequence[Visit]] | None = None,
    left_out: Sequence[LeftOutRow] = (),
) -> JobVerdict:
    """Grade all axes of one visit.

    Args:
        measurements: Records in force of all axes.
        contexts: By axis name. An axis that was measured but is missing here is judged as an a.c. servo of unknown
            rating, says so, and is asked about.
        instruments: By id.
        profile: The shop's own limits.
        history: Earlier visits by axis name.
        left_out: Rows that could not be read; one that names no axis may belong to any.
    """
    by_axis: dict[str, list[Measurement]] = {name: [] for name in contexts}
    for measurement in measurements:
        by_axis.setdefault(measurement.axis, []).append(measurement)
    for row in left_out:
        if row.axis is not None:
            by_axis.setdefault(row.axis, [])
    known = {name: contexts.get(name, AxisContext(name, MotorKind.AC_SERVO, motor_chosen=False)) for name in by_axis}
    past = history or {}
    axes = [
        grade_axis(
            own,
            known[name],
            instruments,
            profile=profile,
            history=past.get(name, ()),
            left_out=[row for row in left_out if row.axis in (None, name)],
        )
        for name, own in by_axis.items()
    ]
    axes.sort(key=lambda axis: (-axis.verdict.severity, _URGENCY_ORDER.index(axis.urgency)))
    worst = max((axis.verdict for axis in axes), key=lambda v: v.severity, default=Verdict.INCONCLUSIVE)
    notices = _notices(measurements, instruments or {}, PUBLISHED if profile is None else profile)
    unknown = [name for name in by_axis if name not in contexts]
    if unknown:
        notices += (Notice(NoticeKind.UNKNOWN_AXES, tuple(unknown)),)
    cables = cable_order({name: admit_context(context)[0] for name, context in known.items()})
    return JobVerdict(worst, tuple(axes), notices, cables)


def _verdict(case: Case, isolation: Isolation, ranked: tuple[Finding, ...], ids: tuple[str, ...]) -> AxisVerdict:
    judged = [f for f in ranked if f.urgency is not Urgency.INFORMATION]
    fault = settle_fault(isolation.fault, ranked) if judged else Fault.UNDETERMINED
    steps = _steps(ranked, isolation)
    if not judged:
        steps = [step(StepKind.MEASURE_AXIS, ReasonKind.NOTHING_JUDGED), *steps]
    used = {i for f in ranked for i in f.record_ids}
    return AxisVerdict(
        axis=case.context.axis,
        verdict=judged[0].verdict if judged else Verdict.INCONCLUSIVE,
        urgency=judged[0].urgency if judged else Urgency.REPEAT,
        fault=fault,
        findings=ranked,
        drive=judge_drive(case, ranked),
        summary=summarise(case, fault, judged),
        next_steps=distinct(steps),
        record_ids=tuple(i for i in ids if i in used),
        questions=case.questions,
    )


def _rank(finding: Finding) -> tuple[tuple[int, int], int]:
    return _WEIGHT[finding.verdict, finding.urgency], _SPEAKS.get(finding.rule, len(_FIRST))


def _steps(ranked: Sequence[Finding], isolation: Isolation) -> list[NextStep]:
    """Order the steps: make it dead, protect the drive, locate or repair the fault, then the rest."""
    steps = [f.next_step for f in ranked if f.next_step is not None]
    found = isolation.fault not in (Fault.NEITHER, Fault.UNDETERMINED)
    dead = [one for one in steps if one.action.kind in DEAD_FIRST]
    first = [] if found else [one for one in steps if one.action.kind in PROTECT_DRIVE]
    dropped = FIND_IT if found else frozenset()
    if isolation.fault in (Fault.MOTOR, Fault.BOTH):
        dropped |= {StepKind.CLEAN_MOTOR}
    return [*dead, *first, *isolation.steps, *(one for one in steps if one.action.kind not in dropped)]


def _notices(
    measurements: Sequence[Measurement], instruments: Mapping[str, Instrument], profile: ShopProfile
) -> tuple[Notice, ...]:
    used = dict.fromkeys(m.instrument_id for m in measurements if m.instrument_id)
    undated = [name for name in used if name not in instruments or instruments[name].calibration_due is None]
    late = dict.fromkeys(m.instrument_id for m in measurements if m.instrument_id and _late(m, instruments))
    notes = list(profile.notices)
    notes += [Notice(NoticeKind.OUT_OF_CALIBRATION, (name,)) for name in late]
    if undated:
        notes.append(Notice(NoticeKind.NO_CALIBRATION_DATE, tuple(undated)))
    return (*notes, Notice(NoticeKind.DECISION_RULE), Notice(NoticeKind.SCOPE))


def _late(measurement: Measurement, instruments: Mapping[str, Instrument]) -> bool:
    instrument = instruments.get(measurement.instrument_id or "")
    due = None if instrument is None else instrument.calibration_due
    return due is not None and measurement.at is not None and measurement.at.date() > due
