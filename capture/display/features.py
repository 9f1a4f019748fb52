"""What the confidence in one display is computed from: plain numbers about its marks, its looks and its picture.

Each head ("value": digits and sign, "dot": points, "unit") has features of its own, by name. They are written to the
rows that are fitted on and named in `models/calibration.json`: after a change of any of them, rows have to be gathered
and fitted again (`python -m fixtures.training.display_model`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.display import geometry, refusal
from capture.display.fields import MIN_COUNTED_HEAT, Fields, mark_confidence
from capture.display.marks import Mark
from capture.display.second_opinion.opinion import PrintSeen, Says, says, tallest_beside
from capture.display.spacing import pitch
from capture.display.strings import bare
from grading.terms.quantity import UNITS

DIRECTIONS = {
    "weakest": 1, "all": 1, "margin": 1, "legible": 1, "same": 1, "looks": 1, "lost": -1, "uneven": -1, "size": 1,
    "found": 1, "backed": 1, "rival": -1, "murky": -1, "unseen": -1, "second": -1, "split": -1, "tall": 1, "zeros": -1,
    "length": 0, "over": 0, "pointed": 0, "beside": 0, "worst": 1, "heat": 1, "marked": 0, "legible_photo": 1,
    "legible_crop": 1, "size_crop": 1, "thin": -1, "crisp": 1, "contrast": 1, "glare": -1, "pitch": -1, "edge": -1,
    "outside": -1, "alone": 0, "sign": 0, "time": 0, "gap": 1, "count": 0, "rest": -1, "apart": 0, "relative": 0,
    "low": 0, "tester": 1, "risky": -1, "steep": -1, "few": 0,
    "before": -1, "after": -1, "before_crop": -1, "after_crop": -1,
    "own": 1, "line": 1, "row": 1, "short": -1, "beside_line": -1, "ink": -1,
}  # fmt: skip
"""What a larger feature may do to the probability: 1 raise it only, -1 lower it only, 0 either.

One name may stand in several heads. "Confidence" here is the network's own; log odds are natural, kept within ±9.2.

All heads: "legible" log odds of the mean legibility; "murky" how far that falls short of 1.5; "size" log2 of the height
of the main digits in the photo, px, up to 6. The following are about digits, about points, or about the unit, according
to the head: "weakest" confidence of the weakest mark, "heat" of the weakest place, "worst" of the weakest look, "looks"
mean over the looks, as log odds; "margin" log ratio of the likeliest class to the next; "same" share of the looks that
agree, "split" any that does not; "few" two looks or fewer.

Digits: "all" every mark right; "lost" a weak mark beside; "uneven" spread of the heights; "pitch" see `spacing`;
"found" the finder's score; "backed" a unit or a named field is there; "rival", "second" other large numbers; "length",
"alone", "over", "sign", "time" what the string is; "before", "after" ink beside the row; "marked" by a person;
"…_photo", "…_crop" the same for pictures that are not marked, or are; "thin" digits low for their display; "crisp",
"contrast", "glare" as in `refusal`; "edge", "outside" how near the picture's edge row and display come; "steep" slope.

Points: "all" the weakest place of a point, or that none was passed over; "gap" the weakest point among marks of its
kind; "count", "pointed" points; "unseen" none, on digits so small that one may be lost; "zeros" a zero in front.

Unit: "tall" log2 of its height, canvas px; "relative" the same over that of the digits, "size_crop" the same in photo
px; "all" looks that agree; "rest" confidence of the likeliest other unit; "beside", "apart", "low" where it stands;
"tester" a resistance beside a test voltage; "risky" see `RISKY`.

Where a second reader was asked (head "asked", digits and points together): "own" log odds by the heads above, "line"
the line of print that it found there says the same, "row" our own row as it reads it does, "short" characters fewer
than three, "beside_line" height of the tallest other number in print, as a share of ours, "ink" the larger
of "before" and "after".
"""
_LEAST = 1e-4


@dataclass(frozen=True)
class DisplayLooks:
    """What all looks at one display gave.

    Attributes:
        fields: The marks of all looks together, arranged.
        looks: What each look says by itself.
        legible: Mean legibility of the looks, 0..1.
        canvas: The straightened display, RGB.
        share: Height of the main digits as a share of the display's.
        digit_px: Height of the main digits in the photo, px; None without digits.
        cut: The main string, or a sign before it, may go on beyond the edge of the picture.
        quad: Corners in the photo, px.
        found: The finder's score, 0..1; 1 where a person marked the display.
        marked: A person marked the display, or the picture is nothing but the display.
        room: Space from the main string to the nearest side of the picture, as a share of its height; negative beyond.
        margin: Space from the display's corners to the edge of the picture, as a share of its longer side.
        hidden: How likely something lies over a part of the main string, 0..1; see `hidden`.
    """

    fields: Fields
    looks: tuple[Fields, ...]
    legible: float
    canvas: NDArray[np.uint8]
    share: float
    digit_px: float | None
    cut: bool
    quad: geometry.Quad
    found: float = 1.0
    marked: bool = False
    room: float = 9.0
    margin: float = 9.0
    hidden: float = 0.0


def log_odds(probability: float) -> float:
    """Give the natural logarithm of a probability's odds, kept within ±6.2."""
    p = min(max(probability, _LEAST), 1 - _LEAST)
    return math.log(p / (1 - p))


def features(evidence: DisplayLooks) -> dict[str, dict[str, float]]:
    """Compute the features of one utterance, in the order of `FEATURES`.

    Args:
        evidence: Of a display with a main string.

    Returns:
        For "value", "dot" and "unit" the features by name (see `DIRECTIONS`); every number is finite.
    """
    fields, looks = evidence.fields, [look for look in evidence.looks if look.text]
    shared = {
        "legible": log_odds(evidence.legible),
        "murky": max(0.0, 1.5 - log_odds(evidence.legible)),
        "size": min(math.log2(max(evidence.digit_px or 1.0, 1.0)), 6.0),
    }
    looked = _look_of(evidence, fields)
    return {
        "value": shared | looked | _value(evidence, fields, looks),
        "dot": shared | {"crisp": looked["crisp"]} | _dot(evidence, fields, looks),
        "unit": shared | _unit(fields, evidence.looks, (evidence.digit_px or 0.0) / max(fields.height, 1.0)),
    }


def asked_features(evidence: DisplayLooks, opinion: PrintSeen, own: float) -> dict[str, float]:
    """Compute the features of a display that a second reader was asked about.

    Args:
        evidence: What our own reader sees.
        opinion: What the second one reads.
        own: Joint probability of digits and points by our own reader alone.
    """
    line, row = says(opinion, evidence.fields)
    return {
        "own": log_odds(own),
        "line": float(line is Says.AGREED),
        "row": float(row is Says.AGREED),
        "short": float(max(0, 3 - sum(c.isalnum() for c in evidence.fields.text))),
        "beside_line": tallest_beside(opinion, evidence.fields),
        "ink": max(ink_beside(evidence)),
    }


def _value(evidence: DisplayLooks, fields: Fields, looks: list[Fields]) -> dict[str, float]:
    glyphs = [m for m in fields.chars if m.group == 0]
    heights = [m.height for m in glyphs if m.name not in "-<>"]
    digits = bare(fields.text)
    weakest = min((mark_confidence(m) for m in glyphs), default=0.0)
    return {
        "weakest": log_odds(weakest),
        "all": log_odds(math.prod(mark_confidence(m) for m in glyphs) if glyphs else 0.0),
        "margin": min((_margin(m) for m in glyphs), default=0.0),
        "heat": log_odds(min((m.heat for m in glyphs), default=0.0)),
        "same": _share([bare(look.text) == digits for look in evidence.looks]),
        "split": float(any(bare(look.text) != digits for look in evidence.looks)),
        "looks": log_odds(float(np.mean([look.value_confidence for look in looks])) if looks else 0.0),
        "worst": log_odds(min((look.value_confidence for look in looks), default=0.0)),
        "few": float(len(evidence.looks) <= 2),
        "lost": max(0.0, weakest - fields.value_confidence),
        "uneven": float(np.std(heights) / max(float(np.mean(heights)), 1.0)) if heights else 0.0,
        "pitch": pitch(fields),
        "found": 0.0 if evidence.marked else log_odds(evidence.found) - log_odds(0.9),
        "backed": 1.0 if evidence.marked else _backing(fields),
        "rival": min(fields.rival, 1.0),
        "second": second(fields),
        "length": float(len(digits)),
        "alone": float(len(digits) == 1),
        "over": float("L" in digits),
        "sign": float(fields.text[:1] in ("-", "<", ">")),
        "time": float(":" in fields.text),
    }


def _look_of(evidence: DisplayLooks, fields: Fields) -> dict[str, float]:
    """Measure the picture itself: how legible, large and crisp it is, and how far from the picture's edges."""
    crisp, contrast = (0.0, 0.0) if fields.box is None else refusal.crispness(evidence.canvas, fields.box)
    glare = fields.box is not None and refusal.glare_beside(evidence.canvas, fields.box, fields.height)
    legible, marked = log_odds(evidence.legible), float(evidence.marked)
    before, after = ink_beside(evidence)
    return {
        "before": before,
        "after": after,
        "before_crop": before * marked,
        "after_crop": after * marked,
        "marked": marked,
        "legible_photo": legible * (1 - marked),
        "legible_crop": legible * marked,
        "size_crop": marked * min(math.log2(max(evidence.digit_px or 1.0, 1.0)), 6.0),
        "thin": float(np.clip(math.log2(0.35 / max(evidence.share, 0.01)), 0.0, 3.0)),
        "crisp": math.log(max(crisp, 0.003)),
        "contrast": math.log2(max(contrast, 4.0)),
        "glare": float(glare),
        "edge": float(np.clip(0.6 - evidence.room, 0.0, 1.0)),
        "outside": 0.0 if evidence.marked else float(np.clip(0.05 - evidence.margin, 0.0, 0.3)),
        "steep": abs(fields.slope),
    }


def ink_beside(evidence: DisplayLooks) -> tuple[float, float]:
    """Measure the contrast left and right of the main string, where a character may have been missed; 0..1 each."""
    fields = evidence.fields
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return 0.0, 0.0
    tall = [m for m in row if m.name not in "-<>"] or row
    box = (
        min(m.left for m in row), min(m.y - m.height / 2 for m in tall), max(m.right for m in fields.chars),
        max(m.y + m.height / 2 for m in tall),
    )  # fmt: skip
    others = [m.left for m in fields.used if m.group not in (0, 1) and m.left > row[-1].x]
    return refusal.ink_beside(evidence.canvas, box, fields.height, min(others, default=1e9) - 0.05 * fields.height)


def second(fields: Fields) -> float:
    """Give the height of the largest number beside the main one as a share of the main one's, 0..1.

    Where the main one is a temperature, the humidity beside it raises no question.
    """
    named = [] if fields.unit == "Cel" else [s for s in fields.seen if s.text != "on"]
    heights = [small.box[3] - small.box[1] for small in named]
    return min(1.0, max([fields.rival, *(h / max(fields.height, 1.0) for h in heights)]))


def _backing(fields: Fields) -> float:
    """Tell how far a unit or a named small field shows that this is an instrument's display at all, 0..1."""
    return max(fields.unit_confidence if fields.unit in UNITS else 0.0, 0.5 if fields.small else 0.0)


def _dot(evidence: DisplayLooks, fields: Fields, looks: list[Fields]) -> dict[str, float]:
    points = [m for m in fields.chars if m.group == 1]
    peers = [look for look in looks if bare(look.text) == bare(fields.text)]
    return {
        "weakest": log_odds(fields.dot_confidence),
        "worst": log_odds(min((look.dot_confidence for look in looks), default=0.0)),
        "gap": _gap(fields),
        "count": float(len(points)),
        "time": float(":" in fields.text),
        "marked": float(evidence.marked),
        "all": log_odds(min((m.heat for m in points), default=1.0 - MIN_COUNTED_HEAT[1])),
        "same": _share([look.text == fields.text for look in peers]),
        "split": float(any(look.text != fields.text for look in peers)),
        "looks": log_odds(float(np.mean([look.dot_confidence for look in looks])) if looks else 0.0),
        "pointed": float(bool(points)),
        "unseen": 0.0 if points or len(bare(fields.text)) < 2 else _smallness(evidence),
        "length": float(len(bare(fields.text))),
        "zeros": float(fields.text[:1] == "0" and fields.text[1:2].isdigit()),
    }


def _gap(fields: Fields) -> float:
    """Log odds of the weakest point among marks of its kind; without any, of there being none."""
    points = [m for m in fields.chars if m.group == 1]
    return log_odds(min((m.confidence for m in points), default=fields.dot_confidence))


def _unit(fields: Fields, looks: tuple[Fields, ...], px: float) -> dict[str, float]:
    unit = next((m for m in fields.used if m.group == 2), None)
    if unit is None:
        return dict.fromkeys(_UNIT_FEATURES, 0.0)
    own = [look.unit_confidence for look in looks if look.unit == fields.unit]
    right = max((m.right for m in fields.chars), default=0.0)
    return {
        "weakest": log_odds(mark_confidence(unit)),
        "margin": _margin(unit),
        "same": _share([look.unit == fields.unit for look in looks]),
        "looks": log_odds(float(np.mean(own)) if own else 0.0),
        "tall": min(math.log2(max(unit.height, 1.0)), 6.0),
        "beside": float(unit.left > right - 0.3 * fields.height),
        "second": second(fields),
        "worst": log_odds(min(own, default=0.0)),
        "heat": log_odds(unit.heat),
        "all": float(sum(look.unit == fields.unit for look in looks)),
        "split": float(any(look.unit not in (fields.unit, None) for look in looks)),
        "rest": fields.unit_rival,
        "relative": math.log2(max(unit.height, 1.0) / max(fields.height, 1.0)),
        "size_crop": math.log2(max(unit.height * px, 1.0)),
        "apart": float(np.clip((unit.left - right) / max(fields.height, 1.0), -1.0, 2.0)),
        "low": float(np.clip((unit.y - _middle(fields)) / max(fields.height, 1.0), -1.5, 1.5)),
        "tester": float("test_voltage" in fields.small and unit.name in ("kOhm", "MOhm", "GOhm", "TOhm")),
        "risky": float(unit.name in RISKY),
        "few": float(len(looks) <= 2),
    }


RISKY = ("uOhm", "mOhm", "kOhm", "MOhm", "GOhm", "TOhm", "mV", "kV", "uA", "mA", "nF", "uF")
"""Units with a prefix: its letter is small, and to miss it is a factor of a thousand or more."""
_UNIT_FEATURES = (
    "weakest", "margin", "same", "looks", "tall", "beside", "second", "worst", "heat", "all", "split", "rest",
    "relative", "size_crop", "apart", "low", "tester", "risky", "few",
)  # fmt: skip


def _middle(fields: Fields) -> float:
    """Give the height at which the main string stands, canvas px from above."""
    ys = [m.y for m in fields.chars if m.group == 0]
    return float(np.median(ys)) if ys else 0.0


def _margin(mark: Mark) -> float:
    """Log of how many times likelier the class is than the next, kept within 0..9.2."""
    if len(mark.probabilities) < 2:
        return 0.0
    second, first = np.sort(np.array(mark.probabilities))[-2:]
    return float(np.clip(math.log(max(first, _LEAST) / max(second, _LEAST)), 0.0, 9.2))


def _smallness(evidence: DisplayLooks) -> float:
    """Measure how small the digits are, and how hard to see: a point among such may be lost without a trace."""
    size = max(0.0, 6.0 - math.log2(max(evidence.digit_px or 1.0, 1.0)))
    return size + max(0.0, 2.5 - log_odds(evidence.legible))


def _share(votes: list[bool]) -> float:
    """Give the share of the votes that are true; 0 without any."""
    return float(np.mean(votes)) if votes else 0.0
