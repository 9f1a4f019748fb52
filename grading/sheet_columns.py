"""The columns of a sheet of readings and the words that may stand in them."""

from __future__ import annotations

from grading.admission import AXIS, INSTRUMENT, READING, Domain
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import UNITS, Qualifier, QuantityKind
from grading.terms.section import Section

MAX_ROWS = 200_000
REQUIRED = ("axis", "quantity", "value")

AT_EXAMPLE = "2026-11-25T14:05:00-05:00"
DATE_EXAMPLE = "2027-03-31"
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
    "visit": "date of the visit, where the sheet holds several; the newest is judged, the others feed the trend",
    "done_before": "what was done since the visit before (cleaned, new cable); the trend starts anew with it",
    "checked": "columns that were looked up again for the axis: motor, rated_power, winding_temperature, "
    "air_temperature; separated by spaces; answers what was asked about them",
    "record": "your own number for the reading; default the line",
    "motor": "dc_servo, ac_servo or spindle; asked for where no row of the axis says it",
    "rated_voltage": "motor's rated voltage, V",
    "rated_current": "motor's rated current, A",
    "rated_power": "motor's rated power, W",
    "insulation_system": "thermosetting, thermoplastic or unknown",
    "winding_temperature": "°C, when this row was read; the default for rows of the axis that have none",
    "air_temperature": "°C, in the same way",
    "air_humidity": "%, in the same way",
    "instrument": "the instrument's number",
    "accuracy_percent": "instrument's accuracy, ± percent of reading",
    "accuracy_counts": "instrument's accuracy, ± counts",
    "range_end": "largest value the instrument shows, in MOhm",
    "calibration_due": f"date, e.g. {DATE_EXAMPLE}",
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
NAMEPLATE = {
    "rated_voltage": "rated_voltage",
    "rated_current": "rated_current",
    "rated_power": "rated_power_w",
}
"""Columns that hold for the axis, with their fields."""
CONDITIONS = {
    "winding_temperature": "winding_c",
    "air_temperature": "air_c",
    "air_humidity": "humidity_percent",
}
"""Columns that hold for the row, with their fields; the axis's default where it has one value only."""
CHECKABLE = {"motor": "motor_kind", "rated_power": "rated_power_w", "winding_temperature": "winding_c",
             "air_temperature": "air_c"}  # fmt: skip
"""Columns of an axis that may be asked about, with their fields; a reading's value is checked by a word in `noted`."""
DOMAINS: dict[str, Domain] = {
    "test_voltage": READING["test_voltage_set"],
    "built_voltage": READING["test_voltage_built"],
    "seconds": READING["elapsed_s"],
    "range_end": Domain.POSITIVE,
    **{column: AXIS[name] for column, name in (*NAMEPLATE.items(), *CONDITIONS.items())},
    **{name: INSTRUMENT[name] for name in ("accuracy_percent", "accuracy_counts")},
}
"""Which values a column of numbers can have."""
