"""Calibrated confidence: bounded, rising with what speaks for a reading, and refusing to run on a damaged file."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.display import confidence, geometry, refusal
from capture.display.confidence import ASKED, FILE, HEADS, ConfidenceHead, calibration, probabilities
from capture.display.features import DIRECTIONS, DisplayLooks, features, log_odds
from capture.display.fields import Fields
from capture.display.glyphs import CLASSES, INDEX
from capture.display.leading import arrange
from capture.display.marks import Mark
from capture.errors import EngineError


def mark(
    name: str, x: float, *, heat: float = 0.9, confidence: float = 0.99, y: float = 100.0, height: float = 80.0
) -> Mark:
    rest = (1 - confidence) / (len(CLASSES) - 1)
    odds = tuple(confidence if i == INDEX[name] else rest for i in range(len(CLASSES)))
    small = name in ".:"
    return Mark(
        name, confidence, heat, "8", x, y + (height / 2 - 4 if name == "." else 0), 10.0 if small else height * 0.5,
        10.0 if small else height, odds,
    )  # fmt: skip


def shown(text: str, unit: str | None = "MOhm", **quality: float) -> Fields:
    marks, x = [], 40.0
    for character in text:
        marks.append(mark(character, x - 26 if character in ".:" else x, **quality))
        x += 0.0 if character in ".:" else 52.0
    if unit is not None:
        marks.append(mark(unit, x + 20, height=30.0, **quality))
    return arrange(marks)


def evidence(fields: Fields, looks: int = 3, **more: object) -> DisplayLooks:
    plain = DisplayLooks(
        fields=fields,
        looks=(fields,) * looks,
        legible=0.95,
        canvas=np.full((224, 384, 3), 150, np.uint8),
        share=0.4,
        digit_px=90.0,
        cut=False,
        quad=geometry.rectangle(0, 0, 384, 224),
        found=0.9,
    )
    return replace(plain, **more)  # type: ignore[arg-type]  # changes of many types in one dict


def test_every_head_has_the_features_that_it_was_fitted_on() -> None:
    values = features(evidence(shown("34.70")))
    heads = calibration()
    assert set(heads) == {*HEADS, ASKED}
    assert set(values) == set(HEADS)
    for name in HEADS:
        assert {ramp[0] for ramp in heads[name].ramps} <= set(values[name]) <= set(DIRECTIONS)
        assert all(math.isfinite(v) for v in values[name].values())


def test_without_a_string_nothing_is_likely() -> None:
    assert probabilities(evidence(Fields())) == {"value": 0.0, "dot": 0.0, "unit": 0.0}


def test_a_unit_that_was_not_seen_has_no_confidence() -> None:
    assert probabilities(evidence(shown("34.70", None)))["unit"] == 0.0


def test_features_stay_finite_whatever_the_evidence() -> None:
    """A single look, a digit alone, everything 0 or 1."""
    for fields in (shown("7", None), shown("7", None, confidence=1.0, heat=1.0), shown("-8.", None), shown("888888")):
        for looks in (0, 1, 4):
            for legible in (0.0, 1.0):
                one = evidence(fields, looks, legible=legible, digit_px=None, found=0.0)
                assert all(math.isfinite(v) for head in features(one).values() for v in head.values())


@given(st.floats(0, 1), st.floats(0, 1))
def test_more_legible_never_means_less_likely(one: float, other: float) -> None:
    low, high = sorted((one, other))
    before, after = (probabilities(evidence(shown("34.70"), legible=v)) for v in (low, high))
    assert all(after[name] >= before[name] for name in HEADS)


@pytest.mark.parametrize("name", HEADS)
def test_looks_that_disagree_make_it_less_likely(name: str) -> None:
    same, other = shown("34.70"), shown("84.7", "kOhm")
    agreed = probabilities(evidence(same))
    parted = probabilities(replace(evidence(same), looks=(same, other, other)))
    assert parted[name] <= agreed[name]


def test_weak_marks_make_it_less_likely() -> None:
    strong, weak = (
        probabilities(evidence(shown("34.70"))),
        probabilities(evidence(shown("34.70", confidence=0.6, heat=0.5))),
    )
    assert weak["value"] < strong["value"]


@given(st.floats(0, 1))
def test_log_odds_are_bounded_and_turn_back(p: float) -> None:
    odds = log_odds(p)
    assert abs(odds) < 9.3
    if 0.001 < p < 0.999:
        assert 1 / (1 + math.exp(-odds)) == pytest.approx(p)


def test_a_head_computes_the_logistic_function_of_its_ramps() -> None:
    head = ConfidenceHead((("a", 0.0, 1.0, 2.0), ("a", 1.0, 9.0, 1.0)), -1.0, 0.5)
    assert head.probability({"a": 0.5}) == 0.5
    assert head.probability({"a": 3.0}) == pytest.approx(1 / (1 + math.exp(-3)))
    assert head.probability({"a": -5.0}) == pytest.approx(1 / (1 + math.exp(1)))
    assert head.probability({"a": 500.0}) == head.probability({"a": 9.0}) < 1.0


@pytest.mark.parametrize("content", [None, "", "{}", '{"heads": {"value": {}}}', '{"heads": []}', '{"heads": {}}'])
def test_a_damaged_calibration_is_said_so(content: str | None, tmp_path: Path) -> None:
    path = tmp_path / "calibration.json"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(EngineError) as caught:
        calibration(path)
    assert caught.value.code == "display_model_broken"


def test_thresholds_are_probabilities() -> None:
    data = json.loads(FILE.read_text(encoding="utf-8"))
    for name in HEADS:
        assert 0.5 < data["heads"][name]["threshold"] < 1.0
    assert confidence.FILE.stat().st_size < 40_000


def test_a_digit_that_was_missed_leaves_ink_beside_the_row() -> None:
    """Three bars are drawn, the row is said to be two of them: at the left, at the right, or all are known."""
    canvas = np.full((224, 384, 3), 200, np.uint8)
    bars = [(100, 130), (150, 180), (200, 230)]
    for left, right in bars:
        canvas[60:160, left:right] = 30
    boxes = {"all": (100, 60, 230, 160), "first": (100, 60, 180, 160), "last": (150, 60, 230, 160)}
    found = {name: refusal.ink_beside(canvas, box, 100.0, 1e9) for name, box in boxes.items()}
    assert max(found["all"]) < 0.1
    assert list(found["first"]) == pytest.approx([0, 1], abs=0.2)
    assert list(found["last"]) == pytest.approx([1, 0], abs=0.2)
    assert refusal.ink_beside(canvas, boxes["first"], 100.0, 185.0)[1] < 0.1  # what begins there is known
    assert refusal.ink_beside(canvas, (-50, -40, 500, -10), 30.0, 1e9) == (0.0, 0.0)


def test_unevenly_spaced_digits_are_a_doubt() -> None:
    even, gap = shown("34700", None), shown("34700", None)
    for one in [m for m in gap.chars if m.x > 150]:
        gap.chars[gap.chars.index(one)] = replace(one, x=one.x + 52)
    assert features(evidence(even))["value"]["pitch"] < 0.05
    assert features(evidence(gap))["value"]["pitch"] > 0.3


def test_a_point_may_take_a_place_of_its_own() -> None:
    """As on screens with letters of one width: 0.07 has its zeros two places apart."""
    wide = shown("0.07", None)
    for one in [m for m in wide.chars if m.x > 60]:
        wide.chars[wide.chars.index(one)] = replace(one, x=one.x + (26 if one.name == "." else 52))
    assert features(evidence(wide))["value"]["pitch"] < 0.05


def test_a_digit_missed_beside_the_point_leaves_a_gap() -> None:
    """1.234 without its 2: the point stands near the 1, not in the middle of the step that it would need."""
    whole = shown("1.234", None)
    missed = replace(whole, chars=[m for m in whole.chars if m.name != "2"])
    assert features(evidence(whole))["value"]["pitch"] < 0.05
    assert features(evidence(missed))["value"]["pitch"] > 0.3
