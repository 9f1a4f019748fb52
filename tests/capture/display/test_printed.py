"""A unit in print beside the digits, read by Tesseract itself: clean type set by Pillow with a font of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from capture.display import printed

FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"


def canvas(unit: str, *, light: bool = False) -> NDArray[np.uint8]:
    """Draw a window with digits at its left (a block, 100 px high) and a unit in print at their right."""
    ground, ink = ((20, 20, 25), (230, 230, 230)) if light else ((225, 225, 220), (25, 25, 25))
    picture = Image.new("RGB", (384, 224), ground)
    draw = ImageDraw.Draw(picture)
    draw.rectangle((20, 60, 180, 160), fill=ink)
    draw.text((200, 108), unit, fill=ink, font=ImageFont.truetype(FONT, 44))
    return np.asarray(picture, np.uint8)


@pytest.mark.parametrize(("unit", "code"), [("kV", "kV"), ("mA", "mA"), ("V", "V")])
@pytest.mark.parametrize("light", [False, True])
def test_print_right_of_the_digits_is_read(unit: str, code: str, light: bool) -> None:
    assert printed.unit_beside(canvas(unit, light=light), (20, 60, 180, 160)) == code


def test_reading_print_loads_no_pandas_and_leaves_it_to_others() -> None:
    """In a process of its own, since another test may have loaded it."""
    lines = (
        "import sys, numpy as np; from capture.display import printed",
        "printed.unit_beside(np.zeros((224, 384, 3), np.uint8), (20, 60, 180, 160))",
        "assert 'pytesseract' in sys.modules and 'pandas' not in sys.modules",
        "import pandas",
    )
    subprocess.run([sys.executable, "-c", "\n".join(lines)], check=True)


def test_no_unit_is_read_where_there_is_none() -> None:
    assert printed.unit_beside(canvas(""), (20, 60, 180, 160)) is None


@pytest.mark.parametrize("program", ["none at all", "fails", "hangs"])
def test_without_a_working_tesseract_no_unit_is_suggested(
    program: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    if program != "none at all":
        fake = tmp_path / "tesseract"
        fake.write_text("#!/bin/sh\n" + ("echo kV; exit 1\n" if program == "fails" else "exec /bin/sleep 60\n"))
        fake.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(printed, "TIMEOUT_S", 0.3)
    assert printed.unit_beside(canvas("kV"), (20, 60, 180, 160)) is None
