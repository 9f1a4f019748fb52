"""The words of the report: facts are "measured", inferences "indicate", opinions "we recommend".

No sentence here promises anything about tomorrow or about touching: a report says what was measured.
"""

from __future__ import annotations

from decimal import Decimal

from api.report.content import VerdictMark, VerdictText
from grading.facts import Fact
from grading.finding import Conformity, Finding, Margin, Urgency
from grading.finding import Verdict as Grade
from grading.limit import Basis, Direction, Limit
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import UNITS
from grading.terms.section import SECTION_WORDS, Section, section_in_full
from grading.words import number

TITLE = "Servo axis insulation and winding test"

MARKS = {
    Grade.UNACCEPTABLE: VerdictMark.FAIL,
    Grade.MARGINAL: VerdictMark.WATCH,
    Grade.INCONCLUSIVE: VerdictMark.UNSURE,
    Grade.ACCEPTABLE: VerdictMark.PASS,
}
URGENCIES = {
    Urgency.DO_NOT_ENERGISE: "Fail: not to be energised",
    Urgency.SERVICE_LIMIT: "Fail: at risk in service",
    Urgency.REPEAT: "Not decided: repeat",
    Urgency.WATCH: "Within limits: watch",
    Urgency.WITHIN_LIMITS: "Within limits",
    Urgency.INFORMATION: "Note",
}
"""The one name of each verdict, on the page and in every part of the report; it speaks of the time of test."""
AGAINST = {
    Grade.UNACCEPTABLE: "not met",
    Grade.MARGINAL: "met: watch",
    Grade.INCONCLUSIVE: "not decided",
    Grade.ACCEPTABLE: "met",
}
"""How one value stands against one limit; the verdict of the axis has the names above."""
WITHOUT_LIMIT = {
    Grade.UNACCEPTABLE: "fault",
    Grade.MARGINAL: "watch",
    Grade.INCONCLUSIVE: "not decided",
    Grade.ACCEPTABLE: "No limit applies",
}
"""How one value stands that no limit is set to: an open winding is a fault all the same."""
CONFORMITIES = {
    Conformity.CONDITIONAL_PASS: "conditional pass",
    Conformity.CONDITIONAL_FAIL: "conditional fail",
}
NOT_TESTED = VerdictText(VerdictMark.NONE, "Not tested")
WATCH_LEVELS = (Fact.LOW_FOR_KIND, Fact.LOW_FOR_KIND_AT_40C, Fact.BELOW_CABLE_GUIDANCE)
"""Facts whose limit is no requirement but a level below which a value is watched."""
PLAIN = (Fact.BELOW_LIMIT, Fact.WITHIN_LIMITS)
"""Facts that "met" and "not met" say in full."""

KINDS = {
    "insulation_resistance": "Insulation resistance",
    "winding_resistance": "Winding resistance",
    "resistance_to_ground": "Resistance to ground by ohmmeter",
    "continuity": "Continuity",
    "voltage": "Voltage",
    "current": "Current",
    "capacitance": "Capacitance",
    "temperature": "Temperature",
    "humidity": "Relative humidity",
    "time": "Time",
}
SECTIONS = {section.value: section_in_full(section) for section in Section}
SHORT_SECTIONS = {section.value: SECTION_WORDS[section] for section in Section}
MOTORS = {
    "brushed_dc": "Brushed DC servo motor",
    "dc_servo": "Brushed DC servo motor",
    "ac_servo": "AC servo motor",
    "unknown": "kind of motor not known yet",
    "spindle": "Spindle motor",
}
POINTS = {"lead-ground": "lead to ground", "lead-lead": "lead to lead"}
SOURCES = {"speech": "clip", "photo": "photo", "speech+photo": "clip and photo", "typed": "typed"}
AGREEMENTS = {
    "agree": "they agree",
    "conflict": "they disagreed",
    "chosen": "they disagreed, a person chose",
    "said_again": "said twice, heard the same both times",
    "photo_not_read": "the photo could not be read",
}
CONFIRMED = {"spoken": "confirmed by voice", "tapped": "confirmed by tap", "typed": "confirmed by keyboard"}
CIRCUMSTANCES = {
    Circumstance.UNSTEADY: "still moving when it was read",
    Circumstance.FALLING: "fell while the test voltage stayed on",
    Circumstance.LOW_BATTERY: "the meter’s battery was low",
    Circumstance.LEADS_ZEROED: "lead resistance already subtracted by the meter",
    Circumstance.BRUSHES_OUT: "brushes out",
    Circumstance.REVERSED: "leads swapped over",
    Circumstance.FLEXED: "cable moved while reading",
    Circumstance.AFTER_CLEANING: "first reading after cleaning, drying or repair",
    Circumstance.CHECKED: "value and unit looked up again",
    Circumstance.ONE_PHASE_ONLY: "the other phases earthed or guarded",
}
DOUBTS = {
    "unit_missing": "the unit was missing",
    "value_missing": "the value was missing",
    "axis_missing": "the axis was missing",
    "digits_ambiguous": "the digits could be read in two ways",
    "teen_or_ty": "“-teen” or “-ty”",
    "prefix_unsure": "milli or mega",
    "dot_unsure": "the place of the decimal point",
    "unusual": "a string that the meter seldom shows",
    "unit_unsure": "the unit was not clear",
    "implausible": "outside what this quantity can be",
    "unknown_words": "words that the tool does not know",
    "contradicted": "another value of the same point cannot be true as well",
    "low_confidence": "not recognised clearly",
    "not_settled": "the reading had not settled",
    "range_end_unknown": "over range, end of range not said",
    "built_voltage_unknown": "the voltage that was built was not said",
    "conflict": "clip and photo disagree",
    "quantity_missing": "what was measured was missing",
    "place_unsure": "the place: something said before it was not understood",
    "notes_unsure": "whether what is noted beside it is of this value",
    "section_missing": "the part (cable and motor, motor alone, cable alone) was missing",
}

CAUTIONS = (
    (
        "Local codes, the site’s lock-out procedure, the machine builder’s manual and licensed practice come before "
        "anything written here."
    ),
    (
        "Nothing in this report says that something is safe to touch, energise or run. A value within limits tells how "
        "a part measured at the time of test, and nothing about voltage on a terminal or about faults that depend on "
        "motion, temperature or operation."
    ),
    (
        "Insulation testing can kill: it puts up to 1000 V on windings and cables, which keep the charge. Work dead, "
        "locked out and proved dead, drive disconnected, vertical axes supported; discharge for at least four times "
        "the test time, measure, then earth, before anyone touches a terminal."
    ),
)
CAUTION_SHORT = (
    "Local codes and licensed practice come first. Nothing here says that something is safe to touch. Insulation tests "
    "leave a charge: discharge, measure, earth."
)
DECISION_RULE = (
    (
        "Each value is held against every limit that applies to it, and the worst result gives the verdict of the "
        "axis. “Met” and “not met” mean that the value with its uncertainty lies on that side of the limit. Where it "
        "lies closer to the limit than the instrument’s expanded uncertainty U (k = 2), the result is “conditional”, "
        "and where the reading cannot tell, “not decided” (ILAC-G8:09/2019, 4.2, for a lower limit; ISO/IEC "
        "17025:2017, 7.8.6)."
    ),
    (
        "A watch level is no requirement: a value below it meets its limits, but is lower than such a part usually "
        "reads, so it is measured again later."
    ),
    (
        "“> 4000 MΩ” and “over range” mean that the value is above the end of the meter’s range; it counts as “more "
        "than” and never as a number."
    ),
)
PROOF_NOTE = "The results relate only to the items tested, as they were at the time of test."


def verdict(grade: Grade, urgency: Urgency) -> VerdictText:
    """Write verdict and urgency; a note that judges nothing bears no mark."""
    if urgency is Urgency.INFORMATION and grade is Grade.ACCEPTABLE:
        return VerdictText(VerdictMark.NONE, URGENCIES[urgency])
    return VerdictText(MARKS[grade], URGENCIES[urgency])


def of_finding(finding: Finding) -> VerdictText:
    """Write a finding's verdict by the one name that axes have too."""
    return verdict(finding.verdict, finding.urgency)


def against(finding: Finding) -> VerdictText:
    """Write how one value stands against one limit."""
    conformity = finding.margin.conformity if finding.margin else None
    word = CONFORMITIES.get(conformity) if conformity is not None else None
    if word is None and finding.fact in WATCH_LEVELS:
        word = "watch"
    return VerdictText(MARKS[finding.verdict], word or AGAINST[finding.verdict])


def without_limit(finding: Finding) -> VerdictText:
    """Write how one value stands by a finding that has no limit."""
    mark = VerdictMark.NONE if finding.verdict is Grade.ACCEPTABLE else MARKS[finding.verdict]
    return VerdictText(mark, WITHOUT_LIMIT[finding.verdict])


def amount(value: Decimal, unit: str) -> str:
    """Write a computed value to three significant digits with its symbol."""
    return f"{number(value)}{symbol(unit)}"


def symbol(unit: str) -> str:
    """Give a unit's symbol with a space before it; "" for a ratio."""
    if unit in ("1", ""):
        return ""
    return " µC" if unit == "uC" else f" {UNITS[unit].symbol if unit in UNITS else unit}"


def limit_text(limit: Limit, watched: bool = False) -> str:
    """Write a limit with its direction and what is held against it: "at least 1 MΩ, as measured"."""
    word = "at least" if limit.direction is Direction.AT_LEAST else "at most"
    word = "watch level" if watched else word
    basis = "" if limit.basis is Basis.COMPUTED else f", {limit.basis.value}"
    return f"{word} {plain_amount(limit.value, limit.unit)}{basis}"


def plain_amount(value: Decimal, unit: str) -> str:
    """Write a published number as published, with its symbol."""
    return f"{value:f}{symbol(unit)}"


def compared(margin: Margin) -> str:
    """Write what was held against the limit, with its uncertainty or bounds."""
    if margin.value is not None:
        if margin.expanded_uncertainty is None:
            return amount(margin.value, margin.unit)
        spread = number(margin.expanded_uncertainty, 2)
        return f"{number(margin.value)} ± {spread}{symbol(margin.unit)}"
    if margin.low is not None and margin.high is None:
        return f"more than {amount(margin.low, margin.unit)}"
    if margin.high is not None and margin.low in (None, 0):
        return f"less than {amount(margin.high, margin.unit)}"
    if margin.high is not None and margin.low is not None:
        return f"between {amount(margin.low, margin.unit)} and {amount(margin.high, margin.unit)}"
    return ""


TIMES_FROM, UNCHANGED = Decimal(10), Decimal("0.0005")
"""From which ratio a margin is told as a multiple; below which share of the limit it is told as none."""


def margin_text(margin: Margin) -> str:
    """Write how far a value lies from its limit: "0.20 MΩ below", "550 times the limit", "more than 4000 times"."""
    over = margin.value is None and margin.high is None and margin.low is not None
    value = margin.low if over else margin.value
    if value is None or margin.limit <= 0:
        return ""
    ratio = value / margin.limit
    least = "more than " if over else ""
    if ratio >= TIMES_FROM:
        return f"{least}{number(ratio)} times the limit"
    apart = value - margin.limit
    if abs(apart) < UNCHANGED * margin.limit:
        return "at the limit"
    return f"{least}{number(abs(apart), 2)}{symbol(margin.unit)} {'above' if apart > 0 else 'below'}"


def listed(names: list[str]) -> str:
    """Write names as in a sentence: "X", "X and Y", "X, Y and Z"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def point(terminals: str | None) -> str:
    """Write a test point as people read it."""
    return POINTS.get(terminals or "", (terminals or "").replace("-", "–"))
