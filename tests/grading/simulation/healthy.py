"""What a healthy axis may be: the tolerances that circuits are drawn from and that readings are judged against.

The two uses differ on purpose: circuits are drawn from a little less than what is allowed, so that a healthy circuit
never lies on the edge. "Common practice, no source" stands where nothing better is known, "from memory" where a figure
was not read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from grading.measurement import MotorKind

M = 1e6

MOTOR_LEAST_40C = {MotorKind.AC_SERVO: 100 * M, MotorKind.SPINDLE: 100 * M, MotorKind.DC_SERVO: 10 * M}
"""Joined winding to frame, one minute, at 40 °C, ohm, of circuits as drawn. Common practice, no source: servo windings
read far above 100 MΩ; many healthy brushed armatures live at 5 to 50 MΩ because of brush dust."""
JUDGED_LEAST_40C = {**MOTOR_LEAST_40C, MotorKind.DC_SERVO: 5 * M}
"""The same as readings are judged against it; armatures: IEEE 43-2013, Table 3 (read in a secondary text)."""
CABLE_LEAST, CABLE_LEAST_LOW, CABLE_LOW_V = 100 * M, 25 * M, 250.0
"""A core of a servo cable to earth and to the next, ohm: guidance of ANSI/NETA ATS Table 100.1 for apparatus of 600 V,
and of 250 V up to there; from memory."""
CONTACT_LEAST = 1000 * M
"""Dry plug, each contact to its shell, ohm. Common practice, no source."""
AUXILIARY_LEAST = 1 * M
"""Brake coil, thermistor to frame, each, ohm: IEC 60204-1, 18.3 (read in a secondary text)."""

WINDING_UNBALANCE = 0.02
"""Largest deviation from the mean of lead-to-lead values, motor alone: ANSI/EASA AR100-2020, quoted, random-wound."""
CABLE_UNBALANCE = 0.03
"""The same through the cable. Common practice, no source."""
NAMEPLATE = 0.05
"""Deviation from the catalogue's resistance at its temperature. Common practice, no source."""
JOINTS_MOST_OHM, JOINTS_MOST_SHARE = 0.05, 0.05
"""What the reading from the cabinet may hold beyond motor and cable. Common practice, no source."""
BRUSHED_SPREAD = 0.20
"""Spread of armature readings over shaft positions. Common practice, no source."""
BRUSH_MOST_OHM = 1.0
"""Both brush contacts under a few mA, ohm. Common practice, no source (0.05 to several Ω)."""

BRAKE_OHM = (10.0, 3000.0)
"""Holding brakes for 24 V (15 to 60 Ω), 90 V (200 to 900 Ω), 205 V (1 to 3 kΩ). Common practice, no source."""
THERMISTOR_OHM = (0.0, 1500.0)
"""Thermal switch below 1 Ω, PTC chain 60 to 750 Ω cold, silicon sensor about 600 to 1200 Ω. From memory."""
CONTINUITY_MOST_OHM = 5.0
"""One core of a machine's cable with the meter's leads. Common practice, no source (200 m of 1 mm² are 3.4 Ω)."""
DEAD_MOST_V = 50.0
"""Voltage to earth up to which a point may count as dead: 29 CFR 1910.333 (a)(1), read."""

REPEATABILITY = 0.20
"""Insulation readings of one sound point taken again: ±20 %. Common practice, no source."""
WHOLE_LOW, WHOLE_HIGH = 0.7, 1.4
"""The whole over what its parts give together: consistent between these. Common practice, no source."""
STEP_DROP = 0.25
"""Fall from one test voltage to the next up to which insulation counts as equal. From memory."""
ABSORPTION_POWER = 1.0
"""Absorption current falls at most with 1/t (Curie - von Schweidler law, from memory: exponents 0.4 to 1), so that a
value after t seconds is at least t/60 of the one-minute value."""

RHO_COPPER, ALPHA_ZERO = 0.017241, 234.5
"""Ω·mm²/m at 20 °C (from memory), and the zero of copper's resistance below 0 °C (read in secondary texts)."""


def thermoset_factor(winding_c: float) -> float:
    """Give what brings an insulation resistance to 40 °C: IEEE 43-2013, 6.3, thermosetting (constants from memory)."""
    constant = 4230.0 if winding_c >= 40 else 1245.0
    return math.exp(-constant * (1 / (winding_c + 273) - 1 / 313))


def thermoplastic_factor(winding_c: float) -> float:
    """Give the same for thermoplastic insulation: halving for every 10 K."""
    return float(0.5 ** ((40 - winding_c) / 10))


def factor_at(winding_c: float, *, plastic: bool) -> float:
    """Give the factor of one insulation system."""
    return thermoplastic_factor(winding_c) if plastic else thermoset_factor(winding_c)


def least_factor_at(winding_c: float | None) -> float:
    """Give the largest factor over both systems and ±3 K (or 10 to 85 °C): least ohm now = least at 40 °C over this."""
    warm = 85.0 if winding_c is None else max(-20.0, min(85.0, winding_c + 3))
    return max(thermoset_factor(warm), thermoplastic_factor(warm))


def loop_ohm(length_m: float, core_mm2: float) -> float:
    """Give the resistance of two cores of a cable in series at 20 °C, ohm."""
    return RHO_COPPER * 2 * length_m / core_mm2


@dataclass(frozen=True)
class Known:
    """What is written down of an axis and bears on what is healthy.

    Attributes:
        motor: Kind.
        winding_c: Winding temperature as recorded, °C.
        plate_ohm: Lead to lead by nameplate, ohm, or None.
        plate_c: Its temperature, °C.
        length_m: Of the cable, or None.
        core_mm2: Of one core, or None.
        rated_v: Rated voltage, V.
    """

    motor: MotorKind
    winding_c: float | None = None
    plate_ohm: float | None = None
    plate_c: float = 20.0
    length_m: float | None = None
    core_mm2: float | None = None
    rated_v: float = 400.0

    @property
    def cable_least(self) -> float:
        """The least that a core of the cable shows by itself, ohm."""
        return CABLE_LEAST_LOW if self.rated_v <= CABLE_LOW_V else CABLE_LEAST
