"""Uncertainty of a reading and what it means near a limit.

Meter accuracy is given as ±(percent of reading + counts of the last digit). It is taken as a rectangular distribution
(GUM type B: u = a/√3) and expanded with k = 2. Near a limit the statement is non-binary with guard band w = U
(ILAC-G8:09/2019, 4.2, mirrored to a lower limit), and the probability of conformity is that of JCGM 106:2012 for a
one-sided limit and a normal distribution.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from statistics import NormalDist

from grading.finding import Conformity

ROOT_3 = Decimal(3).sqrt()
COVERAGE = Decimal(2)  # k = 2, about 95 %
CERTAIN = 4.0
"""Standard deviations beyond which a normal distribution is 0 or 1 to four places: Φ(4) = 0.99997."""
_NORMAL, _ALWAYS, _NEVER = NormalDist(), Decimal("1.0"), Decimal("0.0")


def half_width(value: Decimal, percent: Decimal, counts: Decimal, resolution: Decimal) -> Decimal:
    """Compute the largest error by data sheet: percent of reading plus counts, in the unit of `value`.

    Args:
        value: Reading.
        percent: ± percent of reading.
        counts: ± counts of the last digit shown.
        resolution: One count of the range shown, same unit as `value`.

    Example (TV-K02: ±(3 % + 5 counts) on 1.20 MΩ):
        >>> half_width(Decimal("1.2"), Decimal(3), Decimal(5), Decimal("0.01"))
        Decimal('0.086')
    """
    return abs(value) * percent / 100 + counts * resolution


def standard_uncertainty(half_width_: Decimal) -> Decimal:
    """Compute the standard uncertainty of a rectangular distribution of the given half width: a/√3 (GUM, 4.3.7).

    Example (TV-K03, GUM type B):
        >>> round(standard_uncertainty(Decimal("0.086")), 4)
        Decimal('0.0497')
    """
    return half_width_ / ROOT_3


def expanded_uncertainty(standard: Decimal) -> Decimal:
    """Compute U = 2 u.

    Example (TV-K03):
        >>> round(expanded_uncertainty(standard_uncertainty(Decimal("0.086"))), 4)
        Decimal('0.0993')
    """
    return COVERAGE * standard


def combined(parts: Iterable[Decimal]) -> Decimal:
    """Compute the root of the sum of squares of independent standard uncertainties (GUM, 5.1.2)."""
    return sum((part * part for part in parts), Decimal(0)).sqrt()


def mean_uncertainty(parts: Iterable[Decimal]) -> Decimal:
    """Compute the standard uncertainty of the mean of independent readings, from each reading's own.

    Example (TV-K12):
        >>> round(mean_uncertainty([Decimal("0.005")] * 3), 4)
        Decimal('0.0029')
    """
    known = tuple(parts)
    return combined(known) / len(known)


def inferred_relative(total: Decimal, u_total: Decimal, known: Decimal, u_known: Decimal) -> Decimal:
    """Compute the relative standard uncertainty of a parallel path computed from the whole and the other path.

    Args:
        total: Reading of both together.
        u_total: Its relative standard uncertainty (0.03 is 3 %).
        known: Reading of the known path, above `total`.
        u_known: Its relative standard uncertainty.

    Raises:
        ValueError: `known` is not above `total`; nothing can be inferred.

    Example (TV-G14, GUM 5.1.2):
        >>> round(inferred_relative(Decimal(80), Decimal("0.03"), Decimal(400), Decimal("0.03")), 4)
        Decimal('0.0382')
    """
    if known <= total:
        raise ValueError("Nothing can be inferred: the known path does not read above the whole.")
    gap = known - total
    return combined((known / gap * u_total, total / gap * u_known))


def probability_at_least(value: Decimal, limit: Decimal, standard: Decimal) -> Decimal:
    """Compute the probability that the true value is at least `limit`: Φ((value - limit)/u), to four places.

    With u = 0 it is 1 or 0.

    Example (AX-p_conform_lower-1, JCGM 106:2012, clause 7):
        >>> probability_at_least(Decimal("1.05"), Decimal(1), Decimal("0.047054"))
        Decimal('0.856')
    """
    if standard <= 0:
        return Decimal(1 if value >= limit else 0)
    away = float((value - limit) / standard)
    if away >= CERTAIN:
        return _ALWAYS
    return _NEVER if away <= -CERTAIN else Decimal(str(round(_NORMAL.cdf(away), 4)))


def conformity_at_least(value: Decimal, limit: Decimal, expanded: Decimal) -> Conformity:
    """State conformity with a lower limit, non-binary, with guard band w = U.

    Example (TV-K05, ILAC-G8:09/2019, 4.2):
        >>> conformity_at_least(Decimal("1.05"), Decimal(1), Decimal("0.0941")).value
        'conditional_pass'
    """
    if value >= limit + expanded:
        return Conformity.PASS
    if value >= limit:
        return Conformity.CONDITIONAL_PASS
    return Conformity.CONDITIONAL_FAIL if value > limit - expanded else Conformity.FAIL


def minimum_reading(limit: Decimal, operating_error: Decimal) -> Decimal:
    """Compute the lowest reading that proves `limit` when all that is known is the tester's operating error.

    Args:
        limit: Lower limit.
        operating_error: Fraction of the measured value, 0..1 (IEC 61557-2 allows 0.30).

    Raises:
        ValueError: The operating error is not within 0..1.

    Example (TV-K09, IEC 61557-2:2019, 6.2):
        >>> round(minimum_reading(Decimal(1), Decimal("0.30")), 3)
        Decimal('1.429')
    """
    if not 0 <= operating_error < 1:
        raise ValueError("The operating error is a fraction from 0 up to, but not including, 1.")
    return limit / (1 - operating_error)
