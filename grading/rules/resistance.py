"""The size of a winding's resistance: over shaft positions, against the nameplate, and with the cable in series."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from statistics import median

from grading.case import Case, in_ohm, judged, note, repeat
from grading.details import Armature, CableCopper, Joint, Nameplate, RatedOrder
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.measurement import MotorKind
from grading.reading import BoundedReading
from grading.rules.circuit import compensated, is_open
from grading.rules.phases import point_readings
from grading.steps import Action, Reason, ReasonKind, Settling, StepKind, step
from grading.temperature import HIGHEST_C, LOWEST_C, ZERO_RESISTANCE_C, resistance_at
from grading.terms.section import Section
from grading.winding import (
    ArmaturePattern,
    cable_loop_ohm,
    expected_armature_ohm,
    joint_residual,
    survey_armature,
)

NAMEPLATE = "winding.nameplate"
JOINT = "winding.joint"
ARMATURE = "winding.armature"


def judge_armature(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Judge armature readings of one part over shaft positions; nothing while they are too few."""
    values = [compensated(case, r) for r in points]
    if len(values) < case.limit("winding.armature_fewest").value or median(values) <= 0:
        return
    limit = case.limit("winding.armature_spread")
    survey = survey_armature(values, limit.value, case.limit("winding.armature_outlier").value)
    spots = tuple(points[i].measurement.position or str(i + 1) for i in survey.outliers)
    wanted = case.limit("winding.armature_positions").value
    even = survey.pattern is ArmaturePattern.EVEN
    again = step(Action(StepKind.CLEAN_COMMUTATOR, positions=wanted), ReasonKind.BRUSH_CONTACT, Settling.SAME_POSITION)
    yield judged(
        ARMATURE,
        Fact.ARMATURE_EVEN if even else Fact.ARMATURE_UNEVEN,
        Verdict.ACCEPTABLE if even else Verdict.MARGINAL,
        Urgency.WITHIN_LIMITS if even else Urgency.WATCH,
        *points,
        place=Place(case.context.axis, points[0].section),
        detail=Armature(survey, len(values), spots, wanted),
        limit=limit,
        next_step=None if even else again,
    )


def judge_nameplate(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Hold the motor alone against its nameplate, or a brushed motor against its rating."""
    context = case.context
    motor = [r for r in points if r.section is Section.MOTOR_ALONE and not is_open(case, r)]
    if not motor:
        # What is too much is told by motor and cable apart; too little is not, since brushes may add an ohm to either.
        apart = bool(point_readings(case, Section.MOTOR_ALONE))
        whole = [r for r in points if r.section is Section.THROUGH_CABLE]
        yield from _outside_nameplate(case, whole, less_only=apart)
        return
    value = median(compensated(case, r) for r in motor)
    place = Place(context.axis, Section.MOTOR_ALONE)
    warm = [r for r in motor if case.conditions(r).winding_c is not None]
    if context.nameplate_resistance_ohm and warm:
        yield _off_nameplate(case, context.nameplate_resistance_ohm, warm)
    elif context.nameplate_resistance_ohm:
        yield from _outside_nameplate(case, motor)
    elif context.motor_kind is MotorKind.DC_SERVO and context.rated_voltage and context.rated_current:
        least, most = case.limit("winding.armature_rating_low").value, case.limit("winding.armature_rating_high").value
        low, high = expected_armature_ohm(context.rated_voltage, context.rated_current, least, most)
        factor = case.limit("winding.rating_factor").value
        near = low / factor <= value <= high * factor
        fact = Fact.OF_RATED_ORDER if near else Fact.FAR_FROM_RATED_ORDER
        yield note(NAMEPLATE, fact, *motor, place=place, detail=RatedOrder(value, low, high))


def _outside_nameplate(case: Case, readings: Sequence[BoundedReading], *, less_only: bool = False) -> Iterator[Finding]:
    """Find a part that its nameplate cannot explain, where its temperature or the motor alone was not measured.

    What cable and joints may add to a whole is allowed as in `judge_joint`, and the contacts of brushes under the
    meter's little current. A cable of unknown size may add as much as a long and thin one, and a winding of unknown
    temperature may have any that is corrected elsewhere.
    """
    context, limit = case.context, case.limit("winding.nameplate")
    plate, usual = context.nameplate_resistance_ohm, case.limit("winding.nameplate_temperature").value
    if not readings or not plate or plate <= 0:
        return
    whole = readings[0].section is Section.THROUGH_CABLE
    reference = usual if context.nameplate_c is None else context.nameplate_c
    loop, unknown = _cable_in_series(case) if whole else (Decimal(0), Decimal(0))
    warm = [r for r in readings if case.conditions(r).winding_c is not None]
    if warm:
        least = most = _brought(case, warm, reference, loop)
    else:
        value = median(compensated(case, r) for r in readings) - loop
        zero = ZERO_RESISTANCE_C[context.conductor]
        least = resistance_at(value - unknown - _brushes(case), HIGHEST_C, reference, zero)
        most = resistance_at(value, LOWEST_C, reference, zero)
        unknown = Decimal(0)
    less = plate * limit.value / 100 + max((r.half_width or Decimal(0)) for r in readings)
    joints = max(in_ohm(case.limit("winding.joint")), plate * case.limit("winding.joint_share").value / 100)
    more = less + (joints + unknown if whole else 0) + (_brushes(case) if warm else 0)
    if most >= plate - less and (less_only or least <= plate + more):
        return
    brought = most if most < plate else least
    off = 100 * (brought - plate) / plate
    yield judged(
        NAMEPLATE,
        Fact.OFF_NAMEPLATE,
        Verdict.MARGINAL,
        Urgency.WATCH,
        *(warm or readings),
        place=Place(context.axis, readings[0].section),
        detail=Nameplate(brought, reference, context.nameplate_c is None, plate, off),
        basis=StatementBasis.CALCULATED,
        limit=limit,
        margin=Margin(abs(off), None, None, limit.value, "%", ratio=abs(off) / limit.value),
        next_step=step(StepKind.MOTOR_AND_CORES if whole else StepKind.CHECK_COMPENSATION, ReasonKind.HIGH_OR_LOW),
    )


def _cable_in_series(case: Case) -> tuple[Decimal, Decimal]:
    """Give the resistance of both cores of the cable, ohm, and how much more it may be where its size is not known."""
    copper = _copper(case)
    return (Decimal(0), in_ohm(case.limit("winding.cable_loop_most"))) if copper is None else (copper, Decimal(0))


def _copper(case: Case) -> Decimal | None:
    """Give the resistance of both cores of a cable of known size, ohm."""
    length, core = case.context.cable_length_m, case.context.core_mm2
    if length is None or core is None or length <= 0 or core <= 0:
        return None
    return cable_loop_ohm(length, core)


def _brushes(case: Case) -> Decimal:
    brushed = case.context.motor_kind is MotorKind.DC_SERVO
    return in_ohm(case.limit("winding.brush_contact")) if brushed else Decimal(0)


def _brought(
    case: Case, readings: Sequence[BoundedReading], reference: Decimal, series: Decimal = Decimal(0)
) -> Decimal:
    """Bring readings to one temperature, each from its own and less what is in series with it; give their median."""
    zero = ZERO_RESISTANCE_C[case.context.conductor]
    return median(
        resistance_at(compensated(case, r) - series, case.conditions(r).winding_c or Decimal(0), reference, zero)
        for r in readings
    )


def _off_nameplate(case: Case, plate: Decimal, motor: Sequence[BoundedReading]) -> Finding:
    context, limit = case.context, case.limit("winding.nameplate")
    assumed = context.nameplate_c is None
    usual = case.limit("winding.nameplate_temperature").value
    reference = usual if context.nameplate_c is None else context.nameplate_c
    brought = _brought(case, motor, reference)
    off = 100 * (brought - plate) / plate
    fits = abs(off) <= limit.value
    return judged(
        NAMEPLATE,
        Fact.OFF_NAMEPLATE,
        Verdict.ACCEPTABLE if fits else Verdict.MARGINAL,
        Urgency.WITHIN_LIMITS if fits else Urgency.WATCH,
        *motor,
        place=Place(context.axis, Section.MOTOR_ALONE),
        detail=Nameplate(brought, reference, assumed, plate, off),
        basis=StatementBasis.CALCULATED,
        limit=limit,
        margin=Margin(abs(off), None, None, limit.value, "%", ratio=abs(off) / limit.value),
        next_step=None if fits else step(StepKind.CHECK_COMPENSATION, ReasonKind.HIGH_OR_LOW),
    )


def _shunted(case: Case, readings: Sequence[BoundedReading], detail: Joint) -> Finding:
    """Report a cabinet that reads less than the motor behind it: in series that cannot be, something lies across."""
    return repeat(
        JOINT,
        Fact.CABINET_BELOW_MOTOR,
        step(StepKind.MOTOR_AND_CORES, ReasonKind.ONE_IS_WRONG),
        *readings,
        place=Place(case.context.axis, Section.THROUGH_CABLE),
        detail=detail,
        basis=StatementBasis.CALCULATED,
        limit=case.limit("winding.armature_spread"),
    )


def _below_copper(case: Case, readings: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Find readings through a cable of known size that are less than its own copper, whatever hangs on it."""
    loop = _copper(case)
    if loop is None or not readings:
        return
    share = case.limit("winding.cable_loop_least")
    most = [(compensated(case, r) + (r.half_width or Decimal(0)), r) for r in readings]
    short = [(size, r) for size, r in most if size * 100 < loop * share.value]
    if not short:
        return
    size, least = min(short, key=lambda found: found[0])
    yield repeat(
        JOINT,
        Fact.CABINET_BELOW_CABLE,
        step(StepKind.MOTOR_AND_CORES, ReasonKind.LESS_THAN_COPPER),
        *(r for _, r in short),
        place=Place(case.context.axis, Section.THROUGH_CABLE),
        detail=CableCopper(compensated(case, least), size, loop),
        reason=Reason(ReasonKind.LESS_THAN_COPPER),
        basis=StatementBasis.CALCULATED,
        limit=share,
    )


def judge_joint(case: Case) -> Iterator[Finding]:
    """Find what the cabinet's reading holds beyond motor and cable, and where it holds less than the cable alone."""
    yield from _below_copper(case, point_readings(case, Section.THROUGH_CABLE))
    sections = {s: point_readings(case, s) for s in (Section.THROUGH_CABLE, Section.MOTOR_ALONE)}
    if not all(sections.values()):
        return
    cabinet, motor = (median([compensated(case, r) for r in points]) for points in sections.values())
    loop, unknown = _cable_in_series(case)
    residual = joint_residual(cabinet, motor, loop)
    limit, share = case.limit("winding.joint"), case.limit("winding.joint_share")
    allowed = max(in_ohm(limit), motor * share.value / 100)
    readings = [r for points in sections.values() for r in points]
    good = residual <= allowed
    spread = cabinet + _brushes(case) < motor * (1 - case.limit("winding.armature_spread").value / 100)
    if spread and sum((max(r.half_width or Decimal(0) for r in p) for p in sections.values()), Decimal(0)) < -residual:
        yield _shunted(case, readings, Joint(residual, cabinet, motor, loop, limit, share))
        return
    if unknown:
        # Without the size of the cable only what no cable and no brushes add says anything.
        if residual <= allowed + unknown + _brushes(case):
            return
        good = False
    yield judged(
        JOINT,
        Fact.JOINTS_GOOD if good else Fact.JOINT_BAD,
        Verdict.ACCEPTABLE if good else Verdict.MARGINAL,
        Urgency.INFORMATION if good else Urgency.WATCH,
        *readings,
        place=Place(case.context.axis, None if good else Section.CABLE_ALONE),
        detail=Joint(residual, cabinet, motor, loop, limit, share),
        basis=StatementBasis.CALCULATED,
        limit=None if good else limit,
        next_step=None
        if good
        else step(StepKind.INSPECT_JOINTS, ReasonKind.SERIES_RESISTANCE, Settling.CHANGES_WHEN_MOVED),
    )
