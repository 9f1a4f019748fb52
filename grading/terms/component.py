"""What an axis is made of, and which of it a test point names."""

from __future__ import annotations

import re
from enum import StrEnum
from functools import lru_cache

from grading.terms.section import Section
from grading.terms.terminals import CACHED, ends, is_earth, joined


class Component(StrEnum):
    """One component of an axis, with test points and limits of its own (`grading.components`)."""

    POWER = "power_winding"  # armature or three-phase winding, alone or with the cable to it
    CORES = "cable_cores"  # the power cores of the cable alone
    CONNECTOR = "connector"  # plug and terminal box by themselves
    FIELD = "field"  # wound field of a d.c. motor
    BRAKE = "brake_coil"
    TACHO = "tacho"
    FEEDBACK = "encoder"  # encoder, resolver or Hall sensors: supply, signals, shield
    THERMAL = "thermistor"  # thermistors, thermal switches
    FAN = "fan"

    @property
    def power(self) -> bool:
        """Whether it is part of the circuit that the drive feeds."""
        return self in _POWER


_POWER = frozenset({Component.POWER, Component.CORES, Component.CONNECTOR})

COMPONENT_WORDS: dict[Component, str] = {
    Component.POWER: "power winding",
    Component.CORES: "cable cores",
    Component.CONNECTOR: "connector",
    Component.FIELD: "field winding",
    Component.BRAKE: "brake coil",
    Component.TACHO: "tacho",
    Component.FEEDBACK: "encoder",
    Component.THERMAL: "thermal sensor",
    Component.FAN: "fan",
}
"""The name of a component as sentences use it."""

# The most delicate first: a point that joins two components is treated as the one that stands less.
_NAMES: tuple[tuple[Component, re.Pattern[str]], ...] = (
    (Component.FEEDBACK, re.compile(r"ENC.*|RES(OLVER)?.*|HALL.*")),
    (Component.TACHO, re.compile(r"TACH.*|TG\d*|TG[+-]")),
    (Component.THERMAL, re.compile(r"TH\d*|TP\d*|THERM.*|PTC.*|NTC.*|KTY.*|PT1000?|TEMP.*")),
    (Component.FAN, re.compile(r"FAN.*|BLOWER.*")),
    (Component.BRAKE, re.compile(r"B[+-]|BR\d*|BRK\d*|BD\d|BRAKE.*")),
    (Component.FIELD, re.compile(r"F\d{0,2}|F[+-]|FF\d|FIELD|SHUNT|E[12]|D[12]")),
    (Component.CONNECTOR, re.compile(r"PLUG|CONNECTOR|SOCKET")),
)


@lru_cache(maxsize=CACHED)
def named(lead: str) -> Component:
    """Give the component that a lead names; a lead of no known name is one of the power winding.

    Example (letters by IEC 60034-8, from memory, and words of the shop):
        >>> [named(lead).value for lead in ("U", "F1", "B+", "brake coil")]
        ['power_winding', 'field', 'brake_coil', 'brake_coil']
    """
    words = (lead.upper(), *lead.upper().split())
    return next((one for one, name in _NAMES if any(name.fullmatch(word) for word in words)), Component.POWER)


@lru_cache(maxsize=CACHED)
def components(terminals: str) -> tuple[Component, ...]:
    """Give the component at either end of a test point, the most delicate of each; earth is none."""
    rank = {one: number for number, (one, _) in enumerate(_NAMES)}
    found = []
    for end in ends(terminals):
        own = [named(lead) for lead in joined(end) if not is_earth(lead)]
        if own:
            found.append(min(own, key=lambda one: rank.get(one, len(rank))))
    return tuple(sorted(found, key=lambda one: rank.get(one, len(rank))))


@lru_cache(maxsize=CACHED)
def component_of(section: Section | None, terminals: str) -> Component:
    """Give the component that a test point names; at two of them the more delicate.

    Example (the power leads of a cable alone are its cores):
        >>> component_of(Section.MOTOR_ALONE, "U-PE"), component_of(Section.CABLE_ALONE, "U-PE")
        (<Component.POWER: 'power_winding'>, <Component.CORES: 'cable_cores'>)
    """
    found = components(terminals)
    one = found[0] if found else Component.POWER
    return Component.CORES if one is Component.POWER and section is Section.CABLE_ALONE else one


@lru_cache(maxsize=CACHED)
def between(terminals: str) -> bool:
    """Tell whether a test point lies between two components: winding to winding, winding to brake.

    Example (armature to field; phase to phase is one winding):
        >>> between("A1-F1"), between("U-V"), between("U-PE")
        (True, False, False)
    """
    found = components(terminals)
    return len(found) == 2 and found[0] is not found[1]
