"""Bars of resistance to ground against their limits, on one logarithmic scale, as inline SVG.

A bar with an arrow head is over range: the true value lies to the right of it, never at its end. Below range, the
bar is drawn hollow. Each bar carries its value in words, so nothing depends on colour. The same input gives the same
characters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from markupsafe import Markup

from api.report.content import VerdictMark

WIDTH, EDGE = 440, 8  # px: whole width, margin left and right; narrow, so that a phone shows it at full size
ROW, STEP, BAR = 34, 13, 10  # px: pitch of rows, height of a line of limit labels, thickness of a bar
INK, SOFT, COPPER = "#1a2330", "#4d5968", "#8a4513"
FILLS = {
    VerdictMark.FAIL: INK,
    VerdictMark.WATCH: "#8b94a1",
    VerdictMark.UNSURE: "#fff",
    VerdictMark.PASS: "#dde2e8",
    VerdictMark.NONE: "#fff",
}
"""Dark for a value that fails, light for one that passes: told apart on a black and white printer too."""
SIGNS = {"fail": "✕", "watch": "▲", "unsure": "?", "pass": "✓", "none": "–"}
"""Shape beside colour: a verdict must survive a black and white printer and colour-blind eyes."""
GLYPH = 6.2  # px: mean width of a character of the labels
PREFIXES = ((9, "GΩ"), (6, "MΩ"), (3, "kΩ"), (0, "Ω"))


@dataclass(frozen=True)
class Bar:
    """One value of the plot.

    Attributes:
        label: Test point in words.
        ohms: Digits in ohms; must be positive.
        bound: "=", ">" or "<".
        text: Value as shown.
        mark: Its verdict.
        built: Test voltage that was built, in words, or "".
        before: The value of an earlier visit in ohms, or None.
        before_text: When that was.
    """

    label: str
    ohms: Decimal
    bound: str
    text: str
    mark: VerdictMark
    built: str = ""
    before: Decimal | None = None
    before_text: str = ""


@dataclass(frozen=True)
class LimitLine:
    """One limit of the plot, in ohms, with a short label."""

    ohms: Decimal
    label: str


def _decade_label(exponent: int) -> str:
    for power, symbol in PREFIXES:
        if exponent >= power:
            return f"{10 ** (exponent - power)} {symbol}"
    return f"{Decimal(10) ** exponent:f} Ω"


def _span(values: Sequence[Decimal]) -> tuple[int, int]:
    """Give the first and last decade that hold every value, with at least a decade of room on both sides."""
    logs = [math.log10(v) for v in values]
    return math.floor(min(logs)) - 1, math.ceil(max(logs)) + 1


def bars(rows: Sequence[Bar], limits: Sequence[LimitLine], *, title: str, ident: str) -> Markup:
    """Draw values against limits.

    Args:
        rows: Values, top first.
        limits: Limits; drawn as vertical lines.
        title: Accessible name of the picture.
        ident: Prefix that makes element ids unique in the document.

    Returns:
        SVG markup, or "" where there is nothing to draw.
    """
    rows = [r for r in rows if r.ohms > 0]
    if not rows:
        return Markup("")
    before = [r.before for r in rows if r.before is not None and r.before > 0]
    low, high = _span([r.ohms for r in rows] + [x.ohms for x in limits] + before)
    inner = WIDTH - 2 * EDGE
    limits = sorted(limits, key=lambda line: line.ohms)
    top = 10 + STEP * len(limits)
    bottom = top + ROW * len(rows)

    def x(ohms: Decimal) -> float:
        return EDGE + inner * (math.log10(ohms) - low) / (high - low)

    parts = [_frame(low, high, inner, (top, bottom))]
    parts += [_limit(line, x(line.ohms), bottom, i) for i, line in enumerate(limits)]
    parts += [_bar(row, top + ROW * i, x(row.ohms)) for i, row in enumerate(rows)]
    parts += [
        _earlier(row, top + ROW * i, x(row.before))
        for i, row in enumerate(rows)
        if row.before is not None and row.before > 0
    ]
    spoken = "; ".join(f"{r.label}: {r.text}" for r in rows) + "; " + "; ".join(line.label for line in limits)
    head = Markup(
        '<svg class="plot" role="img" viewBox="0 0 {w} {h}" width="{w}" height="{h}"'
        ' font-family="Liberation Sans, Helvetica, Arial, DejaVu Sans, sans-serif" font-size="12"'
        ' aria-labelledby="{i}-t {i}-d">'
        '<title id="{i}-t">{title}</title><desc id="{i}-d">{desc}</desc>'
    ).format(w=WIDTH, h=bottom + 24, i=ident, title=title, desc=spoken)
    return head + Markup("").join(parts) + Markup("</svg>")


def _frame(low: int, high: int, inner: int, span: tuple[int, int]) -> Markup:
    out = Markup("")
    for exponent in range(low, high + 1):
        at = f"{EDGE + inner * (exponent - low) / (high - low):.1f}"
        out += Markup('<line class="grid" stroke="#dfe3e8" x1="{x}" x2="{x}" y1="{a}" y2="{b}"/>').format(
            x=at, a=span[0] - 4, b=span[1]
        )
        if (high - exponent) % (1 if high - low <= 6 else 2) == 0:
            anchor = {low: "start", high: "end"}.get(exponent, "middle")
            out += Markup(
                '<text class="tick" fill="#4d5968" font-size="10" text-anchor="{a}" x="{x}" y="{y}">{t}</text>'
            ).format(a=anchor, x=at, y=span[1] + 16, t=_decade_label(exponent))
    return out


def _bar(row: Bar, top: int, end: float) -> Markup:
    y = top + ROW - BAR - 8
    name = f"{SIGNS[row.mark.value]} {row.label}"
    text = f"{row.text}{f', {row.built}' if row.built else ''}"
    out = _ground(EDGE, y, name) + _ground(WIDTH - EDGE - GLYPH * len(text), y, text)
    out += Markup(
        '<text class="name" fill="{i}" x="{a}" y="{y}">{name}</text>'
        '<text class="reading" fill="{i}" font-weight="700" text-anchor="end" x="{b}" y="{y}">{text}</text>'
    ).format(i=INK, a=EDGE, b=WIDTH - EDGE, y=y - 5, name=name, text=text)
    fill = "#fff" if row.bound == "<" else FILLS[row.mark]
    look = Markup('fill="{f}" stroke="{i}" stroke-width="1"').format(f=fill, i=INK)
    out += Markup('<rect class="bar {c}" {l} x="{x}" y="{y}" width="{w}" height="{h}"/>').format(
        c=row.mark.value, l=look, x=EDGE, y=y, w=f"{max(end - EDGE, 1):.1f}", h=BAR
    )
    if row.bound == ">":
        out += Markup('<path class="bar {c}" {l} d="M{a} {t}l11 {k}l-11 {k}z"/>').format(
            c=row.mark.value, l=look, a=f"{end:.1f}", t=y - 4, k=BAR / 2 + 4
        )
    return out


def _ground(x: float, y: float, text: str) -> Markup:
    """Lay white behind a text, so that no line runs through it."""
    return Markup('<rect class="ground" fill="#fff" x="{x}" y="{y}" width="{w}" height="13"/>').format(
        x=f"{x:.1f}", y=y - 16, w=f"{GLYPH * len(text):.1f}"
    )


def _earlier(row: Bar, top: int, at: float) -> Markup:
    """Mark the value of an earlier visit by a diamond with its date."""
    y = top + ROW - BAR / 2 - 8
    return Markup(
        '<path class="before" fill="#fff" stroke="{i}" stroke-width="1.4" d="M{x} {t}l5 5l-5 5l-5 -5z"/>'
        '<text class="tick" fill="{s}" font-size="9" text-anchor="middle" x="{x}" y="{b}">{text}</text>'
    ).format(i=INK, s=SOFT, x=f"{at:.1f}", t=y - 5, b=y + BAR + 1, text=row.before_text)


def _limit(line: LimitLine, at: float, bottom: int, index: int) -> Markup:
    step = STEP * index  # each label has its own line, since neighbours would overlap
    rule = Markup(
        '<line class="limit" stroke="{c}" stroke-width="1.5" stroke-dasharray="5 3"'
        ' x1="{x}" x2="{x}" y1="{a}" y2="{b}"/>'
    ).format(c=COPPER, x=f"{at:.1f}", a=14 + step, b=bottom)
    anchor, shift = ("end", -4) if at > WIDTH * 0.7 else ("start", 4)
    return rule + Markup(
        '<text class="limit-label" fill="{c}" font-size="11" text-anchor="{a}" x="{x}" y="{y}">{t}</text>'
    ).format(c=COPPER, a=anchor, x=f"{at + shift:.1f}", y=11 + step, t=line.label)
