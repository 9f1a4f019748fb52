"""Ohmtrail's reader and the general text readers that it is measured beside, all with one answer for a picture.

The peers know no quantities and no doubts. They get what helps them most: the number and unit are parsed kindly from
what they write (`text.number_and_unit`), of several numbers in a photo the tallest is taken, and as "cut-out" they are
given the main string cut out exactly by the truth, which no reader has in use.
"""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.picture import open_picture
from capture.display.second_opinion.loading import OFF, SETTING
from capture.display.see import see_photo
from capture.errors import MediaError
from capture.reading import DisplayReading, Doubt, Seen
from tests.benchmarks.display.cases import Case
from tests.benchmarks.display.text import number_and_unit, unit_in

HOW_TO_INSTALL = (
    "RapidOCR is not installed. It is measured only where the extra is: pip install -e '.[bench,test]' (in an "
    "environment of its own), or leave the peers out with --peers 0."
)


@dataclass(frozen=True)
class Answer:
    """What a reader says about a picture.

    Attributes:
        text: Main string; empty for none.
        unit: UCUM code, or None.
        unit_claimed: The unit is claimed, not asked for.
        accepted: It is offered as a reading.
        score: The reader's own confidence in digits and point, 0..1.
        small: Further fields by name.
        reason: Why it is refused.
        others: Further displays that are accepted too.
    """

    text: str
    unit: str | None
    unit_claimed: bool
    accepted: bool
    score: float
    small: dict[str, str]
    reason: str = ""
    others: tuple[Answer, ...] = ()


NOTHING = Answer("", None, False, False, 0.0, {})


@dataclass(frozen=True)
class Reader:
    """A way to read a picture: `read` returns None where it cannot be asked at all (no cut-out known)."""

    name: str
    read: Callable[[Case], Answer | None]


def _of_display(display: DisplayReading) -> Answer:
    asked = {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE, Doubt.DIGITS_AMBIGUOUS} & set(display.doubts)  # the last: a time
    return Answer(
        display.text, display.quantity.unit, not asked, display.accepted,
        display.confidence["value"] * display.confidence["dot"], display.secondary, display.reason,
    )  # fmt: skip


def answer_of(seen: Seen) -> Answer:
    """Choose what a person is asked about: the first accepted display; else what was refused."""
    if not seen.displays:
        return Answer("", None, False, False, 0.0, {}, seen.reason)
    first, *rest = [_of_display(display) for display in seen.displays]
    others = tuple(other for other in rest if other.accepted)
    return replace(first, others=others)


def ours(case: Case) -> Answer:
    """Read by Ohmtrail's own reader."""
    try:
        return answer_of(see_photo(case.data, crop=case.crop))
    except MediaError as error:
        return Answer("", None, False, False, 0.0, {}, str(error))


def alone(case: Case) -> Answer:
    """Read by Ohmtrail's own reader with nobody else asked."""
    before = os.environ.get(SETTING)
    os.environ[SETTING] = OFF
    try:
        return ours(case)
    finally:
        if before is None:
            del os.environ[SETTING]
        else:
            os.environ[SETTING] = before


def _simple(text: str, score: float) -> Answer:
    found = number_and_unit(text)
    return NOTHING if found is None else Answer(found[0], found[1], found[1] is not None, True, score, {})


@dataclass(frozen=True)
class _Line:
    text: str
    score: float
    x: float
    y: float
    height: float


def _tallest(lines: list[_Line]) -> Answer:
    """Choose the tallest number, with the unit beside it or, without one there, the nearest word that is a unit."""
    numbers = [line for line in lines if number_and_unit(line.text) is not None]
    if not numbers:
        return NOTHING
    best = max(numbers, key=lambda line: line.height)
    answer = _simple(best.text, best.score)
    if answer.unit is None:
        units = [(float(np.hypot(n.x - best.x, n.y - best.y)), u) for n in lines if (u := unit_in(n.text))]
        if units:
            unit = min(units)[1]
            answer = Answer(answer.text, unit, True, True, best.score, {})
    return answer


def rapidocr_whole() -> Reader:
    """Read by RapidOCR as its package carries it: detector and recogniser, the tallest number taken."""
    engine = _rapidocr(use_det=True)

    def read(case: Case) -> Answer:
        result = engine(_bgr(open_picture(case.data).pixels))
        if result.boxes is None:
            return NOTHING
        lines = []
        for box, text, score in zip(result.boxes, result.txts, result.scores, strict=True):
            quad = np.asarray(box, float)
            height = float(np.linalg.norm(quad[3] - quad[0]) + np.linalg.norm(quad[2] - quad[1])) / 2
            lines.append(_Line(str(text), float(score), float(quad[:, 0].mean()), float(quad[:, 1].mean()), height))
        return _tallest(lines)

    return Reader("RapidOCR, whole photo", read)


def rapidocr_cut() -> Reader:
    """Read by RapidOCR's recogniser alone on the main string cut out exactly."""
    engine = _rapidocr(use_det=False)

    def read(case: Case) -> Answer | None:
        part = case.cut_out()
        if part is None:
            return None
        result = engine(_bgr(part))
        return _simple(str(result.txts[0]), float(result.scores[0])) if result.txts else NOTHING

    return Reader("RapidOCR, cut-out", read)


def _rapidocr(*, use_det: bool) -> Callable[[NDArray[np.uint8]], Any]:
    try:
        from rapidocr import RapidOCR
    except ImportError as error:
        raise SystemExit(HOW_TO_INSTALL) from error
    threads = {f"EngineConfig.onnxruntime.{kind}_op_num_threads": 1 for kind in ("intra", "inter")}
    engine = RapidOCR(params={**threads, "Global.log_level": "error"})
    return lambda picture: engine(picture, use_det=use_det, use_cls=use_det, use_rec=True)


def _bgr(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(pixels[:, :, ::-1])


def tesseract_whole() -> Reader:
    """Read by Tesseract over the whole photo, looking for scattered text; the tallest number taken."""
    import pytesseract

    def read(case: Case) -> Answer:
        data = pytesseract.image_to_data(
            open_picture(case.data).pixels, config="--psm 11", output_type=pytesseract.Output.DICT
        )
        keys = ("text", "conf", "left", "top", "width", "height")
        lines = [
            _Line(text, float(conf) / 100, left + width / 2, top + height / 2, float(height))
            for text, conf, left, top, width, height in zip(*(data[k] for k in keys), strict=True)
            if str(text).strip()
        ]
        return _tallest(lines)

    return Reader("Tesseract, whole photo", read)


def tesseract_cut() -> Reader:
    """Read by Tesseract on the main string cut out exactly: enlarged, black on white, one line."""
    import pytesseract

    def read(case: Case) -> Answer | None:
        part = case.cut_out()
        if part is None:
            return None
        grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
        scale = 64 / grey.shape[0]
        large = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
        _, ink = cv2.threshold(large, 0, 255, cv2.THRESH_OTSU)
        paper = np.asarray(ink if float(np.mean(ink)) > 127 else 255 - ink, np.uint8)
        paper = np.asarray(cv2.copyMakeBorder(paper, 16, 16, 16, 16, cv2.BORDER_CONSTANT, value=255), np.uint8)
        return _simple(str(pytesseract.image_to_string(paper, config="--psm 7")), 1.0)

    return Reader("Tesseract, cut-out", read)


OURS = Reader("Ohmtrail", ours)
ALONE = Reader("Ohmtrail, without the second reader", alone)
PEERS: dict[str, Callable[[], Reader]] = {
    "rapidocr": rapidocr_whole,
    "rapidocr-cut": rapidocr_cut,
    "tesseract": tesseract_whole,
    "tesseract-cut": tesseract_cut,
}


@dataclass
class Spent:
    """Wall and processor time of one reading, s; the latter with that of programs started."""

    wall: float = 0.0
    cpu: float = 0.0


@contextmanager
def clocked() -> Iterator[Spent]:
    """Measure what runs inside."""

    def cpu() -> float:
        children = resource.getrusage(resource.RUSAGE_CHILDREN)
        return time.process_time() + children.ru_utime + children.ru_stime

    spent, wall, used = Spent(), time.perf_counter(), cpu()
    yield spent
    spent.wall, spent.cpu = time.perf_counter() - wall, cpu() - used
