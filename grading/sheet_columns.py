"""The columns of a sheet of readings and the words that may stand in them."""

from __future__ import annotations

from grading.measurement import Circumstance
from grading.terms.quantity import UNITS, Qualifier, QuantityKind
from grading.terms.section import Section

MAX_ROWS = 200_000
REQUIRED = ("axis", "quantity", "value")

AT_EXAMPLE = "2026-11-25T14:05:00-05:00"
HOLDS: dict[str, str] = {
    "axis": "axis name, e.g. X",
    "quantity": "insulation, winding, ground (ohmmeter to earth), continuity, temperature or humidity",
    "value": "digits as shown, e.g. 0.80; >4000, <0.01, OL, open, short, collapsed or none",
    "unit": "Ohm, kOhm, MOhm, GOhm, mOhm, Cel or % (upper and lower case matter); may be empty for OL and the like",
    "section": "cabinet (through the cable), motor or cable",
    "terminals": "test point, e.g. U-PE, U+V+W-PE, A1-A2; default lead-ground or lead-lead",
    "test_voltage": "test voltage selected, V",
    "built_voltage": "test voltage built, V",
    "seconds": "time under voltage, s",
    "at": f"date or date and time, e.g. {AT_EXAMPLE}",
    "position": "shaft or carrier position",
    "noted": "any of: " + ", ".join(c.value for c in Circumstance) + "; separated by spaces",
    "record": "your own number for the reading; default the line",
    "motor": "dc_servo, ac_servo or spindle",
    "rated_voltage": "motor's rated voltage, V",
    "rated_current": "motor's rated current, A",
    "rated_power": "motor's rated power, W",
    "insulation_system": "thermosetting, thermoplastic or unknown",
    "winding_temperature": "°C",
    "air_temperature": "°C",
    "air_humidity": "%",
    "instrument": "the instrument's number",
    "accuracy_percent": "instrument's accuracy, ± percent of reading",
    "accuracy_counts": "instrument's accuracy, ± counts",
    "range_end": "largest value the instrument shows, in MOhm",
    "calibration_due": "date, e.g. 2027-03-31",
}
"""What each column holds."""
COLUMNS: dict[str, str] = {name: f"{text} (required)" if name in REQUIRED else text for name, text in HOLDS.items()}
"""The same for the command's help, which also says what is required."""

SECTIONS = {
    "cabinet": Section.THROUGH_CABLE,
    "whole": Section.THROUGH_CABLE,
    "through cable": Section.THROUGH_CABLE,
    "motor": Section.MOTOR_ALONE,
    "motor alone": Section.MOTOR_ALONE,
    "cable": Section.CABLE_ALONE,
    "cable alone": Section.CABLE_ALONE,
}
QUANTITIES = {
    "insulation": QuantityKind.INSULATION_RESISTANCE,
    "winding": QuantityKind.WINDING_RESISTANCE,
    "ground": QuantityKind.RESISTANCE_TO_GROUND,
}
WORDS = {
    "ol": Qualifier.OPEN,
    "o.l": Qualifier.OPEN,
    "0l": Qualifier.OPEN,
    "open": Qualifier.OPEN,
    "∞": Qualifier.OPEN,
    "short": Qualifier.SHORT,
    "collapsed": Qualifier.COLLAPSED,
    "none": Qualifier.NONE,
    "----": Qualifier.NONE,
}
SIGNS = {">": Qualifier.ABOVE, "<": Qualifier.BELOW}
# The ohm sign (U+2126) is read as the Greek letter that screens use.
SYMBOLS = {u.symbol: code for code, u in UNITS.items()}
CONTEXT = {
    "rated_voltage": "rated_voltage",
    "rated_current": "rated_current",
    "rated_power": "rated_power_w",
    "winding_temperature": "winding_c",
    "air_temperature": "air_c",
    "air_humidity": "humidity_percent",
}
