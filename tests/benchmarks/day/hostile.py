"""A folder of hostile and wrong files among good ones: each is named with a reason, and the good ones are taken in."""

from __future__ import annotations

import io
import os
import random
import resource
import struct
import tempfile
import time
import zipfile
import zlib
from collections import Counter
from pathlib import Path
from typing import Any

from PIL import Image
from rich.console import Console

from capture.reading import Seen
from tests.api.day.afternoon import DayFakes, fill, memo, opened, proposed, take

HEADS = (
    b"\0\0\0\x18ftypM4A ", b"\0\0\0\x183gp4", b"OggS", b"ID3\x04", b"#!AMR\n", b"#!AMR-WB\n", b"fLaC",
    b"RIFF\xff\xff\xff\xffWAVE",
    b"\x1a\x45\xdf\xa3webm", b"\xff\xf1", b"\xff\xfb", b"\xff\xd8\xff\xe1", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP",
    b"\0\0\0\x18ftypheic", b"%PDF-1.7", b"PK\x03\x04", b"",
)  # fmt: skip


class WaryFakes(DayFakes):
    """Sees nothing in pictures that are not this folder's own."""

    def see(self, data: bytes, corners: Any = None) -> Any:
        try:
            return super().see(data, corners)
        except (KeyError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
            return Seen((), "No display was found in it.")


def bomb() -> bytes:
    """Make a PNG file of a few kilobytes whose header promises 60,000 times 60,000 pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(4_000_000))) + chunk(b"IEND", b"")


def archive() -> bytes:
    """Make a ZIP file of some kilobytes that unpacks to 8 MB."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as found:
        found.writestr("photo.jpg", bytes(8_000_000))
    return out.getvalue()


SPECIAL = (
    bomb(), archive(), b"\xff\xd8\xff\xe1\xff\xff" + b"Exif\0\0" + bytes(65_000), b"Dear customer,\n" * 400,
    b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\x01\0\xff\xff\xff\xff\xff\x7f" + bytes(400),
    b"\0\0\0\x01ftypM4A " + b"\x7f" * 8 + bytes(3000), b"fLaC\x84\xff\xff\xff" + bytes(300),
)  # fmt: skip
"""A picture and an archive that unpack to far more than they are, headers that promise what no file holds, a letter."""


def wrong_file(rng: random.Random, good: list[bytes]) -> bytes:
    """Make a file that is wrong: random behind a known beginning, cut off, with changed bytes, or empty."""
    kind = rng.randrange(5)
    if kind == 4:
        return rng.choice(SPECIAL)
    if kind == 0:
        return rng.choice(HEADS) + rng.randbytes(rng.randrange(0, 40_000))
    data = bytearray(rng.choice(good))
    if kind == 1:
        return bytes(data[: rng.randrange(0, len(data))])
    if kind == 2:
        for _ in range(rng.randrange(1, 60)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        return bytes(data)
    return b"" if rng.random() < 0.2 else bytes(data[: rng.randrange(12, 200)]) + rng.randbytes(2000)


def main(count: int, console: Console, seed: int = 3) -> None:
    """Take such a folder in, and print what became of it."""
    rng = random.Random(seed)
    real = Path(__file__).parents[3] / "fixtures" / "visit"
    good = [
        path.read_bytes()
        for path in [*sorted((real / "clips").iterdir())[:4], *sorted((real / "photos").iterdir())[:2]]
    ]
    good.append(memo(salt=9)[:200_000])
    with tempfile.TemporaryDirectory() as place:
        files = fill(Path(place) / "files")
        expected = len(list(files.iterdir()))
        for number in range(count):
            suffix = rng.choice(["m4a", "mp3", "ogg", "amr", "wav", "flac", "jpg", "png", "webp", "heic", "pdf"])
            (files / f"x{number} 20261124-150000.{suffix}").write_bytes(wrong_file(rng, good))
        os.mkfifo(files / "pipe.m4a")
        (files / "link.wav").symlink_to("/dev/zero")
        (files / "loop").symlink_to(files)
        if os.geteuid() == 0:  # only root may make a device
            os.mknod(files / "device.ogg", 0o600 | 0o020000, os.makedev(1, 5))
        workspace = opened(Path(place) / "data", WaryFakes())
        begun = time.monotonic()
        outcome = take(workspace, files, workers=2)
        wall = time.monotonic() - begun
        agreeing = sum(one["agreement"] == "agree" for one in proposed(workspace))
        codes = Counter(one.problem.code for one in outcome.untaken)
        unnamed = [one for one in outcome.untaken if not (one.problem.message and one.problem.remedy)]
        summary = workspace.verify().summary
        workspace.close()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    console.print(
        f"{count} wrong files beside {expected} good ones in {wall:.0f} s, at most {peak:.0f} MB: "
        f"{len(outcome.untaken)} named ({len(unnamed)} without reason or remedy), {agreeing} of 6 good values "
        f"joined to their photos, trail {summary.split(',')[0]}. By reason: {dict(codes.most_common())}"
    )
