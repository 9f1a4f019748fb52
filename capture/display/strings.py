"""What a display string means: from "> 4000 MΩ 512V 1:00" to a quantity and its circumstances.

Follows the marks of insulation testers and multimeters as the trade knows them: a sign before the number or "OL" is
over range (a bound, never a number), dashes are no value, a delta means that a zero offset is already subtracted.
Digits are kept exactly as shown: "00.80" stays "00.80".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from grading.terms.quantity import UNITS, Qualifier, Quantity, parse_digits

SYMBOLS: dict[str, str] = {u.symbol: code for code, u in UNITS.items()} | {
    "µΩ": "uOhm", "μΩ": "uOhm", "uΩ": "uOhm", "mΩ": "mOhm", "Ω": "Ohm", "kΩ": "kOhm", "MΩ": "MOhm", "GΩ": "GOhm",
    "TΩ": "TOhm", "μA": "uA", "uA": "uA", "μF": "uF", "uF": "uF", "°C": "Cel", "℃": "Cel",
}  # fmt: skip
"""Symbol as drawn on displays -> UCUM code; case counts (mΩ and MΩ differ by a factor of 10⁹)."""

_OVER = re.compile(r"-?[0O]\.?F?\.?L\.?|\.[0O]\.?L|∞")
_NUMBER = re.compile(r"-?(\d+(\.\d*)?|\.\d+)")
_ELAPSED = re.compile(r"(?:(\d{1,3}):(?=\d\d:))?(\d{1,3}):([0-5]\d(?:\.\d)?)")
"""h:mm:ss or m:ss, perhaps with tenths; behind hours the minutes have two digits."""

_TURNED = {
    "0": "0", "1": "1", "2": "2", "3": "F", "5": "5", "6": "9", "7": "L", "8": "8", "9": "6", "F": "3", "L": "7",
    ":": ":",
}  # fmt: skip
"""Characters of seven segments that are, or pass for, one the other way up as well."""


def parse_main(text: str, unit: str | None) -> Quantity | None:
    """Parse a main string into a quantity.

    Args:
        text: The string as shown: "194.00", ">4000", "OL", "0.L", "----", "" (blank), "1:05".
        unit: UCUM code, or None if unknown.

    Returns:
        The quantity: digits with qualifier EQUAL, ABOVE or BELOW; no digits and ABOVE for over range marks; no digits
        and NONE for dashes and blank; seconds for a time ("1:05" is 65 s). None if the string is none of these ("Err",
        "1.2.3"), or a time stands beside a unit that is none of time.
    """
    shown = text.replace(" ", "")
    if ":" in shown:
        return _time(shown, unit)
    if not shown or re.fullmatch(r"[-–—]{2,}", shown):
        return Quantity(None, unit, Qualifier.NONE)
    if _OVER.fullmatch(shown):
        return Quantity(None, unit, Qualifier.ABOVE)
    qualifier = {">": Qualifier.ABOVE, "<": Qualifier.BELOW}.get(shown[0], Qualifier.EQUAL)
    digits = shown.lstrip("><") if qualifier is not Qualifier.EQUAL else shown
    if len(shown) - len(digits) > 1 or not _NUMBER.fullmatch(digits):
        return None
    digits = digits.removesuffix(".")
    try:
        parse_digits(digits)
    except ValueError:
        return None
    return Quantity(digits, unit, qualifier)


def is_time(text: str) -> bool:
    """Tell whether a main string is a time: a person must be asked, since "1:05" may be hours and minutes."""
    return ":" in text


def bare(text: str) -> str:
    """Remove points and colons from a main string."""
    return text.replace(".", "").replace(":", "")


def on_its_head(text: str) -> str:
    """Give what seven segments say the other way up ("205": "502", "70": "0L"); "" where one says nothing."""
    turned = [_TURNED.get(char, "") for char in reversed(text)]
    return "".join(turned) if all(turned) else ""


def _time(shown: str, unit: str | None) -> Quantity | None:
    """Parse a time into seconds; None beside a unit that is none of time, or where it is no time."""
    if unit not in (None, "s", "min"):
        return None
    value = seconds(shown)
    return None if value is None else Quantity(str(value), "s", Qualifier.EQUAL)


def seconds(text: str) -> Decimal | None:
    """Parse an elapsed time as shown ("1:00", "1:02:03", "12:34.5", "60", "60s") into seconds; None if it is none."""
    shown = text.strip().removesuffix("s").strip()
    if match := _ELAPSED.fullmatch(shown):
        hours, minutes = match[1], match[2]
        if hours is not None and int(minutes) > 59:
            return None
        return Decimal(hours or 0) * 3600 + Decimal(minutes) * 60 + Decimal(match[3])
    return Decimal(shown) if re.fullmatch(r"\d{1,5}", shown) else None


@dataclass(frozen=True)
class Shown:
    """What a whole display string says.

    Attributes:
        main: Value, unit, qualifier; None if the main string makes no sense.
        test_voltage: Voltage on the terminals, V.
        elapsed_s: Time since the test voltage was applied, s.
        zero: True if the instrument has a zero offset subtracted already.
    """

    main: Quantity | None
    test_voltage: Decimal | None = None
    elapsed_s: Decimal | None = None
    zero: bool = False


_TOKEN = re.compile(
    r"(?P<elapsed>\d{1,3}:[0-5]\d)|(?P<zero>Δ|REL|ZERO)|(?P<sign>[<>])|(?P<dash>[-–—]{2,}|-( -)+)"
    r"|(?P<over>-?[0O]\.?F?\.?L\.?|∞)|(?P<number>-?(?:\d+(?:\.\d*)?|\.\d+))|(?P<unit>[µμumkMGT]?Ω|[mk]?V|[µμum]?A|[nµμu]F|°C|%|s)|(?P<space>\s+)"
)


def parse_line(line: str) -> Shown | None:
    """Read a display written as one line, main value first or marked by a resistance unit: "2.20 GΩ 505V 60s".

    A voltage beside a resistance is the voltage on the terminals; a number with "s" or a colon is the elapsed time; a
    sign that stands alone belongs to the main value.

    Returns:
        What it says, or None if the line holds anything that displays do not show.
    """
    fields: list[tuple[str, str | None]] = []  # text, unit
    sign, elapsed, zero, position = "", None, False, 0
    while position < len(line):
        match = _TOKEN.match(line, position)
        if match is None:
            return None
        position = match.end()
        kind, text = match.lastgroup, match[0]
        if kind == "elapsed":
            elapsed = seconds(text)
        elif kind == "zero":
            zero = True
        elif kind == "sign":
            sign = text
        elif kind == "unit":
            if not fields or fields[-1][1] is not None:
                return None
            fields[-1] = (fields[-1][0], SYMBOLS[text])
        elif kind in ("dash", "over", "number"):
            fields.append((text.replace(" ", ""), None))
    # Seconds beside another value are the elapsed time; alone they are the value.
    for field in [f for f in fields if f[1] == "s" and len(fields) > 1]:
        elapsed = seconds(field[0])
        fields.remove(field)
    main, voltage = _main_and_voltage(fields)
    if main is None:
        return None
    return Shown(parse_main(sign + main[0], main[1]), voltage, elapsed, zero)


def _main_and_voltage(fields: list[tuple[str, str | None]]) -> tuple[tuple[str, str | None] | None, Decimal | None]:
    """Split the fields: the main one is what is not a voltage, or the first."""
    others = [f for f in fields if f[1] != "V"]
    main = others[0] if others else (fields[0] if fields else None)
    volts = [f for f in fields if f[1] == "V" and f is not main]
    if len(others) > 1 or len(volts) > 1:
        return None, None
    digits = parse_main(volts[0][0], "V") if volts else None
    return main, None if digits is None else digits.value
