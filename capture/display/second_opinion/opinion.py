"""What the second reader says about one display, beside what our own reader says."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from capture.display import geometry
from capture.display.fields import Fields, around
from capture.display.pyramid import ImagePyramid
from capture.display.second_opinion.lines import TextLine, read_line, read_lines
from capture.display.second_opinion.networks import SecondReader
from capture.display.second_opinion.words import OTHER, NumberWritten, UnitWord, numbers_in, same_number, unit_in
from grading.terms.quantity import UNITS

ROW_PADS = (0.3, 0.2)
"""Space around our own row at its ends, and above and below it, shares of the digits' height; practice, no source."""


CASE_TELLS = ("mOhm", "MOhm")
"""Units that only the case of a letter tells apart, by a factor of 10⁹. Beside tall digits in one line a reader of
print takes a capital for a small letter ("194.07 MΩ", drawn, was read "194.07 mΩ"), so there it tells nothing."""
CLEAR, RIVAL = 0.9, 0.8
"""Score from which a line counts, and height, as a share of the main string's, from which another number makes it
unclear which one counts, unless their units tell; practice, no source."""


class Rivals(StrEnum):
    """Whether other numbers in print about as tall as ours make it unclear which one counts."""

    NONE = "none"
    TOLD = "told"  # there are some, and the units tell which one counts: ours
    UNCLEAR = "unclear"


class Says(StrEnum):
    """What the second reader says about our number."""

    AGREED = "agreed"
    OPPOSED = "opposed"  # it reads another number there
    SILENT = "silent"  # it reads no number there


@dataclass(frozen=True)
class SeenLine:
    """A line with its place on the canvas of our reader: x0, y0, x1, y1, px."""

    text: str
    score: float
    box: tuple[float, float, float, float]


@dataclass(frozen=True)
class UnitSeen:
    """A unit that the second reader saw at our number.

    Attributes:
        code: UCUM code, or `words.OTHER`.
        score: Of the line that it stands in, 0..1.
        exact: It is spelled as displays spell it.
        joined: It stands in one line with the number.
    """

    code: str
    score: float
    exact: bool
    joined: bool

    @property
    def clear(self) -> bool:
        """Tell whether it is one of our units, read well, and spelled as displays spell it."""
        return self.code != OTHER and self.exact and self.score >= CLEAR


@dataclass(frozen=True)
class PrintSeen:
    """All that it reads on one display.

    Attributes:
        lines: On the display, the tallest first.
        row: In the row that our reader calls the main string; "" for nothing.
    """

    lines: tuple[SeenLine, ...]
    row: str

    def moved(self, matrix: geometry.Matrix) -> PrintSeen:
        """Give the same with its lines on another canvas (`matrix`: this one -> that one); without the row."""
        lines = []
        for line in self.lines:
            corners = geometry.transform(matrix, geometry.rectangle(*line.box))
            (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
            lines.append(SeenLine(line.text, line.score, (float(x0), float(y0), float(x1), float(y1))))
        return PrintSeen(tuple(lines), "")


def ask(
    reader: SecondReader, photo: ImagePyramid, quad: geometry.Quad, fields: Fields, matrix: geometry.Matrix
) -> PrintSeen:
    """Ask the second reader about a display.

    Args:
        reader: The second reader.
        photo: The photo.
        quad: Corners of the display, px.
        fields: What our own reader sees.
        matrix: Photo -> canvas of `fields`.

    Raises:
        EngineError: It fails.
    """
    lines = tuple(_placed(line, matrix) for line in read_lines(reader, photo, quad))
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return PrintSeen(lines, "")
    x0, y0, x1, y1 = around(row)
    across, down = (share * fields.height for share in ROW_PADS)
    corners = geometry.transform(
        geometry.inverse(matrix), geometry.rectangle(x0 - across, y0 - down, x1 + across, y1 + down)
    )
    return PrintSeen(lines, read_line(reader, photo, corners).text)


def _placed(line: TextLine, matrix: geometry.Matrix) -> SeenLine:
    corners = geometry.transform(matrix, line.quad)
    (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
    return SeenLine(line.text, line.score, (float(x0), float(y0), float(x1), float(y1)))


def at_row(opinion: PrintSeen, fields: Fields) -> list[SeenLine]:
    """List the lines that lie over our main string."""
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return []
    x0, y0, x1, y1 = around(row)
    return [line for line in opinion.lines if _covers(line.box, (x0, y0, x1, y1))]


def _covers(line: tuple[float, float, float, float], row: tuple[float, float, float, float]) -> bool:
    across = min(line[2], row[2]) - max(line[0], row[0])
    down = min(line[3], row[3]) - max(line[1], row[1])
    return across > 0.4 * (row[2] - row[0]) and down > 0.5 * (row[3] - row[1])


def says(opinion: PrintSeen, fields: Fields) -> tuple[Says, Says]:
    """Tell what the lines found on the display, and our own row as the second reader reads it, say of our number."""
    found = [n for line in at_row(opinion, fields) for n in numbers_in(line.text)]
    return _said(found, fields.text), _said(numbers_in(opinion.row), fields.text)


def _said(found: list[NumberWritten], ours: str) -> Says:
    if not found:
        return Says.SILENT
    return Says.AGREED if any(same_number(ours, n.text) for n in found) else Says.OPPOSED


def tallest_beside(opinion: PrintSeen, fields: Fields) -> float:
    """Give the height of the tallest other number in print as a share of our number's, 0..1.5; 0 without any."""
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return 0.0
    own = at_row(opinion, fields)
    height = min((line.box[3] - line.box[1] for line in own), default=1.2 * fields.height)
    others = [line.box[3] - line.box[1] for line in opinion.lines if line not in own and numbers_in(line.text)]
    return min(1.5, max(others, default=0.0) / max(height, 1.0))


def likeliest_main(opinion: PrintSeen) -> SeenLine | None:
    """Find the line that is likeliest the main string: one clear number, the tallest, or told by its unit."""
    numbered = [line for line in opinion.lines if numbers_in(line.text)]
    tallest = max((_height(line) for line in numbered), default=0.0)
    tall = [line for line in numbered if _height(line) > RIVAL * tallest]
    if len(tall) > 1:
        kinds = [_units_of(line) for line in tall]
        main = [
            line for line, kind in zip(tall, kinds, strict=True) if _leads(kind, [k for k in kinds if k is not kind])
        ]
        tall = main
    if len(tall) != 1 or tall[0].score < CLEAR or len(numbers_in(tall[0].text)) != 1:
        return None
    return tall[0]


def rivals(opinion: PrintSeen, fields: Fields) -> Rivals:
    """Tell whether another number in print, about as tall as ours, makes it unclear which one counts.

    Units tell them apart where ours is a resistance and no other is, or ours a temperature beside a humidity.
    """
    row = [m for m in fields.chars if m.group == 0]
    own = at_row(opinion, fields)
    height = min((_height(line) for line in own), default=1.2 * fields.height)
    others = [line for line in opinion.lines if line not in own and numbers_in(line.text)]
    kinds = [_units_of(line) for line in others if _height(line) > RIVAL * height]
    kinds += [[unit_of(n)] for line in own for n in numbers_in(line.text) if not same_number(fields.text, n.text)]
    if not row or not kinds:
        return Rivals.NONE
    seen = unit_at(opinion, fields)
    return Rivals.TOLD if _leads([fields.unit if seen is None else seen.code], kinds) else Rivals.UNCLEAR


def overlaps(line: SeenLine, fields: Fields) -> bool:
    """Tell whether a line lies, at least in part, over our main string."""
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return False
    x0, y0, x1, y1 = around(row)
    return line.box[0] < x1 and line.box[2] > x0 and min(line.box[3], y1) - max(line.box[1], y0) > 0.3 * (y1 - y0)


def unit_of(number: NumberWritten) -> str | None:
    """Give the unit behind a number, however spelled; seconds of a time; None without one."""
    if ":" in number.text:
        return "s"
    found = unit_in(number.after)
    return None if found is None else found.code


def _units_of(line: SeenLine) -> list[str | None]:
    return [unit_of(number) for number in numbers_in(line.text)]


def _leads(own: list[str | None], others: list[list[str | None]]) -> bool:
    """Tell whether a number's unit makes it the main one beside others: a resistance, or the temperature of a room."""
    if len(own) != 1:
        return False
    rest = [unit for kind in others for unit in kind]
    if None in rest or own[0] in (None, OTHER):
        return False
    if _is_resistance(own[0]):
        return not any(_is_resistance(unit) for unit in rest)
    return own[0] == "Cel" and all(unit == "%" for unit in rest)


def _is_resistance(unit: str | None) -> bool:
    return unit in UNITS and UNITS[unit].dimension == "resistance"


def _height(line: SeenLine) -> float:
    return line.box[3] - line.box[1]


def unit_at(opinion: PrintSeen, fields: Fields) -> UnitSeen | None:
    """Find the unit of our main string: in its own line behind it, else right of it, else just below or above it.

    Units of electricity only: print about a counter or a room's display says "min", "h" or "%" of many things (five of
    the fixed rendered photos got such a unit that they do not show).
    """
    found = _unit_at(opinion, fields)
    known = None if found is None else UNITS.get(found.code)
    return found if known is not None and known.dimension in ("resistance", "voltage", "current") else None


def _unit_at(opinion: PrintSeen, fields: Fields) -> UnitSeen | None:
    for line in at_row(opinion, fields):
        for number in numbers_in(line.text):
            if same_number(fields.text, number.text) and (unit := unit_in(number.after)) is not None:
                exact = unit.exact and unit.code not in CASE_TELLS
                return UnitSeen(unit.code, line.score, exact, True)
    row = [m for m in fields.chars if m.group == 0]
    if not row:
        return None
    near: list[tuple[float, SeenLine, UnitWord]] = []
    for line in opinion.lines:
        unit = None if numbers_in(line.text) else unit_in(line.text)
        distance = _distance(line.box, around(row), fields.height)
        if unit is not None and distance is not None:
            near.append((distance, line, unit))
    if not near:
        return None
    _, line, unit = min(near, key=lambda one: one[0])
    return UnitSeen(unit.code, line.score, unit.exact, False)


RIGHT, BELOW = 2.5, 1.3
"""How far right of the digits, and below or above them, their unit may stand, in their heights; practice, no source."""
_BELOW_COSTS = 2.0
"""A unit right of the digits is likelier theirs than one below: that much further counts the same, in their heights."""


def _distance(
    line: tuple[float, float, float, float], row: tuple[float, float, float, float], height: float
) -> float | None:
    """Measure how far a word stands from a row, in the digits' heights; None where it is not the row's."""
    middle_x, middle_y = (line[0] + line[2]) / 2, (line[1] + line[3]) / 2
    if line[3] - line[1] > 1.2 * height:
        return None
    right = (line[0] - row[2]) / height
    if -0.4 < right < RIGHT and row[1] - 0.5 * height < middle_y < row[3] + 0.5 * height:
        return max(0.0, right)
    apart = max(line[1] - row[3], row[1] - line[3]) / height
    inside = row[0] - 0.5 * height < middle_x < row[2] + RIGHT * height
    return _BELOW_COSTS + max(0.0, apart) if inside and -0.5 < apart < BELOW else None


__all__ = ["OTHER", "PrintSeen", "Rivals", "Says", "SeenLine", "UnitSeen", "ask", "at_row", "rivals", "says", "unit_at"]
