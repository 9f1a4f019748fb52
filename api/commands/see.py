"""`ohmtrail see`: read the displays in photos from the command line, without a server or a job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.errors import CaptureError
from capture.reading import DisplayReading, Seen

SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif"}
"""What is picked up from a folder; a file named on the command line is always tried."""


def see(
    files: Annotated[list[Path], typer.Argument(help="Photos, or folders of photos.", metavar="FILE…", exists=True)],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line instead of a table.")] = False,
    crop: Annotated[bool, typer.Option("--crop", help="Each picture is nothing but the display.")] = False,
    annotate: Annotated[
        Path | None, typer.Option("--annotate", help="Write pictures with the displays marked to this folder.")
    ] = None,
) -> None:
    """Read the displays in photos: value, unit, how sure, and why not where a display is refused.

    A file that cannot be read is reported and the others go on; the exit code is then 1.
    """
    from capture.display import see_photo

    paths = _paths(files)
    if annotate is not None:
        annotate.mkdir(parents=True, exist_ok=True)
    table = _table()
    failed = 0
    for path in track(paths, "reading", console=Console(stderr=True), disable=len(paths) < 3):
        try:
            seen = see_photo(path.read_bytes(), crop=crop)
        except (CaptureError, OSError) as error:
            failed += 1
            seen = Seen((), str(error))
        if as_json:
            typer.echo(json.dumps(as_data(path, seen), ensure_ascii=False))
        else:
            _rows(table, path, seen)
        if annotate is not None and seen.displays:
            _annotate(path, seen, annotate)
    if not as_json:
        Console().print(table)
    if failed:
        typer.echo(f"{failed} of {len(paths)} files could not be read.", err=True)
        raise typer.Exit(1)


def _paths(files: list[Path]) -> list[Path]:
    """The files, with folders replaced by the photos in them."""
    result: list[Path] = []
    for path in files:
        if path.is_dir():
            result += sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES)
        else:
            result.append(path)
    return result


def as_data(path: Path, seen: Seen) -> dict[str, Any]:
    """What was seen in one file, as plain data."""
    return {"file": str(path), "displays": [_display(d) for d in seen.displays], "reason": seen.reason}


def _display(display: DisplayReading) -> dict[str, Any]:
    return {
        "text": display.text,
        "value": display.quantity.digits,
        "unit": display.quantity.unit,
        "qualifier": display.quantity.qualifier.value,
        "secondary": display.secondary,
        "confidence": display.confidence,
        "accepted": display.accepted,
        "reason": display.reason,
        "quad": [[round(x, 1), round(y, 1)] for x, y in display.quad],
    }


def _table() -> Table:
    table = Table(title="Displays")
    for name in ("file", "reading", "beside it", "sure: digits / point / unit", "why not"):
        table.add_column(name, overflow="fold")
    return table


def _rows(table: Table, path: Path, seen: Seen) -> None:
    if not seen.displays:
        table.add_row(path.name, "–", "", "", seen.reason)
    for display in seen.displays:
        beside = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in display.secondary.items())
        confidence = " / ".join(f"{display.confidence[name]:.2f}" for name in ("value", "dot", "unit"))
        shown = display.quantity.display() if display.accepted else f"refused ({display.text or 'nothing'})"
        table.add_row(path.name, shown, beside, confidence, display.reason)


def _annotate(path: Path, seen: Seen, folder: Path) -> None:
    """Write the upright photo with each display outlined and its reading beside it."""
    from PIL import Image, ImageDraw

    from capture.display.picture import open_picture

    picture = Image.fromarray(open_picture(path.read_bytes()).pixels)
    draw = ImageDraw.Draw(picture)
    for display in seen.displays:
        colour = (0, 190, 80) if display.accepted else (230, 60, 40)
        draw.polygon(list(display.quad), outline=colour, width=max(2, picture.width // 300))
        text = display.quantity.display() if display.accepted else f"? {display.text}"
        draw.text(display.quad[3], text, fill=colour, font_size=max(14, picture.width // 40))
    picture.save(folder / f"{path.stem}.png")
