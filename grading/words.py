"""How values and places are put into words: plain words first, numbers after.

"Measured" marks a fact, "indicates" or "calculated" an inference, "we recommend" an opinion. Never "safe".
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal

from grading.finding import Limit
from grading.interval import INFINITY, Interval
from grading.measurement import Measurement
from grading.terms.quantity import unit
from grading.terms.section import section_in_full
from grading.voltage import ChoiceReason

_THREE_DIGITS = Context(prec=3, rounding=ROUND_HALF_EVEN)

CHOICE_WORDS: dict[ChoiceReason, str] = {
    ChoiceReason.MAKER: "the motor maker's test voltage",
    ChoiceReason.RATING_UNKNOWN: "500 V by IEC 60204-1, 18.3; rating unknown",
    ChoiceReason.SMALL_MOTOR: "house rule for motors rated up to 50 V; more needs the maker's consent",
    ChoiceReason.GUIDELINE: "IEEE 43-2013, Table 1",
}

_STEPS = (("GOhm", "1e9"), ("MOhm", "1e6"), ("kOhm", "1e3"), ("Ohm", "1"))


def number(value: Decimal, digits: int = 3) -> str:
    """A computed number with the given significant digits, never in exponent form."""
    if not value.is_finite():
        return "∞"
    rounded = Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(value)
    return format(rounded, "f") if rounded else "0"


def ohms(value: Decimal) -> str:
    """A computed resistance in the unit that suits it, three significant digits: "0.799 MΩ"."""
    if value == INFINITY:
        return "over range"
    for code, least in _STEPS:
        # Insulation is spoken of in megohms down to 0.01 MΩ; kilohms only below that.
        floor = Decimal("1e4") if code == "MOhm" else Decimal(least)
        if value >= floor:
            return f"{number(value / unit(code).factor)} {unit(code).symbol}"
    return f"{number(value)} Ω"


def span(interval: Interval) -> str:
    """An interval of resistance: "0.715 to 0.885 MΩ", "above 4000 MΩ", "below 500 kΩ"."""
    if interval.high == INFINITY:
        return "not known" if interval.low == 0 else f"above {ohms(interval.low)}"
    if interval.low == 0:
        return f"below {ohms(interval.high)}"
    low, high = ohms(interval.low), ohms(interval.high)
    low_figure, _, low_unit = low.partition(" ")
    return f"{low_figure if high.endswith(f' {low_unit}') else low} to {high}"


def circumstances(measurement: Measurement) -> str:
    """Voltage and time of a reading: " at 500 V after 60 s", " at 70 V of 500 V", or ""."""
    set_voltage, built = measurement.test_voltage_set, measurement.test_voltage_built
    parts = []
    if set_voltage is not None and built is not None and set_voltage != built:
        low = built < set_voltage
        parts.append(f"at {built:f} V {f'built of {set_voltage:f} V' if low else f'({set_voltage:f} V selected)'}")
    elif set_voltage is not None or built is not None:
        parts.append(f"at {(built if set_voltage is None else set_voltage):f} V")
    if measurement.elapsed_s is not None:
        parts.append(f"after {measurement.elapsed_s:f} s")
    return "".join(f" {part}" for part in parts)


def measured(measurement: Measurement) -> str:
    """The fact: "measured 0.80 MΩ at 500 V after 60 s"."""
    return f"measured {measurement.quantity.display()}{circumstances(measurement)}"


def place(measurement: Measurement) -> str:
    """Where: "Axis X, motor alone, U-PE"."""
    where = f"Axis {measurement.axis}, {section_in_full(measurement.section)}, {measurement.terminals}"
    return where if measurement.position is None else f"{where}, position {measurement.position}"


def limit_value(limit: Limit) -> str:
    """The limit's figure: "1 MΩ", "2 %", "1.5"."""
    symbol = {"1": "", "uC": " µC", "W": " W", "mo": " months"}.get(limit.unit)
    shown = f" {unit(limit.unit).symbol}" if symbol is None else symbol
    return f"{limit.value.normalize():f}{shown}"


def limit_words(limit: Limit) -> str:
    """The limit with its citation: "limit at least 1 MΩ, IEC 60204-1, 18.3 (read in a secondary text)"."""
    return f"limit {limit.direction.value} {limit_value(limit)}, {limit.citation()}"


def sentence(text: str) -> str:
    """With a capital first letter and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
