"""Several photos of one display, taken one after the other, read as one: what one frame doubts, the others may know.

Promises: accepted frames that show different values are never averaged; the reading has not settled and is refused.
Otherwise the marks of all frames are brought together, as those of several looks at one photo are. A frame that cannot
be opened is left out and named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.display import geometry, refusal
from capture.display.check import checked
from capture.display.errors import BurstEmpty, BurstTooLong
from capture.display.features import DisplayLooks
from capture.display.fusion import ViewMarks, fuse
from capture.display.leading import arrange
from capture.display.looks import Look, evidence_of, fused_marks, look_at
from capture.display.marks import Mark
from capture.display.picture import open_picture
from capture.display.profile import Profile
from capture.display.pyramid import ImagePyramid
from capture.display.see import decided, displays_in, scaled
from capture.errors import MediaError
from capture.reading import DisplayReading, Doubt, Seen
from grading.terms.quantity import QuantityKind

MOST_FRAMES = 12
"""Frames of one burst that are read; a phone's burst of a second has about ten."""
DIFFERENT = "The photos of the burst differ ({values}): wait until the reading stands still, then take it again."
MIN_OPPOSING = 0.5
"""Confidence in the digits from which a frame that is not accepted may still speak against another one."""


@dataclass(frozen=True)
class Burst:
    """What a burst shows.

    Attributes:
        seen: The display, read from all frames; its corners and boxes are those in frame `best`.
        frames: What each frame shows by itself, in order; an unreadable one has no display and a reason.
        best: Index of the frame that shows it best.
    """

    seen: Seen
    frames: tuple[Seen, ...]
    best: int


@dataclass(frozen=True)
class _Frame:
    """The display in one frame, with what is needed to bring frames together."""

    index: int
    reading: DisplayReading
    evidence: DisplayLooks
    marks: list[Mark]
    matrix: geometry.Matrix
    scale: float
    votes: bool = True  # False where the instrument cannot have shown it


def see_burst(
    frames: Sequence[bytes], *, crop: bool = False, profile: Profile | None = None, kind: QuantityKind | None = None
) -> Burst:
    """Read one display from several photos of it.

    Args:
        frames: Contents of the files, 1 to `MOST_FRAMES`, in the order taken.
        crop: Each picture is nothing but the display.
        profile: What the instrument can show; a frame that shows anything else has no vote.
        kind: What was to be measured; None if unknown.

    Raises:
        MediaError: No frame can be decoded (the first one's code), or "burst_empty", "burst_too_long".
        EngineError: A model is missing or fails.
    """
    if not frames:
        raise BurstEmpty()
    if len(frames) > MOST_FRAMES:
        raise BurstTooLong(most=MOST_FRAMES)
    found: list[_Frame] = []
    alone: list[Seen] = []
    problems: list[MediaError] = []
    for index, data in enumerate(frames):
        try:
            frame = _frame(index, data, crop=crop, profile=profile, kind=kind)
        except MediaError as error:
            problems.append(error)
            alone.append(Seen((), str(error)))
            continue
        if frame is None:
            alone.append(Seen((), refusal.NO_DISPLAY))
        else:
            found.append(frame)
            alone.append(_placed(frame, frame.reading))
    if len(problems) == len(frames):  # one readable frame is enough
        raise problems[0]
    if not found:
        return Burst(Seen((), refusal.NO_DISPLAY), tuple(alone), 0)
    voting = [frame for frame in found if frame.votes] or found[:1]
    best = max(voting, key=_quality)
    return Burst(_placed(best, _voted(voting, best, profile, kind)), tuple(alone), best.index)


def _quality(frame: _Frame) -> tuple[bool, bool, float]:
    """Rank a frame: accepted before refused, without a doubt before doubted, higher confidence before lower."""
    reading = frame.reading
    return reading.accepted, not reading.doubts, min(reading.confidence.values(), default=0.0)


def _frame(index: int, data: bytes, *, crop: bool, profile: Profile | None, kind: QuantityKind | None) -> _Frame | None:
    """Look at the clearest display of one frame; None if there is none."""
    picture = open_picture(data)
    photo = ImagePyramid(picture.pixels)
    quads = displays_in(photo, crop=crop)
    if not quads:
        return None
    candidates = []
    for quad, score in quads:
        corners, looks = look_at(photo, quad, marked=crop)
        candidates.append(
            (_read(index, photo, corners, looks, picture.scale, crop, score), geometry.sides(quad)[0] * score)
        )
    frame, _ = max(candidates, key=lambda pair: (pair[0].reading.accepted, pair[1]))
    if profile is None:
        return frame
    reading = checked(frame.reading, profile, kind=kind)
    return replace(frame, reading=reading, votes=reading.accepted or not frame.reading.accepted)


def _read(
    index: int, photo: ImagePyramid, quad: geometry.Quad, looks: list[Look], scale: float, crop: bool, score: float
) -> _Frame:
    evidence = evidence_of(photo, quad, looks, marked=crop, found=score)
    matrix = looks[0].matrix
    return _Frame(index, decided(evidence, matrix), evidence, fused_marks(looks), matrix, scale)


def _voted(found: list[_Frame], best: _Frame, profile: Profile | None, kind: QuantityKind | None) -> DisplayReading:
    """Decide on one reading from all frames."""
    accepted = [f.reading for f in found if f.reading.accepted]
    values = list(dict.fromkeys(_value(r) for r in accepted))
    if len({_digits(r) for r in accepted}) > 1 or len({_confident_unit(r) for r in accepted} - {None}) > 1:
        return _differing(best.reading, values)
    if len(found) == 1:
        return best.reading
    fused = decided(_evidence(found, best), best.matrix)
    if profile is not None:
        fused = checked(fused, profile, kind=kind)
    units = {_confident_unit(r) for r in [*accepted, fused]} - {None}
    if fused.accepted and (len(units) > 1 or any(_digits(r) != _digits(fused) for r in accepted)):
        return _differing(best.reading, [*values, _value(fused)])
    # Fusing must not add a doubt where one frame by itself was accepted without any.
    if fused.accepted and not (best.reading.accepted and fused.doubts and not best.reading.doubts):
        return fused
    if not accepted:
        return fused
    # The frames fused were refused: a single accepted frame stands only where no other contradicts its digits.
    against = [f for f in found if _opposes(f.reading) and _digits(f.reading) != _digits(accepted[0])]
    return best.reading if not against else fused


def _opposes(reading: DisplayReading) -> bool:
    return bool(reading.text) and "?" not in reading.text and reading.confidence.get("value", 0.0) >= MIN_OPPOSING


def _digits(reading: DisplayReading) -> tuple[str | None, str]:
    return reading.quantity.digits, reading.quantity.qualifier.value


def _confident_unit(reading: DisplayReading) -> str | None:
    """Give the unit, where it is not asked about anyway."""
    doubted = {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE} & set(reading.doubts)
    return None if doubted or not reading.accepted else reading.quantity.unit


def _value(reading: DisplayReading) -> str:
    return reading.quantity.display()


def _differing(reading: DisplayReading, values: list[str]) -> DisplayReading:
    reason = DIFFERENT.format(values=", ".join(dict.fromkeys(values)))
    return replace(reading, accepted=False, reason=reason, doubts=(Doubt.NOT_SETTLED,))


def _evidence(found: list[_Frame], best: _Frame) -> DisplayLooks:
    """Bring the marks of all frames onto the canvas of the best, as if they were looks at one photo."""
    here = np.eye(3)
    views = [ViewMarks(f.marks, geometry.inverse(_onto(f.evidence, best.evidence))) for f in found]
    fields = arrange(fuse(views, here))
    share = best.evidence.share
    if fields.height and best.evidence.fields.height:
        share *= fields.height / best.evidence.fields.height
    return replace(
        best.evidence,
        fields=fields,
        looks=tuple(f.evidence.fields for f in found),
        legible=float(np.median([f.evidence.legible for f in found])),
        share=share,
    )


def _onto(one: DisplayLooks, other: DisplayLooks) -> geometry.Matrix:
    """Fit the matrix from one frame's canvas to another's, by their main strings; identity where these differ."""
    first, second = one.fields.box, other.fields.box
    if first is None or second is None or len(one.fields.text) != len(other.fields.text):
        return np.eye(3)
    sx = (second[2] - second[0]) / max(1.0, first[2] - first[0])
    sy = (second[3] - second[1]) / max(1.0, first[3] - first[1])
    # More than a moving hand makes: the boxes are not of one row, and no matrix can be had from them.
    if not (0.7 < sx < 1.4 and 0.7 < sy < 1.4):
        return np.eye(3)
    return np.array([[sx, 0, second[0] - sx * first[0]], [0, sy, second[1] - sy * first[1]], [0, 0, 1]])


def _placed(frame: _Frame, reading: DisplayReading) -> Seen:
    """Give a reading with its boxes in the frame's own pixels."""
    reading = scaled(reading, 1 / frame.scale)
    return Seen((reading,), "" if reading.accepted else reading.reason)
