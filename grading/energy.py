"""Stored energy: when a bus may be measured, how long to discharge after a test, and the gates before one.

Computed times are only the earliest at which to measure; bleeder resistors fail open, so the measured voltage decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from grading.limits import LIMITS
from grading.terms.terminals import auxiliary

MICRO, MILLI = 1_000_000, 1000
"""Microcoulombs in a coulomb; millijoules in a joule."""

GATE_V = LIMITS["energy.gate_voltage"].value


def discharge_time_s(resistance_ohm: Decimal, capacitance_f: Decimal, from_v: Decimal, to_v: Decimal) -> Decimal:
    """Compute the time in s for a capacitor to discharge through a resistor: RC ln(V0/Vf).

    Raises:
        ValueError: A voltage is not above 0, or the end is above the start.

    Example (TV-A01: 47 kΩ, 2200 µF, 325 V to 60 V):
        >>> round(discharge_time_s(Decimal(47_000), Decimal("0.0022"), Decimal(325), Decimal(60)), 1)
        Decimal('174.7')
    """
    if not 0 < to_v <= from_v:
        raise ValueError("Voltages must be above 0, and the end not above the start.")
    return resistance_ohm * capacitance_f * (from_v / to_v).ln()


def voltage_after_v(resistance_ohm: Decimal, capacitance_f: Decimal, from_v: Decimal, time_s: Decimal) -> Decimal:
    """Compute the voltage left after a time: V0 exp(-t/RC).

    Example (TV-A03: 1 kΩ, 2200 µF, 5 s):
        >>> round(voltage_after_v(Decimal(1000), Decimal("0.0022"), Decimal(325), Decimal(5)), 1)
        Decimal('33.5')
    """
    return from_v * (-time_s / (resistance_ohm * capacitance_f)).exp()


def charge_uc(capacitance_f: Decimal, voltage: Decimal) -> Decimal:
    """Compute the stored charge in µC: C V.

    Example (TV-A04):
        >>> charge_uc(Decimal("1e-7"), Decimal(325)).normalize()
        Decimal('32.5')
    """
    return capacitance_f * voltage * MICRO


def energy_mj(capacitance_f: Decimal, voltage: Decimal) -> Decimal:
    """Compute the stored energy in mJ: C V²/2.

    Example (TV-A08-energy):
        >>> energy_mj(Decimal("12e-9"), Decimal(1000)).normalize()
        Decimal('6')
    """
    return capacitance_f * voltage * voltage / 2 * MILLI


def exempt_from_five_seconds(charge: Decimal) -> bool:
    """Tell whether a stored charge in µC is exempt from the 5 s rule (IEC 60204-1, 6.2.4: at most 60 µC).

    Example (TV-A04-exempt and TV-A05-exempt):
        >>> exempt_from_five_seconds(Decimal("32.5")), exempt_from_five_seconds(Decimal("152.75"))
        (True, False)
    """
    return charge <= LIMITS["energy.exempt_charge"].value


def earth_time_s(test_s: Decimal) -> Decimal:
    """Compute how long to discharge the object after a test of `test_s` seconds: four times as long (from memory).

    Example (TV-A06):
        >>> earth_time_s(Decimal(60))
        Decimal('240')
    """
    return LIMITS["energy.discharge_factor"].value * test_s


class GateReason(StrEnum):
    """Why a test may not start."""

    BUS_NOT_MEASURED = "bus_not_measured"
    BUS_LIVE = "bus_live"
    NOT_PROVED_BEFORE = "not_proved_before"
    NOT_PROVED_AFTER = "not_proved_after"
    DRIVE_CONNECTED = "drive_connected"
    AXIS_NOT_SUPPORTED = "axis_not_supported"
    AUXILIARY_CONNECTED = "auxiliary_connected"


@dataclass(frozen=True)
class Gate:
    """Whether a test may start.

    Attributes:
        may_start: False while any reason stands.
        reasons: What is missing or wrong (`grading.prose.gate` says what to do).
        bus_v: Voltage measured on the drive's d.c. bus, V, or None.
        auxiliary: Feedback, brake and sensor leads that are connected to the tester.
    """

    may_start: bool
    reasons: tuple[GateReason, ...]
    bus_v: Decimal | None = None
    auxiliary: tuple[str, ...] = ()


def gate(
    *,
    bus_v: Decimal | None,
    proved_before: bool,
    proved_after: bool,
    drive_disconnected: bool,
    vertical_supported: bool,
    clipped: Sequence[str] = (),
) -> Gate:
    """Tell whether an insulation test may start (program's rule on live-dead-live proving and 29 CFR 1910.333).

    Args:
        bus_v: Voltage measured on the drive's d.c. bus, V; None while not measured.
        proved_before: The meter was tried on a known source before.
        proved_after: And again after.
        drive_disconnected: The motor leads are off the drive.
        vertical_supported: Vertical axes are on blocks (True where there is none).
        clipped: Leads that are connected to the tester.

    Example (TV-A10: the meter was not proved again):
        >>> gate(bus_v=Decimal(12), proved_before=True, proved_after=False, drive_disconnected=True,
        ...      vertical_supported=True).reasons
        (<GateReason.NOT_PROVED_AFTER: 'not_proved_after'>,)
    """
    found = tuple(lead for name in clipped for lead in auxiliary(name))
    wrong = {
        GateReason.BUS_NOT_MEASURED: bus_v is None,
        GateReason.BUS_LIVE: bus_v is not None and abs(bus_v) >= GATE_V,
        GateReason.NOT_PROVED_BEFORE: not proved_before,
        GateReason.NOT_PROVED_AFTER: not proved_after,
        GateReason.DRIVE_CONNECTED: not drive_disconnected,
        GateReason.AXIS_NOT_SUPPORTED: not vertical_supported,
        GateReason.AUXILIARY_CONNECTED: bool(found),
    }
    reasons = tuple(reason for reason, stands in wrong.items() if stands)
    return Gate(not reasons, reasons, bus_v, found)
