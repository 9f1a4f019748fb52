"""Test points by name: which leads, and whether one of them is earth."""

from __future__ import annotations

import re
from functools import lru_cache

from grading.terms.quantity import TO_EARTH_KINDS, QuantityKind

CACHED = 4096
"""Names of test points kept at hand; a job has a few dozen."""
EARTH = frozenset(
    {"PE", "PEN", "E", "G", "GND", "GRD", "GRND", "GROUND", "GROUNDED", "EARTH", "EARTHED", "MASS", "MASSE", "MASSA"}
    | {"FRAME", "CASE", "CASING", "SHELL", "BODY", "HOUSING", "ENCLOSURE", "CHASSIS", "SHAFT", "YOKE", "IRON"}
    | {"FLANGE", "CASTING", "BED", "SHIELD", "SCREEN"}
)
"""Words for earth in the shop, spoken ones too (common practice, no source)."""
_NUMBERED_EARTH = re.compile(r"(PE|GND|GRD)\d+")
# Leads that must never be connected to an insulation tester: feedback, brake, thermal sensor, fan.
_AUXILIARY = re.compile(
    r"B[+-]|BR\d*|BRK\d*|BD\d|BRAKE.*|ENC.*|RES(OLVER)?.*|TACH.*|TG\d*|TG[+-]|TH\d*|TP\d*|THERM.*|PTC.*|NTC.*|KTY.*"
    r"|PT1000?|TEMP.*|FAN.*|BLOWER.*|HALL.*"
)
_FILLERS = frozenset(
    {"TIED", "TOGETHER", "JOINED", "SHORTED", "CONNECTED", "LINKED", "BOTH", "AND", "PHASE", "PHASES", "LEADS"}
    | {"TO", "AT", "OF", "THE"}
)
_RUN = re.compile(r"[UVW]{2,3}|[RST]{2,3}|(?:[A-Z]\d){2,}")  # leads written without a break: UVW, A1A2, L1L2L3
_LEAD = re.compile(r"[A-Z]\d|[A-Z]")

PHASES = 3
"""Windings of a three-phase motor."""

GENERAL = frozenset({"lead-ground", "lead-lead"})
"""Test points that name no lead and stand for any of their kind."""


@lru_cache(maxsize=CACHED)
def is_earth(lead: str) -> bool:
    """Tell whether a lead is earth, frame or shield, whatever it is called: "PE", "motor housing", "shaft".

    The shield of a feedback cable belongs to that cable and is no earth.
    """
    words = lead.upper().split()
    earthed = [word for word in words if word in EARTH or _NUMBERED_EARTH.fullmatch(word)]
    shields = earthed and all(word in ("SHIELD", "SCREEN") for word in earthed)
    return bool(earthed) and not (shields and any(_AUXILIARY.fullmatch(word) for word in words))


def is_general(terminals: str) -> bool:
    """Tell whether a test point names no lead: "lead-ground" or "lead-lead"."""
    return terminals in GENERAL


@lru_cache(maxsize=CACHED)
def ends(terminals: str) -> tuple[str, str]:
    """Give both ends of a test point in upper case: "u+v+w-pe" -> ("U+V+W", "PE").

    Without a hyphen ("U/PE", "U to PE", "U PE") the usual separators are tried; a name with one end only gives an
    empty second.

    Example (both ends of a test point):
        >>> ends("u+v+w-pe")
        ('U+V+W', 'PE')
    """
    text = terminals.strip().upper()
    for separator in (r"\s*[-–](?!\s*[-–]|\s+TO\s|\s*/)\s*(?![-+]?$)", r"\s+TO\s+(?!$)", r"\s*/\s*", r"\s+"):
        parts = re.split(separator, text, maxsplit=1)
        if len(parts) == 2 and all(parts):
            return parts[0], parts[1]
    return text, ""


@lru_cache(maxsize=CACHED)
def joined(end: str) -> tuple[str, ...]:
    """Give the leads that are joined at one end of a test point, earth among them.

    Example (several phases tied together, however they are written):
        >>> joined("U+V+W"), joined("UVW"), joined("U, V and W tied")
        (('U', 'V', 'W'), ('U', 'V', 'W'), ('U', 'V', 'W'))
        >>> joined("V+W+PE")
        ('V', 'W', 'PE')
    """
    found: list[str] = []
    for piece in re.split(r"[,&=]|\+(?!\s*(?:$|[-,&=+\s]))", end.upper()):
        segment = piece.strip()
        words = segment.split()
        if is_earth(segment) or any(_AUXILIARY.fullmatch(word) for word in words):
            found.append(segment)
            continue
        for word in re.split(r"[\s/]+", segment):
            if word and word not in _FILLERS:
                found.extend(_LEAD.findall(word) if _RUN.fullmatch(word) else [word])
    return tuple(found) or tuple(part for part in (end.strip(),) if part)


def leads(terminals: str) -> tuple[str, ...]:
    """Give every lead but earth, in order: "U+V+W-PE" -> ("U", "V", "W")."""
    return tuple(lead for end in ends(terminals) for lead in joined(end) if not is_earth(lead))


@lru_cache(maxsize=CACHED)
def to_earth(terminals: str) -> bool:
    """Tell whether one end is earth, frame or shield; a point that names one end only is taken as to earth.

    Example (earth at one end, or none; the other phases tied to earth are earth too):
        >>> to_earth("U-PE"), to_earth("U-shaft"), to_earth("U-V+W+PE"), to_earth("A1-A2")
        (True, True, True, False)
    """
    first, second = ends(terminals)
    return not second or any(is_earth(lead) for end in (first, second) for lead in joined(end))


def measured_to_earth(kind: QuantityKind, terminals: str) -> bool:
    """Tell whether a reading is a resistance to earth: of a kind that is, at a test point that is.

    Example (core to core of a cable is insulation, but not to earth):
        >>> measured_to_earth(QuantityKind.INSULATION_RESISTANCE, "U-PE")
        True
        >>> measured_to_earth(QuantityKind.INSULATION_RESISTANCE, "U-V")
        False
    """
    return kind in TO_EARTH_KINDS and to_earth(terminals)


_PHASE_END = re.compile(r"(?P<phase>[UVW])[12]|T(?P<number>[1-6])")
"""A lead of a motor whose windings come out at both ends (IEC 60034-8, and T1 to T6; from memory)."""


@lru_cache(maxsize=CACHED)
def two_of_six(terminals: str) -> bool:
    """Tell whether a test point lies between two phases of a motor whose windings come out at both ends.

    Example (U1-U2 and T1-T4 are one winding; plain U-V are joined inside the motor):
        >>> [two_of_six(terminals) for terminals in ("U1-V1", "W2-V1", "T1-T2", "U1-U2", "T1-T4", "U-V", "U1-PE")]
        [True, True, True, False, False, False, False]
    """
    both = [_PHASE_END.fullmatch(end) for end in ends(terminals)]
    if both[0] is None or both[1] is None:
        return False
    one, other = both[0], both[1]
    if one["phase"] and other["phase"]:
        return one["phase"] != other["phase"]
    if not (one["number"] and other["number"]):
        return False
    # T1-T4, T2-T5 and T3-T6 are the phases.
    return int(one["number"]) % PHASES != int(other["number"]) % PHASES


def pair(terminals: str) -> frozenset[str]:
    """Give a lead-to-lead point without order: "V-U" equals "U-V"."""
    return frozenset(ends(terminals))


@lru_cache(maxsize=CACHED)
def point(terminals: str) -> frozenset[frozenset[str]]:
    """Give a test point as what it is: the leads of either end without order, earth under one name.

    Example (one point under several names):
        >>> point("U+V+W-PE") == point("frame to W+V+U") == point("UVW")
        True
        >>> point("U-PE") == point("V-PE")
        False
    """
    first, second = ends(terminals)
    both = [first, second] if second else [first, "PE"]
    return frozenset(frozenset("PE" if is_earth(lead) else lead for lead in joined(end)) for end in both)


def auxiliary(terminals: str) -> tuple[str, ...]:
    """Give the leads in the test point that no test voltage may reach (brake, encoder, thermal sensor, fan).

    Example (TV-A11: brake leads stay out):
        >>> auxiliary("B+-B-")
        ('B+', 'B-')
    """
    return tuple(
        lead
        for end in ends(terminals)
        for lead in joined(end)
        if not is_earth(lead) and any(_AUXILIARY.fullmatch(word) for word in (lead, *lead.split()))
    )
