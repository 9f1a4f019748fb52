"""What can be noted beside a measurement."""

from __future__ import annotations

from enum import StrEnum


class Circumstance(StrEnum):
    """Something that was noted beside a measurement and bears on what it can prove."""

    UNSTEADY = "unsteady"  # the value or the voltage was still moving when it was read
    FALLING = "falling"  # the value fell while the test voltage stayed on
    LOW_BATTERY = "low_battery"
    LEADS_ZEROED = "leads_zeroed"  # the meter has already subtracted its lead resistance
    BRUSHES_OUT = "brushes_out"
    REVERSED = "reversed"  # taken again with the leads swapped over
    FLEXED = "flexed"  # the cable was moved while reading
    AFTER_CLEANING = "after_cleaning"  # first reading after cleaning, drying, rewinding or a new cable
    CHECKED = "checked"  # value, unit and temperature were looked up again; nothing more is asked about them
    ONE_PHASE_ONLY = "one_phase_only"  # the other phases were earthed or guarded
