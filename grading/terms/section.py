"""Which part of an axis was connected to the meter, and what it is called."""

from __future__ import annotations

from enum import StrEnum


class Section(StrEnum):
    """Which part of an axis was connected to the meter."""

    THROUGH_CABLE = "through_cable"  # from the cabinet: cable and motor together
    MOTOR_ALONE = "motor_alone"
    CABLE_ALONE = "cable_alone"


SECTION_WORDS: dict[Section, str] = {
    Section.THROUGH_CABLE: "through the cable",
    Section.MOTOR_ALONE: "motor alone",
    Section.CABLE_ALONE: "cable alone",
}
"""The name of a section as it is spoken, and in lists where the place is short."""

_IN_FULL = {**SECTION_WORDS, Section.THROUGH_CABLE: "motor and cable together"}


def section_in_full(section: Section | None) -> str:
    """Name a section as sentences do: "motor and cable together".

    Example (as in sentences):
        >>> section_in_full(Section.THROUGH_CABLE)
        'motor and cable together'
    """
    return "section not recorded" if section is None else _IN_FULL[section]
