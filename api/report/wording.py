"""The words of the report: facts are "measured", inferences "indicate", opinions "we recommend".

No sentence here promises anything about tomorrow or about touching: a report says what was measured.
"""

from __future__ import annotations

from decimal import Decimal

from api.report.content import VerdictMark, VerdictText
from grading.finding import Conformity, Finding, Margin, Urgency
from grading.finding import Verdict as Grade
from grading.limit import Basis, Direction, Limit
from grading.measurement import Circumstance
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
    Urgency.SERVICE_LIMIT: "Fail: service limit",
    Urgency.REPEAT: "Inconclusive: repeat",
    Urgency.WATCH: "Watch",
    Urgency.WITHIN_LIMITS: "Within limits at time of test",
    Urgency.INFORMATION: "Note",
}
CONFORMITIES = {
    Conformity.PASS: "Pass",
    Conformity.CONDITIONAL_PASS: "Conditional pass",
    Conformity.CONDITIONAL_FAIL: "Conditional fail",
    Conformity.FAIL: "Fail",
}
NOT_TESTED = VerdictText(VerdictMark.NONE, "Not tested")
OVERALL = {
    VerdictMark.FAIL: "Outside limits",
    VerdictMark.WATCH: "Watch",
    VerdictMark.UNSURE: "Inconclusive",
    VerdictMark.PASS: "Within limits at time of test",
    VerdictMark.NONE: "Not tested",
}

KINDS = {
    "insulation_resistance": "Insulation resistance",
    "winding_resistance": "Winding resistance",
    "resistance_to_ground": "Resistance to ground, ohmmeter",
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
    "spindle": "Spindle motor",
}
POINTS = {"lead-ground": "lead to ground", "lead-lead": "lead to lead"}
SOURCES = {"speech": "spoken", "photo": "photographed", "speech+photo": "spoken and photographed", "typed": "typed"}
AGREEMENTS = {
    "agree": "clip and photo agree",
    "conflict": "clip and photo disagreed",
    "chosen": "clip and photo disagreed, a person chose",
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
    "section_missing": "the part (cable and motor, motor alone, cable alone) was missing",
}

CAUTIONS = (
    (
        "Insulation testing can kill. It puts up to 1000 V on windings and cables, and they keep that charge "
        "after the test: discharge for at least four times the test time, measure, then earth, before anyone "
        "touches a terminal."
    ),
    (
        "Work dead: lock out, wait for the drive’s DC bus, and prove it dead with a meter checked on a known "
        "source before and after. Local codes, the site’s lock-out procedure, the machine builder’s manual and "
        "licensed practice come before anything written here."
    ),
    (
        "Disconnect the drive from the motor leads, and keep encoder, brake and thermal sensor leads out of the "
        "test. Support vertical axes; a brake without power holds no work below it."
    ),
    (
        "A value within limits tells how a part measured at the time of test. It says nothing about whether a "
        "terminal is free of voltage, or about faults that depend on motion, temperature or operation."
    ),
)
DECISION_RULE = (
    (
        "Each value is held against every limit that applies to it, and the worst verdict counts. Where the "
        "instrument’s accuracy is known, the conformity printed beside a limit is non-binary with a guard band "
        "as wide as the expanded uncertainty U (k = 2): pass, conditional pass, conditional fail, fail "
        "(ILAC-G8:09/2019, 4.2, mirrored to a lower limit; ISO/IEC 17025:2017, 7.8.6)."
    ),
    (
        "A value over the meter’s range counts as “more than” its digits, never as a number; a value below range "
        "as “less than”."
    ),
    (
        "Each limit names its document, edition and clause, and in brackets the word for where its figure is from: "
        "read in the document, quoted by another text, from memory, practice, or the shop’s own. Practice and shop are "
        "no standard. The table of sources has the remarks."
    ),
)
PROOF_NOTE = "The results relate only to the items tested, as they were at the time of test."


def verdict(grade: Grade, urgency: Urgency) -> VerdictText:
    """Write verdict and urgency; a note that judges nothing bears no mark."""
    if urgency is Urgency.INFORMATION and grade is Grade.ACCEPTABLE:
        return VerdictText(VerdictMark.NONE, URGENCIES[urgency])
    return VerdictText(MARKS[grade], URGENCIES[urgency])


def of_finding(finding: Finding) -> VerdictText:
    """Write a finding's verdict; conditional statements keep their name, since their band is printed beside them."""
    conformity = finding.margin.conformity if finding.margin else None
    if conformity in (Conformity.CONDITIONAL_PASS, Conformity.CONDITIONAL_FAIL):
        return VerdictText(MARKS[finding.verdict], CONFORMITIES[conformity])
    return verdict(finding.verdict, finding.urgency)


def amount(value: Decimal, unit: str) -> str:
    """Write a computed value to three significant digits with its symbol."""
    return f"{number(value)}{symbol(unit)}"


def symbol(unit: str) -> str:
    """Give a unit's symbol with a space before it; "" for a ratio."""
    if unit in ("1", ""):
        return ""
    return " µC" if unit == "uC" else f" {UNITS[unit].symbol if unit in UNITS else unit}"


def limit_text(limit: Limit) -> str:
    """Write a limit with its direction and what is held against it: "at least 1 MΩ, as measured"."""
    word = "at least" if limit.direction is Direction.AT_LEAST else "at most"
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
        return f"{number(margin.value)} ± {spread}{symbol(margin.unit)} (U, k = 2)"
    if margin.low is not None and margin.high is None:
        return f"more than {amount(margin.low, margin.unit)}"
    if margin.high is not None and margin.low in (None, 0):
        return f"less than {amount(margin.high, margin.unit)}"
    if margin.high is not None and margin.low is not None:
        return f"between {amount(margin.low, margin.unit)} and {amount(margin.high, margin.unit)}"
    return ""


def listed(names: list[str]) -> str:
    """Write names as in a sentence: "X", "X and Y", "X, Y and Z"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def point(terminals: str | None) -> str:
    """Write a test point as people read it."""
    return POINTS.get(terminals or "", (terminals or "").replace("-", "–"))
