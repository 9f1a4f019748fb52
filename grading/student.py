"""Quantiles of Student's t for whole degrees of freedom, from the finite series (Abramowitz and Stegun, 26.7.3-4)."""

from __future__ import annotations

import math


def t_cdf(t: float, dof: int) -> float:
    """Compute the probability that Student's t with `dof` degrees of freedom is at most t.

    Raises:
        ValueError: `dof` is below 1.

    Example (the same quantile the other way round):
        >>> round(t_cdf(3.182, 3), 3)
        0.975
    """
    if dof < 1:
        raise ValueError("Student's t needs at least one degree of freedom.")
    theta = math.atan(t / math.sqrt(dof))
    sine, cosine = math.sin(theta), math.cos(theta)
    term, total = (1.0, 1.0) if dof % 2 == 0 else (cosine, cosine)
    for k in range(2 if dof % 2 == 0 else 3, dof, 2):
        term *= (k - 1) / k * cosine * cosine
        total += term
    inside = sine * total if dof % 2 == 0 else 2 / math.pi * (theta + (sine * total if dof > 1 else 0.0))
    return 0.5 + inside / 2


def t_quantile(probability: float, dof: int) -> float:
    """Compute the t that Student's t stays at or below with a probability between 0.5 and 1, by bisection.

    Raises:
        ValueError: The probability is outside 0.5 to 1, or `dof` is below 1.

    Example (t(0.975, 3) = 3.182, as in TV-J03):
        >>> round(t_quantile(0.975, 3), 3)
        3.182
    """
    if not 0.5 < probability < 1:
        raise ValueError("The probability must lie between 0.5 and 1.")
    low, high = 0.0, 1.0
    while t_cdf(high, dof) < probability:
        low, high = high, 2 * high
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if t_cdf(middle, dof) < probability else (low, middle)
    return high
