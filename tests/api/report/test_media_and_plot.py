"""Pictures are re-encoded and turned upright; bars lie where their logarithm says."""

from __future__ import annotations

import base64
import io
import math
from decimal import Decimal

import pytest
from bs4 import BeautifulSoup
from PIL import Image

from api.report import media, plot
from api.report.content import EmbeddedPicture, VerdictMark
from capture.display import header
from tests.api.report.parsed import attr, one
from tests.api.report.sample import jpeg

ORIENTATION = 0x0112  # EXIF 2.32, tag "Orientation"
GPS = 0x8825


def decoded(picture: EmbeddedPicture) -> Image.Image:
    head, _, body = picture.data_uri.partition(",")
    assert head == "data:image/jpeg;base64"
    assert base64.b64decode(body) == picture.jpeg
    return Image.open(io.BytesIO(picture.jpeg))


def test_preview_is_turned_upright_and_carries_no_exif() -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # the camera was held upright: rows and columns change places
    exif.get_ifd(GPS)[1] = "N"
    upright = media.upright(jpeg(640, 480, exif=exif))
    assert upright is not None
    assert upright.size == (480, 640)
    shown = decoded(media.preview(upright, "Photo"))
    assert shown.size == (media.PREVIEW_SIDE * 3 // 4, media.PREVIEW_SIDE)
    assert not dict(shown.getexif())


def test_preview_is_reduced() -> None:
    upright = media.upright(jpeg(2000, 1000))
    assert upright is not None
    picture = media.preview(upright, "Photo")
    assert (picture.width, picture.height) == (media.PREVIEW_SIDE, media.PREVIEW_SIDE // 2)
    assert decoded(picture).size == (picture.width, picture.height)


def test_crop_shows_the_display_with_a_margin() -> None:
    upright = media.upright(jpeg(640, 480))
    assert upright is not None
    picture = decoded(media.crop(upright, ((160, 120), (320, 120), (320, 240), (160, 240)), "Display"))
    assert picture.size == pytest.approx((160 * (1 + 2 * media.CROP_MARGIN), 120 * (1 + 2 * media.CROP_MARGIN)), abs=2)
    middle, corner = picture.getpixel((picture.width // 2, picture.height // 2)), picture.getpixel((2, 2))
    assert isinstance(middle, tuple)
    assert isinstance(corner, tuple)
    assert middle[1] > 180, "the display lies in the middle"
    assert corner[1] < 80, "the margin shows what is around it"


@pytest.mark.parametrize("quad", [(), ((1, 1),), ((-9, -9), (-5, -9), (-5, -5), (-9, -5)), ((5, 5), (6, 5), (6, 6))])
def test_crop_without_a_usable_place_is_the_whole_photo(quad: tuple[tuple[float, float], ...]) -> None:
    upright = media.upright(jpeg(300, 200))
    assert upright is not None
    assert decoded(media.crop(upright, quad, "Display")).size == (300, 200)


@pytest.mark.parametrize("content", [b"", b"no picture", jpeg()[:300]])
def test_a_broken_photo_is_no_picture_and_no_error(content: bytes) -> None:
    assert media.upright(content) is None


def test_a_picture_bomb_is_refused_before_it_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(header, "MAX_PIXELS", 1000)
    assert media.upright(jpeg(640, 480)) is None


def test_only_playable_clips_are_embedded_and_unchanged() -> None:
    uri = media.audio_uri("audio/flac", b"fLaC1234")
    assert base64.b64decode(uri.partition(",")[2]) == b"fLaC1234"
    assert uri.startswith("data:audio/flac;base64,")
    assert media.audio_uri("application/octet-stream", b"x") == ""


def test_bars_lie_on_a_logarithmic_scale() -> None:
    rows = [
        plot.Bar("low", Decimal("1e5"), "=", "100 kΩ", VerdictMark.FAIL),
        plot.Bar("middle", Decimal("1e6"), "=", "1 MΩ", VerdictMark.PASS),
        plot.Bar("high", Decimal("1e8"), ">", "> 100 MΩ", VerdictMark.PASS),
        plot.Bar("none", Decimal(0), "=", "0", VerdictMark.FAIL),
    ]
    svg = BeautifulSoup(plot.bars(rows, [plot.LimitLine(Decimal("1e6"), "1 MΩ")], title="T", ident="p"), "html.parser")
    widths = [float(attr(rect, "width")) for rect in svg.select("rect.bar")]
    assert len(widths) == 3, "a value of zero has no place on a logarithmic scale"
    decade = widths[1] - widths[0]
    assert widths[2] - widths[1] == pytest.approx(2 * decade, abs=0.2)
    assert float(attr(one(svg, "line.limit"), "x1")) - plot.EDGE == pytest.approx(widths[1], abs=0.2)
    assert len(svg.select("path.bar")) == 1, "only the value over range has an arrow head"
    assert [t.get_text() for t in svg.select("text.reading")] == ["100 kΩ", "1 MΩ", "> 100 MΩ"]
    assert math.isclose(float(attr(one(svg, "svg"), "viewbox").split()[2]), plot.WIDTH)


def test_no_bars_no_plot() -> None:
    assert plot.bars([], [], title="T", ident="p") == ""
