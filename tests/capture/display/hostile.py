"""Files that pretend to be photos and are made to cost a reader time or memory; each small to build and to keep.

`FILES` gives for each its bytes and the code with which it must be refused ("opened": the claim is ignored).
`python -m tests.capture.display.hostile FILE` opens one under the limits below and prints what it cost;
`tests.benchmarks.display.hostile` prints the table.
"""

from __future__ import annotations

import io
import resource
import struct
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

DATA = Path(__file__).parent / "data"
MEMORY = 50_000_000
"""What one of them may take besides what is in use already, bytes."""
PROCESSOR_S = 2
"""Whole seconds of processor time after which the system ends the process (it counts no finer)."""


def _jpeg(width: int = 640, height: int = 480, **options: object) -> bytes:
    noise = np.random.default_rng(3).integers(0, 255, (height, width, 3), np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG", **options)
    return out.getvalue()


def chunk(name: bytes, body: bytes) -> bytes:
    """Make one PNG chunk."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width: int, height: int, *between: bytes, depth: int = 1, colour: int = 0, rows: bytes = b"") -> bytes:
    """Make a PNG of zeros made without holding the pixels, with chunks between header and pixels."""
    if not rows:
        packer = zlib.compressobj(9)
        bits = depth * {0: 1, 2: 3, 6: 4}[colour] * width
        line = b"\0" * (bits // 8 + 2)
        rows = b"".join(packer.compress(line) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + b"".join(between) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def _after_start(data: bytes, *segments: bytes) -> bytes:
    """Make a JPEG with segments put in after its first mark."""
    return data[:2] + b"".join(segments) + data[2:]


def _segment(mark: int, body: bytes) -> bytes:
    return bytes((0xFF, mark)) + struct.pack(">H", len(body) + 2) + body


def _exif_that_claims_much() -> bytes:
    """Make EXIF whose every entry claims the whole block again: 5,000 entries of 60 kB each."""
    entries = b"".join(struct.pack("<HHII", tag, 7, 60_000, 8) for tag in range(5000))
    return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", 5000) + entries + bytes(4)


def _sized(data: bytes, width: int, height: int) -> bytes:
    """Make a JPEG whose header claims another size."""
    at = data.index(b"\xff\xc0")
    return data[: at + 5] + struct.pack(">HH", height, width) + data[at + 9 :]


def _scans(count: int) -> bytes:
    """Make a progressive JPEG of 4 million pixels whose last scan is repeated."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize((1_990, 1_990)).convert("RGB").save(out, "JPEG", progressive=True, quality=20)
    data = out.getvalue()
    last = data.rindex(b"\xff\xda")
    return data[:-2] + data[last:-2] * count + data[-2:]


def _webp_canvas(width: int, height: int) -> bytes:
    """Make an animated WebP of one small frame on a huge canvas."""
    out = io.BytesIO()
    Image.new("RGB", (64, 64), (9, 9, 9)).save(out, "WEBP")
    still = out.getvalue()[12:]

    def three(value: int) -> bytes:
        return value.to_bytes(3, "little")

    def part(name: bytes, body: bytes) -> bytes:
        return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)

    frame = part(b"ANMF", three(0) * 2 + three(63) * 2 + three(0) + b"\0" + still)
    body = part(b"VP8X", b"\x02\0\0\0" + three(width - 1) + three(height - 1)) + part(b"ANIM", bytes(6)) + frame
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def _heic(change: Callable[[bytearray], None]) -> bytes:
    data = bytearray((DATA / "corners.heic").read_bytes())
    change(data)
    return bytes(data)


def _heic_size(data: bytearray) -> None:
    at = data.index(b"ispe")
    data[at + 8 : at + 16] = struct.pack(">II", 60_000, 60_000)


def _heic_places(data: bytearray) -> None:
    """Make a HEIC whose box of places claims 65,535 items."""
    at = data.index(b"iloc")
    data[at + 10 : at + 12] = b"\xff\xff"


_TEXT = b"Comment\0\0" + zlib.compress(bytes(1_000_000), 9)

FILES: dict[str, tuple[Callable[[], bytes], str]] = {
    "PNG of 256 million pixels in 31 kB": (lambda: png(16_000, 16_000), "photo_too_many_pixels"),
    "PNG of 49 million pixels, allowed by number": (lambda: png(7_000, 7_000), "photo_too_many_pixels"),
    "PNG of 16 million pixels in 2 kB": (lambda: png(4_000, 4_000), "photo_too_many_pixels"),
    "PNG of 16 million pixels, filled up with junk": (
        lambda: png(4_000, 4_000, chunk(b"prVt", bytes(2_000_000))), "photo_too_many_pixels",
    ),
    "PNG of 16 million pixels in 16-bit colours": (
        lambda: png(4_000, 4_000, depth=16, colour=6), "photo_too_many_pixels",
    ),
    "PNG that claims 2 thousand million a side": (
        lambda: png(2**31 - 1, 2**31 - 1, rows=b"x"), "photo_too_many_pixels",
    ),
    "PNG with 60 comments of 1 MB each": (lambda: png(64, 64, *[chunk(b"zTXt", _TEXT)] * 60), "opened"),
    "PNG of a million empty chunks": (lambda: png(64, 64, chunk(b"prVt", b"") * 1_000_000), "photo_too_complex"),
    "PNG whose pixels are no pixels": (lambda: png(3_000, 3_000, rows=bytes(200_000)), "photo_damaged"),
    "PNG cut off": (lambda: png(900, 900)[:-30], "photo_damaged"),
    "JPEG of a million empty segments": (
        lambda: _after_start(_jpeg(), _segment(0xFE, b"") * 1_000_000), "photo_too_complex",
    ),
    "JPEG of 20 MB of filling": (lambda: _after_start(_jpeg(), b"\xff" * 20_000_000), "photo_too_complex"),
    "JPEG of 3 million marks in its scan": (
        lambda: _jpeg()[:-2] + b"\xff\xdd\0\2" * 3_000_000 + b"\xff\xd9", "photo_too_complex",
    ),
    "JPEG that claims 65,500 x 65,500": (lambda: _sized(_jpeg(), 65_500, 65_500), "photo_too_many_pixels"),
    "JPEG that claims 5,000 x 3,000 in 0.15 MB": (
        lambda: _sized(_jpeg(600, 400), 5_000, 3_000), "photo_too_many_pixels",
    ),
    "JPEG that claims 2,400 x 1,600 in 0.15 MB": (lambda: _sized(_jpeg(600, 400), 2_400, 1_600), "opened"),
    "JPEG with 1,000 scans": (lambda: _scans(1000), "photo_too_complex"),
    "JPEG cut off": (lambda: _jpeg(2_000, 1_500)[:-5_000], "photo_damaged"),
    "JPEG with EXIF that claims 300 MB": (
        lambda: _after_start(_jpeg(), _segment(0xE1, _exif_that_claims_much())), "opened",
    ),
    "JPEG mark, then a web page": (lambda: b"\xff\xd8\xff<html><script>alert(1)</script></html>", "photo_damaged"),
    "PNG mark, then a JPEG": (lambda: b"\x89PNG\r\n\x1a\n" + _jpeg(), "photo_damaged"),
    "PDF with a photo in it": (lambda: b"%PDF-1.7\n" + _jpeg(), "photo_type_unknown"),
    "WebP with a canvas of 16,383 x 16,383": (lambda: _webp_canvas(16_383, 16_383), "photo_too_many_pixels"),
    "WebP with a canvas of 4,000 x 4,000": (lambda: _webp_canvas(4_000, 4_000), "photo_too_many_pixels"),
    "WebP cut off": (lambda: _webp_canvas(64, 64)[:-9], "photo_damaged"),
    "HEIC that claims 60,000 x 60,000": (lambda: _heic(_heic_size), "photo_too_many_pixels"),
    "HEIC whose places are 65,535": (lambda: _heic(_heic_places), "photo_damaged"),
    "25 MB and one byte": (lambda: b"\xff\xd8\xff" + bytes(25_000_000 - 2), "photo_too_large"),
    "nothing": (lambda: b"", "photo_empty"),
}  # fmt: skip


def _in_use() -> int:
    """Give the address space of this process, bytes."""
    return int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()


def _peak() -> int:
    """Give the most memory that this process ever held, bytes (`ru_maxrss` would count its parent's too)."""
    line = next(one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM"))
    return 1024 * int(line.split()[1])


def measure(path: Path) -> str:
    """Open a file under limits of memory and processor time: "CODE SECONDS BYTES" (the last: growth of the peak)."""
    from capture.display.picture import open_picture
    from capture.errors import MediaError

    out = io.BytesIO()
    for kind in ("JPEG", "PNG", "WEBP"):  # the decoders are loaded before anything is measured
        out.seek(0)
        Image.new("RGB", (64, 64)).save(out, kind)
        open_picture(out.getvalue())
    open_picture((DATA / "corners.heic").read_bytes())
    data = path.read_bytes()
    before = _peak()
    limit = _in_use() + MEMORY
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    used = int(sum(resource.getrusage(resource.RUSAGE_SELF)[:2]))
    resource.setrlimit(resource.RLIMIT_CPU, (used + PROCESSOR_S, used + PROCESSOR_S))
    start = time.process_time()
    try:
        open_picture(data)
        code = "opened"
    except MediaError as error:
        code = error.code
    seconds = time.process_time() - start
    return f"{code} {seconds:.4f} {_peak() - before}"


if __name__ == "__main__":
    import cv2

    cv2.setNumThreads(1)
    print(measure(Path(sys.argv[1])))
