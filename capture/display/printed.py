"""A unit printed beside the digits, read by Tesseract where the network sees none: a suggestion, never accepted.

Tesseract reads clean print but no seven-segment digits; what it says is only offered to the person, who is asked about
the unit in any case.
"""

from __future__ import annotations

import importlib
import re
import sys
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.strings import SYMBOLS

TIMEOUT_S = 4
"""Longest that Tesseract may take, s."""
_OHM = re.compile(r"([µumkMGT]?)[ΩOQ0]")


def unit_of(text: str) -> str | None:
    """Give the UCUM code that a printed word most likely means; None if it looks like no unit.

    Tesseract's English model has no ohm sign and gives O, Q or 0 for it.
    """
    word = text.strip().replace(" ", "").replace("*", "°").strip(".,:;|'\"")
    if match := _OHM.fullmatch(word):
        return SYMBOLS[match[1].replace("u", "µ") + "Ω"]
    return SYMBOLS.get(word)


def unit_beside(canvas: NDArray[np.uint8], box: tuple[float, float, float, float]) -> str | None:
    """Look for a printed unit at the right of the main string.

    Args:
        canvas: Rectified view of the display, RGB.
        box: Around the main string: x0, y0, x1, y1, canvas px.

    Returns:
        UCUM code, or None (also where Tesseract is missing, fails or takes too long).
    """
    _, y0, x1, y1 = box
    height = y1 - y0
    left, right = round(x1 + 0.03 * height), round(min(canvas.shape[1], x1 + 2.2 * height))
    part = canvas[max(0, round(y0 - 0.1 * height)) : round(y1 + 0.3 * height), left:right]
    if part.shape[0] < 8 or part.shape[1] < 8:
        return None
    grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
    large = cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    # Tesseract expects black on white with a border; a lit display is the other way round.
    _, ink = cv2.threshold(large, 0, 255, cv2.THRESH_OTSU)
    ink = np.asarray(ink if float(np.mean(ink)) > 127 else 255 - ink, np.uint8)
    bordered = cv2.copyMakeBorder(ink, 12, 12, 12, 12, cv2.BORDER_CONSTANT, value=255)
    return unit_of(_written(np.asarray(bordered, np.uint8)))


def _written(ink: NDArray[np.uint8]) -> str:
    """Give what Tesseract reads in a picture of one line; "" where it is missing, fails or takes too long."""
    tesseract = _tesseract()
    try:
        return str(tesseract.image_to_string(ink, config="--psm 7", timeout=TIMEOUT_S))
    except (tesseract.TesseractError, tesseract.TesseractNotFoundError, RuntimeError, OSError):
        return ""


@cache
def _tesseract() -> Any:
    """Import pytesseract without pandas.

    It loads pandas wherever that is installed, for tables that nobody here asks for: some 34 MiB in each process that
    reads photos. A module that is None counts as not installed (`importlib.util.find_spec`).
    """
    loaded = "pandas" in sys.modules
    if not loaded:
        sys.modules["pandas"] = None  # type: ignore[assignment]
    try:
        return importlib.import_module("pytesseract")
    finally:
        if not loaded:
            del sys.modules["pandas"]
