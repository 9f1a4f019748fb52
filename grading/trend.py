"""Insulation resistance over visits: a straight line through its logarithm, and when it meets a limit.

Decay is multiplicative, so log10 R = a + b t. Without over-range values this is ordinary least squares; with them it
is maximum likelihood for right-censored points (an over-range value is never replaced by its bound). The band of the
time to a limit is Fieller's. All of it is statistics on a handful of points: treat it as a planning aid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from grading.limits import LIMITS
from grading.student import t_quantile

CONFIDENCE = float(LIMITS["trend.confidence"].value / 100)
FEWEST_FOR_SLOPE = int(LIMITS["trend.fewest_for_slope"].value)
FEWEST_FOR_BAND = int(LIMITS["trend.fewest_for_band"].value)
DECADE = 10
"""Base of the logarithm: slopes are decades a year."""
_MOST_ROUNDS = 2000
"""Rounds of the censored fit before it is taken as it is (numerical bound)."""
_TOLERANCE = 1e-12
"""Change from round to round below which the censored fit has settled (numerical bound)."""
_SIGMA_START, _SIGMA_LEAST = 0.05, 1e-6
"""Least standard deviation at the start and in the rounds, decades: keeps the steps finite (numerical bounds)."""
_ASYMPTOTIC_FROM = 30
"""Standard deviations from which the hazard is its asymptotic series (numerical bound)."""
_DETERMINANT_LEAST = 1e-300
"""Least determinant: keeps the covariance finite (numerical bound)."""
_PARAMETERS = 3
"""Intercept, slope and ln sigma: the size of the information matrix."""


@dataclass(frozen=True)
class Point:
    """One visit.

    Attributes:
        years: Time of the visit, years from any zero.
        ohm: Value, ohm, above 0; the lower bound where `over`.
        over: The reading was over range.
    """

    years: float
    ohm: float
    over: bool = False


@dataclass(frozen=True)
class Fit:
    """A line log10(ohm) = intercept + slope * years.

    Attributes:
        slope: Decades a year.
        intercept: log10 of ohm at year 0.
        residual: Standard deviation about the line, decades (n - 2 below the root; by maximum likelihood where a
            value was over range).
        covariance: Of intercept and slope: (var intercept, covariance, var slope).
        quantile: Two-sided 95 % quantile that goes with it.
        points: How many visits.
        r_squared: Share of the variance explained; None with over-range values.
    """

    slope: float
    intercept: float
    residual: float
    covariance: tuple[float, float, float]
    quantile: float
    points: int
    r_squared: float | None

    @property
    def slope_half_width(self) -> float:
        """Half of the slope's 95 % confidence interval, decades a year."""
        return self.quantile * math.sqrt(self.covariance[2])

    @property
    def has_trend(self) -> bool:
        """Whether the slope's 95 % confidence interval leaves out 0."""
        return abs(self.slope) > self.slope_half_width

    @property
    def yearly_factor(self) -> float:
        """What a year multiplies the resistance by."""
        return float(DECADE**self.slope)

    @property
    def halving_years(self) -> float | None:
        """Years in which the resistance halves; None unless it falls."""
        return math.log10(2) / -self.slope if self.slope < 0 else None

    def at(self, years: float) -> float:
        """Compute the line's value in ohm."""
        return float(DECADE ** (self.intercept + self.slope * years))

    def prediction(self, years: float) -> tuple[float, float]:
        """Give the 95 % prediction interval of one new reading, ohm."""
        middle = self.intercept + self.slope * years
        half = self.quantile * math.sqrt(self.residual**2 + self._variance(years))
        return float(DECADE ** (middle - half)), float(DECADE ** (middle + half))

    def confidence(self, years: float) -> tuple[float, float]:
        """Give the 95 % confidence interval of the line itself, ohm."""
        middle = self.intercept + self.slope * years
        half = self.quantile * math.sqrt(self._variance(years))
        return float(DECADE ** (middle - half)), float(DECADE ** (middle + half))

    def reaches(self, ohm: float) -> float | None:
        """Compute the year in which the line meets a value; None for a level line."""
        return None if self.slope == 0 else (math.log10(ohm) - self.intercept) / self.slope

    def band(self, ohm: float) -> tuple[float, float] | None:
        """Give the 95 % band of that year by Fieller's theorem; None where it is unbounded.

        Roots t of (a + b t - log10 ohm)² = q² var(a + b t).
        """
        gap, square = self.intercept - math.log10(ohm), self.quantile**2
        var_a, cov, var_b = self.covariance
        top = self.slope**2 - square * var_b
        if top <= 0:
            return None
        half = self.slope * gap - square * cov
        rest = gap**2 - square * var_a
        root = max(0.0, half**2 - top * rest)  # never below zero but for rounding, since top is above it
        first, second = (-half - math.sqrt(root)) / top, (-half + math.sqrt(root)) / top
        return min(first, second), max(first, second)

    def _variance(self, years: float) -> float:
        var_a, cov, var_b = self.covariance
        return max(0.0, var_a + 2 * years * cov + years**2 * var_b)


def fit(points: Sequence[Point]) -> Fit:
    """Fit the line.

    Args:
        points: Visits, at least three of them with point values, at two times or more.

    Raises:
        ValueError: Fewer, a value at or below 0, or all at one time.

    Example (TV-J01 and TV-J03: five yearly visits, 5 MΩ is reached in year 13.55 (12.59 to 14.70)):
        >>> line = fit([Point(year, ohm) for year, ohm in enumerate([900e6, 620e6, 410e6, 300e6, 190e6])])
        >>> round(line.slope, 5), round(line.reaches(5e6) or 0, 2)
        (-0.16662, 13.55)
        >>> [round(year, 1) for year in line.band(5e6) or ()]
        [12.6, 14.7]
    """
    exact = [p for p in points if not p.over]
    if len(exact) < FEWEST_FOR_SLOPE:
        raise ValueError(f"A trend needs at least {FEWEST_FOR_SLOPE} visits with values within range.")
    if any(p.ohm <= 0 for p in points):
        raise ValueError("A trend needs values above 0.")
    if len({p.years for p in exact}) < 2:
        raise ValueError("A trend needs values from at least two different times.")
    return _least_squares(exact) if len(exact) == len(points) else _censored(points, exact)


def _least_squares(points: Sequence[Point]) -> Fit:
    n = len(points)
    years, logs = [p.years for p in points], [math.log10(p.ohm) for p in points]
    intercept, slope = _line(years, logs)
    squares = math.fsum((y - intercept - slope * t) ** 2 for t, y in zip(years, logs, strict=True))
    mean_t, mean_y = math.fsum(years) / n, math.fsum(logs) / n
    s_xx = math.fsum((t - mean_t) ** 2 for t in years)
    total = math.fsum((y - mean_y) ** 2 for y in logs)
    variance = squares / (n - 2)
    var_b = variance / s_xx
    covariance = (variance / n + mean_t**2 * var_b, -mean_t * var_b, var_b)
    quantile = t_quantile((1 + CONFIDENCE) / 2, n - 2)
    return Fit(slope, intercept, math.sqrt(variance), covariance, quantile, n, 1 - squares / total if total else None)


def _line(years: Sequence[float], logs: Sequence[float]) -> tuple[float, float]:
    n = len(years)
    mean_t, mean_y = math.fsum(years) / n, math.fsum(logs) / n
    s_xx = math.fsum((t - mean_t) ** 2 for t in years)
    slope = math.fsum((t - mean_t) * (y - mean_y) for t, y in zip(years, logs, strict=True)) / s_xx
    return mean_y - slope * mean_t, slope


def _censored(points: Sequence[Point], exact: Sequence[Point]) -> Fit:
    """Fit by maximum likelihood with right-censored points, by expectation and maximisation."""
    years = [p.years for p in points]
    bounds = [math.log10(p.ohm) for p in points]
    intercept, slope = _line([p.years for p in exact], [math.log10(p.ohm) for p in exact])
    start = [math.log10(p.ohm) - intercept - slope * p.years for p in exact]
    sigma = max(math.sqrt(math.fsum(r * r for r in start) / len(exact)), _SIGMA_START)
    for _ in range(_MOST_ROUNDS):
        filled, extra = [], 0.0
        for p, y in zip(points, bounds, strict=True):
            middle = intercept + slope * p.years
            if not p.over:
                filled.append(y)
                continue
            z = (y - middle) / sigma
            hazard = _hazard(z)
            filled.append(middle + sigma * hazard)
            extra += sigma**2 * (1 - hazard * (hazard - z))
        before = (intercept, slope, sigma)
        intercept, slope = _line(years, filled)
        squares = math.fsum((y - intercept - slope * t) ** 2 for t, y in zip(years, filled, strict=True))
        sigma = max(math.sqrt((squares + extra) / len(points)), _SIGMA_LEAST)
        if max(abs(a - b) for a, b in zip(before, (intercept, slope, sigma), strict=True)) < _TOLERANCE:
            break
    # Maximum likelihood is too sure of itself on a handful of points: as in least squares, two of the exact ones are
    # spent on the line, in the variance and in Student's t.
    left = len(exact) - 2
    a, ab, b = (v * len(exact) / left for v in _information(points, intercept, slope, sigma))
    quantile = t_quantile((1 + CONFIDENCE) / 2, left)
    return Fit(slope, intercept, sigma, (a, ab, b), quantile, len(points), None)


def _hazard(z: float) -> float:
    """Compute φ(z) / (1 - Φ(z)), stable for large z (asymptotic series for the largest)."""
    if z > _ASYMPTOTIC_FROM:
        return z + 1 / z
    return math.exp(-z * z / 2) / math.sqrt(2 * math.pi) / (math.erfc(z / math.sqrt(2)) / 2)


def _information(points: Sequence[Point], intercept: float, slope: float, sigma: float) -> tuple[float, float, float]:
    """Compute the covariance of intercept and slope: the inverse of the observed information in (a, b, ln sigma)."""
    m = [[0.0] * _PARAMETERS for _ in range(_PARAMETERS)]
    for p in points:
        z = (math.log10(p.ohm) - intercept - slope * p.years) / sigma
        if p.over:
            hazard = _hazard(z)
            bend = hazard * (hazard - z)
            mean, cross, spread = bend / sigma**2, (bend * z + hazard) / sigma, (bend * z + hazard) * z
        else:
            mean, cross, spread = 1 / sigma**2, 2 * z / sigma, 2 * z * z
        row = (1.0, p.years)
        for i in range(2):
            for j in range(2):
                m[i][j] += row[i] * row[j] * mean
            m[i][2] += row[i] * cross
            m[2][i] += row[i] * cross
        m[2][2] += spread
    # Schur complement over ln sigma, then the 2 by 2 inverse.
    s = m[2][2] if m[2][2] > 0 else math.inf
    aa, ab, bb = m[0][0] - m[0][2] ** 2 / s, m[0][1] - m[0][2] * m[1][2] / s, m[1][1] - m[1][2] ** 2 / s
    determinant = max(aa * bb - ab * ab, _DETERMINANT_LEAST)
    return bb / determinant, -ab / determinant, aa / determinant
