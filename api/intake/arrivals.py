"""Arrivals on record: files that are on disk already become captures, as many in one transaction as came meanwhile.

A transaction costs several syncs whatever it holds. Whoever comes while one is under way waits for the next, which then
takes all who wait; so fifty senders at once are acknowledged in little more time than one.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field

from sqlmodel import Session, col, or_, select

from api.errors import OhmtrailError
from api.intake.claims import Claims
from api.intake.errors import SameIdOtherBytes
from api.ledger.acting import acting_person
from api.ledger.canonical import canonical
from api.ledger.database import Database, Transaction
from api.ledger.evidence import Stored, put_evidence
from api.ledger.ids import in_order
from api.ledger.tables import CaptureRow
from api.ledger.trail import What
from api.visit.changes import require_open
from api.visit.errors import JobNotOpen


@dataclass(frozen=True)
class Arrival:
    """One file that came in.

    Attributes:
        job_id: The job; it must exist.
        stored: The file on disk.
        captured: The device's time, as it is stored.
        client_id: The sender's own unique id.
        explicit: Whether the device gave its time.
        cut: The connection was lost while it was sent.
        claimed: Who brings it reads it at once, and claims it before anybody can find it unread.
        utterance: The page's id of what was spoken, the same live and as a clip; empty for none.
        by: Who brings it: the person of a paired device.
    """

    job_id: str
    stored: Stored
    captured: str
    client_id: str | None
    explicit: bool
    cut: bool
    claimed: bool
    utterance: str = ""
    by: str = field(default_factory=acting_person, kw_only=True)


@dataclass(frozen=True)
class Arrived:
    """What an arrival became.

    Attributes:
        capture: Its row.
        repeated: It is a repetition of an earlier one, whose row it is.
        clash: Its client id was used for other bytes.
        refused: The job takes none any more: the file is kept as evidence, and is no capture.
    """

    capture: CaptureRow
    repeated: bool = False
    clash: bool = False
    refused: JobNotOpen | None = None


def _alike(session: Session, arrival: Arrival) -> Sequence[CaptureRow]:
    """Read the captures of the job with the same bytes or the same client id, in order: nobody else can be repeated."""
    same = col(CaptureRow.sha256) == arrival.stored.sha256
    if arrival.client_id is not None:
        same = or_(same, col(CaptureRow.client_id) == arrival.client_id)
    return in_order(session.exec(select(CaptureRow).where(CaptureRow.job_id == arrival.job_id, same)).all())


def whole_of(session: Session, capture: CaptureRow) -> CaptureRow | None:
    """Find the capture that holds the same utterance whole; one that was cut off holds only its beginning."""
    return _whole(session, capture.job_id, capture.utterance)


def _whole(session: Session, job_id: str, utterance: str) -> CaptureRow | None:
    if not utterance:
        return None
    same = select(CaptureRow).where(
        CaptureRow.job_id == job_id, CaptureRow.utterance == utterance, CaptureRow.state != "cut"
    )
    return next(iter(in_order(session.exec(same).all())), None)


def _put_beside(transaction: Transaction, arrival: Arrival, first: CaptureRow) -> Arrived:
    """Keep the second recording of an utterance as evidence; what was said counts once, by the first."""
    if put_evidence(transaction, arrival.stored):
        note = {"sha256": arrival.stored.sha256, "same_utterance": first.id}
        transaction.entry(What.EVIDENCE_STORED, arrival.job_id, note=note)
    return Arrived(first, repeated=True)


def _put_aside(transaction: Transaction, arrival: Arrival, refused: JobNotOpen) -> Arrived:
    """Keep what came for a job that is not open as evidence alone: nothing of it is lost, and nothing of it counts."""
    if put_evidence(transaction, arrival.stored):
        note = {"sha256": arrival.stored.sha256, "not_taken": refused.code}
        transaction.entry(What.EVIDENCE_STORED, arrival.job_id, by=arrival.by, note=note)
    nothing = CaptureRow(
        id="", job_id=arrival.job_id, sha256=arrival.stored.sha256, client_id=None, state="failed", outcome_json="{}",
        captured_at=arrival.captured, received_at=transaction.now,
    )  # fmt: skip
    return Arrived(nothing, refused=refused)


def _put(transaction: Transaction, arrival: Arrival) -> Arrived:
    clash = False
    stored, client_id = arrival.stored, arrival.client_id
    for capture in _alike(transaction.session, arrival):
        same_id = client_id is not None and capture.client_id == client_id
        clash = clash or (same_id and capture.sha256 != stored.sha256)
        again = arrival.explicit and client_id is None and capture.captured_at == arrival.captured
        if capture.sha256 == stored.sha256 and (same_id or again):
            return Arrived(capture, repeated=True)
    first = None if arrival.cut else _whole(transaction.session, arrival.job_id, arrival.utterance)
    if first is not None:
        return _put_beside(transaction, arrival, first)
    try:
        require_open(transaction.session, arrival.job_id)
    except JobNotOpen as refused:
        return _put_aside(transaction, arrival, refused)
    capture = CaptureRow(
        id=transaction.next_id(CaptureRow, arrival.job_id),
        job_id=arrival.job_id,
        sha256=stored.sha256,
        client_id=None if clash else client_id,
        state="failed" if clash else "cut" if arrival.cut else "stored",
        outcome_json=canonical({"problem": {"code": SameIdOtherBytes.code}} if clash else {}),
        captured_at=arrival.captured,
        received_at=transaction.now,
        utterance=arrival.utterance,
        sent_by=arrival.by,
    )
    put_evidence(transaction, stored)
    transaction.put(capture)
    what = What.STORED_INCOMPLETE if arrival.cut else What.EVIDENCE_STORED
    transaction.entry(what, arrival.job_id, by=arrival.by, note={"sha256": stored.sha256})
    return Arrived(capture, clash=clash)


class Arrivals:
    """Writes arrivals, each transaction with all that came while the one before was written."""

    def __init__(self, database: Database, claims: Claims) -> None:
        """Write into this database, claiming what its bringers read."""
        self._claims = claims
        self._database = database
        self._guard = threading.Lock()
        self._turn = threading.Lock()
        self._pending: list[tuple[Arrival, Future[Arrived]]] = []

    def put(self, arrival: Arrival) -> tuple[CaptureRow, bool]:
        """Write an arrival; returns its row and whether it repeats an earlier one, once that is durable.

        Raises:
            SameIdOtherBytes: The client id was used for other bytes; these are kept all the same, under no id.
            JobNotOpen: The job is closed or archived; the file is kept all the same, as evidence alone.
            WriteFailed: The disk is full or refuses.
        """
        own: Future[Arrived] = Future()
        with self._guard:
            self._pending.append((arrival, own))
        with self._turn:
            if not own.done():
                with self._guard:
                    batch, self._pending = self._pending, []
                self._write(batch)
        found = own.result()
        if found.clash:
            raise SameIdOtherBytes(client_id=arrival.client_id)
        if found.refused is not None:
            raise found.refused
        return found.capture, found.repeated

    def _write(self, batch: list[tuple[Arrival, Future[Arrived]]]) -> None:
        found: list[Arrived] = []
        ours: list[str] = []
        try:
            with self._database.write() as transaction:
                for arrival, _ in batch:
                    arrived = _put(transaction, arrival)
                    if arrival.claimed and not arrived.repeated and arrived.capture.state == "stored":
                        self._claims.claim(arrived.capture.id)  # before the commit: nobody can find it unclaimed
                        ours.append(arrived.capture.id)
                    found.append(arrived)
        except Exception as error:
            self._claims.release(ours)  # nothing of it is on record, so there is nothing to read
            if len(batch) == 1 or isinstance(error, OhmtrailError):
                for _, future in batch:
                    future.set_exception(error)
                return
            for one in batch:  # one of them cannot be written; the others can
                self._write([one])
            return
        for (_, future), arrived in zip(batch, found, strict=True):
            future.set_result(arrived)
