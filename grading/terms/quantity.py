"""What hearing, seeing and grading must all be able to speak about: a quantity with unit and qualifier.

Units are UCUM codes (case sensitive; the
case-insensitive variant, in which "MOHM" means milliohm, is refused). Values are decimals made from the digits as
shown or spoken, so "0.80" never becomes "0.8".
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum

from grading.terms.lazy import lazy


class QuantityKind(StrEnum):
    """What was measured."""

    INSULATION_RESISTANCE = "insulation_resistance"  # insulation tester, lead(s) to ground
    WINDING_RESISTANCE = "winding_resistance"  # ohmmeter, lead to lead
    RESISTANCE_TO_GROUND = "resistance_to_ground"  # low-voltage ohmmeter, lead to ground
    CONTINUITY = "continuity"  # one core, end to end
    VOLTAGE = "voltage"
    CURRENT = "current"
    CAPACITANCE = "capacitance"
    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    TIME = "time"


TO_EARTH_KINDS = frozenset({QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND})
"""Kinds that are measured to earth, insulation also between cores."""


class Qualifier(StrEnum):
    """How the digits bound the true value."""

    EQUAL = "="  # a point reading
    ABOVE = ">"  # over range: the true value is above the digits (or above the range end, digits unknown)
    BELOW = "<"  # below the digits (or below the resolution, digits unknown)
    OPEN = "open"  # said as "open", "O L": above the meter's range, whatever that is
    SHORT = "short"  # said as "dead short": below the meter's resolution
    COLLAPSED = "collapsed"  # the tester could not build its test voltage
    NONE = "none"  # dashes or a blank display: no valid value


@dataclass(frozen=True)
class Unit:
    """A unit of measurement.

    Attributes:
        code: UCUM code, case sensitive.
        symbol: SI symbol for screens and reports.
        dimension: Units of one dimension convert into one another.
        factor: Multiplies a value in this unit into the base unit of its dimension.
    """

    code: str
    symbol: str
    dimension: str
    factor: Decimal


def _unit(code: str, symbol: str, dimension: str, factor: str) -> tuple[str, Unit]:
    return code, Unit(code, symbol, dimension, Decimal(factor))


UNITS: dict[str, Unit] = dict(
    (
        _unit("uOhm", "µΩ", "resistance", "1e-6"),
        _unit("mOhm", "mΩ", "resistance", "1e-3"),
        _unit("Ohm", "Ω", "resistance", "1"),
        _unit("kOhm", "kΩ", "resistance", "1e3"),
        _unit("MOhm", "MΩ", "resistance", "1e6"),
        _unit("GOhm", "GΩ", "resistance", "1e9"),
        _unit("TOhm", "TΩ", "resistance", "1e12"),
        _unit("mV", "mV", "voltage", "1e-3"),
        _unit("V", "V", "voltage", "1"),
        _unit("kV", "kV", "voltage", "1e3"),
        _unit("uA", "µA", "current", "1e-6"),
        _unit("mA", "mA", "current", "1e-3"),
        _unit("A", "A", "current", "1"),
        _unit("nF", "nF", "capacitance", "1e-9"),
        _unit("uF", "µF", "capacitance", "1e-6"),
        _unit("Cel", "°C", "temperature", "1"),
        _unit("%", "%", "ratio", "1"),
        _unit("s", "s", "time", "1"),
        _unit("min", "min", "time", "60"),
        _unit("h", "h", "time", "3600"),
    )
)

DIMENSION_OF_KIND: dict[QuantityKind, str] = {
    QuantityKind.INSULATION_RESISTANCE: "resistance",
    QuantityKind.WINDING_RESISTANCE: "resistance",
    QuantityKind.RESISTANCE_TO_GROUND: "resistance",
    QuantityKind.CONTINUITY: "resistance",
    QuantityKind.VOLTAGE: "voltage",
    QuantityKind.CURRENT: "current",
    QuantityKind.CAPACITANCE: "capacitance",
    QuantityKind.TEMPERATURE: "temperature",
    QuantityKind.HUMIDITY: "ratio",
    QuantityKind.TIME: "time",
}


class UnitError(ValueError):
    """A unit is unknown or does not fit; the message names the units that would."""


def unit(code: str) -> Unit:
    """Look a unit up by its UCUM code.

    Args:
        code: UCUM code, case sensitive, e.g. "MOhm".

    Raises:
        UnitError: The code is not in `UNITS`.

    Example (TV-N06, UCUM, case sensitive):
        >>> unit("MOhm").factor / unit("mOhm").factor
        Decimal('1E+9')
    """
    try:
        return UNITS[code]
    except KeyError:
        raise UnitError(
            f"Unknown unit {code!r}; use one of {', '.join(UNITS)} (upper and lower case matter)."
        ) from None


def parse_digits(digits: str) -> Decimal:
    """Turn digits as shown or spoken into an exact decimal.

    Args:
        digits: Plain decimal notation with an optional sign, at most 12 significant digits; no exponent.

    Raises:
        ValueError: Not plain decimal notation.

    Example (digits stay as shown):
        >>> parse_digits("0.80")
        Decimal('0.80')
    """
    text = digits.strip()
    if not text or set(text) - set("+-.0123456789") or sum(c.isdigit() for c in text) > 12:
        raise ValueError(f"{digits!r} is not a plain decimal number of at most 12 digits.")
    try:
        return Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{digits!r} is not a plain decimal number.") from None


@dataclass(frozen=True)
class Quantity:
    """A measured value as the instrument gave it.

    Attributes:
        digits: The value as shown or spoken ("0.80"); None where none was given ("open").
        unit: UCUM code; None while it is unknown (such a value cannot be confirmed).
        qualifier: How the digits bound the true value.
    """

    digits: str | None
    unit: str | None
    qualifier: Qualifier = Qualifier.EQUAL

    def __post_init__(self) -> None:
        if self.digits is not None:
            parse_digits(self.digits)
        if self.unit is not None:
            unit(self.unit)

    @lazy
    def value(self) -> Decimal | None:
        """The digits as an exact decimal in `unit`, or None."""
        return None if self.digits is None else parse_digits(self.digits)

    @lazy
    def resolution(self) -> Decimal | None:
        """One count of the last digit, in `unit`; None without digits."""
        value = self.value
        if value is None:
            return None
        exponent = value.as_tuple().exponent
        return Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)

    @lazy
    def in_base(self) -> Decimal | None:
        """The value in the base unit of its dimension (ohm of a resistance); None without digits or unit."""
        return None if self.value is None or self.unit is None else self.value * UNITS[self.unit].factor

    @lazy
    def digit_in_base(self) -> Decimal:
        """One count of the last digit in the base unit of its dimension (ohm of a resistance); 0 without digits."""
        return (self.resolution or Decimal(0)) * (1 if self.unit is None else unit(self.unit).factor)

    def in_unit(self, code: str) -> Decimal | None:
        """Convert the value to another unit of the same dimension.

        Args:
            code: UCUM code to convert to.

        Returns:
            The exact decimal, or None where there are no digits.

        Raises:
            UnitError: This quantity has no unit, or the dimensions differ.

        Example (TV-N09):
            >>> Quantity("3470", "MOhm").in_unit("GOhm")
            Decimal('3.470')
        """
        target = unit(code)
        if self.unit is None:
            raise UnitError("This value has no unit; ask for it before converting.")
        own = UNITS[self.unit]
        if own.dimension != target.dimension:
            raise UnitError(f"{own.code} is a {own.dimension}, {target.code} a {target.dimension}.")
        base = self.in_base
        return base if base is None or target.factor == 1 else base / target.factor

    def display(self) -> str:
        """Write it as on screens and in reports, e.g. "> 4000 MΩ", "0.80 Ω", "open".

        Example (as written on screens):
            >>> Quantity("4000", "MOhm", Qualifier.ABOVE).display()
            '> 4000 MΩ'
        """
        symbol = "" if self.unit is None else f" {unit(self.unit).symbol}"
        if self.qualifier is Qualifier.EQUAL:
            return f"{self.digits}{symbol}"
        if self.qualifier in (Qualifier.ABOVE, Qualifier.BELOW):
            if self.digits is None:
                return "over range" if self.qualifier is Qualifier.ABOVE else "below range"
            return f"{self.qualifier.value} {self.digits}{symbol}"
        words = {"open": "open (over range)", "short": "short (below resolution)", "none": "no valid value"}
        text = words.get(self.qualifier.value, "test voltage not built")
        return text if self.digits is None else f"{text}, {self.digits}{symbol}"
