"""Photos in, readings out: the demo photos, fixed rendered photos of every style, and pictures that must be refused."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageDraw

from capture.display import crop_of, geometry, see, see_photo
from capture.display import looks as looking
from capture.display.picture import open_picture
from capture.display.pyramid import ImagePyramid
from capture.errors import MediaError
from capture.reading import Doubt
from fixtures.training.display_model import stock
from fixtures.training.displays.faces import STYLES, TRAINING_STYLES
from fixtures.training.displays.photo import render, to_jpeg
from fixtures.training.displays.sampling import NOTHING
from fixtures.visit.make_photos import make
from grading.terms.quantity import Qualifier
from tests.benchmarks.display import failures
from tests.benchmarks.display.measure import Outcome, counted, grade
from tests.benchmarks.display.readers import answer_of, ours
from tests.benchmarks.display.sets import case_of, demo

FIXTURES = Path(__file__).parents[3] / "fixtures" / "visit"
DEMO = list(demo(FIXTURES / "truth.json"))


def read(wishes: Iterable[stock.Wish]) -> list[Outcome]:
    """Render what is wished for, read and grade it."""
    cases = [case_of(stock.make(wish), "test") for wish in wishes]
    return [grade(case, ours(case)) for case in cases]


def photo(**spec: Any) -> bytes:
    spec = {"seed": 1, "style": "tester_lcd", "shows": {}, "spoil": {}, **spec}
    return to_jpeg(render(spec), spec)


TESTER = {
    "main": ">4000",
    "unit": "MOhm",
    "test_voltage": "512",
    "set_voltage": "500",
    "elapsed": "1:00",
    "flags": ["hv"],
}


@pytest.mark.parametrize("case", DEMO, ids=[c.name for c in DEMO])
def test_demo_photo_is_read_or_refused_as_the_story_has_it(case: Any) -> None:
    seen = see_photo(case.data)
    outcome = grade(case, answer_of(seen))
    assert outcome.exact is case.legible, failures.note(outcome)
    assert outcome.answer.accepted is case.legible
    assert seen.displays, "every demo photo has a display"
    if not case.legible:
        assert seen.reason


def test_demo_photos_are_what_their_descriptions_give() -> None:
    """Rendering p01 again gives the file in the repository (JPEG encoders may differ by a level)."""
    entry = json.loads((FIXTURES / "truth.json").read_text(encoding="utf-8"))["photos"][0]
    again, kept = (open_picture(d).pixels.astype(int) for d in (make(entry), (FIXTURES / entry["file"]).read_bytes()))
    assert again.shape == kept.shape
    assert float(np.abs(again - kept).mean()) < 1


@pytest.mark.parametrize("style", STYLES)
def test_fixed_rendered_photos_give_no_wrong_value(style: str) -> None:
    """Four photos of each style, of every difficulty: none may be accepted wrongly."""
    outcomes = read(stock.Wish(seed, "photo", (style,)) for seed in range(700_000, 700_004))
    assert not [failures.note(o) for o in outcomes if o.wrong]


def test_most_clean_photos_are_read() -> None:
    """Photos of little trouble in every style trained on: floors under the measured 17 of 24 exact, 25 of 32 digits."""
    outcomes = read(stock.Wish(seed, "photo", TRAINING_STYLES, 0.0, 1) for seed in range(710_000, 710_040))
    counts = counted(outcomes)
    assert not [failures.note(o) for o in outcomes if o.wrong]
    assert counts.exact >= 0.62 * counts.legible, [failures.note(o) for o in failures.failed(outcomes)]
    assert counts.digits >= 0.72 * counts.legible_digits


def test_a_row_of_digits_alone_is_read_and_its_unit_asked_for() -> None:
    """Nothing but clean digits, as cut out by hand: accepted without a unit, its unit asked for. Measured: 7 of 7."""
    outcomes = read(
        stock.Wish(seed, "crop", ("panel_red", "multimeter_lcd"), 0.0, 1) for seed in range(720_000, 720_016)
    )
    bare = [o for o in outcomes if o.case.shown[0].unit is None and o.case.shown[0].digits]
    assert len(bare) >= 5
    read_right = [o for o in bare if o.digits]
    assert len(read_right) >= 0.8 * len(bare), [failures.note(o) for o in bare]
    assert not [failures.note(o) for o in outcomes if o.wrong]
    assert all(o.asked for o in read_right if set(o.case.shown[0].main) - {"-"})


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("style", NOTHING)
def test_pictures_without_a_display_give_no_value(style: str, seed: int) -> None:
    seen = see_photo(photo(style=style, seed=seed))
    assert not any(d.accepted for d in seen.displays)
    assert seen.reason


def test_secondary_fields_and_flags() -> None:
    display = see_photo(photo(shows=TESTER, spoil={"share": 0.45, "tilt": 8}, seed=4)).displays[0]
    assert display.accepted, display.reason
    assert (display.quantity.digits, display.quantity.unit, display.quantity.qualifier) == (
        "4000",
        "MOhm",
        Qualifier.ABOVE,
    )
    assert display.secondary["test_voltage"] == "512"
    assert display.secondary["elapsed"] == "1:00"
    assert display.secondary["set_voltage"] == "500"
    assert display.secondary["hv"] == "on"


def test_two_looks_are_enough_only_where_four_say_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo photos read with every look, and with as few as the reader finds enough: the same strings and units."""
    quick = [see_photo(case.data).displays[0] for case in DEMO]
    monkeypatch.setattr(looking, "CONFIDENT", 2.0)
    thorough = [see_photo(case.data).displays[0] for case in DEMO]
    for few, every in zip(quick, thorough, strict=True):
        if few.accepted and every.accepted:
            assert (few.text, few.quantity) == (every.text, every.quantity)


def test_small_fields_stand_where_they_are_drawn() -> None:
    """Every box covers the middles of the marks that the renderer drew for that field, and is not twice their size."""
    spec = {"seed": 4, "style": "tester_lcd", "shows": TESTER, "spoil": {"share": 0.45, "tilt": 8}}
    made = render(spec)
    display = see_photo(to_jpeg(made, spec)).displays[0]
    assert {one.name: one.text for one in display.secondary_seen} == display.secondary
    for one in display.secondary_seen:
        part = "flag" if one.name == "hv" else one.name
        marks = [m for m in made.displays[0].marks if m.part == part and m.name in (*one.text, "V", "hv")]
        corners = np.concatenate([m.quad for m in marks])
        (ax, ay), (bx, by) = corners.min(0), corners.max(0)
        x0, y0, x1, y1 = one.box
        for mark in marks:
            x, y = mark.quad.mean(0)
            assert x0 - 4 < x < x1 + 4, one
            assert y0 - 4 < y < y1 + 4, one
        assert (x1 - x0) < 2 * (bx - ax) + 20
        assert (y1 - y0) < 2 * (by - ay) + 20
        assert 0 <= one.confidence <= 1


def test_over_range_without_a_number_asks_for_the_range_end() -> None:
    display = see_photo(
        photo(style="multimeter_lcd", shows={"main": "OL", "unit": "MOhm"}, spoil={"share": 0.45})
    ).displays[0]
    assert display.accepted, display.reason
    assert display.quantity.qualifier is Qualifier.ABOVE
    assert display.quantity.digits is None
    assert Doubt.RANGE_END_UNKNOWN in display.doubts


def test_dashes_are_no_value() -> None:
    display = see_photo(
        photo(style="multimeter_lcd", shows={"main": "----", "unit": "Ohm"}, spoil={"share": 0.45})
    ).displays[0]
    assert display.quantity.qualifier is Qualifier.NONE
    assert display.quantity.digits is None


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_the_way_the_phone_was_held_changes_nothing(orientation: int) -> None:
    spec = {"style": "panel_red", "shows": {"main": "12.5", "unit": "V"}}
    plain = see_photo(photo(**spec, spoil={"share": 0.4})).displays[0]
    turned = see_photo(photo(**spec, spoil={"share": 0.4, "orientation": orientation})).displays[0]
    assert (plain.text, plain.quantity) == (turned.text, turned.quantity)
    assert plain.accepted
    assert turned.accepted
    assert np.abs(np.array(plain.quad) - np.array(turned.quad)).max() < 12


def test_two_instruments_in_one_photo_are_both_read() -> None:
    spec = {
        "style": "panel_red", "shows": {"main": "12.5", "unit": "V"}, "spoil": {"share": 0.28},
        "also": {"style": "multimeter_lcd", "shows": {"main": "0.80", "unit": "Ohm"}},
    }  # fmt: skip
    seen = see_photo(photo(**spec))
    read = {(d.text, d.quantity.unit) for d in seen.displays if d.accepted}
    assert read == {("12.5", "V"), ("0.80", "Ohm")}


@pytest.mark.parametrize(
    ("spoil", "named"),
    [
        ({"glare": 1.0, "share": 0.4}, ("glare", "digit", "point", "unit")),
        ({"blur": 12, "share": 0.25}, ("blurred", "digit", "no display", "no value", "small")),
        ({"share": 0.03}, ("small", "no display", "no value", "digit")),
        ({"cut": 0.45, "share": 0.5}, ("cut off", "no display", "digit")),
        ({"dark": 1.0, "noise": 1.0, "share": 0.3}, ("dark", "no display", "no value", "digit")),
    ],
)
def test_unreadable_photos_are_refused_with_what_to_do(spoil: dict[str, Any], named: tuple[str, ...]) -> None:
    seen = see_photo(photo(shows={**TESTER, "main": "34.70"}, spoil=spoil, seed=2))
    assert not any(d.accepted for d in seen.displays)
    assert any(word in seen.reason.lower() for word in named), seen.reason


def test_a_display_that_is_off_gives_no_value() -> None:
    seen = see_photo(photo(shows={"main": ""}, spoil={"share": 0.4}))
    assert not any(d.quantity.digits for d in seen.displays if d.accepted)


def test_corners_marked_by_hand() -> None:
    spec = {"seed": 9, "style": "panel_green", "shows": {"main": "230.5", "unit": "V"}, "spoil": {"share": 0.3}}
    made = render(spec)
    corners = tuple((float(x), float(y)) for x, y in made.displays[0].quad)
    display = see_photo(to_jpeg(made, spec), corners=corners).displays[0]
    assert display.accepted, display.reason
    assert display.text == "230.5"
    assert display.quad == corners


@pytest.mark.parametrize(
    "corners",
    [
        (),
        ((0, 0),) * 4,
        ((0, 0), (0, 9), (9, 9), (9, 0)),
        ((0, 0), (float("nan"), 0), (9, 9), (0, 9)),
        ((0, 0), (90, 90), (90, 0), (0, 90)),
    ],
)
def test_corners_that_span_no_display_are_refused(corners: Any) -> None:
    with pytest.raises(MediaError) as caught:
        see_photo(photo(size=(400, 300)), corners=corners)
    assert caught.value.code == "corners_invalid"


def test_where_it_looked_can_be_cut_out_and_read_again() -> None:
    data = photo(style="panel_amber", shows={"main": "48.20", "unit": "A"}, spoil={"share": 0.35, "tilt": 15})
    first = see_photo(data).displays[0]
    assert first.accepted, first.reason
    cut = crop_of(data, first.quad)
    assert open_picture(cut).kind == "PNG"
    again = see_photo(cut, crop=True).displays[0]
    assert again.text == first.text == "48.20"


@pytest.mark.parametrize("cut", [0.08, 0.2, 0.3])
def test_a_display_that_goes_on_beyond_the_picture_is_not_read(cut: float) -> None:
    """Part of the window is gone, with the last digits or with none of them; it is found, and never read wrongly."""
    found = 0
    for seed in (3, 4, 5):
        made = photo(
            style="panel_red", shows={"main": "1234.5", "unit": "V"}, spoil={"cut": cut, "share": 0.5}, seed=seed
        )
        for display in see_photo(made).displays:
            found += 1
            assert not display.accepted or display.text == "1234.5", (seed, display.text)
    assert found


def test_a_display_near_the_edge_but_whole_is_read() -> None:
    spec = {"style": "panel_red", "shows": {"main": "48.20", "unit": "A"}, "spoil": {"share": 0.8, "at": [0.5, 0.45]}}
    display = see_photo(photo(**spec, seed=6)).displays[0]
    assert display.accepted, display.reason
    assert display.text == "48.20"


def test_a_timer_is_read_and_asked_about() -> None:
    display = see_photo(photo(style="timer_led", shows={"main": "12:34"}, spoil={"share": 0.45}, seed=2)).displays[0]
    assert display.accepted, display.reason
    assert (display.text, display.quantity.digits, display.quantity.unit) == ("12:34", "754", "s")
    assert display.doubts == (Doubt.DIGITS_AMBIGUOUS,)


@pytest.mark.parametrize("turn", [90, 180, -90])
def test_a_display_on_its_side_or_head_is_read_as_it_is_meant(turn: float) -> None:
    shows = {"main": "217.4", "unit": "MOhm", "test_voltage": "512"}
    seen = see_photo(photo(style="tester_lcd", shows=shows, seed=12, spoil={"share": 0.45, "turn": turn}))
    assert [d.text for d in seen.displays] == ["217.4"]


@pytest.mark.parametrize("roll", [0, 1, 2, 3])
def test_whatever_the_finder_takes_for_the_top_left_is_put_right(roll: int) -> None:
    shows = {"main": "217.4", "unit": "MOhm", "test_voltage": "512"}
    pyramid = ImagePyramid(open_picture(photo(style="tester_lcd", shows=shows, seed=12, spoil={"share": 0.45})).pixels)
    upright = see.displays_in(pyramid)[0][0]
    quad, looks = looking.look_at(pyramid, np.roll(upright, roll, 0), marked=False)
    assert looks[0].fields.text == "217.4"
    assert np.abs(quad - upright).max() < 1e-6


@pytest.mark.parametrize("colour", [(45, 45, 50), (215, 180, 60), (190, 140, 110)])
def test_a_finger_over_a_digit_is_no_reading(colour: tuple[int, int, int]) -> None:
    """What covers the lower half of a 0 makes a 7 of it: in three colours of gloves and skin. Practice, no source."""
    pixels = open_picture(
        photo(style="tester_lcd", shows={"main": "0.80", "unit": "MOhm"}, spoil={"share": 0.5})
    ).pixels
    plain = see.see_pixels(pixels).displays[0]
    assert (plain.text, plain.accepted) == ("0.80", True)
    _, looks = looking.look_at(ImagePyramid(pixels), np.array(plain.quad), marked=False)
    digit = looks[0].fields.chars[0]
    (x, y), (_, foot) = geometry.transform(
        geometry.inverse(looks[0].matrix), np.array([[digit.x, digit.y], [digit.x, digit.y + digit.height]])
    )
    covered = Image.fromarray(pixels)
    wide = 0.8 * (foot - y)
    ImageDraw.Draw(covered).ellipse([x - wide, y, x + wide, y + 4 * (foot - y)], fill=colour)
    assert not any(d.accepted for d in see.see_pixels(np.asarray(covered)).displays)
