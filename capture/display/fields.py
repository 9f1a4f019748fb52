"""From marks to fields: the main string with its point and unit, and what the small fields beside it say.

The main string is the row of the largest characters. A sign before it may be a third as high. Each small number takes
the unit at its right; the unit that nobody else takes is the main one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from capture.display.glyphs import ANNUNCIATORS, UNIT_TOKENS
from capture.display.marks import Mark
from grading.terms.quantity import UNITS

SAME_ROW = 0.4
"""Characters whose middles differ by less than this share of their height stand in one row."""
MAIN_HEIGHT = 0.7
"""A character of the main row has at least this share of the height of the largest."""

_CHARS = {"inf": "∞", "unreadable": "?", "other": "¿"}


@dataclass(frozen=True)
class SmallField:
    """A field beside the main string, or an annunciator.

    Attributes:
        name: As in `Fields.small`, or the annunciator.
        text: As shown; "on" for an annunciator.
        confidence: The least of its marks, 0..1.
        box: Around it: x0, y0, x1, y1, canvas px.
        unit: UCUM code of its own unit; None without one of ours.
        height: Of its characters, canvas px; 0 for an annunciator.
    """

    name: str
    text: str
    confidence: float
    box: tuple[float, float, float, float]
    unit: str | None = None
    height: float = 0.0


@dataclass
class Fields:
    """What one view of a display says.

    Attributes:
        text: The main string; "?" for an unreadable character, "¿" for one that is no digit.
        chars: The marks of the main string, left to right, points included.
        unit: UCUM code of the main unit, "unit_other", "unreadable", or None.
        value_confidence: The least of the characters, 0..1.
        dot_confidence: That the points are where they are and nowhere else, 0..1.
        unit_confidence: Of the unit, 0..1; 0 without one.
        small: Other fields by name.
        annunciators: Those seen, in the order of `ANNUNCIATORS`.
        seen: The same fields and annunciators with confidence and place.
        height: Height of the main digits, canvas px.
        slope: How much the main row falls per px to the right; 0 where it has fewer than three characters.
        used: The marks of main string and unit.
        rival: Height of the largest other nameless number as a share of the main one's; 0 without one.
        nameless: Where such numbers stand: x0, y0, x1, y1, canvas px.
        foreign: Of each of them its text if a unit that is none of ours stands beside it; else "".
        unit_rival: Confidence of the likeliest other unit that no number has taken, 0..1.
        box: Around main string and unit: x0, y0, x1, y1, canvas px; None without a main string.
    """

    text: str = ""
    chars: list[Mark] = field(default_factory=list)
    unit: str | None = None
    value_confidence: float = 0.0
    dot_confidence: float = 0.0
    unit_confidence: float = 0.0
    small: dict[str, str] = field(default_factory=dict)
    annunciators: tuple[str, ...] = ()
    seen: list[SmallField] = field(default_factory=list)
    height: float = 0.0
    slope: float = 0.0
    used: list[Mark] = field(default_factory=list)
    rival: float = 0.0
    nameless: list[tuple[float, float, float, float]] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    unit_rival: float = 0.0
    box: tuple[float, float, float, float] | None = None


def mark_confidence(mark: Mark) -> float:
    """Give the confidence in one mark: that it is there, and that it is what it seems; 0..1."""
    # From 0.6 the mark is taken to be there, and only its class can be in doubt.
    return min(1.0, mark.heat / 0.6) * mark.confidence


MIN_COUNTED_HEAT = (0.35, 0.42, 0.3)
"""Heat from which a mark counts, per group; a weaker point still makes the point doubtful."""


def arranged(marks: list[Mark]) -> Fields:
    """Arrange marks with the largest row as the main one; see `leading.arrange` for which number leads."""
    weak = [m for m in marks if m.group != 2 and m.heat <= MIN_COUNTED_HEAT[m.group]]
    marks = [m for m in marks if m.heat > MIN_COUNTED_HEAT[m.group]]
    glyphs = [m for m in marks if m.group == 0]
    points = [m for m in marks if m.group == 1]
    tokens = [m for m in marks if m.group == 2]
    main = _main_row(glyphs, [t for t in tokens if t.name in UNIT_TOKENS])
    lit = _annunciators(tokens)
    annunciators = tuple(f.name for f in lit)
    if not main:
        small, _ = _small_fields(glyphs, points, tokens)
        return Fields(small={s.name: s.text for s in small}, annunciators=annunciators, seen=[*small, *lit])
    height = float(np.median([m.height for m in main if m.name not in "-<>"] or [max(m.height, m.width) for m in main]))
    row_points, lesser = _one_point([p for p in points if _in_row(p, main, height)])
    weak += lesser
    rest = [g for g in glyphs if g not in main]
    small, taken = _small_fields(rest, [p for p in points if p not in row_points and p not in lesser], tokens)
    chars = sorted([*main, *row_points], key=lambda m: m.x)
    free = [t for t in tokens if t.name in UNIT_TOKENS and t not in taken]
    unit = _main_unit(main, height, free)
    result = Fields(
        text="".join(_CHARS.get(m.name, m.name) for m in chars), chars=chars, height=height,
        small={s.name: s.text for s in small}, annunciators=annunciators, seen=[*small, *lit],
        value_confidence=min(*(mark_confidence(m) for m in main), _nothing_lost(main, weak, height)),
        dot_confidence=_dot_confidence(main, row_points, weak, height),
    )  # fmt: skip
    others = _nameless(rest, points, tokens)
    result.rival = max((_height_of(group) for group in others), default=0.0) / max(height, 1.0)
    result.nameless = [around(group) for group in others]
    result.foreign = [_foreign(group, points, tokens) for group in others]
    parts = list(main)
    result.slope = _slope([m for m in main if m.name not in "-<>"])
    result.used = [*chars, *([unit] if unit is not None else [])]
    if unit is not None:
        result.unit, result.unit_confidence = unit.name, mark_confidence(unit)
        result.unit_rival = max(
            [mark_confidence(t) for t in free if t is not unit and t.name != unit.name], default=0.0
        )
        parts.append(unit)
    result.box = around(parts)
    return result


def around(marks: list[Mark]) -> tuple[float, float, float, float]:
    """Give the box around some marks: x0, y0, x1, y1, canvas px."""
    tops, bottoms = [m.y - m.height / 2 for m in marks], [m.y + m.height / 2 for m in marks]
    return min(m.left for m in marks), min(tops), max(m.right for m in marks), max(bottoms)


def _annunciators(tokens: list[Mark]) -> list[SmallField]:
    """Collect the annunciators above 0.5, in the order of `ANNUNCIATORS`; of each the mark of highest confidence."""
    found = []
    for name in ANNUNCIATORS:
        marks = [t for t in tokens if t.name == name and mark_confidence(t) > 0.5]
        if name != "set" and marks:
            best = max(marks, key=mark_confidence)
            found.append(SmallField(name, "on", mark_confidence(best), around([best])))
    return found


def _slope(row: list[Mark]) -> float:
    """Fit how much a row falls per px to the right (least squares), within ±0.35; 0 for fewer than three characters."""
    if len(row) < 3:
        return 0.0
    xs, ys = np.array([m.x for m in row]), np.array([m.y for m in row])
    spread = float(np.ptp(xs))
    return float(np.clip(np.polyfit(xs, ys, 1)[0], -0.35, 0.35)) if spread > 1 else 0.0


def _main_row(glyphs: list[Mark], units: list[Mark]) -> list[Mark]:
    """Find the characters of the main string, left to right, its sign included."""
    tall = [g for g in glyphs if g.name not in ("-", "<", ">")]
    largest = max((g.height for g in tall), default=0.0)
    # Dashes for "no value" are as wide as digits but flat, so width stands in for their height.
    dashes = _dashes([g for g in glyphs if g.name == "-"])
    if dashes and max(max(d.height, 1.6 * d.width) for d in dashes) > 1.15 * largest:
        return dashes
    if not tall:
        return []
    seed = max((g for g in tall if g.height > 0.85 * largest), key=lambda g: g.heat)
    # Twice: first as if the row lay level, to learn its slope; then along that slope.
    row = [g for g in tall if g.height > MAIN_HEIGHT * largest and abs(g.y - seed.y) < SAME_ROW * largest]
    slope = _slope(row)

    def off(g: Mark) -> float:
        return abs(g.y - (seed.y + slope * (g.x - seed.x)))

    row = [g for g in tall if g.height > MAIN_HEIGHT * largest and off(g) < SAME_ROW * largest]
    row += [g for g in glyphs if g.name == "-" and off(g) < 0.25 * largest and g.width > 0.2 * largest]
    left = min(g.left for g in row)
    signs = [
        g
        for g in glyphs
        if (g.name in ("<", ">") or _sign_in_doubt(g, largest))
        and off(g) < 0.65 * largest
        and g.x < left + 0.2 * largest
        and left - g.right < 1.2 * largest
    ]
    if signs:  # the nearest one only: a number has one sign
        row.append(max(signs, key=lambda g: g.right))
    return _connected(sorted(row, key=lambda g: g.x), seed, largest, units)


def _sign_in_doubt(mark: Mark, height: float) -> bool:
    """Tell whether a small unreadable mark is a sign if it is anything: to pass it over could lose a "greater than"."""
    return mark.name == "unreadable" and mark.rival in ("<", ">") and 0.12 * height < mark.height < 0.8 * height


def _connected(row: list[Mark], seed: Mark, height: float, units: list[Mark]) -> list[Mark]:
    """Cut a row to the part around `seed` without a gap of over two characters; a unit between two ends a number."""
    groups: list[list[Mark]] = []

    def apart(last: Mark, mark: Mark) -> bool:
        slack = 0.15 * height
        gap = (last.right - slack, mark.left + slack)
        return any(gap[0] < u.left and u.right < gap[1] and abs(u.y - mark.y) < 0.6 * height for u in units)

    for mark in row:
        close = bool(groups) and mark.left - groups[-1][-1].right < 1.5 * height
        if close and not apart(groups[-1][-1], mark):
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return next(g for g in groups if seed in g)


def _dashes(dashes: list[Mark]) -> list[Mark]:
    """Find the longest row of dashes, if there are at least two."""
    best: list[Mark] = []
    for seed in dashes:
        row = [
            d
            for d in dashes
            if abs(d.y - seed.y) < 0.7 * max(seed.width, seed.height) and 0.6 < d.width / seed.width < 1.7
        ]
        if len(row) > len(best):
            best = row
    return sorted(best, key=lambda d: d.x) if len(best) >= 2 else []


def _one_point(points: list[Mark]) -> tuple[list[Mark], list[Mark]]:
    """Keep the strongest decimal point, since a number has one; give the others, which leave it in doubt."""
    dots = sorted((p for p in points if p.name == "."), key=lambda p: -p.heat * p.confidence)
    return [p for p in points if p not in dots[1:] or p.name != "."], dots[1:]


def _in_row(point: Mark, main: list[Mark], height: float) -> bool:
    """Tell whether a point stands at the foot of the main row, or a colon at mid-height between its characters."""
    near = min(main, key=lambda m: abs(m.x - point.x))
    foot = near.y + height / 2 if near.name not in "<>-" else float(np.median([m.y for m in main])) + height / 2
    if point.name == ":":
        return main[0].x < point.x < main[-1].x and abs(foot - height / 2 - point.y) < 0.3 * height
    left, right = main[0].left - 0.35 * height, main[-1].right + 0.7 * height
    return left < point.x < right and -0.32 * height < point.y - foot < 0.22 * height


def _nothing_lost(main: list[Mark], weak: list[Mark], height: float) -> float:
    """Give the confidence that no sign or character beside the main ones was missed: a weak one there lowers it."""
    y = float(np.median([m.y for m in main]))
    left, right = main[0].left - 1.2 * height, main[-1].right + 0.8 * height
    near = [w.heat for w in weak if w.group == 0 and left < w.x < right and abs(w.y - y) < 0.5 * height
            and w.height > 0.25 * height]  # fmt: skip
    return 1.0 - min(1.0, max(near, default=0.0) / 0.6)


def _dot_confidence(main: list[Mark], points: list[Mark], weak: list[Mark], height: float) -> float:
    """Give the confidence in the points: those that count are strong, no weak one stands elsewhere at the foot."""
    certain = min([min(1.0, (p.heat - 0.3) / 0.4) * p.confidence for p in points] or [1.0])
    doubt = max([w.heat for w in weak if w.group == 1 and _in_row(w, main, height)], default=0.0)
    return min(certain, 1.0 - min(1.0, doubt / 0.55))


def _main_unit(main: list[Mark], height: float, tokens: list[Mark]) -> Mark | None:
    """Choose the main unit: beside the row if there is one there, otherwise the largest that is left."""
    right, y = main[-1].right, float(np.median([m.y for m in main]))
    beside = [t for t in tokens if t.left > right - 0.3 * height and abs(t.y - y) < 0.8 * height]
    pool = beside or tokens
    return max(pool, key=lambda t: t.height * mark_confidence(t)) if pool else None


def _small_fields(glyphs: list[Mark], points: list[Mark], tokens: list[Mark]) -> tuple[list[SmallField], list[Mark]]:
    """Read the small numbers with their units, one of each name; and give the tokens that they took."""
    fields: dict[str, SmallField] = {}
    taken: list[Mark] = []
    volts: list[tuple[float, bool, SmallField]] = []
    for group in _groups(glyphs, points, tokens):
        height = float(np.median([m.height for m in group]))
        text, own = _text_of(group, points, height)
        weak = min(mark_confidence(m) for m in group) < 0.5 or "?" in text or "¿" in text
        unit = _token_right(group, height, tokens)
        if unit is not None:
            taken.append(unit)
        before = [t for t in tokens if t.name == "set" and -0.3 * height < group[0].left - t.right < 1.6 * height
                  and abs(t.y - group[0].y) < height]  # fmt: skip
        if weak:  # left out; its unit stays taken, so that it cannot become the main one
            continue
        marks = [*group, *own, *([unit] if unit is not None else []), *before]
        name = _name_of(text, unit.name if unit is not None else "", bool(before))
        code = unit.name if unit is not None and unit.name in UNITS else "s" if ":" in text else None
        small = SmallField(name, text, min(mark_confidence(m) for m in marks), around(marks), code, height)
        if name == "V":
            volts.append((group[0].y, bool(before), small))
        elif name:
            fields[name] = small
    # Of two voltages the upper one is on the terminals, the lower one selected, unless "SET" stands beside it.
    for _, is_set, small in sorted(volts, key=lambda v: v[:2]):
        key = "set_voltage" if is_set or "test_voltage" in fields else "test_voltage"
        fields.setdefault(key, replace(small, name=key))
    return list(fields.values()), taken


_NAMES = {"%": "humidity", "Cel": "temperature", "uA": "current", "mA": "current", "nF": "capacitance"}


def _name_of(text: str, unit: str, is_set: bool) -> str:
    """Name a small number by its unit: "V" for a voltage, "" where nothing tells."""
    if unit == "V" or (is_set and not unit):
        return "V"
    if ":" in text or unit == "s":
        return "elapsed"
    if unit in UNIT_TOKENS and unit != "unit_other":
        return name_by_unit(unit)
    return ""


def name_by_unit(unit: str) -> str:
    """Give the name of a field beside the main string that has this unit, voltages and seconds apart."""
    return _NAMES.get(unit, f"second_{unit}")


def _groups(glyphs: list[Mark], points: list[Mark], tokens: list[Mark]) -> list[list[Mark]]:
    """Group characters that stand side by side at one height, left to right; a unit between two ends a number."""
    groups: list[list[Mark]] = []
    for mark in sorted((g for g in glyphs if g.name not in ("<", ">")), key=lambda g: g.x):
        for group in groups:
            last = group[-1]
            size = max(last.height, mark.height, 1.0)
            if abs(last.y - mark.y) > 0.5 * size or min(last.height, mark.height) < 0.5 * size:
                continue
            between = [m for m in (*points, *tokens) if last.x < m.x < mark.x and abs(m.y - mark.y) < 0.7 * size]
            # A point with a place of its own makes the gap between two digits wider.
            reach = 1.8 if any(m.group == 1 for m in between) else 0.9
            if mark.left - last.right < reach * size and not any(m.group == 2 for m in between):
                group.append(mark)
                break
        else:
            groups.append([mark])
    return groups


def _height_of(group: list[Mark]) -> float:
    return float(np.median([m.height for m in group]))


def _nameless(glyphs: list[Mark], points: list[Mark], tokens: list[Mark]) -> list[list[Mark]]:
    """Find the numbers beside the main one that no known unit or colon of their own sets apart."""
    found = []
    for group in _groups([g for g in glyphs if g.name != "-" and mark_confidence(g) > 0.4], points, tokens):
        height = _height_of(group)
        colon = any(p.name == ":" and group[0].x < p.x < group[-1].x and abs(p.y - group[0].y) < height for p in points)
        own = _token_right(group, height, tokens)
        if not colon and (own is None or own.name == "unit_other"):
            found.append(group)
    return found


def _foreign(group: list[Mark], points: list[Mark], tokens: list[Mark]) -> str:
    """Give the text of a number beside which a unit stands that is none of ours; "" for any other."""
    height = _height_of(group)
    if _token_right(group, height, tokens) is None:
        return ""
    return _text_of(group, points, height)[0]


def _text_of(group: list[Mark], points: list[Mark], height: float) -> tuple[str, list[Mark]]:
    """Write a small number, and give its points."""
    own = [
        p
        for p in points
        if group[0].left < p.x < group[-1].right + 0.3 * height and abs(p.y - group[0].y) < 0.8 * height
    ]
    return "".join(_CHARS.get(m.name, m.name) for m in sorted([*group, *own], key=lambda m: m.x)), own


def _token_right(group: list[Mark], height: float, tokens: list[Mark]) -> Mark | None:
    """Find the unit directly at the right of a small number."""
    last = group[-1]
    near = [t for t in tokens if t.name in UNIT_TOKENS and -0.4 * height < t.left - last.right < 1.3 * height
            and abs(t.y - last.y) < 0.8 * height and t.height < 1.6 * height]  # fmt: skip
    return min(near, key=lambda t: math.hypot(max(0.0, t.left - last.right), t.y - last.y)) if near else None
