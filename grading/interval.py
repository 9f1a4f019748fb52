"""Resistances as intervals, so that ">", "<", open and short go through every formula as bounds.

A resistance is kept as [low, high] in ohm with high = Infinity for over-range values. Paths to earth in parallel add
their conductances, and G = 1/R of an interval is an interval again; that single rule gives the whole of the parallel
arithmetic (over-range readings, hidden paths, the unmeasured part).
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from enum import StrEnum

from grading.terms.record import record

INFINITY = Decimal("Infinity")
ZERO = Decimal(0)
METRES_PER_KM = 1000


class Side(StrEnum):
    """Where a whole interval lies against a limit."""

    ABOVE = "above"  # no part below the limit
    BELOW = "below"  # no part at or above the limit
    STRADDLES = "straddles"  # some part on each side: no verdict


class ContradictionError(ValueError):
    """Readings that cannot all be true: a total above one of its parallel branches."""


@record
class Interval:
    """All values that a reading leaves possible.

    Attributes:
        low: Lower bound, ohm, at least 0.
        high: Upper bound, ohm; Infinity where the reading sets none.

    Raises:
        ValueError: Bounds out of order or below 0.
    """

    low: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        if not ZERO <= self.low <= self.high:
            raise ValueError(f"An interval needs 0 <= low <= high, not [{self.low}, {self.high}].")

    @classmethod
    def around(cls, value: Decimal, half_width: Decimal) -> Interval:
        """Make the interval value ± half_width, cut off at 0."""
        low = value - half_width
        return cls(low if low > ZERO else ZERO, value + half_width)

    @classmethod
    def at_least(cls, value: Decimal) -> Interval:
        """Make the interval of an over-range reading: [value, Infinity]."""
        return cls(value, INFINITY)

    @classmethod
    def at_most(cls, value: Decimal) -> Interval:
        """Make the interval of a below-range reading: [0, value]."""
        return cls(ZERO, value)

    @property
    def bounded(self) -> bool:
        """Whether there is an upper bound."""
        return self.high != INFINITY

    def scaled(self, low_factor: Decimal, high_factor: Decimal | None = None) -> Interval:
        """Multiply by a positive factor that is itself known only as [low_factor, high_factor]."""
        top = low_factor if high_factor is None else high_factor
        return Interval(self.low * low_factor, self.high * top)

    def side_of(self, limit: Decimal) -> Side:
        """Tell where the whole interval lies; a limit exactly met counts as met (IEC and IEEE say "not less than")."""
        if self.low >= limit:
            return Side.ABOVE
        return Side.BELOW if self.high < limit else Side.STRADDLES

    def overlaps(self, other: Interval) -> bool:
        """Tell whether one true value could lie in both."""
        return self.low <= other.high and other.low <= self.high

    def conductance(self) -> tuple[Decimal, Decimal]:
        """Give [1/high, 1/low] in siemens."""
        return reciprocal(self.high), reciprocal(self.low)


def reciprocal(value: Decimal) -> Decimal:
    """Compute 1/value with 1/0 = Infinity and 1/Infinity = 0."""
    if value == ZERO:
        return INFINITY
    return ZERO if value == INFINITY else 1 / value


def parallel(resistances: Iterable[Decimal]) -> Decimal:
    """Compute the resistance of paths side by side: 1 / sum(1/R), any unit.

    Args:
        resistances: At least one, each at least 0; Infinity is an open path.

    Example (TV-G01, conductances add):
        >>> round(parallel([Decimal(5), Decimal(500)]), 2)
        Decimal('4.95')
    """
    return reciprocal(sum((reciprocal(r) for r in resistances), ZERO))


def parallel_intervals(branches: Iterable[Interval]) -> Interval:
    """Compute the resistance of paths side by side, each known as an interval.

    Example (TV-G12: twice over range):
        >>> parallel_intervals([Interval.at_least(Decimal(550))] * 2).low.normalize()
        Decimal('275')
    """
    known = tuple(branches)
    return Interval(parallel(b.low for b in known), parallel(b.high for b in known))


def infer_branch(total: Decimal, known: Decimal) -> Decimal:
    """Compute the other of two parallel paths: 1 / (1/total - 1/known), any unit.

    Raises:
        ContradictionError: The total is above the known path.

    Example (TV-G05, conductances subtract):
        >>> round(infer_branch(Decimal("0.8"), Decimal(1000)), 4)
        Decimal('0.8006')
    """
    conductance = reciprocal(total) - reciprocal(known)
    if conductance < ZERO:
        raise ContradictionError("The whole reads higher than one of its parts; repeat the readings.")
    return reciprocal(conductance)


def infer_interval(total: Interval, known: Interval) -> Interval:
    """Compute the bounds of the other of two parallel paths.

    Evaluated at (total low, known high) and (total high, known low). Where the readings leave no finite upper bound
    it is Infinity.

    Raises:
        ContradictionError: Even the lowest total is above the highest value of the known path.

    Example (TV-G07):
        >>> found = infer_interval(Interval(Decimal(76), Decimal(84)), Interval(Decimal(380), Decimal(420)))
        >>> round(found.low, 1), round(found.high, 1)
        (Decimal('92.8'), Decimal('107.8'))
    """
    if total.low > known.high:
        raise ContradictionError("The whole reads higher than one of its parts; repeat the readings.")
    total_low, total_high = total.conductance()
    known_low, known_high = known.conductance()
    most = INFINITY if total_high == INFINITY else total_high - known_low
    least = ZERO if known_high == INFINITY else max(ZERO, total_low - known_high)
    return Interval(reciprocal(max(ZERO, most)), reciprocal(least))


def amplification(total: Decimal, known: Decimal) -> Decimal:
    """Compute how much an inference magnifies the error of the total: known / (known - total); Infinity where equal.

    Raises:
        ContradictionError: The total is above the known path.

    Example (known path 100, whole 80: more than three, so measure (TV-G15-use)):
        >>> amplification(Decimal(80), Decimal(100))
        Decimal('5')
    """
    if known == INFINITY:
        return Decimal(1)
    if known < total:
        raise ContradictionError("The whole reads higher than one of its parts; repeat the readings.")
    return INFINITY if known == total else known / (known - total)


def per_kilometre(resistance: Decimal, length_m: Decimal) -> Decimal:
    """Compute insulation resistance times length, e.g. MΩ·km from MΩ and m, so that cables can be compared.

    Leakage adds up along a cable, so its insulation resistance falls with length.

    Example (TV-G16: 550 MΩ on 30 m):
        >>> per_kilometre(Decimal(550), Decimal(30))
        Decimal('16.5')
    """
    return resistance * length_m / METRES_PER_KM
