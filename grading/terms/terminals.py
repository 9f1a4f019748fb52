"""Test points by name: which leads, and whether one of them is earth."""

from __future__ import annotations

import re

from grading.terms.quantity import TO_EARTH_KINDS, QuantityKind

EARTH = frozenset({"PE", "G", "GND", "GROUND", "EARTH", "FRAME", "CASE", "SHELL", "SHIELD", "SCREEN", "BODY"})
# Leads that must never be connected to an insulation tester: feedback, brake, thermal sensor, fan.
_AUXILIARY = re.compile(r"B[+-]|BR\d*|BRAKE.*|ENC.*|RES(OLVER)?.*|TACH.*|TH\d*|THERM.*|PTC.*|NTC.*|FAN.*|HALL.*")

GENERAL = frozenset({"lead-ground", "lead-lead"})
"""Test points that name no lead and stand for any of their kind."""


def is_earth(lead: str) -> bool:
    """Tell whether a lead is earth, frame or shield, whatever it is called."""
    return lead.strip().upper() in EARTH


def is_general(terminals: str) -> bool:
    """Tell whether a test point names no lead: "lead-ground" or "lead-lead"."""
    return terminals in GENERAL


def ends(terminals: str) -> tuple[str, str]:
    """Give both ends of a test point in upper case: "u+v+w-pe" -> ("U+V+W", "PE").

    Without a hyphen ("U/PE", "U to PE", "U PE") the usual separators are tried; a name with one end only gives an
    empty second.

    Example (both ends of a test point):
        >>> ends("u+v+w-pe")
        ('U+V+W', 'PE')
    """
    text = terminals.strip().upper()
    for separator in (r"\s*[-–]\s*(?![-+]?$)", r"\s*/\s*", r"\s+TO\s+", r"\s+"):
        parts = re.split(separator, text, maxsplit=1)
        if len(parts) == 2 and all(parts):
            return parts[0], parts[1]
    return text, ""


def leads(terminals: str) -> tuple[str, ...]:
    """Give every lead but earth, in order: "U+V+W-PE" -> ("U", "V", "W")."""
    found = [part.strip() for end in ends(terminals) for part in end.split("+") if part.strip()]
    return tuple(lead for lead in found if not is_earth(lead))


def to_earth(terminals: str) -> bool:
    """Tell whether one end is earth, frame or shield; a point that names one end only is taken as to earth.

    Example (earth at one end, or none):
        >>> to_earth("U-PE"), to_earth("A1-A2")
        (True, False)
    """
    first, second = ends(terminals)
    return not second or is_earth(first) or is_earth(second)


def measured_to_earth(kind: QuantityKind, terminals: str) -> bool:
    """Tell whether a reading is a resistance to earth: of a kind that is, at a test point that is.

    Example (core to core of a cable is insulation, but not to earth):
        >>> measured_to_earth(QuantityKind.INSULATION_RESISTANCE, "U-PE")
        True
        >>> measured_to_earth(QuantityKind.INSULATION_RESISTANCE, "U-V")
        False
    """
    return kind in TO_EARTH_KINDS and to_earth(terminals)


def pair(terminals: str) -> frozenset[str]:
    """Give a lead-to-lead point without order: "V-U" equals "U-V"."""
    return frozenset(ends(terminals))


def auxiliary(terminals: str) -> tuple[str, ...]:
    """Give the leads in the test point that no test voltage may reach (brake, encoder, thermal sensor, fan).

    Example (TV-A11: brake leads stay out):
        >>> auxiliary("B+-B-")
        ('B+', 'B-')
    """
    whole = ends(terminals)
    parts = [part.strip() for end in whole for part in ([end] if _AUXILIARY.fullmatch(end) else end.split("+"))]
    return tuple(part for part in parts if part and _AUXILIARY.fullmatch(part))
