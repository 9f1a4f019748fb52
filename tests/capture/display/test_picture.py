"""Photos as they come from phones, and files that are no photos: orientation, limits, damage."""

from __future__ import annotations

import io
import random
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageFile, PngImagePlugin

from capture.display.picture import MAX_BYTES, kind_of, open_picture
from capture.errors import MediaError
from tests.capture.display.hostile import FILES, MEMORY

CODES = {
    "photo_empty", "photo_too_large", "photo_type_unknown", "photo_too_many_pixels", "photo_too_small", "photo_damaged",
    "photo_too_complex",
}  # fmt: skip


def sample(width: int = 200, height: int = 100) -> Image.Image:
    """Make a grey picture with a red corner at the top left and a blue one at the bottom right."""
    picture = Image.new("RGB", (width, height), (128, 128, 128))
    picture.paste((255, 0, 0), (0, 0, width // 4, height // 4))
    picture.paste((0, 0, 255), (width - width // 4, height - height // 4, width, height))
    return picture


def encoded(kind: str, picture: Image.Image | None = None, **options: object) -> bytes:
    out = io.BytesIO()
    (picture or sample()).save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_pictures_are_told_by_content(kind: str) -> None:
    opened = open_picture(encoded(kind))
    assert opened.kind == kind
    assert opened.pixels.shape == (100, 200, 3)
    assert opened.pixels[5, 5, 0] > 200 > opened.pixels[5, 5, 2]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_as_by_another_library(orientation: int) -> None:
    """OpenCV's decoder turns by the EXIF tag itself; both must give the same picture."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = encoded("JPEG", quality=95, exif=exif.tobytes())
    ours = open_picture(data).pixels.astype(int)
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    theirs = decoded[:, :, ::-1].astype(int)
    assert ours.shape == theirs.shape
    assert float(np.abs(ours - theirs).mean()) < 3


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_nonsense_orientation_changes_nothing(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    assert open_picture(encoded("JPEG", exif=exif.tobytes())).pixels.shape == (100, 200, 3)


def test_time_taken_is_told() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:11:25 14:05:00"
    assert open_picture(encoded("JPEG", exif=exif.tobytes())).taken == datetime(2026, 11, 25, 14, 5)


@pytest.mark.parametrize("stamp", ["yesterday", "2026:13:45 99:99:99", "", "2026-11-25"])
def test_nonsense_time_is_none(stamp: str) -> None:
    exif = Image.Exif()
    exif[0x0132] = stamp
    assert open_picture(encoded("JPEG", exif=exif.tobytes())).taken is None


DATA = Path(__file__).parent / "data"


def test_heic_of_phones_is_read() -> None:
    """The files were written with libheif's HEVC encoder from the same picture as `sample`."""
    opened = open_picture((DATA / "corners.heic").read_bytes())
    assert opened.kind == "HEIF"
    assert float(np.abs(opened.pixels.astype(int) - np.asarray(sample()).astype(int)).mean()) < 4


def test_heic_orientation_is_applied_once() -> None:
    """EXIF orientation 6: the picture's top left comes to lie at the top right."""
    opened = open_picture((DATA / "corners_turned.heic").read_bytes())
    assert opened.pixels.shape == (200, 100, 3)
    assert opened.pixels[5, -5, 0] > 200
    assert opened.taken == datetime(2026, 11, 25, 14, 5)


@pytest.mark.parametrize("lenient", [False, True])
def test_truncated_heic_is_refused(monkeypatch: pytest.MonkeyPatch, lenient: bool) -> None:
    """Also where a library of the same process has told Pillow to take what is cut off."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", lenient)
    data = (DATA / "corners.heic").read_bytes()
    for percent in range(1, 96, 4):
        with pytest.raises(MediaError):
            open_picture(data[: len(data) * percent // 100])


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "photo_empty"),
        (b"\xff\xd8\xff" + b"\0" * MAX_BYTES, "photo_too_large"),
        (b"hello, this is text", "photo_type_unknown"),
        (b"GIF89a" + b"\0" * 50, "photo_type_unknown"),
        (b"%PDF-1.7 ...", "photo_type_unknown"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "photo_type_unknown"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 40, "photo_damaged"),
        (b"\x89PNG\r\n\x1a\n", "photo_damaged"),
        (b"RIFF\x10\0\0\0WEBPVP8 ", "photo_damaged"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 60, "photo_damaged"),
    ],
)
def test_what_is_no_photo_is_refused_with_its_code(data: bytes, code: str) -> None:
    with pytest.raises(MediaError) as caught:
        open_picture(data)
    assert caught.value.code == code


def test_small_pictures_are_refused() -> None:
    with pytest.raises(MediaError) as caught:
        open_picture(encoded("PNG", sample(15, 400)))
    assert caught.value.code == "photo_too_small"


@pytest.mark.parametrize("name", FILES)
def test_hostile_files_cost_little_and_are_refused_with_a_reason(name: str, tmp_path: Path) -> None:
    """Each in a process that the system ends after 2 s of processor time and gives 50 MB besides what it has."""
    make, code = FILES[name]
    path = tmp_path / "file"
    path.write_bytes(make())
    command = [sys.executable, "-m", "tests.capture.display.hostile", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split()[0] == code
    assert int(done.stdout.split()[2]) < MEMORY


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("progressive", [False, True])
def test_what_phones_append_to_a_photo_is_ignored(seed: int, progressive: bool) -> None:
    """A short film or a second picture behind the first: its bytes look like marks of every kind, ends included."""
    noise = np.random.default_rng(seed).integers(0, 256, (1200, 1600, 3), np.uint8)
    data = encoded("JPEG", Image.fromarray(noise), progressive=progressive)
    film = b"\0\0\0\x18ftypmp42" + np.random.default_rng(seed).integers(0, 256, 3_000_000, np.uint8).tobytes()
    plain = open_picture(data).pixels
    assert np.array_equal(open_picture(data + film).pixels, plain)
    assert np.array_equal(open_picture(data + encoded("JPEG")).pixels, plain)


@pytest.mark.parametrize("orientation", [1, 6])
def test_very_large_photos_are_decoded_at_half_their_size(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = encoded("JPEG", sample(5_760, 3_840), exif=exif.tobytes())
    opened = open_picture(data)
    assert opened.scale == 0.5
    assert opened.pixels.shape == ((1_920, 2_880, 3) if orientation == 1 else (2_880, 1_920, 3))
    corner = opened.pixels[5, 5] if orientation == 1 else opened.pixels[5, -5]
    assert corner[0] > 200 > corner[2]


def test_colours_behind_transparency_and_comments_are_kept() -> None:
    """A PNG with palette, transparency and comments: the pixels as another library gives them."""
    picture = sample().quantize(16)
    comments = PngImagePlugin.PngInfo()
    comments.add_text("Comment", "0.80 MΩ" * 50, zip=True)
    data = encoded("PNG", picture, pnginfo=comments, transparency=0)
    theirs = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert np.array_equal(open_picture(data).pixels, theirs)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_truncated_files_are_refused(kind: str) -> None:
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (120, 160, 3), np.uint8))
    data = encoded(kind, noise)
    for percent in range(1, 96, 2):
        with pytest.raises(MediaError) as caught:
            open_picture(data[: len(data) * percent // 100])
        assert caught.value.code in {"photo_damaged", "photo_empty", "photo_type_unknown"}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_mutated_files_give_pixels_or_a_known_code(kind: str) -> None:
    """200 seeded mutations of each type, in the header and the EXIF part above all."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0132] = "2026:11:25 14:05:00"
    original = encoded(kind, exif=exif.tobytes())
    rng = random.Random(7)
    for _ in range(200):
        data = bytearray(original)
        for _ in range(rng.randint(1, 6)):
            data[min(len(data) - 1, int(rng.expovariate(1 / 120)))] = rng.randint(0, 255)
        try:
            assert open_picture(bytes(data)).pixels.ndim == 3
        except MediaError as error:
            assert error.code in CODES  # noqa: PT017


def test_kinds() -> None:
    assert kind_of(b"\0\0\0\x18ftypmif1") == "HEIF"
    assert kind_of(b"\0\0\0\x18ftypmp42") is None
    assert kind_of(b"") is None
