"""Pictures that were read wrongly or not at all, written out with what was said, and one sheet of them all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PIL import Image, ImageDraw

from capture.display.picture import open_picture
from capture.errors import MediaError
from fixtures.training.displays.fonts import FACES, font
from tests.benchmarks.display.measure import Outcome

TILE, CAPTION, ACROSS, MOST = 300, 52, 5, 100
"""Width of a picture on the sheet and height of its caption, px; pictures in a row, and at most on the sheet."""


def failed(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Sort failures: wrong ones first, then legible ones refused, then those whose unit was asked for in vain."""
    wrong = [o for o in outcomes if o.wrong]
    refused = [o for o in outcomes if o.missed]
    units = [o for o in outcomes if o.asked and o.case.shown[0].readable_unit and not o.wrong]
    return wrong + refused + units


def verdict(outcome: Outcome) -> str:
    """Name a failure in one word."""
    return "wrong" if outcome.wrong else "refused" if outcome.missed else "unit-asked"


def note(outcome: Outcome) -> str:
    """Tell what was shown, what was read, and why it was refused."""
    shown = " and ".join(f"{s.main} {s.unit or ''}".strip() for s in outcome.case.shown) or "nothing"
    answer = outcome.answer
    read = f"{answer.text or 'nothing'} {answer.unit or ''}".strip()
    return f"{outcome.case.name} {outcome.case.style}: shows {shown}; read {read} ({answer.score:.3f}) {answer.reason}"


def write(outcomes: Sequence[Outcome], folder: Path) -> int:
    """Write each failure as a JPEG and `sheet.png` with the first hundred.

    Returns:
        How many failures there are.
    """
    folder.mkdir(parents=True, exist_ok=True)
    every = failed(outcomes)
    for outcome in every:
        name = f"{verdict(outcome)}-{outcome.case.name}".replace("/", "_")
        (folder / name).with_suffix(".jpg").write_bytes(_jpeg(outcome))
    (folder / "notes.txt").write_text("".join(f"{verdict(o)}: {note(o)}\n" for o in every), encoding="utf-8")
    if every:
        _sheet(every[:MOST]).save(folder / "sheet.png")
    return len(every)


def _picture(outcome: Outcome) -> Image.Image:
    try:
        return Image.fromarray(open_picture(outcome.case.data).pixels)
    except MediaError:  # refused before it was decoded: a grey field stands for it
        return Image.new("RGB", (160, 120), (128, 128, 128))


def _jpeg(outcome: Outcome) -> bytes:
    import io

    out = io.BytesIO()
    _picture(outcome).save(out, "JPEG", quality=88)
    return out.getvalue()


def _sheet(outcomes: Sequence[Outcome]) -> Image.Image:
    high = TILE * 3 // 4
    rows = (len(outcomes) + ACROSS - 1) // ACROSS
    sheet = Image.new("RGB", (ACROSS * TILE, rows * (high + CAPTION)), (245, 245, 245))
    draw, face = ImageDraw.Draw(sheet), font(FACES[0], 12)
    for index, outcome in enumerate(outcomes):
        x, y = (index % ACROSS) * TILE, (index // ACROSS) * (high + CAPTION)
        picture = _picture(outcome)
        picture.thumbnail((TILE - 8, high - 4))
        sheet.paste(picture, (x + 4, y + 4))
        lines = note(outcome).split(": ", 1)
        text = f"{verdict(outcome)} {lines[0]}\n" + "\n".join(_wrapped(lines[1], 46)[:2])
        draw.multiline_text((x + 4, y + high + 2), text, fill=(20, 20, 20), font=face, spacing=2)
    return sheet


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width)
