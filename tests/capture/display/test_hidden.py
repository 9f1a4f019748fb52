"""Whether something lies over the main string: where the judgement looks, what it says of covers never trained on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from capture.display import geometry, hidden, see
from capture.display import looks as looking
from capture.display.acceptance import COVERED, decide
from capture.display.glyphs import STRIP_DIGIT, STRIP_HEIGHT, STRIP_STRIDE, STRIP_WIDTH
from capture.display.pyramid import ImagePyramid
from capture.display.refusal import COVERED as SAID
from fixtures.training.displays import covers
from fixtures.training.displays.photo import staged

ROW = (100.0, 80.0, 280.0, 140.0)
"""Around a row of three digits 60 px high on a canvas of the reader's size."""

WHOLE = geometry.rectangle(0, 0, 384, 224)


def red_at(x: float) -> np.ndarray:
    """Make a grey canvas with a red bar 12 px wide at a place along the row."""
    canvas = np.full((224, 384, 3), 120, np.uint8)
    canvas[70:150, round(x) - 6 : round(x) + 6] = (255, 0, 0)
    return canvas


def redness(strip: np.ndarray) -> np.ndarray:
    """Stand in for the network: how red each place of a strip is."""
    red = (strip[..., 0].astype(float) - strip[..., 1]) / 255
    return np.asarray(red[20:44].reshape(24, -1, STRIP_STRIDE).mean((0, 2)))


@pytest.mark.parametrize(
    ("x", "found"),
    [(110, True), (190, True), (270, True), (85, True), (300, True), (330, True), (22, False), (366, False)],
)
def test_every_place_of_the_row_is_judged_and_a_digit_beside_it(
    monkeypatch: pytest.MonkeyPatch, x: float, found: bool
) -> None:
    monkeypatch.setattr(hidden, "cover_map", redness)
    assert (hidden.hidden(red_at(x), WHOLE, np.eye(3), ROW, 60.0) > 0.5) is found


@pytest.mark.parametrize("x", range(20, 370, 25))
def test_a_row_longer_than_a_strip_is_judged_in_parts(monkeypatch: pytest.MonkeyPatch, x: int) -> None:
    monkeypatch.setattr(hidden, "cover_map", redness)
    canvas = np.full((224, 384, 3), 120, np.uint8)
    canvas[60:180, x - 5 : x + 5] = (255, 0, 0)
    assert hidden.hidden(canvas, WHOLE, np.eye(3), (10.0, 108.0, 374.0, 128.0), 20.0) > 0.5


@pytest.mark.parametrize(("edge", "found"), [(330.0, True), (285.0, False), (200.0, False)])
def test_beside_the_display_nothing_can_be_hidden(monkeypatch: pytest.MonkeyPatch, edge: float, found: bool) -> None:
    """Something lies 31 px right of the row, which itself counts even where the corners leave it out."""
    monkeypatch.setattr(hidden, "cover_map", redness)
    quad = geometry.rectangle(0, 0, edge, 224)
    assert (hidden.hidden(red_at(317), quad, np.eye(3), ROW, 60.0) > 0.5) is found
    assert hidden.hidden(red_at(270), quad, np.eye(3), ROW, 60.0) > 0.5


def test_beyond_the_photo_nothing_can_lie(monkeypatch: pytest.MonkeyPatch) -> None:
    """The photo ends at px 384: there its edge only goes on, here with a red bar that does."""
    monkeypatch.setattr(hidden, "cover_map", redness)
    row, wide = (100.0, 80.0, 376.0, 140.0), geometry.rectangle(0, 0, 500, 224)
    assert hidden.hidden(red_at(389.5), wide, np.eye(3), row, 60.0) < 0.5
    assert hidden.hidden(red_at(372), wide, np.eye(3), row, 60.0) > 0.5


def test_what_lies_beside_the_straightened_display_is_seen_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """On the canvas the photo is moved by 250 px: the bar lies left of all that the canvas shows."""
    monkeypatch.setattr(hidden, "cover_map", redness)
    moved = np.array([[1, 0, -250.0], [0, 1, 0], [0, 0, 1]])
    row = (10.0, 80.0, 100.0, 140.0)
    assert hidden.hidden(red_at(230), WHOLE, moved, row, 60.0) > 0.5
    assert hidden.hidden(red_at(150), WHOLE, moved, row, 60.0) < 0.5


def test_a_strip_counts_with_its_mirror_image(monkeypatch: pytest.MonkeyPatch) -> None:
    """This network says of any picture that the right end is hidden: with the mirror image, half of it all over."""
    monkeypatch.setattr(hidden, "cover_map", lambda _: np.linspace(0, 1, 64))
    assert hidden.likely_hidden(np.zeros((STRIP_HEIGHT, STRIP_WIDTH, 3), np.uint8)) == pytest.approx(np.full(64, 0.5))


def test_digits_stand_in_the_middle_of_the_strip_at_one_height() -> None:
    matrix = hidden.strip_matrix(ROW, 60.0, 190.0)
    (left, top), (right, foot) = geometry.transform(matrix, np.array([ROW[:2], ROW[2:]]))
    assert (top, foot) == ((STRIP_HEIGHT - STRIP_DIGIT) / 2, (STRIP_HEIGHT + STRIP_DIGIT) / 2)
    assert left + right == STRIP_WIDTH
    assert hidden.strip(red_at(190), matrix).shape == (STRIP_HEIGHT, STRIP_WIDTH, 3)


def shot(maker: covers.Maker | None, seed: int) -> np.ndarray:
    """Take a photo of a tester with something over a digit, or with nothing."""
    spoils = {"share": 0.5}
    shows = {"main": "217.4", "unit": "MOhm"}
    stage = staged({"style": "tester_lcd", "seed": seed, "shows": shows, "size": (1000, 750), "spoil": spoils})
    ground = np.asarray(stage.ground, np.float32)
    if maker is not None:
        quads = [quad for name, quad in stage.marks("main") if name != "."]
        quad = quads[seed % len(quads)]
        height = float(np.linalg.norm(quad[3] - quad[0]))
        x, y = quad.mean(0)
        ground = maker(ground.shape[:2], (float(x), float(y)), height, np.random.default_rng(seed)).over(ground)
    pixels = ground.clip(0, 255).astype(np.uint8)
    return np.asarray(stage.taken(Image.fromarray(pixels), spoils, np.random.default_rng(seed)))


@pytest.mark.parametrize("maker", covers.HELD_BACK)
def test_covers_that_no_training_showed_are_told_from_a_free_row(maker: covers.Maker) -> None:
    """Of eight photos with a strap or an oval over a digit one may be accepted; of four without all are. No source."""
    passed = [any(d.accepted for d in see.see_pixels(shot(maker, seed)).displays) for seed in range(8)]
    assert sum(passed) <= 1
    free = [see.see_pixels(shot(None, seed)).displays[0] for seed in range(4)]
    assert [(d.text, d.accepted) for d in free] == [("217.4", True)] * 4


def test_from_the_threshold_on_a_sure_reading_is_refused_in_words() -> None:
    pyramid = ImagePyramid(shot(None, 1))
    quad, looks = looking.look_at(pyramid, see.displays_in(pyramid)[0][0], marked=False)
    evidence = looking.evidence_of(pyramid, quad, looks, marked=False)
    assert decide(evidence).accepted
    assert decide(replace(evidence, hidden=COVERED - 0.01)).accepted
    refused = decide(replace(evidence, hidden=COVERED))
    assert (refused.accepted, refused.reason) == (False, SAID)
