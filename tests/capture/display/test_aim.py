"""What the finder says of frames of a camera's view: rendered displays, whose truth is known, at a frame's size.

Words and reasons are held to what `see_photo` makes of the same picture as a photo, wherever that says one.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from capture.display import refusal, see_photo
from capture.display.aim import LEAST_DIGIT_PX, MOST_PIXELS, WORDS, Aim, Hint, aim_at, aim_of
from capture.display.geometry import sides
from capture.display.picture import open_picture
from capture.errors import MediaError
from fixtures.training.displays.faces import UNSEEN_STYLES
from fixtures.training.displays.photo import Photo, render, to_jpeg
from tests.benchmarks.display.sets import demo
from tests.capture.display.hostile import FILES

Pixels = NDArray[np.uint8]
LONGEST = 768
"""Longer side of the page's frames, px (`api/server/web/finder.js`)."""
DEMO = list(demo())
CLEAR = {"seed": 9, "style": "panel_green", "shows": {"main": "230.5", "unit": "V"}}


def rendered(**more: Any) -> tuple[Photo, Pixels]:
    spec: dict[str, Any] = {**CLEAR, "spoil": {"share": 0.4}, "size": (1600, 1200), **more}
    made = render(spec)
    return made, open_picture(to_jpeg(made, spec)).pixels


def frame_of(photo: Pixels) -> Pixels:
    """Bring a photo to the size of a frame."""
    scale = LONGEST / max(photo.shape[:2])
    return np.asarray(cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)


def jpeg(pixels: Pixels, quality: int = 70) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality)
    return out.getvalue()


def aimed(photo: Pixels) -> Aim:
    return aim_of(jpeg(frame_of(photo)), photo.shape[1])


def off(aim: Aim, made: Photo) -> float:
    """Give how far the corners are from the renderer's, as a share of the display's diagonal."""
    truth = made.displays[0].quad / made.picture.size
    size = np.array([1.0, made.picture.height / made.picture.width])
    mean = np.linalg.norm((np.array(aim.corners) - truth) * size, axis=1).mean()
    return float(mean / np.hypot(*sides(truth * size)))


@pytest.mark.parametrize("style", UNSEEN_STYLES)
def test_corners_and_digits_are_where_the_renderer_drew_them(style: str) -> None:
    """Find the display of instruments that training never had; 0.05 of the diagonal is a digit's stroke or two."""
    made, photo = rendered(style=style, shows={"main": "1.0372", "unit": "Ohm"})
    aim = aimed(photo)
    assert aim.hint is Hint.GOOD
    assert off(aim, made) < 0.05
    drawn = [mark for mark in made.displays[0].marks if mark.part == "main" and mark.name != "."]
    height = max(np.ptp(mark.quad[:, 1]) for mark in drawn) / photo.shape[0]
    assert aim.digits == pytest.approx(height, rel=0.15)


@pytest.mark.parametrize("case", DEMO, ids=[case.name for case in DEMO])
def test_what_is_good_as_a_frame_is_read_as_a_photo(case: Any) -> None:
    photo = open_picture(case.data).pixels
    aim = aimed(photo)
    if case.legible:
        assert aim.hint is Hint.GOOD
        assert see_photo(case.data).displays[0].accepted
    else:
        assert aim.hint is not Hint.GOOD, "the story has it unreadable"


def smaller(photo: Pixels, to: float) -> Pixels:
    """Show the same from further away, before an even wall."""
    wall = np.full_like(photo, 128)
    small = cv2.resize(photo, None, fx=to, fy=to, interpolation=cv2.INTER_AREA)
    top, left = ((np.array(photo.shape[:2]) - small.shape[:2]) // 2).tolist()
    wall[top : top + small.shape[0], left : left + small.shape[1]] = small
    return wall


def cut(photo: Pixels, made: Photo) -> Pixels:
    """Let the picture end in the middle of the display."""
    middle = int(made.displays[0].quad[:, 0].mean())
    return np.ascontiguousarray(photo[:, :middle])


def glaring(photo: Pixels, made: Photo) -> Pixels:
    """Lay a round reflection over the left end of the digits, as a lamp does."""
    (x0, y0), (x1, y1) = made.displays[0].quad.min(0), made.displays[0].quad.max(0)
    lamp = np.zeros(photo.shape[:2], np.float32)
    drawn = [mark for mark in made.displays[0].marks if mark.part == "main"]
    at = drawn[0].quad.mean(0) - [0.9 * np.ptp(drawn[0].quad[:, 0]), 0]
    cv2.circle(lamp, (int(at[0]), int(at[1])), int(0.45 * np.ptp(drawn[0].quad[:, 1])), 1.0, -1)
    soft = np.asarray(cv2.GaussianBlur(lamp, (0, 0), 0.01 * (x1 - x0 + y1 - y0)), np.float32)[..., None]
    return np.asarray(np.clip(photo + 400 * soft, 0, 255), np.uint8)


def moving(photo: Pixels, made: Photo) -> Pixels:
    """Smear along a line, half as long as a digit is high: a hand that moves."""
    drawn = [mark for mark in made.displays[0].marks if mark.part == "main"]
    length = int(0.5 * np.ptp(drawn[0].quad[:, 1]))
    return np.asarray(cv2.filter2D(photo, -1, np.full((1, length), 1 / length)), np.uint8)


def dimmed(photo: Pixels) -> Pixels:
    """Take most of the light away; what a camera makes of the rest is noise as much as picture."""
    noise = np.random.default_rng(4).normal(8, 8, photo.shape)
    return np.clip(0.02 * photo + noise, 0, 255).astype(np.uint8)


WRONG: dict[Hint, Callable[[Pixels, Photo], Pixels]] = {
    Hint.TOO_SMALL: lambda photo, _made: smaller(photo, 0.12),
    Hint.CUT_OFF: cut,
    Hint.GLARE: glaring,
    Hint.BLUR: moving,
    Hint.DARK: lambda photo, _made: dimmed(photo),
}
AS_A_PHOTO = {
    Hint.CUT_OFF: refusal.CUT_OFF,
    Hint.GLARE: refusal.GLARE,
    Hint.BLUR: refusal.BLUR,
    Hint.DARK: refusal.DARK,
}


@pytest.mark.parametrize("hint", WRONG, ids=lambda hint: hint.value)
def test_each_trouble_has_its_hint_and_the_photo_the_same_reason(hint: Hint) -> None:
    made, photo = rendered()
    assert aimed(photo).hint is Hint.GOOD
    wrong = WRONG[hint](photo, made)
    aim = aimed(wrong)
    assert aim.hint is hint
    assert WORDS[hint] in aim.to_json()["words"]
    seen = see_photo(jpeg(wrong, 92))
    if hint in AS_A_PHOTO:
        assert seen.reason == AS_A_PHOTO[hint]
    if hint is not Hint.DARK:
        assert aim.corners, "shown where it is"


def test_hints_and_refusals_say_the_same_in_the_same_words() -> None:
    said = {Hint.NO_DISPLAY: refusal.NO_DISPLAY, Hint.TOO_SMALL: refusal.TOO_SMALL, **AS_A_PHOTO}
    shared = {hint: WORDS[hint].split(": ")[-1].lower() for hint in said if hint is not Hint.CUT_OFF}
    for hint, words in shared.items():
        assert words in said[hint].lower(), hint


def test_what_a_photo_would_be_counts_for_the_size_of_its_digits() -> None:
    """Ask a camera of few pixels to come closer where one of many need not."""
    _, photo = rendered()
    frame = jpeg(frame_of(smaller(photo, 0.22)))
    near = aim_of(frame, photo.shape[1])
    assert near.hint is Hint.GOOD
    assert near.digits is not None
    height = near.digits * frame_of(photo).shape[0]
    few = int(LONGEST * 0.9 * LEAST_DIGIT_PX / height)
    assert aim_of(frame, few).hint is Hint.TOO_SMALL


@pytest.mark.parametrize("style", ["nothing_label", "nothing_keypad", "nothing_dial", "nothing_cabinet"])
@pytest.mark.parametrize("seed", [3, 4])
def test_where_no_display_is_nothing_is_good(style: str, seed: int) -> None:
    spec = {"seed": seed, "style": style, "shows": {}, "spoil": {"share": 0.4}, "size": (1000, 750)}
    aim = aimed(open_picture(to_jpeg(render(spec), spec)).pixels)
    assert aim.hint is not Hint.GOOD


def test_an_even_frame_has_no_display() -> None:
    assert aim_at(np.full((432, 768, 3), 90, np.uint8), 1920) == Aim(Hint.NO_DISPLAY)
    assert aim_at(np.full((432, 768, 3), 90, np.uint8), 1920).to_json()["corners"] is None


@pytest.mark.parametrize("name", [name for name, (_, code) in FILES.items() if code.startswith("photo_")])
def test_what_is_hostile_is_refused_as_a_photo_is(name: str) -> None:
    make, code = FILES[name]
    with pytest.raises(MediaError) as refused:
        aim_of(make(), 1920)
    assert refused.value.code in (code, "photo_too_many_pixels")


def test_a_frame_has_few_pixels() -> None:
    side = int(MOST_PIXELS**0.5) + 1
    with pytest.raises(MediaError) as refused:
        aim_of(jpeg(np.full((side, side, 3), 90, np.uint8)), 1920)
    assert refused.value.code == "photo_too_many_pixels"
