"""A picture with what it shows, as every reader is asked about it; loads nothing that a reader does not need."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from capture.display.picture import open_picture


@dataclass(frozen=True)
class Shown:
    """What one display shows.

    Attributes:
        main: Main string, canonical spelling.
        unit: UCUM code; None where none is shown, "" where it is not known.
        digits: A careful eye can read the digits and the point, and they are a reading.
        readable_unit: A careful eye can read the unit.
        small: Further fields by name.
        row: Where the main string stands, (marks, 4, 2) px; None where not known.
        unit_mark: Where the unit stands, (4, 2) px.
    """

    main: str
    unit: str | None
    digits: bool = True
    readable_unit: bool = True
    small: dict[str, str] = field(default_factory=dict)
    row: NDArray[np.float64] | None = None
    unit_mark: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Case:
    """A picture.

    Attributes:
        name: For notes and file names.
        group: Set that it counts in.
        style: What kind of instrument.
        grade: 1 (clean) to 5 (bad); 0 where not graded.
        data: The file.
        crop: The picture is nothing but the display.
        shown: Its displays, the main one first.
    """

    name: str
    group: str
    style: str
    grade: int
    data: bytes
    crop: bool = False
    shown: tuple[Shown, ...] = ()

    @property
    def legible(self) -> bool:
        """A careful eye can read digits, point and unit (where the unit is not known: digits and point)."""
        return bool(self.shown) and self.shown[0].digits and (self.shown[0].readable_unit or self.shown[0].unit == "")

    def cut_out(self) -> NDArray[np.uint8] | None:
        """Cut the main string out exactly, with its unit where that stands beside it (RGB); None where not known."""
        pixels = open_picture(self.data).pixels
        if self.crop:
            return pixels
        if not self.shown or self.shown[0].row is None or not len(self.shown[0].row):
            return None
        points = self.shown[0].row.reshape(-1, 2)
        (x0, y0), (x1, y1) = points.min(0), points.max(0)
        mark = self.shown[0].unit_mark
        if mark is not None and y0 - 0.3 * (y1 - y0) < mark[:, 1].mean() < y1 + 0.1 * (y1 - y0):
            (x0, y0), (x1, y1) = np.minimum((x0, y0), mark.min(0)), np.maximum((x1, y1), mark.max(0))
        edge = 0.12 * (y1 - y0) + 2
        part = pixels[max(0, int(y0 - edge)) : int(y1 + edge) + 1, max(0, int(x0 - edge)) : int(x1 + edge) + 1]
        return np.ascontiguousarray(part) if min(part.shape[:2]) >= 4 else None
