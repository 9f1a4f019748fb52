"""The second reader of lines: how likely a string is, what it writes, when it is asked, and what is said without it."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from capture.display import acceptance
from capture.display.acceptance import decide
from capture.display.confidence import ASKED, HEADS, ConfidenceHead
from capture.display.errors import SecondReaderFileUnknown, SecondReaderMissing
from capture.display.features import DisplayLooks
from capture.display.second_opinion import loading, recogniser
from capture.display.second_opinion.files import NAME, find_file
from capture.display.second_opinion.recogniser import SYMBOLS, SecondReading
from fixtures.training.displays.fonts import font
from tests.capture.display.test_confidence import evidence, shown


def steps(rng: np.random.Generator, count: int) -> NDArray[np.float64]:
    raw = rng.random((count, 1 + len(SYMBOLS))) ** 3
    return np.asarray(raw / raw.sum(1, keepdims=True))


@pytest.mark.parametrize("text", ["1", "11", "1.1", "0"])
def test_the_probability_of_a_string_is_that_of_all_its_paths(text: str) -> None:
    """Graves et al. 2006: the sum over every path that becomes the string once repeats and gaps are taken out."""
    p = steps(np.random.default_rng(4), 4)
    labels = [0, *{SYMBOLS.index(c) + 1 for c in text}]
    total = 0.0
    for path in itertools.product(labels, repeat=len(p)):
        merged = [k for k, _ in itertools.groupby(path) if k]
        if "".join(SYMBOLS[k - 1] for k in merged) == text:
            total += float(np.prod([p[i, k] for i, k in enumerate(path)]))
    found = recogniser._likely(p, text)
    # the mean is kept above a floor
    wanted = max(np.log(total) / len(text), np.log(recogniser._LEAST) * 0.8) if total else np.log(1e-5) * 0.8
    assert found == pytest.approx(wanted, abs=1e-6)


def test_what_is_written_has_no_repeats_and_no_other_print() -> None:
    p = np.full((7, 1 + len(SYMBOLS)), 1e-4)
    one, dot = SYMBOLS.index("1") + 1, SYMBOLS.index(".") + 1
    for step, index in enumerate((one, one, 0, one, dot)):
        p[step, index] = 0.9
    p[6, one] = 0.9  # step 5 is other print: nothing that a number holds is likely
    assert recogniser._written(p) == "11.1"


def test_a_printed_number_is_read() -> None:
    if loading.lacking_second_reader():
        pytest.skip("The second reader is not installed.")
    reader = loading.second_reader()
    assert reader is not None
    line = Image.new("RGB", (190, 48), (225, 228, 220))
    ImageDraw.Draw(line).text((12, 4), "194.07", fill=(20, 20, 25), font=font("DejaVuSans.ttf", 36))
    said = reader.judge(np.asarray(line), "194.07")
    assert said.text == "194.07"
    other = reader.judge(np.asarray(line), "194.01")
    assert said.likely > -0.2 > other.likely


class Asked:
    """A second reader that says what it is told to, and counts."""

    def __init__(self) -> None:
        self.count = 0

    def judge(self, _: NDArray[np.uint8], ours: str) -> SecondReading:
        self.count += 1
        return SecondReading(ours, -0.01, -0.01)


@pytest.mark.parametrize(("joint", "asked", "accepted"), [(0.99, 0, True), (0.5, 1, True), (0.01, 0, False)])
def test_it_is_asked_only_where_ours_is_neither_sure_nor_hopeless(
    joint: float, asked: int, *, accepted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def given(_: DisplayLooks, said: SecondReading | None = None) -> dict[str, float]:
        return {"value": joint if said is None else 0.99, "dot": 1.0, "unit": 1.0}

    monkeypatch.setattr(acceptance, "probabilities", given)
    heads = {name: ConfidenceHead((), 0.0, 0.95) for name in (*HEADS, *ASKED)}
    monkeypatch.setattr(acceptance, "calibration", lambda: heads)
    reader = Asked()
    looked = evidence(shown("34.70"), line=np.full((48, 200, 3), 150, np.uint8))
    reading = decide(looked, reader)  # type: ignore[arg-type]
    assert (reader.count, reading.accepted) == (asked, accepted)


def test_a_missing_or_unknown_file_is_named_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SecondReaderMissing, match="setup.sh"):
        find_file(tmp_path)
    monkeypatch.setenv(loading.SETTING, str(tmp_path))
    assert "setup.sh" in loading.lacking_second_reader()
    assert loading.second_reader() is None
    (tmp_path / NAME).write_bytes(b"no network")
    with pytest.raises(SecondReaderFileUnknown, match="SHA-256"):
        find_file(tmp_path)
    monkeypatch.setenv(loading.SETTING, "off")
    assert loading.lacking_second_reader() == ""
    assert loading.second_reader() is None
