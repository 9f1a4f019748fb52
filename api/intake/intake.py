"""The way in: a clip or photo is stored, then read, then becomes proposals. Each step is on disk before the next.

What a sender repeats (the same client id, or the same bytes with the same capture time) is answered with what was made
of it the first time and changes nothing. A capture is read by one caller at a time (`api.intake.claims`), and what was
made of it is written once (`api.intake.reader`): nothing that was said is acted on twice.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import partial

from sqlmodel import select

from api.errors import WriteFailed
from api.intake.arrivals import Arrival, Arrivals, whole_of
from api.intake.errors import CaptureReadBefore, NoSuchCapture, NoSuchPhoto
from api.intake.photos import Corners, check_burst, in_pixels
from api.intake.reader import CaptureReader
from api.intake.recognisers import Engines
from api.ledger.canonical import PlainData, parsed
from api.ledger.clock import captured_text
from api.ledger.database import Database
from api.ledger.evidence import Stored, captures_of, evidence_of, store_file
from api.ledger.ids import in_order
from api.ledger.store import Store
from api.ledger.tables import CaptureRow
from api.visit.jobs import job_of
from capture.reading import Context, Utterance
from grading.shop import ShopProfile

log = logging.getLogger(__name__)


class Intake(CaptureReader):
    """Takes clips and photos in; one at a time for each job, since each is understood in the light of the last.

    What was said before gives the axis, the unit and the question that a short answer belongs to; two clips of one job
    read side by side would both start from the same past.
    """

    def __init__(self, database: Database, store: Store, engines: Engines, profile: ShopProfile | None = None) -> None:
        """Work on these."""
        super().__init__(database, store, engines, profile)
        self._arrivals = Arrivals(database, self._claims)

    def take(
        self,
        job_id: str,
        data: bytes,
        captured_at: str | None = None,
        client_id: str | None = None,
        *,
        utterance: str = "",
        cut: bool = False,
        finish: Callable[[Context], Utterance] | None = None,
    ) -> PlainData:
        """Store a clip or photo, read it, and answer with what was made of it.

        Args:
            job_id: The job.
            data: The file.
            captured_at: The device's time with offset; None for now.
            client_id: The sender's own unique id.
            utterance: The page's id of what was spoken: heard once, whether it comes live, as a clip or as both.
            cut: The connection was lost while it was sent: it is kept, not read.
            finish: Ends a live hearing of the same sound; None to hear the file itself.

        Raises:
            NotFound: No such job.
            BadInput: Empty, or the time cannot be read.
            TooLarge: Over the limit.
            Refused: The client id was used for other bytes (which are kept all the same).
            WriteFailed: The disk is full; nothing was kept. Once the file is on record that is no error any more: the
                answer says "stored", and `read_kept` reads it later.
        """
        now = self._database.clock()
        captured = captured_text(captured_at, now)
        with self._database.read() as session:
            job_of(session, job_id)
        # On disk and synced before anything can fail on it: even a file that stops the program is kept.
        stored = store_file(self._store, data)
        with ExitStack() as held:
            capture, repeated = self._receive(
                held,
                job_id,
                stored,
                captured,
                client_id,
                explicit=captured_at is not None,
                cut=cut,
                utterance=utterance,
            )
            # Not read: half a sentence can be another value, "one point" of "one point two".
            if cut:
                return {
                    **self._answer(capture),
                    "message": "The connection was lost. What arrived is kept; say it again, please.",
                }
            # The capture's own file where this is a second recording of an utterance that came before.
            load = (lambda: data) if capture.sha256 == stored.sha256 else partial(self._stored, capture.sha256)
            try:
                if not repeated:
                    return self._read_once(capture.id, load, finish=finish)
                held.enter_context(self._claims.waited(capture.id))
                # Unread although nobody reads it: the first time was interrupted, so commands in it are as old.
                return self._read_once(capture.id, load, commands=False)
            except WriteFailed as refused:
                return {**self._unwritten(capture, refused), "repeated": repeated}

    def store(self, job_id: str, data: bytes, captured_at: str | None = None) -> Stored:
        """Put a clip or photo on disk, where nothing refers to it yet; arguments and errors as of `take`."""
        captured_text(captured_at, self._database.clock())
        with self._database.read() as session:
            job_of(session, job_id)
        return store_file(self._store, data)

    def keep(
        self,
        job_id: str,
        stored: Stored,
        captured_at: str | None = None,
        client_id: str | None = None,
        utterance: str = "",
    ) -> PlainData:
        """Put a stored file on record without reading it (`read_kept` does); arguments and errors as of `take`.

        Returns:
            As `take`; where it was read before, what was made of it then, else with "stored" as its state.
        """
        captured = captured_text(captured_at, self._database.clock())
        arrival = Arrival(job_id, stored, captured, client_id, captured_at is not None, False, False, utterance)
        capture, repeated = self._arrivals.put(arrival)
        return {**self._answer(capture), "repeated": repeated}

    def read_kept(self, capture_id: str, *, commands: bool = True) -> PlainData:
        """Read a capture that `keep` stored, and answer with what was made of it; one that was read is not read again.

        Args:
            capture_id: The capture.
            commands: Whether commands in it are obeyed: not any more where a reading was tried before.

        Returns:
            As `take`; "stored" is still its state where the disk did not take what was read, which is tried again.

        Raises:
            NoSuchCapture: There is no such capture.
        """
        with self._database.read() as session:
            found = session.get(CaptureRow, capture_id)
        if found is None:
            raise NoSuchCapture(capture_id=capture_id)
        with self._claims.waited(capture_id):
            try:
                answer = self._read_once(capture_id, partial(self._stored, found.sha256), commands=commands)
            except WriteFailed as refused:
                answer = self._unwritten(found, refused)
        return {**answer, "repeated": False}

    def _unwritten(self, capture: CaptureRow, refused: WriteFailed) -> PlainData:
        """Answer for a capture that is on record while the disk did not take what was read in it: it is kept."""
        log.warning("%s is kept, but not read: %s", capture.id, refused)
        return {
            **self._answer(capture),
            "message": f"Stored, but not read yet: {refused.message} It is read as soon as the disk takes that.",
        }

    def capture(self, capture_id: str) -> tuple[str, PlainData]:
        """Give the job of a capture and what was made of it, as `take` answers.

        Raises:
            NoSuchCapture: There is no such capture.
        """
        with self._database.read() as session:
            found = session.get(CaptureRow, capture_id)
        if found is None:
            raise NoSuchCapture(capture_id=capture_id)
        return found.job_id, self._answer(found)

    def resume(self) -> int:
        """Read what a crash left stored and unread; commands in it are not obeyed any more. Returns how many.

        One that cannot be read, or whose answer the disk refuses, does not keep the others from being read.
        """
        with self._database.read() as session:
            waiting = in_order(session.exec(select(CaptureRow).where(CaptureRow.state == "stored")).all())
        read = 0
        for capture in waiting:
            try:
                # The conversation has gone on since the crash: a "confirm" of then could fall on a value of now.
                with self._claims.waited(capture.id):
                    load = partial(self._stored, capture.sha256)
                    read += not self._read_once(capture.id, load, commands=False)["repeated"]
            except Exception:  # the captures behind it are as good as if it had never been
                log.exception("%s could not be read after the interruption", capture.id)
        return read

    def read_again(self, capture_id: str) -> PlainData:
        """Read a capture once more that could not be read (a model was missing, say); commands in it are not obeyed.

        Raises:
            NotFound: There is no such capture.
            Refused: It was read already.
        """
        with self._database.read() as session:
            capture = session.get(CaptureRow, capture_id)
            if capture is None:
                raise NoSuchCapture(capture_id=capture_id)
            if capture.state == "cut" and whole_of(session, capture) is not None:
                raise CaptureReadBefore(capture_id=capture_id)
        with self._claims.waited(capture_id):
            load = partial(self._stored, capture.sha256)
            answer = self._read_once(capture_id, load, commands=False, states=("failed", "cut"))
        if answer["repeated"]:
            raise CaptureReadBefore(capture_id=capture_id)
        return answer

    def read_marked(self, job_id: str, sha256: str, corners: Corners) -> PlainData:
        """Read a photo again where a person marked the display; the trail keeps the corners.

        Args:
            job_id: The job.
            sha256: The photo.
            corners: Four corners, clockwise from the display's own top left, as shares of the upright photo's width
                and height.

        Raises:
            NotFound: No such job, or no such photo in it.
            BadInput: The corners span no display.
            Refused: The photo cannot be decoded.
        """
        with self._database.read() as session:
            job_of(session, job_id)
            found = captures_of(session, job_id, sha256)
            evidence = evidence_of(session, sha256) if found else None
        if evidence is None or evidence.kind != "photo":
            raise NoSuchPhoto(job_id=job_id, sha256=sha256)
        data = self._store.read(sha256)
        capture_id = found[-1].id
        with self._claims.waited(capture_id), self._lock(job_id):
            return self._read(capture_id, lambda: data, commands=False, corners=in_pixels(data, corners))

    def take_burst(
        self, job_id: str, frames: Sequence[bytes], captured_at: str | None = None, client_id: str | None = None
    ) -> PlainData:
        """Take several photos of one display: each is kept as evidence, and all are read as one.

        Args:
            job_id: The job.
            frames: The files, in the order taken.
            captured_at: The device's time; None for now.
            client_id: The sender's own unique id of the whole burst.

        Returns:
            As `take`, for the best photo; "burst" names all of them.

        Raises:
            BadInput: None, too many, or one that is no photo.
            NotFound, TooLarge, Refused, WriteFailed: As `take`.
        """
        captured = captured_text(captured_at, self._database.clock())
        with self._database.read() as session:
            job_of(session, job_id)
        check_burst(frames)
        stored = [store_file(self._store, data) for data in frames]
        with ExitStack() as held:
            with self._bursts:  # all frames or none, or two senders could wait for each other
                received = [
                    self._receive(
                        held, job_id, one, captured, f"{client_id}#{index}" if client_id else None,
                        explicit=captured_at is not None, cut=False,
                    )
                    for index, one in enumerate(stored)
                ]  # fmt: skip
            captures = [capture.id for capture, _ in received]
            for capture_id in sorted({*captures} - {capture.id for capture, repeated in received if not repeated}):
                held.enter_context(self._claims.waited(capture_id))
            held.enter_context(self._lock(job_id))
            known = self._known_burst(captures)
            if known is not None:
                return known
            try:
                return self._read_burst(job_id, captures, frames)
            except WriteFailed as refused:
                return {**self._unwritten(received[0][0], refused), "burst": {"captures": captures}}

    def _known_burst(self, captures: list[str]) -> PlainData | None:
        """Answer with what was made of a burst before; None while a photo of it is still unread."""
        with self._database.read() as session:
            rows = [session.get_one(CaptureRow, capture_id) for capture_id in captures]
            best = next((parsed(row.outcome_json).get("burst", {}).get("best") for row in rows), None)
            if best is not None:
                return {**self._answer(session.get_one(CaptureRow, best)), "repeated": True}
        if any(row.state == "stored" for row in rows):
            return None
        # Read one by one after an interruption.
        return {**self._answer(next((row for row in rows if row.state == "recognised"), rows[0])), "repeated": True}

    def _receive(
        self,
        held: ExitStack,
        job_id: str,
        stored: Stored,
        captured: str,
        client_id: str | None,
        *,
        explicit: bool,
        cut: bool,
        utterance: str = "",
    ) -> tuple[CaptureRow, bool]:
        """Write the arrival, claimed until `held` ends; returns it, and whether it repeats an earlier one."""
        arrival = Arrival(job_id, stored, captured, client_id, explicit, cut, claimed=True, utterance=utterance)
        capture, repeated = self._arrivals.put(arrival)
        if not repeated and capture.state == "stored":
            held.callback(self._claims.release, [capture.id])
        return capture, repeated
