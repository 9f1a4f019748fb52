"""Reading a stored capture: recognised, then concluded in one transaction, once.

What was made of a capture is written only where its state is still the one in which the reading began, compared in the
transaction that changes it. A second conclusion finds the state changed; all of it is rolled back, and the first one's
answer is given.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Sequence

from api.dialogue.conversation import heard
from api.dialogue.photo_turn import seen
from api.dialogue.turn import Turn, begin_turn, context_of
from api.errors import NotFound
from api.intake.claims import Claims
from api.intake.errors import EvidenceChanged, EvidenceMissing, EvidenceUnreadable, MarkedDisplayUnreadable
from api.intake.identity import recogniser_of
from api.intake.recognisers import Engines, Quad
from api.intake.recognition import Recognised, recognise, recognise_burst, seen_json
from api.ledger.acting import acting, acting_person
from api.ledger.canonical import JsonObject, PlainData, canonical, parsed, sha256_hex
from api.ledger.clock import utc_text
from api.ledger.database import Database, Transaction
from api.ledger.evidence import Stored, evidence_of, put_evidence, store_derived
from api.ledger.store import Store
from api.ledger.tables import CaptureRow
from api.ledger.trail import What
from api.visit.jobs import job_of
from api.visit.profiles import display_check
from api.visit.proposals import Source
from capture.reading import Context, Utterance
from grading.shop import ShopProfile


class _ConcludedBeforeError(Exception):
    """Somebody else wrote what was made of the capture; nothing of this reading is kept."""


class CaptureReader:
    """Reads captures of a data folder; one at a time for each job."""

    def __init__(self, database: Database, store: Store, engines: Engines, profile: ShopProfile | None = None) -> None:
        """Work on these."""
        self._database = database
        self._store = store
        self._engines = engines
        self._profile = profile
        self._claims = Claims()
        self._bursts = threading.Lock()
        self._guard = threading.Lock()
        self._locks: dict[str, threading.Lock] = defaultdict(threading.Lock)

    def _lock(self, job_id: str) -> threading.Lock:
        with self._guard:
            return self._locks[job_id]

    def _stored(self, sha256: str) -> bytes:
        """Read the file of a capture as it came.

        Raises:
            EvidenceUnreadable: It is gone, or is not what came.
        """
        try:
            data = self._store.read(sha256)
        except (NotFound, OSError):
            raise EvidenceMissing(sha256=sha256) from None
        if sha256_hex(data) != sha256:
            raise EvidenceChanged(sha256=sha256)
        return data

    def _read_once(
        self,
        capture_id: str,
        load: Callable[[], bytes],
        *,
        commands: bool = True,
        finish: Callable[[Context], Utterance] | None = None,
        states: tuple[str, ...] = ("stored",),
    ) -> PlainData:
        """Read a claimed capture if it is still in one of these states; else answer with what was made of it."""
        with self._database.read() as session:
            found = session.get_one(CaptureRow, capture_id)
        if found.state not in states:
            return {**self._answer(found), "repeated": True}
        with self._lock(found.job_id):
            try:
                return self._read(capture_id, load, commands=commands, finish=finish, states=states)
            except _ConcludedBeforeError:
                with self._database.read() as session:
                    return {**self._answer(session.get_one(CaptureRow, capture_id)), "repeated": True}

    def _read_burst(self, job_id: str, captures: list[str], frames: Sequence[bytes]) -> PlainData:
        with self._database.read() as session:
            check = display_check(session, job_id, context_of(session, job_id, utc_text(self._database.clock())))
            parents = [session.get_one(CaptureRow, capture_id).sha256 for capture_id in captures]
        engine = recogniser_of(self._engines, photo=True)
        found, best, alone = recognise_burst(self._engines, frames, check)
        crops = self._crops(found, parents[best])
        with self._database.write() as transaction:
            unread = {
                capture_id: transaction.session.get_one(CaptureRow, capture_id).state == "stored"
                for capture_id in captures
            }
            # The answer belongs to the best photo; where that was read before, to another one that was not.
            chosen = captures[best] if unread[captures[best]] else next(one for one in captures if unread[one])
            burst: JsonObject = {"best": chosen, "captures": [*dict.fromkeys(captures)]}
            for index, capture_id in enumerate(captures):
                if capture_id == chosen or not unread[capture_id]:
                    continue
                row = transaction.session.get_one(CaptureRow, capture_id)
                row.state = "recognised" if index < len(alone) and alone[index].displays else "failed"
                outcome: JsonObject = {"burst": burst}
                if index < len(alone):
                    outcome["seen"] = seen_json(alone[index])
                row.outcome_json = canonical(outcome)
                transaction.put(row)
                transaction.entry(What.RECOGNISED, job_id, note=outcome)
            capture = transaction.session.get_one(CaptureRow, chosen)
            self._put_crops(transaction, parents[best], found, crops)
            return self._conclude(
                transaction, capture, found, crops, commands=False, engine=engine, more={"burst": burst}
            )

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
        load: Callable[[], bytes],
        *,
        commands: bool = True,
        finish: Callable[[Context], Utterance] | None = None,
        corners: Quad | None = None,
        states: tuple[str, ...] | None = None,
    ) -> PlainData:
        with self._database.read() as session:
            capture = session.get_one(CaptureRow, capture_id)
            evidence = evidence_of(session, capture.sha256)
            context = context_of(session, capture.job_id, utc_text(self._database.clock()))
            check = display_check(session, capture.job_id, context) if evidence.kind == "photo" else None
        metadata = parsed(evidence.metadata_json)
        engine = recogniser_of(self._engines, photo=evidence.kind == "photo")
        try:
            found = recognise(self._engines, load(), evidence, metadata, context, finish, check, corners)
        except EvidenceUnreadable as problem:
            found = Recognised(problem=problem, photo=evidence.kind == "photo")
        if corners is not None and found.problem is not None:
            raise MarkedDisplayUnreadable(problem=found.problem)
        crops = self._crops(found, evidence.sha256)
        with self._database.write() as transaction:
            capture = transaction.session.get_one(CaptureRow, capture_id)
            if states is not None and capture.state not in states:
                raise _ConcludedBeforeError
            if corners is not None:
                marked = [[f"{x:.1f}", f"{y:.1f}"] for x, y in corners]
                by = acting_person(job_of(transaction.session, capture.job_id).technician)
                note = {"capture": capture.id, "sha256": capture.sha256, "corners": marked}
                transaction.entry(What.CORNERS_MARKED, capture.job_id, by=by, note=note)
            self._put_crops(transaction, evidence.sha256, found, crops, by_hand=corners is not None)
            return self._conclude(transaction, capture, found, crops, commands=commands, engine=engine)

    def _crops(self, found: Recognised, parent: str) -> dict[int, Stored]:
        """Store what was cut out of a photo, by the display's place in `seen`; the rows come with the conclusion."""
        return {index: store_derived(self._store, crop, parent) for index, crop in found.crops}

    def _put_crops(
        self,
        transaction: Transaction,
        parent: str,
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
                parent=parent,
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
        engine: JsonObject,
        more: JsonObject | None = None,
    ) -> PlainData:
        """Note what was recognised and by what, let the conversation act on it, and keep the answer (and `more`)."""
        recognised = found.to_json()
        what = What.NOT_RECOGNISED if found.problem is not None else What.RECOGNISED
        transaction.entry(
            what,
            capture.job_id,
            note={**recognised, "capture": capture.id, **({"recogniser": engine} if engine else {})},
        )
        with acting(capture.sent_by):  # what was said counts as said by whoever sent it, whoever has it read now
            turn = begin_turn(transaction, capture.job_id, self._profile, capture.captured_at)
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
            source = Source("speech", capture.captured_at, capture.sha256, found.utterance.heard.text)
            heard(turn, found.utterance, source, obeyed=commands, open_microphone=bool(capture.utterance))
        elif found.seen is not None:
            source = Source("photo", capture.captured_at, capture.sha256)
            seen(turn, found.seen, source, {index: stored.sha256 for index, stored in crops.items()})
        elif found.problem is not None:
            again = "Take it again" if found.photo else "Say it again"
            kept = "Not read" if isinstance(found.problem, EvidenceUnreadable) else "Kept, but not read"
            turn.say(f"{kept}: {found.problem} {again}, or type it.")
            turn.ask(turn.asked())
