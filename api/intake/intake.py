"""The way in: a clip or photo is stored, then read, then becomes proposals. Each step is on disk before the next.

What a sender repeats (the same client id, or the same bytes with the same capture time) is answered with what was made
of it the first time and changes nothing.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Sequence

from sqlmodel import select

from api.dialogue.conversation import heard
from api.dialogue.photo_turn import seen
from api.dialogue.turn import Turn, begin_turn, context_of
from api.intake.arrivals import Arrival, Arrivals
from api.intake.errors import CaptureReadBefore, MarkedDisplayUnreadable, NoSuchCapture, NoSuchPhoto
from api.intake.photos import Corners, check_burst, in_pixels
from api.intake.recognisers import Engines, Quad
from api.intake.recognition import Recognised, recognise, recognise_burst, seen_json
from api.ledger.canonical import JsonObject, PlainData, canonical, parsed
from api.ledger.clock import captured_text
from api.ledger.database import Database, Transaction
from api.ledger.evidence import Stored, captures_of, evidence_of, put_evidence, store_file
from api.ledger.store import Store
from api.ledger.tables import CaptureRow, EvidenceRow
from api.ledger.trail import What
from api.visit.jobs import job_of
from api.visit.profiles import display_check
from api.visit.proposals import Source
from capture.reading import Context, Utterance
from grading.shop import ShopProfile


class Intake:
    """Takes clips and photos in; one at a time for each job, since each is understood in the light of the last.

    What was said before gives the axis, the unit and the question that a short answer belongs to; two clips of one job
    read side by side would both start from the same past.
    """

    def __init__(self, database: Database, store: Store, engines: Engines, profile: ShopProfile | None = None) -> None:
        """Work on these."""
        self._database = database
        self._store = store
        self._engines = engines
        self._profile = profile
        self._arrivals = Arrivals(database)
        self._guard = threading.Lock()
        self._locks: dict[str, threading.Lock] = defaultdict(threading.Lock)

    def _lock(self, job_id: str) -> threading.Lock:
        # A `defaultdict` makes the lock at its first use, which two threads must not do at once.
        with self._guard:
            return self._locks[job_id]

    def take(
        self,
        job_id: str,
        data: bytes,
        captured_at: str | None = None,
        client_id: str | None = None,
        *,
        cut: bool = False,
        finish: Callable[[Context], Utterance] | None = None,
    ) -> PlainData:
        """Store a clip or photo, read it, and answer with what was made of it.

        Args:
            job_id: The job.
            data: The file.
            captured_at: The device's time with offset; None for now.
            client_id: The sender's own unique id.
            cut: The connection was lost while it was sent: it is kept, not read.
            finish: Ends a live hearing of the same sound; None to hear the file itself.

        Raises:
            NotFound: No such job.
            BadInput: Empty, or the time cannot be read.
            TooLarge: Over the limit.
            Refused: The client id was used for other bytes (which are kept all the same).
            WriteFailed: The disk is full.
        """
        now = self._database.clock()
        captured = captured_text(captured_at, now)
        with self._database.read() as session:
            job_of(session, job_id)
        # On disk and synced before anything can fail on it: even a file that stops the program is kept.
        stored = store_file(self._store, data)
        capture, repeated = self._receive(
            job_id, stored, captured, client_id, explicit=captured_at is not None, cut=cut
        )
        # Not read: half a sentence can be another value, "one point" of "one point two".
        if cut:
            return {
                **self._answer(capture),
                "message": "The connection was lost. What arrived is kept; say it again, please.",
            }
        with self._lock(job_id):
            if repeated:
                with self._database.read() as session:
                    # Looked up again under the lock: the first sending may have been read since. Where it still is
                    # "stored", it was not, and is read now.
                    found = session.get(CaptureRow, capture.id)
                if found is not None and found.state != "stored":
                    return {**self._answer(found), "repeated": True}
            return self._read(capture.id, data, finish=finish)

    def store(self, job_id: str, data: bytes, captured_at: str | None = None) -> Stored:
        """Put a clip or photo on disk, where nothing refers to it yet; arguments and errors as of `take`."""
        captured_text(captured_at, self._database.clock())
        with self._database.read() as session:
            job_of(session, job_id)
        return store_file(self._store, data)

    def keep(
        self, job_id: str, stored: Stored, captured_at: str | None = None, client_id: str | None = None
    ) -> PlainData:
        """Put a stored file on record without reading it (`read_kept` does); arguments and errors as of `take`.

        Returns:
            As `take`; where it was read before, what was made of it then, else with "stored" as its state.
        """
        captured = captured_text(captured_at, self._database.clock())
        explicit = captured_at is not None
        capture, repeated = self._receive(job_id, stored, captured, client_id, explicit=explicit, cut=False)
        return {**self._answer(capture), "repeated": repeated}

    def read_kept(self, capture_id: str) -> PlainData:
        """Read a capture that `keep` stored, and answer with what was made of it; one that was read is not read again.

        Raises:
            NoSuchCapture: There is no such capture.
        """
        job_id = self.capture(capture_id)[0]
        with self._lock(job_id):
            with self._database.read() as session:
                found = session.get_one(CaptureRow, capture_id)
            if found.state != "stored":
                return self._answer(found)
            return self._read(capture_id, self._store.read(found.sha256))

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
        """Read what a crash left stored and unread; commands in it are not obeyed any more. Returns how many."""
        with self._database.read() as session:
            waiting = session.exec(select(CaptureRow).where(CaptureRow.state == "stored")).all()
        for capture in waiting:
            with self._lock(capture.job_id):
                # The conversation has gone on since the crash: a "confirm" of then could fall on a value of now.
                self._read(capture.id, self._store.read(capture.sha256), commands=False)
        return len(waiting)

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
        with self._lock(capture.job_id):
            with self._database.read() as session:
                state = session.get_one(CaptureRow, capture_id).state
            if state not in ("failed", "cut"):
                raise CaptureReadBefore(capture_id=capture_id)
            return self._read(capture_id, self._store.read(capture.sha256), commands=False)

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
        with self._lock(job_id):
            return self._read(found[-1].id, data, commands=False, corners=in_pixels(data, corners))

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
        received = [
            self._receive(
                job_id, one, captured, f"{client_id}#{index}" if client_id else None,
                explicit=captured_at is not None, cut=False,
            )
            for index, one in enumerate(stored)
        ]  # fmt: skip
        captures = [capture.id for capture, _ in received]
        with self._lock(job_id):
            if all(repeated for _, repeated in received):
                with self._database.read() as session:
                    known = session.get_one(CaptureRow, captures[0])
                    best = parsed(known.outcome_json).get("burst", {}).get("best")
                    if best is not None:
                        return {**self._answer(session.get_one(CaptureRow, best)), "repeated": True}
            return self._read_burst(job_id, captures, frames)

    def _read_burst(self, job_id: str, captures: list[str], frames: Sequence[bytes]) -> PlainData:
        with self._database.read() as session:
            check = display_check(session, job_id, context_of(session, job_id))
        found, best, alone = recognise_burst(self._engines, frames, check)
        crops = {index: store_file(self._store, crop) for index, crop in found.crops}
        burst: JsonObject = {"best": captures[best], "captures": [*dict.fromkeys(captures)]}
        with self._database.write() as transaction:
            for index, capture_id in enumerate(captures):
                if capture_id == captures[best]:
                    continue
                row = transaction.session.get_one(CaptureRow, capture_id)
                row.state = "recognised" if index < len(alone) and alone[index].displays else "failed"
                outcome: JsonObject = {"burst": burst}
                if index < len(alone):
                    outcome["seen"] = seen_json(alone[index])
                row.outcome_json = canonical(outcome)
                transaction.put(row)
                transaction.entry(What.RECOGNISED, job_id, note=outcome)
            capture = transaction.session.get_one(CaptureRow, captures[best])
            self._put_crops(transaction, evidence_of(transaction.session, capture.sha256), found, crops)
            return self._conclude(transaction, capture, found, crops, commands=False, more={"burst": burst})

    def _receive(
        self, job_id: str, stored: Stored, captured: str, client_id: str | None, *, explicit: bool, cut: bool
    ) -> tuple[CaptureRow, bool]:
        """Write the arrival; returns it, and whether it is a repetition of an earlier one."""
        return self._arrivals.put(Arrival(job_id, stored, captured, client_id, explicit, cut))

    def _answer(self, capture: CaptureRow) -> PlainData:
        """Give what was made of a capture, as it is sent to the page."""
        return {
            "capture": capture.id,
            "sha256": capture.sha256,
            "state": capture.state,
            "captured_at": capture.captured_at,
            "repeated": False,
            "message": "",
            "action": "",
            "cautions": [],
            "proposals": [],
            "records": [],
            "withdrawn": [],
            "problem": None,
            **parsed(capture.outcome_json),
        }

    def _read(
        self,
        capture_id: str,
        data: bytes,
        *,
        commands: bool = True,
        finish: Callable[[Context], Utterance] | None = None,
        corners: Quad | None = None,
    ) -> PlainData:
        with self._database.read() as session:
            capture = session.get_one(CaptureRow, capture_id)
            evidence = evidence_of(session, capture.sha256)
            context = context_of(session, capture.job_id)
            check = display_check(session, capture.job_id, context) if evidence.kind == "photo" else None
        metadata = parsed(evidence.metadata_json)
        # Outside of any transaction: recognition takes seconds, and nobody could write meanwhile.
        found = recognise(self._engines, data, evidence, metadata, context, finish, check, corners)
        # A mark that leads to nothing is not noted: what the photo gave before still holds.
        if corners is not None and found.problem is not None:
            raise MarkedDisplayUnreadable(problem=found.problem)
        crops = {index: store_file(self._store, crop) for index, crop in found.crops}
        with self._database.write() as transaction:
            capture = transaction.session.get_one(CaptureRow, capture_id)
            if corners is not None:
                marked = [[f"{x:.1f}", f"{y:.1f}"] for x, y in corners]
                by = job_of(transaction.session, capture.job_id).technician
                note = {"capture": capture.id, "sha256": capture.sha256, "corners": marked}
                transaction.entry(What.CORNERS_MARKED, capture.job_id, by=by, note=note)
            self._put_crops(transaction, evidence, found, crops, by_hand=corners is not None)
            return self._conclude(transaction, capture, found, crops, commands=commands)

    def _put_crops(
        self,
        transaction: Transaction,
        evidence: EvidenceRow,
        found: Recognised,
        crops: dict[int, Stored],
        *,
        by_hand: bool = False,
    ) -> None:
        displays = found.seen.displays if found.seen is not None else ()
        for index, stored in crops.items():
            corners = " ".join(f"({x:.1f} {y:.1f})" for x, y in displays[index].quad)
            put_evidence(
                transaction,
                stored,
                kind="crop",
                parent=evidence.sha256,
                derivation=f"display {index}, rectified from corners {corners} px{' marked by hand' * by_hand}",
            )

    def _conclude(
        self,
        transaction: Transaction,
        capture: CaptureRow,
        found: Recognised,
        crops: dict[int, Stored],
        *,
        commands: bool,
        more: JsonObject | None = None,
    ) -> PlainData:
        """Note what was recognised, let the conversation act on it, and keep the answer (with what is `more`)."""
        recognised = found.to_json()
        what = What.NOT_RECOGNISED if found.problem is not None else What.RECOGNISED
        transaction.entry(what, capture.job_id, note=recognised)
        turn = begin_turn(transaction, capture.job_id, self._profile)
        self._act(turn, capture, found, crops, commands=commands)
        outcome = {**recognised, **turn.for_page(), **(more or {})}
        if found.problem is not None:
            outcome["problem"] = found.problem_json()
        capture.state = "failed" if found.problem is not None else "recognised"
        capture.outcome_json = canonical(outcome)
        transaction.put(capture)
        turn.close()
        return self._answer(capture)

    def _act(
        self,
        turn: Turn,
        capture: CaptureRow,
        found: Recognised,
        crops: dict[int, Stored],
        *,
        commands: bool,
    ) -> None:
        if found.utterance is not None:
            obeyed = commands or found.utterance.command is None
            source = Source("speech", capture.captured_at, capture.sha256, found.utterance.heard.text)
            if obeyed:
                heard(turn, found.utterance, source)
            else:
                turn.say("A command from before the interruption was not obeyed. Say it again.")
        elif found.seen is not None:
            source = Source("photo", capture.captured_at, capture.sha256)
            seen(turn, found.seen, source, {index: stored.sha256 for index, stored in crops.items()})
        elif found.problem is not None:
            again = "Take it again" if found.photo else "Say it again"
            turn.say(f"Kept, but not read: {found.problem} {again}, or type it.")
            turn.ask(turn.asked())
