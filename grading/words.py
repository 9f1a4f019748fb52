"""How values and places are put into words: plain words first, numbers after.

"Measured" marks a fact, "indicates" or "calculated" an inference, "we recommend" an opinion. Never "safe".
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal

from grading.facts import MeasuredValue, Place
from grading.interval import INFINITY, Interval
from grading.limit import Limit
from grading.terms.quantity import unit
from grading.terms.section import section_in_full

_EXACT = Context(prec=28, rounding=ROUND_HALF_EVEN)
"""Arithmetic of its own, so that the caller's decimal context changes no text."""

_STEPS = (("GOhm", Decimal("1e9")), ("MOhm", Decimal("1e4")), ("kOhm", Decimal("1e3")))
"""From which value a unit is used; insulation is spoken of in megohms down to 0.01 MΩ, in kilohms only below that."""


def number(value: Decimal, digits: int = 3) -> str:
    """Write a computed number with the given significant digits, never in exponent form."""
    if not value.is_finite():
        return "∞"
    rounded = Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(value)
    return format(rounded, "f") if rounded else "0"


def figure(value: Decimal) -> str:
    """Write a published figure without trailing zeros: "2.0" gives "2"."""
    return f"{_EXACT.normalize(value):f}"


def percent(share: Decimal) -> str:
    """Write a share of 0 to 1 in whole percent."""
    return f"{_EXACT.multiply(share, Decimal(100)):.0f} %"


def ohms(value: Decimal) -> str:
    """Write a computed resistance in the unit that suits it, three significant digits: "0.799 MΩ"."""
    if value == INFINITY:
        return "over range"
    figure, symbol = _scaled(value)
    return f"{figure} {symbol}"


def _scaled(value: Decimal) -> tuple[str, str]:
    """Give figure and symbol of a finite resistance."""
    for code, least in _STEPS:
        if value >= least:
            return number(_EXACT.divide(value, unit(code).factor)), unit(code).symbol
    return number(value), unit("Ohm").symbol


def span(interval: Interval) -> str:
    """Write an interval of resistance: "0.715 to 0.885 MΩ", "above 4000 MΩ", "below 500 kΩ"."""
    if interval.high == INFINITY:
        return "not known" if interval.low == 0 else f"above {ohms(interval.low)}"
    if interval.low == 0:
        return f"below {ohms(interval.high)}"
    (low, low_symbol), (high, symbol) = _scaled(interval.low), _scaled(interval.high)
    return f"{low if symbol == low_symbol else f'{low} {low_symbol}'} to {high} {symbol}"


def circumstances(value: MeasuredValue) -> str:
    """Write voltage and time of a reading: " at 500 V after 60 s", " at 70 V built of 500 V", or ""."""
    set_voltage, built = value.voltage_set, value.voltage_built
    parts = []
    if set_voltage is not None and built is not None and set_voltage != built:
        low = built < set_voltage
        parts.append(f"at {built:f} V {f'built of {set_voltage:f} V' if low else f'({set_voltage:f} V selected)'}")
    elif set_voltage is not None or built is not None:
        parts.append(f"at {(built if set_voltage is None else set_voltage):f} V")
    if value.elapsed_s is not None:
        parts.append(f"after {value.elapsed_s:f} s")
    return "".join(f" {part}" for part in parts)


def measured(value: MeasuredValue) -> str:
    """Write the fact: "measured 0.80 MΩ at 500 V after 60 s"."""
    return f"measured {value.quantity.display()}{circumstances(value)}"


_POINTS = {"lead-ground": "lead to ground", "lead-lead": "lead to lead"}
"""Test points that are named in words; all others are named by their terminals."""


def place(where: Place) -> str:
    """Write where a reading was taken: "Axis X, motor alone, U-PE"."""
    point = _POINTS.get(where.terminals or "", where.terminals)
    text = f"Axis {where.axis}, {section_in_full(where.section)}, {point}"
    return text if where.position is None else f"{text}, position {where.position}"


def limit_value(limit: Limit) -> str:
    """Write the limit's figure: "1 MΩ", "2 %", "1.5"."""
    symbol = {"1": "", "uC": " µC", "W": " W", "mo": " months"}.get(limit.unit)
    shown = f" {unit(limit.unit).symbol}" if symbol is None else symbol
    return f"{figure(limit.value)}{shown}"


def limit_words(limit: Limit) -> str:
    """Write the limit with its source: "limit at least 1 MΩ, IEC 60204-1, 18.3 (quoted)"."""
    return f"limit {limit.direction.value} {limit_value(limit)}, {limit.cited()}"


def sentence(text: str) -> str:
    """Give a text a capital first letter and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
