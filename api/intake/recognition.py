"""What was made of a clip or photo, as plain data for the trail and the page; failures become clear messages."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from api.intake.errors import (
    ClipOverLimit,
    EvidenceUnreadable,
    FileDamaged,
    FileTypeUnknown,
    RecognitionFailed,
    RefusedOnArrival,
)
from api.intake.recognisers import Engines, Quad
from api.ledger.canonical import JsonObject
from api.ledger.tables import EvidenceRow
from capture.errors import CaptureError, EngineError
from capture.reading import Context, Seen, Utterance
from capture.speech.audio import MAX_SECONDS

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Recognised:
    """One of the first three is set: what was heard, what was seen, or why nothing was.

    Attributes:
        crops: The displays cut out of a photo, as PNG, with their places in `seen`.
        photo: It was a photo.
    """

    utterance: Utterance | None = None
    seen: Seen | None = None
    problem: CaptureError | None = None
    crops: tuple[tuple[int, bytes], ...] = ()
    photo: bool = False

    def to_json(self) -> JsonObject:
        """Give it as plain data; scores as text."""
        if self.utterance is not None:
            return {"heard": heard_json(self.utterance)}
        if self.seen is not None:
            return {"seen": seen_json(self.seen)}
        return {"problem": self.problem_json()}

    def problem_json(self) -> JsonObject | None:
        """Give the failure as the page shows it, or None."""
        if self.problem is None:
            return None
        again = "Take the photo again" if self.photo else "Say the reading again"
        kept = "" if isinstance(self.problem, EvidenceUnreadable) else "It is kept as evidence. "
        what_to_do = f"{kept}{again}, or type it."
        return {"code": self.problem.code, "message": str(self.problem), "what_to_do": what_to_do}


def heard_json(utterance: Utterance) -> JsonObject:
    """Give an utterance as plain data."""
    heard, second = utterance.heard, utterance.heard.second
    # What a second engine would write stands beside the words: who judged them is part of how they came about.
    asked: JsonObject = {} if second is None else {"second_opinion": {"engine": second.engine, "text": second.text}}
    return asked | {
        "text": heard.text,
        "words": [
            {
                "word": word.word,
                "start": f"{word.start:.2f}",
                "end": f"{word.end:.2f}",
                "confidence": f"{word.confidence:.3f}",
            }
            for word in heard.words
        ],
        "hypotheses": [{"text": other.text, "score": f"{other.score:.3f}"} for other in heard.alternatives],
        "readings": [{**reading.to_json()} for reading in utterance.readings],
        "alternatives": [{**reading.to_json()} for reading in utterance.alternatives],
        "superseded": [{**reading.to_json()} for reading in utterance.superseded],
        "command": None if utterance.command is None else utterance.command.value,
        "doubts": [doubt.value for doubt in utterance.doubts],
        "confidence": f"{utterance.confidence:.3f}",
    }


def _as_text(value: float, decimals: int) -> str:
    """Write a figure as text: canonical JSON holds no fractions."""
    return f"{value:.{decimals}f}"


def seen_json(seen: Seen) -> JsonObject:
    """Give what was seen as plain data."""
    return {"displays": [display.to_json(_as_text) for display in seen.displays], "reason": seen.reason}


def _check_limits(evidence: EvidenceRow, metadata: JsonObject) -> None:
    if evidence.kind not in ("clip", "photo"):
        raise FileTypeUnknown()
    if "unreadable" in metadata:
        raise FileDamaged(cause=str(metadata["unreadable"]).split(":")[0])
    if "refused" in metadata:
        raise RefusedOnArrival(refused=str(metadata["refused"]), why=str(metadata["why"]))
    duration_ms = metadata.get("duration_ms")
    if isinstance(duration_ms, int) and duration_ms > 1000 * MAX_SECONDS:
        raise ClipOverLimit(most=int(MAX_SECONDS))


def _crops(engines: Engines, data: bytes, seen: Seen) -> tuple[tuple[int, bytes], ...]:
    crops = []
    for index, display in enumerate(seen.displays):
        if display.accepted and len(display.quad) == 4:
            try:
                crops.append((index, engines.crop(data, display.quad)))
            except Exception:  # a missing cut-out must not lose the reading
                log.exception("The cut-out of display %d failed", index)
    return tuple(crops)


def _finished(finish: Callable[[Context], Utterance], context: Context) -> Utterance | None:
    """End a live hearing; None where its engine failed, so that the file is heard instead."""
    try:
        return finish(context)
    except EngineError as problem:
        log.warning("A live hearing could not be ended: %s", problem)
        return None


def recognise_burst(
    engines: Engines, frames: Sequence[bytes], check: Callable[[Seen], Seen]
) -> tuple[Recognised, int, tuple[Seen, ...]]:
    """See several photos of one display. Never raises, as `recognise`.

    Returns:
        What they show together, the index of the best one (whose cut-out is kept), and what each shows alone.
    """
    try:
        burst = engines.see_burst(frames)
        seen = check(burst.seen)
        found = Recognised(seen=seen, crops=_crops(engines, frames[burst.best], seen), photo=True)
    except CaptureError as problem:
        return Recognised(problem=problem, photo=True), 0, ()
    except Exception as error:
        log.exception("The display reader failed on a burst of %d", len(frames))
        failed = RecognitionFailed(kind=type(error).__name__)
        return Recognised(problem=failed, photo=True), 0, ()
    return found, burst.best, burst.frames


def recognise(
    engines: Engines,
    data: bytes,
    evidence: EvidenceRow,
    metadata: JsonObject,
    context: Context,
    finish: Callable[[Context], Utterance] | None = None,
    check: Callable[[Seen], Seen] | None = None,
    corners: Quad | None = None,
) -> Recognised:
    """Hear or see one stored file. Never raises: an engine that fails in any way must not stop a visit.

    Args:
        engines: What hears and sees.
        data: The file.
        evidence: Its row.
        metadata: What its header says.
        context: What held before.
        finish: Ends a live hearing of the same sound; None to hear the file.
        check: Holds what was seen against what the job's instruments can show.
        corners: Where a person marked the display, px of the upright photo; None to look for it.
    """
    try:
        # By the header, before a decoder sees the file: decoding is what a hostile file is made for.
        _check_limits(evidence, metadata)
        if evidence.kind == "clip":
            utterance = None if finish is None else _finished(finish, context)
            return Recognised(utterance=utterance or engines.hear(data, context))
        seen = engines.see(data) if corners is None else engines.see(data, corners)
        if check is not None:
            seen = check(seen)
        return Recognised(seen=seen, crops=_crops(engines, data, seen), photo=True)
    except CaptureError as problem:
        return Recognised(problem=problem, photo=evidence.kind == "photo")
    except Exception as error:
        log.exception("A recognition engine failed on %s", evidence.sha256)
        failed = RecognitionFailed(kind=type(error).__name__)
        return Recognised(problem=failed, photo=evidence.kind == "photo")
