"""`ohmtrail see`: read the displays in photos from the command line, without a server or a job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import track
from rich.table import Table

from api.commands.errors import FileMissing, FileUnreadable, PathNoFile
from api.ledger.canonical import PlainData
from capture.errors import CaptureError, MediaError
from capture.reading import Seen
from grading.terms.quantity import QuantityKind

if TYPE_CHECKING:
    from capture.display.burst import Burst
    from capture.display.profile import Profile

SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif"}
"""What is picked up from a folder; a file named on the command line is always tried."""


def see(
    files: Annotated[list[Path], typer.Argument(help="Photos, or folders of photos.", metavar="FILE…|FOLDER")],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line instead of a table.")] = False,
    crop: Annotated[bool, typer.Option("--crop", help="Each picture is nothing but the display.")] = False,
    burst: Annotated[bool, typer.Option("--burst", help="All files show one display: read them as one.")] = False,
    profile: Annotated[
        str | None, typer.Option("--profile", help="What the meter can show: a name (ohmtrail profiles) or a file.")
    ] = None,
    quantity: Annotated[
        QuantityKind | None,
        typer.Option("--quantity", help="What was to be measured: with --profile it settles unit and number."),
    ] = None,
    annotate: Annotated[
        Path | None, typer.Option("--annotate", help="Write pictures with the displays marked to this folder.")
    ] = None,
) -> None:
    """Read the displays in photos: value, unit, confidence, and why not where a display is refused.

    A file that cannot be read is reported with the reason and the others go on; the exit code is then 1.
    """
    from capture.display.profile_files import find_profile
    from capture.display.second_opinion.loading import lacking_second_reader

    if lacking := lacking_second_reader():
        typer.echo(lacking, err=True)
    own = None if profile is None else find_profile(profile)
    paths = _paths(files)
    out = _Output(as_json, annotate, _common(paths))
    if burst:
        out.one(*_burst(paths, crop, own, quantity))
    else:
        bar = Console(stderr=True)
        for path in track(paths, "reading", console=bar, disable=len(paths) < 3, transient=True):
            out.one(path, *_seen(path, crop, own, quantity))
    out.close()
    if not paths:
        typer.echo("There is no photo in these folders.", err=True)
        raise typer.Exit(1)
    if out.failed:
        typer.echo(f"{out.failed} of {len(paths)} files could not be read.", err=True)
        raise typer.Exit(1)


def _paths(files: list[Path]) -> list[Path]:
    """List the files, with folders replaced by the photos in them."""
    result: list[Path] = []
    for path in files:
        if path.is_dir():
            result += sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES)
        else:
            result.append(path)
    return result


def _common(paths: list[Path]) -> Path | None:
    """Find the folder that all files lie in, where two of them have the same name; None otherwise."""
    import os

    if len({path.stem for path in paths}) == len(paths):
        return None
    return Path(os.path.commonpath([path.resolve().parent for path in paths]))


def _read(path: Path) -> bytes:
    """Read a file's content, no more of it than a photo may have.

    Raises:
        NoFile: It is no file, or cannot be read.
    """
    from capture.display.header import MAX_BYTES

    if not path.is_file():
        raise PathNoFile() if path.exists() else FileMissing()
    try:
        with path.open("rb") as handle:
            return handle.read(MAX_BYTES + 1)
    except OSError as error:
        raise FileUnreadable(cause=error.strerror) from None


def _seen(path: Path, crop: bool, profile: Profile | None, kind: QuantityKind | None) -> tuple[Seen, bool]:
    """Give what one file shows, and whether it could be opened at all."""
    from capture.display import see_photo

    try:
        return see_photo(_read(path), crop=crop, profile=profile, kind=kind), True
    except CaptureError as error:
        return Seen((), str(error)), False


def _burst(
    paths: list[Path], crop: bool, profile: Profile | None, kind: QuantityKind | None
) -> tuple[Path, Seen, bool, PlainData]:
    """Read all files as one: the best file, the reading, whether all could be opened, and what each shows alone."""
    from capture.display import see_burst
    from capture.display.refusal import NO_DISPLAY

    contents, problems = [], {}
    for path in paths:
        try:
            contents.append(_read(path))
        except MediaError as error:
            contents.append(b"")
            problems[path] = str(error)
    try:
        found: Burst = see_burst(contents, crop=crop, profile=profile, kind=kind)
    except CaptureError as error:
        return paths[0] if paths else Path(), Seen((), str(error)), False, {"burst": []}
    frames = []
    for path, seen in zip(paths, found.frames, strict=True):
        frames.append(as_data(path, Seen(seen.displays, problems.get(path, seen.reason))))
    readable = all(seen.displays or seen.reason == NO_DISPLAY for seen in found.frames)
    return paths[found.best], found.seen, readable, {"burst": frames}


class _Output:
    """Lines of JSON as they come, or a table at the end; annotated pictures where they are wanted."""

    def __init__(self, as_json: bool, folder: Path | None, common: Path | None) -> None:
        self.as_json = as_json
        self.folder = folder
        self.common = common
        self.failed = 0
        self.table = Table(
            "file", "reading", "beside it", "confidence: digits / point / unit", "why not", title="Displays"
        )
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)

    def one(self, path: Path, seen: Seen, opened: bool, more: PlainData | None = None) -> None:
        """Take what one file shows."""
        self.failed += not opened
        if self.as_json:
            typer.echo(json.dumps({**as_data(path, seen), **(more or {})}, ensure_ascii=False))
        else:
            self._rows(path, seen)
        if self.folder is not None and seen.displays:
            self._annotate(path, seen, self.folder)

    def close(self) -> None:
        """Print the table, if there is one."""
        if not self.as_json and self.table.row_count:
            Console().print(self.table)

    def _rows(self, path: Path, seen: Seen) -> None:
        if not seen.displays:
            self.table.add_row(path.name, "–", "", "", seen.reason)
        for display in seen.displays:
            beside = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in display.secondary.items())
            confidence = " / ".join(f"{display.confidence.get(name, 0):.2f}" for name in ("value", "dot", "unit"))
            shown = display.quantity.display() if display.accepted else f"refused ({display.text or 'nothing'})"
            asked = ", ".join(doubt.value.replace("_", " ") for doubt in display.doubts)
            told = ["unit by the profile"] if display.unit_by_profile else []
            why = display.reason or "; ".join([*told, *([f"to be asked: {asked}"] if asked else [])])
            self.table.add_row(path.name, shown, beside, confidence, why)

    def _annotate(self, path: Path, seen: Seen, folder: Path) -> None:
        name = path.stem
        if self.common is not None:  # files of one name from several folders
            name = "-".join(path.resolve().relative_to(self.common).with_suffix("").parts)
        try:
            annotated(_read(path), seen, folder / f"{name}.jpg")
        except (CaptureError, OSError) as error:
            typer.echo(f"{path}: the annotated picture was not written: {error}", err=True)


def as_data(path: Path, seen: Seen) -> PlainData:
    """Give what was seen in one file as plain data."""
    return {"file": str(path), "displays": [display.to_json() for display in seen.displays], "reason": seen.reason}


def annotated(data: bytes, seen: Seen, path: Path) -> None:
    """Write the upright photo with each display and field outlined and what was read beside it.

    Raises:
        CaptureError: The photo cannot be decoded.
        OSError: The file cannot be written.
    """
    from PIL import Image, ImageDraw

    from capture.display.picture import open_picture

    opened = open_picture(data)
    picture = Image.fromarray(opened.pixels)
    draw = ImageDraw.Draw(picture)
    thin, size = max(1, picture.width // 600), max(14, picture.width // 40)
    for display in seen.displays:
        colour = (0, 190, 80) if display.accepted else (230, 60, 40)
        quad = [(x * opened.scale, y * opened.scale) for x, y in display.quad]
        draw.polygon(quad, outline=colour, width=2 * thin)
        value = f"{display.text} {display.quantity.unit or ''}".strip()
        draw.text(quad[3], value if display.accepted else f"? {value}", fill=colour, font_size=size)
        for one in display.secondary_seen:
            x0, y0, x1, y1 = (v * opened.scale for v in one.box)
            draw.rectangle((x0, y0, x1, y1), outline=(60, 120, 255), width=thin)
            draw.text((x0, y1), f"{one.name} {one.text}", fill=(60, 120, 255), font_size=size // 2)
    picture.save(path, quality=88)
