"""Windings in words: circuits, phases, armatures, nameplates and joints."""

from __future__ import annotations

from grading.details import Armature, CableCopper, Joint, Nameplate, Names, Phases, RatedOrder
from grading.facts import Fact
from grading.finding import Finding
from grading.measurement import Connection
from grading.prose.wording import Wording, Writer, detail, held, held_clause, measured_clause
from grading.winding import ArmaturePattern
from grading.words import limit_value, limit_words, number, ohms

_PHASE_NAMES: dict[Connection, str] = {Connection.STAR: "U, V, W", Connection.DELTA: "UV, VW, WU"}
NO_STAR = "These three readings fit no star: one pair reads as much as the other two together. Read them again"


def _phases(clause: str, finding: Finding, count: str = "") -> Wording:
    found = detail(finding, Phases)
    values = ", ".join(f"{value.terminals} {value.quantity.display()}" for value in finding.values)
    deviation = f"largest deviation from the mean {number(found.percent)} %"
    calculated = "" if found.fits else NO_STAR
    if found.phases:
        names = _PHASE_NAMES[found.connection]
        calculated = f"Calculated phases {names}: {', '.join(ohms(p) for p in found.phases)}"
    return Wording(clause, f"; {deviation}: {values}; {limit_words(found.look)}{count}", calculated)


def _count(finding: Finding) -> str:
    return number(detail(finding, Phases).count_percent, 2)


def _alike(finding: Finding) -> Wording:
    told = f"; one count of this meter is {_count(finding)} %" if detail(finding, Phases).count_told else ""
    return _phases("the three phases are alike", finding, told)


def _unequal(finding: Finding) -> Wording:
    return _phases("the three phases are unequal", finding)


def _coarse(finding: Finding) -> Wording:
    return _phases(f"phases not comparable with this meter, one count is {_count(finding)} %", finding)


def _missing(finding: Finding) -> Wording:
    names = ", ".join(detail(finding, Names).names)
    return Wording(
        f"not every pair of leads has a value; missing: {names}", "", "A fault that lies there does not show"
    )


_PATTERNS: dict[ArmaturePattern, str] = {
    ArmaturePattern.ONE_HIGH: "one position reads high ({spots}): dirty or dead bar, riser or open coil",
    ArmaturePattern.ONE_LOW: "one position reads low ({spots}): shorted coil or bridged bars",
    ArmaturePattern.SEVERAL: (
        "several positions are off ({spots}): open coil in a two-path winding, or brushes and commutator"
    ),
    ArmaturePattern.BRUSHES: "the spread is too wide: brushes or commutator",
    ArmaturePattern.EVEN: "the armature reads evenly",
}


def _armature(finding: Finding) -> Wording:
    found = detail(finding, Armature)
    survey, limit = found.survey, "" if finding.limit is None else f"; {limit_words(finding.limit)}"
    sizes = f"median {ohms(survey.median)}, smallest {ohms(survey.smallest)}, largest {ohms(survey.largest)}"
    spread = f"spread {number(survey.spread_percent)} % without outliers"
    even = survey.pattern is ArmaturePattern.EVEN
    few = f"; {found.wanted:f} positions or more are wanted" if even and found.positions < found.wanted else ""
    clause = _PATTERNS[survey.pattern].format(spots=", ".join(found.outliers))
    return Wording(clause, f"; {sizes} over {found.positions} positions, {spread}{limit}{few}")


def _nameplate(finding: Finding) -> Wording:
    found = detail(finding, Nameplate)
    assumed = " (assumed)" if found.assumed else ""
    clause = f"{ohms(found.value)} at {found.reference_c:f} °C{assumed}"
    off = f"{number(found.off_percent, 2)} % off the nameplate's {found.plate:f} Ω"
    return Wording(clause, f", {off}{held(finding)}")


def _rated(clause: str, finding: Finding) -> Wording:
    found = detail(finding, RatedOrder)
    figures = f", {ohms(found.value)} against about {ohms(found.low)} to {ohms(found.high)} by the rating (practice)"
    return Wording(clause, figures)


def _near(finding: Finding) -> Wording:
    return _rated("about the resistance that the motor's rating lets expect", finding)


def _far(finding: Finding) -> Wording:
    return _rated("far from the resistance that the motor's rating lets expect", finding)


def _joint(clause: str, finding: Finding) -> Wording:
    found = detail(finding, Joint)
    rest = f"calculated {number(found.residual)} Ω left of the cabinet's {ohms(found.cabinet)}"
    parts = f"after motor {ohms(found.motor)} and cable {number(found.cable)} Ω"
    allowed = f"({limit_words(found.limit)}, or {limit_value(found.share)} of the winding)"
    return Wording(clause, f"; {rest} {parts} {allowed}", head=f"Axis {finding.place.axis}")


def _joints_good(finding: Finding) -> Wording:
    return _joint("joints and plugs add nothing of note", finding)


def _joint_bad(finding: Finding) -> Wording:
    return _joint("a bad joint or broken strands in the cable", finding)


def _below_motor(finding: Finding) -> Wording:
    found = detail(finding, Joint)
    figures = f"; the cabinet reads {ohms(found.cabinet)}, the motor alone {ohms(found.motor)}"
    clause = "less from the cabinet than at the motor: cores that touch, or one reading is wrong"
    return Wording(clause, figures, head=f"Axis {finding.place.axis}")


def _below_cable(finding: Finding) -> Wording:
    found = detail(finding, CableCopper)
    figures = f"; at most {ohms(found.most)} from the cabinet, and its cable alone calculated {ohms(found.cable)}"
    clause = "less from the cabinet than its cable has: read without the cable, cores that touch, or a wrong length"
    return Wording(clause, f"{figures}{held(finding)}", head=f"Axis {finding.place.axis}")


WRITERS: dict[Fact, Writer] = {
    Fact.CIRCUIT_OPEN: measured_clause("open circuit"),
    Fact.CIRCUIT_CLOSED: measured_clause("the circuit is closed, as it should be"),
    Fact.ABOVE_RANGE: measured_clause("above the range used"),
    Fact.BELOW_RESOLUTION: measured_clause("below what this meter resolves"),
    Fact.CORE_BROKEN: measured_clause("the core is broken"),
    Fact.CORE_RESISTS: held_clause("the core resists: a bad joint or broken strands"),
    Fact.CORE_CONTINUOUS: measured_clause("the core is continuous"),
    Fact.PHASES_ALIKE: _alike,
    Fact.PHASES_UNEQUAL: _unequal,
    Fact.PHASES_NOT_COMPARABLE: _coarse,
    Fact.PAIRS_MISSING: _missing,
    Fact.ARMATURE_EVEN: _armature,
    Fact.ARMATURE_UNEVEN: _armature,
    Fact.OFF_NAMEPLATE: _nameplate,
    Fact.OF_RATED_ORDER: _near,
    Fact.FAR_FROM_RATED_ORDER: _far,
    Fact.JOINTS_GOOD: _joints_good,
    Fact.JOINT_BAD: _joint_bad,
    Fact.CABINET_BELOW_MOTOR: _below_motor,
    Fact.CABINET_BELOW_CABLE: _below_cable,
}
