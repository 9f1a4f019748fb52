"""The second reader of photos: what print means, what it says of our number, when it counts, and life without it."""

from __future__ import annotations

import importlib.metadata
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from capture.display import acceptance, geometry
from capture.display.acceptance import decide
from capture.display.confidence import ASKED, HEADS, ConfidenceHead
from capture.display.errors import SecondReaderFileUnknown, SecondReaderMissing
from capture.display.fields import Fields
from capture.display.leading import arrange
from capture.display.pyramid import ImagePyramid
from capture.display.second_opinion import loading, opinion
from capture.display.second_opinion.files import FILES, find_files
from capture.display.second_opinion.lines import read_lines
from capture.display.second_opinion.opinion import (
    PrintSeen,
    Rivals,
    Says,
    SeenLine,
    likeliest_main,
    rivals,
    says,
    unit_at,
)
from capture.display.second_opinion.words import OTHER, numbers_in, unit_in
from capture.reading import Doubt
from fixtures.training.displays.fonts import font
from tests.capture.display.test_confidence import evidence, shown


@pytest.mark.parametrize(
    ("text", "code", "exact"),
    [
        ("MΩ", "MOhm", True), ("mΩ", "mOhm", True), ("KΩ", "kOhm", True), ("milli Ohms", "mOhm", True),
        ("MQ", "MOhm", False), ("M0", "MOhm", False), ("°℃", "Cel", True), ("C", "Cel", False), ("AC mV", "mV", True),
        ("VDC", "V", True), ("%", "%", True), ("ppm", OTHER, True), ("mAh", OTHER, True), ("Hz", OTHER, True),
    ],
)  # fmt: skip
def test_units_as_print_has_them(text: str, code: str, *, exact: bool) -> None:
    """The confusions are those seen on real displays read by this reader; the symbols those of IEC 80000."""
    found = unit_in(text)
    assert found is not None
    assert (found.code, found.exact) == (code, exact)


@pytest.mark.parametrize("text", ["HOLD", "TRMS", "AUTO", "O", "0", "", "LIMIT"])
def test_marks_are_no_units(text: str) -> None:
    assert unit_in(text) is None


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("> 4000 MΩ", [(">4000", "MΩ")]), ("0.000V 0.000A", [("0.000", "V"), ("0.000", "A")]),
        ("CPM: 31", [("31", "")]), ("-12,5°C", [("-12.5", "°C")]), ("O.L", [("0.L", "")]), ("8E88", []),
        ("1:05", [("1:05", "")]),
    ],
)  # fmt: skip
def test_numbers_as_print_has_them(text: str, numbers: list[tuple[str, str]]) -> None:
    assert [(n.text, n.after) for n in numbers_in(text)] == numbers


def line_at(fields: Fields, text: str, *, right: float = 0.0, below: float = 0.0, tall: float = 1.0) -> SeenLine:
    """Make a line of print over our row, or beside it by so many of its digits' heights."""
    x0, y0, x1, _ = fields.box or (0, 0, 0, 0)
    left = x0 if not right else x1 + right * fields.height
    top = y0 + below * fields.height
    return SeenLine(text, 0.99, (left, top, left + (x1 - x0), top + tall * fields.height))


def test_the_second_reader_agrees_only_with_the_very_same_number() -> None:
    fields = shown("34.70")

    def said(text: str) -> Says:
        return says(PrintSeen((line_at(fields, text),), ""), fields)[0]

    assert said("34.70 MΩ") is Says.AGREED
    assert {said("3470"), said("-34.70"), said(">34.70"), said("34.7")} == {Says.OPPOSED}
    assert said("HOLD") is Says.SILENT


def test_a_unit_stands_behind_right_of_or_below_the_number() -> None:
    fields = shown("34.70")
    seen = [unit_at(PrintSeen((line_at(fields, "34.70mΩ"),), ""), fields)]
    seen += [unit_at(PrintSeen((line_at(fields, "MΩ", right=0.3, tall=0.4),), ""), fields)]
    seen += [unit_at(PrintSeen((line_at(fields, "kΩ", below=1.3, tall=0.4),), ""), fields)]
    assert [(one.code, one.clear) for one in seen if one is not None] == [
        ("mOhm", False),  # beside tall digits in one line, m and M look alike
        ("MOhm", True),
        ("kOhm", True),
    ]
    assert unit_at(PrintSeen((line_at(fields, "V", below=6.0, tall=0.4),), ""), fields) is None  # print on the case


def test_units_tell_numbers_of_one_size_apart() -> None:
    fields = shown("34.70")

    def beside(own: str, other: str) -> Rivals:
        return rivals(PrintSeen((line_at(fields, own), line_at(fields, other, below=1.5)), ""), fields)

    assert beside("34.70 mΩ", "0.512 V") is Rivals.TOLD  # a resistance is what such an instrument is for
    assert beside("34.70 °C", "52 %") is Rivals.TOLD
    assert beside("34.70 mV", "120 mA") is Rivals.UNCLEAR
    assert beside("34.70", "120") is Rivals.UNCLEAR
    assert likeliest_main(PrintSeen((line_at(fields, "1.5 mA"), line_at(fields, "2.7 mV", below=2)), "")) is None
    main = likeliest_main(PrintSeen((line_at(fields, "1.5 mΩ"), line_at(fields, "2.7 mV", below=2)), ""))
    assert main is not None
    assert main.text == "1.5 mΩ"


@pytest.fixture
def doubtful(monkeypatch: pytest.MonkeyPatch) -> None:
    """Our own reader is half sure of digits and unit, and the second one's word is enough."""
    monkeypatch.setattr(acceptance, "probabilities", lambda _: {"value": 0.6, "dot": 0.9, "unit": 0.0})
    monkeypatch.setattr(acceptance, "asked_probability", lambda *_: 0.99)
    heads = {name: ConfidenceHead((), 0.0, 0.95) for name in (*HEADS, ASKED)}
    monkeypatch.setattr(acceptance, "calibration", lambda: heads)


@pytest.mark.usefixtures("doubtful")
def test_agreement_makes_up_for_doubt_and_disagreement_never_does() -> None:
    looked = evidence(shown("34.70"))
    assert not decide(looked).accepted
    unit = line_at(looked.fields, "MΩ", right=0.3, tall=0.4)
    agreed = decide(looked, PrintSeen((line_at(looked.fields, "34.70"), unit), "34.70"))
    assert (agreed.accepted, agreed.quantity.unit, agreed.doubts) == (True, "MOhm", ())
    for row, line in (("3470", "34.70"), ("34.70", "3470"), ("", "84.70")):
        assert not decide(looked, PrintSeen((line_at(looked.fields, line),), row)).accepted


@pytest.mark.usefixtures("doubtful")
@pytest.mark.parametrize(
    ("text", "unit", "accepted"),
    [
        ("502", "", False),
        ("70", "", False),
        ("502", "V", True),
        ("802.5", "", True),
        ("34", "", True),
        ("88", "", True),
        ("90:58", "", False),
        ("94:58", "", True),
    ],
)
def test_agreement_is_no_proof_of_which_way_up_a_display_stands(text: str, unit: str, accepted: bool) -> None:
    """A rendered 205 on its head was read as 502 by both, a 0FL as 730: unless a point or a unit shows it."""
    with_unit = shown(text)
    assert decide(evidence(with_unit), PrintSeen((line_at(with_unit, text),), text)).accepted, "our own reader sees it"
    looked = evidence(shown(text, None))
    lines = (line_at(looked.fields, text), *((line_at(looked.fields, unit, right=0.3, tall=0.4),) if unit else ()))
    assert decide(looked, PrintSeen(lines, text)).accepted is accepted


@pytest.mark.usefixtures("doubtful")
def test_agreement_is_no_proof_of_a_point(monkeypatch: pytest.MonkeyPatch) -> None:
    """A faint one is lost by both: rendered 2.25 as 225, and 4.94252 as 494252."""
    monkeypatch.setattr(acceptance, "probabilities", lambda _: {"value": 0.9, "dot": 0.6, "unit": 0.0})
    looked = evidence(shown("34.70"))
    told = decide(looked, PrintSeen((line_at(looked.fields, "34.70 MΩ"),), "34.70"))
    assert (told.accepted, "decimal point" in told.reason) == (False, True)


@pytest.mark.usefixtures("doubtful")
def test_agreement_counts_not_where_a_digit_may_be_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    looked = evidence(shown("34.70"))
    monkeypatch.setattr(acceptance, "ink_beside", lambda _: (0.9, 0.0))
    assert not decide(looked, PrintSeen((line_at(looked.fields, "34.70 MΩ"),), "34.70")).accepted


@pytest.mark.usefixtures("doubtful")
def test_a_unit_that_may_be_another_is_asked_about() -> None:
    looked = evidence(shown("34.70"))
    reading = decide(looked, PrintSeen((line_at(looked.fields, "34.70 kQ"),), "34.70"))
    assert (reading.quantity.unit, reading.doubts) == ("kOhm", (Doubt.UNIT_UNSURE,))


def test_print_is_found_and_read() -> None:
    if loading.lacking_second_reader():
        pytest.skip("The second reader is not installed.")
    reader = loading.second_reader()
    assert reader is not None
    picture = Image.new("RGB", (420, 220), (225, 228, 220))
    draw = ImageDraw.Draw(picture)
    draw.text((60, 40), "194.07", fill=(20, 20, 25), font=font("DejaVuSans.ttf", 64))
    draw.text((300, 70), "kΩ", fill=(20, 20, 25), font=font("DejaVuSans.ttf", 30))
    lines = read_lines(reader, ImagePyramid(np.asarray(picture)), geometry.rectangle(0, 0, 420, 220))
    assert "194.07" in {n.text for line in lines for n in numbers_in(line.text)}
    assert "kOhm" in {unit.code for line in lines if (unit := unit_in(line.text)) is not None}


def test_nothing_is_asked_about_an_empty_display() -> None:
    assert says(PrintSeen((), ""), arrange([])) == (Says.SILENT, Says.SILENT)
    assert unit_at(PrintSeen((), ""), arrange([])) is None
    assert opinion.tallest_beside(PrintSeen((), ""), arrange([])) == 0.0


def test_a_missing_or_unknown_file_is_named_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SecondReaderMissing, match=r"setup\.sh"):
        find_files(tmp_path)
    monkeypatch.setenv(loading.SETTING, str(tmp_path))
    assert "setup.sh" in loading.lacking_second_reader()
    assert loading.second_reader() is None
    for name in FILES:
        (tmp_path / name).write_bytes(b"no network")
    with pytest.raises(SecondReaderFileUnknown, match="SHA-256"):
        find_files(tmp_path)
    monkeypatch.setenv(loading.SETTING, "off")
    assert loading.lacking_second_reader() == ""
    assert loading.second_reader() is None


def test_there_is_one_build_of_cv2() -> None:
    """Two builds in one environment overwrite each other's files; the second reader's package would bring another."""
    names = {dist.metadata["Name"].lower() for dist in importlib.metadata.distributions() if dist.metadata["Name"]}
    assert [name for name in sorted(names) if name.startswith("opencv")] == ["opencv-python-headless"]
