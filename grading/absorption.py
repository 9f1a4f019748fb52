"""Polarization index and dielectric absorption ratio: how insulation resistance rises while the voltage stays on.

The two times are kept with every ratio, since the names alone are ambiguous (a "DAR" of 60 s/15 s exists beside the
usual 60 s/30 s). The polarization index says nothing above 5000 MΩ, where the current is too small to resolve.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from grading.interval import INFINITY, Interval

PI_TIMES = (Decimal(600), Decimal(60))
DAR_TIMES = (Decimal(60), Decimal(30))
PI_MEANINGLESS_OHM = Decimal("5e9")  # IEEE 43-2013 as told by a secondary text
DAR_USEFUL_BELOW_OHM = Decimal("1e9")  # house rule: short cables and small motors barely absorb above this

# No standard sets these bands; two tables in use agree at the ends (common practice, no source).
DAR_BANDS: tuple[tuple[Decimal, str], ...] = (
    (Decimal("1.0"), "bad"),
    (Decimal("1.25"), "unreliable"),
    (Decimal("1.4"), "fair"),
    (Decimal("1.6"), "good"),
)


@dataclass(frozen=True)
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
        times = (self.later_s, self.earlier_s)
        if times == PI_TIMES:
            return "PI"
        return "DAR" if times == DAR_TIMES else f"ratio {self.later_s:f} s/{self.earlier_s:f} s"

    @property
    def undefined(self) -> bool:
        """Whether the readings say nothing about the ratio (both over range)."""
        return self.low == 0 and self.high == INFINITY


def ratio(later: Decimal, earlier: Decimal) -> Decimal:
    """The later value over the earlier one, any unit.

    Raises:
        ValueError: The earlier value is not above 0.
    """
    if earlier <= 0:
        raise ValueError("The earlier value must be above 0.")
    return later / earlier


def ratio_of_intervals(later: Interval, earlier: Interval) -> tuple[Decimal, Decimal]:
    """Lowest and highest ratio: over-range values stay bounds ("> 4000 / 550" gives at least 7.27)."""
    low = Decimal(0) if earlier.high == INFINITY else (later.low / earlier.high if earlier.high else INFINITY)
    high = INFINITY if later.high == INFINITY or earlier.low == 0 else later.high / earlier.low
    return low, high


def dar_band(dar: Decimal) -> str:
    """Word for a 60 s/30 s ratio: bad, unreliable, fair, good, excellent (common practice, no source).

    A ratio on a boundary belongs to the band above it, except 1.6, which is still "good".
    """
    for upper, word in DAR_BANDS[:-1]:
        if dar < upper:
            return word
    return "good" if dar <= DAR_BANDS[-1][0] else "excellent"


def minimum_pi(thermal_class: str) -> Decimal:
    """Least polarization index for a thermal class: 1.5 for 105 (A), 2.0 above (IEEE 43-2000 table as quoted).

    Raises:
        ValueError: Unknown class.
    """
    text = thermal_class.strip().upper()
    number = {"A": "105", "E": "120", "B": "130", "F": "155", "H": "180", "N": "200"}.get(text, text)
    if number not in {"105", "120", "130", "155", "180", "200", "220"}:
        raise ValueError(f"Thermal class {thermal_class!r} is not known; use 105, 130, 155 or 180.")
    return Decimal("1.5") if number == "105" else Decimal("2.0")
