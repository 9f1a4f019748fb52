"""Bursts: several rendered photos of one display, each spoiled in its own way by its own seed."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image

from capture.display import see_burst, see_photo
from capture.display.burst import MOST_FRAMES
from capture.display.profile_files import read_profile
from capture.errors import MediaError
from capture.reading import Doubt
from fixtures.training.displays.photo import render, to_jpeg


def frames(main: str | list[str], count: int = 3, *, seed: int = 31, **spoil: Any) -> list[bytes]:
    """Make photos of one panel meter: the camera moves from frame to frame, and with it light and noise."""
    shown = [main] * count if isinstance(main, str) else main
    result = []
    for index, text in enumerate(shown):
        spec = {
            "seed": seed,
            "style": "panel_green",
            "shows": {"main": text, "unit": "V"},
            "spoil": {"share": 0.4, "yaw": 2.0 * index, "turn": 1.0 * index, "at": [0.5 + 0.02 * index, 0.45], **spoil},
            "size": (1000, 750),
        }
        result.append(to_jpeg(render(spec), spec))
    return result


def test_a_burst_reads_what_each_frame_reads() -> None:
    found = see_burst(frames("12.5"))
    assert [seen.displays[0].text for seen in found.frames] == ["12.5"] * 3
    display = found.seen.displays[0]
    assert display.accepted, display.reason
    assert (display.quantity.digits, display.quantity.unit) == ("12.5", "V")
    assert found.seen.displays[0].quad == found.frames[found.best].displays[0].quad


def test_a_burst_of_one_is_a_photo() -> None:
    (data,) = frames("48.2", 1)
    alone, burst = see_photo(data).displays[0], see_burst([data]).seen.displays[0]
    assert (burst.text, burst.quantity, burst.accepted) == (alone.text, alone.quantity, alone.accepted)


def test_frames_that_differ_are_never_averaged() -> None:
    """A reading that climbs from frame to frame has not settled (domain, 13.3: two frames must agree)."""
    found = see_burst(frames(["12.5", "12.9", "13.4"]))
    display = found.seen.displays[0]
    assert not display.accepted
    assert display.doubts == (Doubt.NOT_SETTLED,)
    assert "12.5 V" in display.reason
    assert "13.4 V" in display.reason
    assert "stands still" in found.seen.reason


def test_a_frame_that_cannot_be_opened_is_named_and_the_others_count() -> None:
    first, second, third = frames("12.5")
    found = see_burst([first, second[: len(second) // 2], third])
    assert found.seen.displays[0].accepted
    assert "damaged" in found.frames[1].reason
    assert found.best in (0, 2)


def test_one_dark_frame_does_not_spoil_the_burst() -> None:
    clear = frames("230.5", 2)
    (dark,) = frames("230.5", 1, dark=1.0, noise=1.0)
    found = see_burst([dark, *clear])
    assert found.seen.displays[0].accepted, found.seen.reason
    assert found.seen.displays[0].text == "230.5"


def test_without_any_display_there_is_a_reason() -> None:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (128, 128, 128)).save(out, "JPEG")
    found = see_burst([out.getvalue()] * 2)
    assert found.seen.displays == ()
    assert found.seen.reason


def test_a_frame_that_the_instrument_cannot_show_has_no_vote() -> None:
    own = read_profile({"name": "own", "range": [{"unit": "V", "top": "99.9"}]})
    found = see_burst(frames(["12.5", "125.0", "12.5"]), profile=own)
    assert not found.frames[1].displays[0].accepted
    assert found.seen.displays[0].accepted, found.seen.reason
    assert found.seen.displays[0].text == "12.5"


@pytest.mark.parametrize(
    ("given", "code"),
    [([], "burst_empty"), ([b"\xff\xd8\xff"] * (MOST_FRAMES + 1), "burst_too_long"), ([b"", b"x"], "photo_empty")],
)
def test_what_is_no_burst_is_refused(given: list[bytes], code: str) -> None:
    with pytest.raises(MediaError) as caught:
        see_burst(given)
    assert caught.value.code == code


@pytest.mark.parametrize("seed", range(4))
def test_hard_bursts_give_the_right_value_or_none(seed: int) -> None:
    """Noise, blur and little light, worse from frame to frame: no wrong value, and no less than the frames gave."""
    main = f"{17 + seed}.{(seed * 37) % 90 + 10}"
    shot = []
    for index in range(4):
        spec = {
            "seed": 900 + 10 * seed,
            "style": ("panel_red", "multimeter_lcd", "tester_lcd", "milliohm_vfd")[seed],
            "shows": {"main": main, "unit": ("V", "kOhm", "MOhm", "mOhm")[seed]},
            "spoil": {"share": 0.3, "blur": 2.0 + index, "noise": 0.2, "tilt": 4.0 * index, "dark": 0.2 * index},
        }
        shot.append(to_jpeg(render(spec), spec))
    found = see_burst(shot)
    for display in found.seen.displays:
        assert not display.accepted or display.text == main
    alone = [seen.displays[0] for seen in found.frames if seen.displays and seen.displays[0].accepted]
    if alone and all(display.text == main for display in alone):
        assert found.seen.displays[0].accepted, found.seen.reason
