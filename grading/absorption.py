"""Polarization index and dielectric absorption ratio: how insulation resistance rises while the voltage stays on.

The two times are kept with every ratio, since the names alone are ambiguous (a "DAR" of 60 s/15 s exists beside the
usual 60 s/30 s). The polarization index says nothing above 5000 MΩ, where the current is too small to resolve.
"""

from __future__ import annotations

from decimal import Decimal

from grading.interval import INFINITY, Interval
from grading.limits import LIMITS
from grading.terms.record import record

PI_TIMES = (Decimal(600), Decimal(60))
"""Times on test that define the polarization index, s (IEEE 43)."""
DAR_TIMES = (Decimal(60), Decimal(30))
"""Times on test that define the dielectric absorption ratio, s (common practice)."""

DAR_BANDS: tuple[tuple[Decimal, str], ...] = (
    (LIMITS["absorption.dar"].value, "bad"),
    (LIMITS["absorption.dar_fair"].value, "unreliable"),
    (LIMITS["absorption.dar_good"].value, "fair"),
    (LIMITS["absorption.dar_excellent"].value, "good"),
)
"""No standard sets these bands; two tables in use agree at the ends (common practice, no source)."""

_CLASSES = {"A": "105", "E": "120", "B": "130", "F": "155", "H": "180", "N": "200"}
_KNOWN_CLASSES = frozenset({*_CLASSES.values(), "220"})


@record
class AbsorptionRatio:
    """One ratio of insulation resistances of one point at one voltage.

    Attributes:
        later_s: Time of the numerator, s.
        earlier_s: Time of the denominator, s.
        low: Lowest ratio the readings allow.
        high: Highest; Infinity where the later reading is over range.
        value: The ratio of the readings; None where one of them is only a bound.
    """

    later_s: Decimal
    earlier_s: Decimal
    low: Decimal
    high: Decimal
    value: Decimal | None

    @property
    def name(self) -> str:
        """PI for 600 s/60 s, DAR for 60 s/30 s, else the two times."""
        if self.is_index:
            return "PI"
        return "DAR" if self.is_dar else f"ratio {self.later_s:f} s/{self.earlier_s:f} s"

    @property
    def is_index(self) -> bool:
        """Whether the times are those of the polarization index."""
        return (self.later_s, self.earlier_s) == PI_TIMES

    @property
    def is_dar(self) -> bool:
        """Whether the times are those of the dielectric absorption ratio."""
        return (self.later_s, self.earlier_s) == DAR_TIMES

    @property
    def undefined(self) -> bool:
        """Whether the readings say nothing about the ratio (both over range)."""
        return self.low == 0 and self.high == INFINITY


def ratio(later: Decimal, earlier: Decimal) -> Decimal:
    """Compute the later value over the earlier one, any unit.

    Raises:
        ValueError: The earlier value is not above 0.

    Example (AX-pi-1: 300 MΩ at 600 s over 120 MΩ at 60 s):
        >>> ratio(Decimal(300), Decimal(120))
        Decimal('2.5')
    """
    if earlier <= 0:
        raise ValueError("The earlier value must be above 0.")
    return later / earlier


def ratio_of_intervals(later: Interval, earlier: Interval) -> tuple[Decimal, Decimal]:
    """Compute the lowest and highest ratio: over-range values stay bounds ("> 4000 / 550" gives at least 7.27).

    Example (TV-E06: > 4000 MΩ over 550 MΩ stays a bound):
        >>> low, high = ratio_of_intervals(Interval.at_least(Decimal(4000)), Interval(Decimal(550), Decimal(550)))
        >>> round(low, 2), high
        (Decimal('7.27'), Decimal('Infinity'))
    """
    low = Decimal(0) if earlier.high == INFINITY else (later.low / earlier.high if earlier.high else INFINITY)
    high = INFINITY if later.high == INFINITY or earlier.low == 0 else later.high / earlier.low
    return low, high


def dar_band(dar: Decimal) -> str:
    """Name the band of a 60 s/30 s ratio: bad, unreliable, fair, good, excellent (common practice, no source).

    A ratio on a boundary belongs to the band above it, except 1.6, which is still "good".

    Example (TV-E07 and TV-E08, bands in use without a source):
        >>> dar_band(Decimal("1.333")), dar_band(Decimal("1.6"))
        ('fair', 'good')
    """
    for upper, word in DAR_BANDS[:-1]:
        if dar < upper:
            return word
    return "good" if dar <= DAR_BANDS[-1][0] else "excellent"


def minimum_pi(thermal_class: str) -> Decimal:
    """Give the least polarization index for a thermal class: 1.5 for 105 (A), 2.0 above (IEEE 43-2000, as quoted).

    Raises:
        ValueError: Unknown class.

    Example (IEEE 43-2000 table, quoted second-hand; TV-E02 and TV-E03):
        >>> minimum_pi("105"), minimum_pi("B")
        (Decimal('1.5'), Decimal('2.0'))
    """
    return LIMITS["absorption.pi_class_105" if is_lowest_class(thermal_class) else "absorption.pi"].value


def is_lowest_class(thermal_class: str) -> bool:
    """Tell whether a thermal class is 105 (A), for which the lower polarization index is asked.

    Raises:
        ValueError: Unknown class.
    """
    text = thermal_class.strip().upper()
    number = _CLASSES.get(text, text)
    if number not in _KNOWN_CLASSES:
        raise ValueError(f"Thermal class {thermal_class!r} is not known; use 105, 130, 155 or 180.")
    return number == _CLASSES["A"]
