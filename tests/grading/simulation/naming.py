"""How technicians name what they measured, and how they get it wrong."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from grading.measurement import Measurement
from grading.terms.quantity import Qualifier, Quantity
from tests.grading.simulation.bench import EARTH, MOTOR_ALONE, WHOLE, Point

EARTHS = (
    "PE",
    "GND",
    "G",
    "FRAME",
    "EARTH",
    "ground",
    "shaft",
    "chassis",
    "housing",
    "body",
    "GRD",
    "E",
    "MASS",
    "case",
)
"""Names of earth heard in shops. Common practice, no source."""
_OTHERS = {"B1": ("B+", "BR1", "BRAKE1"), "B2": ("B-", "BR2", "BRAKE2"), "T1": ("TH1", "PTC1"), "T2": ("TH2", "PTC2")}
_OTHERS |= dict.fromkeys(("S1", "S2"), ("ENC shield", "encoder screen", "RESOLVER SHIELD"))


@dataclass(frozen=True)
class Manner:
    """How one technician writes test points.

    Attributes:
        earth: What earth is called.
        separator: Between the ends.
        join: Between joined leads.
        lower: In small letters.
        unnamed: Leads are not named where that is possible.
        variant: Which of the names of brake and thermistor.
    """

    earth: str
    separator: str
    join: str
    lower: bool
    unnamed: bool
    variant: int

    def name(self, point: Point) -> str:
        """Write a test point."""
        if self.unnamed and not point.auxiliary and point.first[0] != point.second[0]:
            return "lead-ground" if point.to_earth else "lead-lead"
        ends = [self._end(point.first), self._end(point.second)]
        text = self.separator.join(ends)
        return text.lower() if self.lower else text

    def _end(self, leads: tuple[str, ...]) -> str:
        if leads == (EARTH,):
            return self.earth
        names = [_OTHERS[lead][self.variant % len(_OTHERS[lead])] if lead in _OTHERS else lead for lead in leads]
        return self.join.join(names)


def draw_manner(rng: random.Random) -> Manner:
    """Draw how one technician writes."""
    plain = rng.random() < 0.5
    return Manner(
        earth="PE" if plain else rng.choice(EARTHS),
        separator="-" if rng.random() < 0.8 else rng.choice((" - ", "/", " to ")),
        join="+" if rng.random() < 0.9 else "",
        lower=rng.random() < 0.1,
        unnamed=rng.random() < 0.1,
        variant=rng.randrange(3),
    )


_WRONG_UNIT = {
    "MOhm": ("kOhm", "mOhm", "GOhm", "Ohm"),
    "GOhm": ("MOhm",),
    "kOhm": ("MOhm", "Ohm"),
    "Ohm": ("kOhm", "mOhm", "MOhm"),
    "V": ("kV", "mV"),
}


def with_wrong_unit(measurement: Measurement, rng: random.Random) -> Measurement:
    """Give the same row with a unit that was typed wrong."""
    quantity = measurement.quantity
    if quantity.digits is None or quantity.unit not in _WRONG_UNIT:
        return measurement
    wrong = Quantity(quantity.digits, rng.choice(_WRONG_UNIT[quantity.unit]), quantity.qualifier)
    return replace(measurement, quantity=wrong)


def swapped_leads(point: Point, one: str, other: str) -> Point:
    """Give the point as it is named where two leads are taken for one another."""
    names = {one: other, other: one}

    def swap(leads: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(names.get(lead, lead) for lead in leads)

    return replace(point, first=swap(point.first), second=swap(point.second))


def swapped_section(point: Point) -> Point:
    """Give the point as it is named where the motor alone is written down as through the cable, and the reverse."""
    other = {MOTOR_ALONE: WHOLE, WHOLE: MOTOR_ALONE}
    return replace(point, section=other.get(point.section, point.section))


def spoken(quantity: Quantity) -> str:
    """Write a quantity for a person."""
    words = {
        Qualifier.OPEN: "OL",
        Qualifier.NONE: "----",
        Qualifier.SHORT: "short",
        Qualifier.COLLAPSED: "does not build",
    }
    if quantity.qualifier in words:
        digits = "" if quantity.digits is None else f" ({quantity.digits} {quantity.unit})"
        return words[quantity.qualifier] + digits
    sign = "" if quantity.qualifier is Qualifier.EQUAL else f"{quantity.qualifier.value} "
    return f"{sign}{quantity.digits} {quantity.unit}"
