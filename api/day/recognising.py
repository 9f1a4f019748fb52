"""What was heard and seen in a day's files, worked out on all cores, kept on disk piece by piece until the day is done.

A result depends on nothing but the bytes and the models, so neither the order of files nor the number of workers
changes it, and what was worked out before a kill is not worked out again.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from threading import BoundedSemaphore
from typing import Protocol, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config

from api.day.decoder import MOST_HOURS, Decoder, MemoHeader
from api.day.errors import DayFileProblem, DayResultsGone, MemoNotDecoded, MemoTooLong, PieceNotHeard
from api.day.sources import DayFile
from api.errors import OhmtrailError
from api.intake.identity import recogniser_of
from api.intake.recognisers import Quad
from api.ledger.store import Store, make_private, write_synced
from capture.errors import CaptureError, MediaError
from capture.reading import Seen
from capture.speech.memo import Piece, Span, in_order

log = logging.getLogger(__name__)

T = TypeVar("T")

FOLDER = "day"
"""Folder in the data folder that holds results until the day is done; it may be deleted at any time."""

PHOTO_S = 20.0
"""What a photo counts for beside seconds of sound, in the progress: both cost about as much."""


class DayEngines(Protocol):
    """What is needed of the engines; `api.intake.recognisers.Engines` have it, and so has a cluster."""

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """Hear a piece of a recording."""
        ...

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """Read the displays in a photo."""
        ...

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """Cut a display out of a photo."""
        ...


@with_config(ConfigDict(ser_json_bytes="base64", val_json_bytes="base64"))
@dataclass(frozen=True)
class PieceHeard:
    """What was heard in a piece, or why nothing was; its clips lie on disk (`Results.clip`), not here."""

    spans: tuple[Span, ...]
    problem: str = ""


@with_config(ConfigDict(ser_json_bytes="base64", val_json_bytes="base64"))
@dataclass(frozen=True)
class PhotoRead:
    """What was seen in a photo, with the cut-outs of accepted displays by their place; or why nothing was.

    `again` where another run may have more luck: not the photo was the cause.
    """

    seen: Seen | None
    crops: tuple[tuple[int, bytes], ...] = ()
    problem: str = ""
    again: bool = False


@dataclass(frozen=True)
class MemoRead:
    """What was heard in a recording, in order, and what could not be; `again` as of `PhotoRead`."""

    spans: tuple[Span, ...]
    problems: tuple[DayFileProblem, ...] = ()
    again: bool = False


_PIECE: TypeAdapter[PieceHeard] = TypeAdapter(PieceHeard)
_PHOTO: TypeAdapter[PhotoRead] = TypeAdapter(PhotoRead)


class Results:
    """Results on disk, each under the hash of its file and of the models that gave it."""

    def __init__(self, folder: Path, engines: object) -> None:
        """Keep them in this folder, which is made."""
        make_private(folder)
        self._folder = folder
        self._models = [
            str(recogniser_of(engines, photo=photo).get("model_sha256", ""))[:12] for photo in (False, True)
        ]

    def _path(self, sha256: str, part: str, *, photo: bool) -> Path:
        return self._folder / f"{sha256}-{self._models[photo]}-{part}.json"

    def piece(self, piece: Piece) -> PieceHeard | None:
        """Give what was heard in a piece; None where it is not known, or a clip of it is not there."""
        found = self._read(self._path(piece.parent, str(piece.number), photo=False), _PIECE)
        if found is None or not all(self._clip(piece.parent, span).is_file() for span in found.spans):
            return None
        return found

    def put_piece(self, piece: Piece, spans: Sequence[Span]) -> PieceHeard:
        """Keep what was heard in a piece; gives it back without its clips, which would fill the memory in the end."""
        for span in spans:
            write_synced(self._clip(piece.parent, span), span.clip)
        found = PieceHeard(tuple(replace(span, clip=b"") for span in spans))
        # After its clips, so that a piece that is known has them.
        write_synced(self._path(piece.parent, str(piece.number), photo=False), _PIECE.dump_json(found))
        return found

    def _clip(self, sha256: str, span: Span) -> Path:
        return self._folder / f"{sha256}-{self._models[False]}-{span.start_s:.3f}-{span.end_s:.3f}.flac"

    def clip(self, sha256: str, span: Span) -> bytes:
        """Give the clip of an utterance.

        Args:
            sha256: Of the recording.
            span: The utterance, as it was found.

        Raises:
            DayResultsGone: Somebody deleted it meanwhile.
        """
        try:
            return self._clip(sha256, span).read_bytes()
        except FileNotFoundError:
            raise DayResultsGone(folder=self._folder) from None

    def photo(self, sha256: str) -> PhotoRead | None:
        """Give what was seen in a photo; None where it is not known."""
        return self._read(self._path(sha256, "photo", photo=True), _PHOTO)

    def put_photo(self, sha256: str, found: PhotoRead) -> None:
        """Keep what was seen in a photo."""
        write_synced(self._path(sha256, "photo", photo=True), _PHOTO.dump_json(found))

    @staticmethod
    def _read(path: Path, kind: TypeAdapter[T]) -> T | None:
        try:
            return kind.validate_json(path.read_bytes())
        except (OSError, ValidationError):  # not there, or written by another version: worked out again
            return None


class DayRecogniser:
    """Has a day's files heard and seen, several at a time."""

    def __init__(self, engines: DayEngines, results: Results, store: Store, decoder: Decoder, workers: int) -> None:
        """Begin.

        Args:
            engines: Hear and see; called from `workers` threads.
            results: What is known already, and where what is found is kept.
            store: Where the files lie.
            decoder: Decodes recordings.
            workers: How many pieces and photos are worked on at the same time.
        """
        self._engines, self._results, self._store, self._decoder = engines, results, store, decoder
        self._threads = ThreadPoolExecutor(workers, thread_name_prefix="day")
        self._room = BoundedSemaphore(2 * workers)  # pieces wait in memory: no more than the workers will soon take

    def close(self) -> None:
        """End the threads; what waits is dropped."""
        self._threads.shutdown(wait=True, cancel_futures=True)

    def start_photo(self, file: DayFile, told: Callable[[float], None]) -> Future[PhotoRead]:
        """Have a photo seen; `told` is called with what it counts for once it is done."""
        return self._submit(lambda: self._photo(file.sha256), lambda: told(PHOTO_S))

    def memo(self, file: DayFile, told: Callable[[float], None]) -> Callable[[], MemoRead]:
        """Have a recording heard while it is decoded; returns what waits for the last piece.

        Args:
            file: The recording.
            told: Called with the seconds of each piece once it is heard.
        """
        waiting: list[Future[PieceHeard]] = []
        whole: list[Piece] = []
        problems: list[DayFileProblem] = []
        again = False
        for given in self._decoder.pieces(self._store.path(file.sha256), file.sha256):
            if isinstance(given, Piece):
                bare = Piece(given.parent, given.number, given.begin_s, given.own_s, b"")
                whole.append(bare)
                waiting.append(self._submit(partial(self._piece, given), partial(told, _own(bare))))
            elif given.too_long:
                problems.append(MemoTooLong(hours=MOST_HOURS))
            elif given.cause:
                again = given.again
                problems.append(MemoNotDecoded(cause=given.cause))

        def finish() -> MemoRead:
            found = [one.result() for one in waiting]
            failed = [
                PieceNotHeard(begin=piece.own_s[0], end=piece.own_s[1], cause=heard.problem)
                for piece, heard in zip(whole, found, strict=True)
                if heard.problem
            ]
            spans = tuple(in_order(heard.spans for heard in found))
            return MemoRead(spans, (*problems, *failed), again or bool(failed))

        return finish

    def _submit(self, work: Callable[[], T], done: Callable[[], None]) -> Future[T]:
        self._room.acquire()

        def run() -> T:
            try:
                return work()
            finally:
                self._room.release()
                done()

        return self._threads.submit(run)

    def _piece(self, piece: Piece) -> PieceHeard:
        known = self._results.piece(piece)
        if known is not None:
            return known
        try:
            spans = self._engines.hear_piece(piece)
        except CaptureError as problem:
            log.warning("Piece %d of %s was not heard: %s", piece.number, piece.parent, problem)
            return PieceHeard((), str(problem))  # not kept: another run may have more luck
        return self._results.put_piece(piece, spans)

    def _photo(self, sha256: str) -> PhotoRead:
        known = self._results.photo(sha256)
        if known is not None:
            return known
        try:
            data = self._store.read(sha256)
            seen = self._engines.see(data)
            found = PhotoRead(seen, tuple(self._crops(data, seen)))
        except (CaptureError, OhmtrailError) as problem:
            return PhotoRead(None, problem=str(problem), again=not isinstance(problem, MediaError))
        self._results.put_photo(sha256, found)
        return found

    def _crops(self, data: bytes, seen: Seen) -> Iterator[tuple[int, bytes]]:
        for index, display in enumerate(seen.displays):
            if display.accepted and len(display.quad) == 4:
                try:
                    yield index, self._engines.crop(data, display.quad)
                except CaptureError as problem:  # a missing cut-out must not lose the reading
                    log.warning("The cut-out of display %d failed: %s", index, problem)


def _own(piece: Piece) -> float:
    return piece.own_s[1] - piece.own_s[0]


def sound_seconds(headers: Sequence[MemoHeader]) -> float:
    """Add up how long recordings are, s; 60 s where one does not say."""
    return sum(header.duration_s or 60.0 for header in headers)
