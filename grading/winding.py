"""Winding resistance: unbalance, star and delta, leads, the cable in series, and an armature over brush positions.

Resistances may be in any unit, the same for all arguments, unless a name says ohm.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from statistics import median

from grading.limits import LIMITS
from grading.terms.record import record

COPPER_OHM_MM2_PER_M = Decimal("0.017241")
"""Resistivity of annealed copper at 20 °C, Ω·mm²/m (from memory)."""
ARMATURE_SPREAD_PERCENT = LIMITS["winding.armature_spread"].value
OUTLIER_PERCENT = LIMITS["winding.armature_outlier"].value
FEWEST_POSITIONS = int(LIMITS["winding.armature_fewest"].value)


class InconsistentWindingError(ValueError):
    """Three lead-to-lead readings that no star of three positive resistances can give."""


def unbalance_percent(readings: Sequence[Decimal]) -> Decimal:
    """Compute the largest deviation from the mean, percent of the mean (the formula must be kept with the figure).

    Raises:
        ValueError: Fewer than two readings, or a mean of 0.

    Example (TV-F07, ANSI/EASA AR100-2020, quoted second-hand):
        >>> round(unbalance_percent([Decimal("1.20"), Decimal("1.21"), Decimal("1.29")]), 2)
        Decimal('4.59')
    """
    mean = _mean(readings)
    return 100 * max(abs(r - mean) for r in readings) / mean


class OneChanged:
    """Readings of which one is replaced by another: the unbalance of each such list without going through it again."""

    def __init__(self, readings: Sequence[Decimal]) -> None:
        """Add the readings up, and find their extremes.

        Args:
            readings: At least two, above 0, of one unit.
        """
        self._sum, self._readings = sum(readings, Decimal(0)), readings
        order = sorted(range(len(readings)), key=lambda index: readings[index])
        self._ends = [*order[:2], *order[-2:]]

    def unbalance(self, index: int, other: Decimal) -> Decimal:
        """Compute the unbalance with one reading replaced, percent of the mean (see `unbalance_percent`).

        Example (as of the list itself):
            >>> readings = [Decimal("1.20"), Decimal("1.21"), Decimal("1.29")]
            >>> other = Decimal("1.25")
            >>> OneChanged(readings).unbalance(0, other) == unbalance_percent([other, *readings[1:]])
            True
        """
        mean = (self._sum - self._readings[index] + other) / len(self._readings)
        # The largest deviation is at an end of the others, or at the new one.
        away = [abs(self._readings[end] - mean) for end in self._ends if end != index]
        return 100 * max(abs(other - mean), *away) / mean


def spread_percent(readings: Sequence[Decimal]) -> Decimal:
    """Compute (largest - smallest) / mean in percent: the other formula in use, 1.5 to 2 times larger.

    Raises:
        ValueError: Fewer than two readings, or a mean of 0.
    """
    return 100 * (max(readings) - min(readings)) / _mean(readings)


def resolution_percent(readings: Sequence[Decimal], resolution: Decimal) -> Decimal:
    """Compute one count of the meter in percent of the mean: unbalance below this cannot be seen.

    Raises:
        ValueError: Fewer than two readings, or a mean of 0.
    """
    return 100 * resolution / _mean(readings)


def phase_of_star(line_to_line: Decimal) -> Decimal:
    """Compute the phase of a balanced star: half of lead to lead.

    Example (TV-F12):
        >>> phase_of_star(Decimal("1.2"))
        Decimal('0.6')
    """
    return line_to_line / 2


def phase_of_delta(line_to_line: Decimal) -> Decimal:
    """Compute the phase of a balanced delta: 1.5 times lead to lead.

    Example (TV-F13):
        >>> phase_of_delta(Decimal("0.8"))
        Decimal('1.2')
    """
    return line_to_line + line_to_line / 2


def star_phases(r_ab: Decimal, r_bc: Decimal, r_ca: Decimal) -> tuple[Decimal, Decimal, Decimal]:
    """Compute phases A, B, C of a star from its three lead-to-lead readings.

    Raises:
        InconsistentWindingError: A phase would be 0 or less: misread, or not a star.

    Example (TV-F14, circuit theory):
        >>> star_phases(Decimal("1.2"), Decimal("1.21"), Decimal("1.29"))
        (Decimal('0.64'), Decimal('0.56'), Decimal('0.65'))
    """
    half = (r_ab + r_bc + r_ca) / 2
    phases = (half - r_bc, half - r_ca, half - r_ab)
    if min(phases) <= 0:
        raise InconsistentWindingError(
            "These three readings fit no star: one pair reads as much as the other two together. Read them again."
        )
    return phases


def delta_phases(r_ab: Decimal, r_bc: Decimal, r_ca: Decimal) -> tuple[Decimal, Decimal, Decimal]:
    """Compute phases AB, BC, CA of a delta from its three lead-to-lead readings (star to delta transformation).

    Raises:
        InconsistentWindingError: The readings fit no winding of three positive resistances.

    Example (AX-delta_phases-1, circuit theory):
        >>> [str(p.normalize()) for p in delta_phases(Decimal("0.8"), Decimal("0.8"), Decimal("0.8"))]
        ['1.2', '1.2', '1.2']
    """
    a, b, c = star_phases(r_ab, r_bc, r_ca)
    total = a * b + b * c + c * a
    return total / c, total / a, total / b


def lead_compensated(reading: Decimal, shorted_leads: Decimal) -> Decimal:
    """Take the reading with shorted leads off a two-wire reading, not below 0.

    Example (TV-F11):
        >>> lead_compensated(Decimal("0.82"), Decimal("0.18"))
        Decimal('0.64')
    """
    return max(Decimal(0), reading - shorted_leads)


def cable_loop_ohm(length_m: Decimal, core_mm2: Decimal) -> Decimal:
    """Compute the resistance in ohm of two copper cores in series at 20 °C: ρ 2L/A.

    Raises:
        ValueError: The cross section is not above 0.

    Example (TV-F17: 20 m of 2.5 mm²):
        >>> round(cable_loop_ohm(Decimal(20), Decimal("2.5")), 3)
        Decimal('0.276')
    """
    if core_mm2 <= 0:
        raise ValueError("The cross section must be above 0 mm².")
    return COPPER_OHM_MM2_PER_M * 2 * length_m / core_mm2


def joint_residual(cabinet: Decimal, motor: Decimal, cable_loop: Decimal) -> Decimal:
    """Compute what remains of the cabinet's lead-to-lead reading after motor and cable: joints, crimps, broken strands.

    Example (TV-F19):
        >>> joint_residual(Decimal("1.6"), Decimal("0.8"), Decimal("0.276"))
        Decimal('0.524')
    """
    return cabinet - motor - cable_loop


def expected_armature_ohm(
    rated_voltage: Decimal,
    rated_current: Decimal,
    low_percent: Decimal = LIMITS["winding.armature_rating_low"].value,
    high_percent: Decimal = LIMITS["winding.armature_rating_high"].value,
) -> tuple[Decimal, Decimal]:
    """Compute a rough range of a d.c. armature's resistance: 5 to 15 % of U/I (program's rule, an order of magnitude).

    Args:
        rated_voltage: V.
        rated_current: A.
        low_percent: Lower end, percent of U/I.
        high_percent: Upper end, percent of U/I.

    Raises:
        ValueError: The rated current is not above 0.

    Example (TV-F20):
        >>> expected_armature_ohm(Decimal(90), Decimal(10))
        (Decimal('0.45'), Decimal('1.35'))
    """
    if rated_current <= 0:
        raise ValueError("The rated current must be above 0 A.")
    whole = rated_voltage / rated_current
    return whole * low_percent / 100, whole * high_percent / 100


class ArmaturePattern(StrEnum):
    """What readings over shaft positions point at (program's rule)."""

    EVEN = "even"
    BRUSHES = "brushes"  # the spread is too wide without a single outlier: brushes or commutator
    ONE_HIGH = "one high"  # dirty or dead bar, riser or open coil
    ONE_LOW = "one low"  # shorted coil or bridged bars
    SEVERAL = "several"  # open coil in a two-path winding, or brushes and commutator


@record
class ArmatureSurvey:
    """Armature readings over several shaft positions.

    Attributes:
        median: The value that judges (the reading contains brush contacts that depend on the position).
        smallest: Best estimate of the armature alone.
        largest: Largest reading.
        outliers: Positions (0-based) more than 30 % off the median.
        spread_percent: (largest - smallest)/median without the outliers, percent.
        pattern: What the spread points at.
    """

    median: Decimal
    smallest: Decimal
    largest: Decimal
    outliers: tuple[int, ...]
    spread_percent: Decimal
    pattern: ArmaturePattern


def survey_armature(
    readings: Sequence[Decimal],
    spread_percent: Decimal = ARMATURE_SPREAD_PERCENT,
    outlier_percent: Decimal = OUTLIER_PERCENT,
) -> ArmatureSurvey:
    """Judge armature readings over shaft positions (protocol and patterns are program's rules).

    Args:
        readings: One per position, in order; eight or more are wanted.
        spread_percent: Largest spread without outliers that is even, percent of the median.
        outlier_percent: How far off the median a position is an outlier, percent.

    Raises:
        ValueError: Fewer than three readings, or a median of 0.

    Example (TV-F22: the eighth of twelve positions is off):
        >>> values = "0.84 0.82 0.86 0.83 0.85 0.82 0.84 1.62 0.83 0.84 0.85 0.83".split()
        >>> survey = survey_armature([Decimal(value) for value in values])
        >>> survey.median, survey.outliers, survey.pattern.value
        (Decimal('0.84'), (7,), 'one high')
    """
    if len(readings) < FEWEST_POSITIONS:
        raise ValueError("At least three shaft positions are needed; eight or more are wanted.")
    middle = median(readings)
    if middle <= 0:
        raise ValueError("The readings must be above 0.")
    outliers = tuple(i for i, r in enumerate(readings) if abs(r - middle) * 100 > outlier_percent * middle)
    kept = [r for i, r in enumerate(readings) if i not in outliers] or list(readings)
    spread = 100 * (max(kept) - min(kept)) / middle
    if len(outliers) == 1:
        pattern = ArmaturePattern.ONE_HIGH if readings[outliers[0]] > middle else ArmaturePattern.ONE_LOW
    elif outliers:
        pattern = ArmaturePattern.SEVERAL
    else:
        pattern = ArmaturePattern.BRUSHES if spread > spread_percent else ArmaturePattern.EVEN
    return ArmatureSurvey(middle, min(readings), max(readings), outliers, spread, pattern)


def _mean(readings: Sequence[Decimal]) -> Decimal:
    if len(readings) < 2:
        raise ValueError("At least two readings are needed.")
    mean = sum(readings, Decimal(0)) / len(readings)
    if mean == 0:
        raise ValueError("The readings must not all be 0.")
    return mean
