"""Evidence: stored and hashed before anything tries to read it, never changed, never deleted by the program."""

from __future__ import annotations

import logging
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, select

from api.errors import OhmtrailError
from api.ledger.canonical import JsonObject, canonical, parsed, sha256_hex
from api.ledger.database import Database, Transaction
from api.ledger.errors import FileEmpty, FileNotOnRecord, FileTooLarge
from api.ledger.ids import in_order
from api.ledger.media_types import MediaType, media_type, metadata
from api.ledger.store import Store
from api.ledger.tables import CaptureRow, EvidenceRow
from api.ledger.trail import What
from capture.display import header
from capture.speech import audio
from capture.speech.encoder import CUT_FROM

log = logging.getLogger(__name__)

_PNG = b"\x89PNG\r\n\x1a\n"
_COMMENTS = 2000  # bytes at the beginning of a FLAC file of ours in which its comments lie
_PNG_HEAD = 33  # signature and header: what a text chunk may follow
_DERIVED = b"Ohmtrail cut out of"

MAX_BYTES = {"photo": header.MAX_BYTES, "clip": audio.MAX_BYTES, "other": audio.MAX_BYTES}
"""Largest file accepted, bytes: exactly what display reader and recogniser take, so that nothing is taken in that would
then be refused for its size."""


@dataclass(frozen=True)
class Stored:
    """One file that is on disk."""

    sha256: str
    found: MediaType
    size: int
    metadata: JsonObject


def check_size(data: bytes) -> MediaType:
    """Tell what a file is and whether it may come in.

    Raises:
        FileEmpty: It is empty.
        FileTooLarge: It is over the limit of its kind.
    """
    if not data:
        raise FileEmpty()
    found = media_type(data)
    limit = MAX_BYTES[found.kind]
    if len(data) > limit:
        kind = found.kind if found.kind != "other" else "file"
        raise FileTooLarge(kind=kind, megabytes=len(data) / 1e6, most=limit / 1e6)
    return found


def store_file(store: Store, data: bytes) -> Stored:
    """Store a file on disk, durably, then look at its header."""
    found = check_size(data)
    # The file before its row: a crash in between leaves a file that the next start adopts, and never a row without
    # evidence.
    sha256 = store.put(data)
    return Stored(sha256, found, len(data), metadata(data, found))


def put_evidence(
    transaction: Transaction, stored: Stored, *, kind: str = "", parent: str | None = None, derivation: str = ""
) -> bool:
    """Write the row of a stored file, unless it is there already.

    Returns:
        Whether the row is new (then the next trail entry holds it).
    """
    # Evidence is known by its content: the same bytes sent again are another capture, and no other evidence.
    if transaction.session.get(EvidenceRow, stored.sha256) is not None:
        return False
    transaction.put(
        EvidenceRow(
            sha256=stored.sha256,
            media_type=stored.found.name,
            kind=kind or stored.found.kind,
            size=stored.size,
            parent_sha256=parent,
            derivation=derivation,
            metadata_json=canonical(stored.metadata),
            stored_at=transaction.now,
        )
    )
    return True


def evidence_of(session: Session, sha256: str) -> EvidenceRow:
    """Read the row of a stored file.

    Raises:
        FileNotOnRecord: No such file was ever stored.
    """
    row = session.get(EvidenceRow, sha256)
    if row is None:
        raise FileNotOnRecord(sha256=sha256)
    return row


def captures_of(session: Session, job_id: str, sha256: str | None = None) -> Sequence[CaptureRow]:
    """Read a job's captures in order of arrival, or those of one file."""
    statement = select(CaptureRow).where(CaptureRow.job_id == job_id)
    if sha256 is not None:
        statement = statement.where(CaptureRow.sha256 == sha256)
    return in_order(session.exec(statement).all())


def evidence_for_page(session: Session, row: EvidenceRow) -> JsonObject:
    """Give a file with its arrivals and what was cut from it, as the page shows it."""
    captures = session.exec(select(CaptureRow).where(CaptureRow.sha256 == row.sha256)).all()
    derived = session.exec(select(EvidenceRow.sha256).where(EvidenceRow.parent_sha256 == row.sha256)).all()
    return {
        **row.model_dump(exclude={"metadata_json"}),
        "metadata": parsed(row.metadata_json),
        "derived": [*derived],
        "captures": [
            {**capture.model_dump(exclude={"outcome_json"}), "outcome": parsed(capture.outcome_json)}
            for capture in captures
        ],
    }


def store_derived(store: Store, data: bytes, parent: str) -> Stored:
    """Store a picture cut out of a stored photo, marked as such inside the file.

    A crash may leave it without a row; by its mark it is then known for what it is, and never taken for an original.

    Args:
        store: Where files lie.
        data: A PNG file.
        parent: SHA-256 of the photo.
    """
    chunk = b"tEXt" + _DERIVED + b"\0" + parent.encode()
    framed = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    marked = data[:_PNG_HEAD] + framed + data[_PNG_HEAD:] if data.startswith(_PNG) else data
    return store_file(store, marked)


def derived_from(data: bytes) -> str:
    """Tell which photo or recording a stored file was cut out of, by its SHA-256 in it; "" for an original."""
    if data.startswith(b"fLaC"):
        mark = (CUT_FROM + "=").encode()
        at = data.find(mark, 0, _COMMENTS)
        return "" if at < 0 else data[at + len(mark) :][:64].decode("ascii", "replace")
    start = _PNG_HEAD + 8
    end = start + len(_DERIVED) + 1
    marked = data.startswith(_PNG) and data[start:end] == _DERIVED + b"\0"
    return data[end : end + 64].decode("ascii", "replace") if marked else ""


def adopt_orphans(database: Database, store: Store) -> list[str]:
    """Give a row to files that a crash left without one; returns their hashes.

    A file was acknowledged only after its row was written, so nobody was told that these were kept; still none is lost.
    Only a whole regular file in the place that its hash names is taken in. Anything else in the folder is left where it
    is, for the verification to report; a cut-out without a row is no original, and is cut out again.
    """
    with database.read() as session:
        known = set(session.exec(select(EvidenceRow.sha256)).all())
    adopted = []
    for sha256, path in store.names():
        if not sha256 or sha256 in known:
            continue
        try:
            data = store.content(path, max(MAX_BYTES.values()))
            if data is None or sha256_hex(data) != sha256 or derived_from(data):
                continue
            found = check_size(data)
            stored = Stored(sha256, found, len(data), metadata(data, found))
            with database.write() as transaction:
                if put_evidence(transaction, stored):
                    transaction.entry(What.EVIDENCE_ADOPTED, note={"sha256": sha256})
        except (OSError, OhmtrailError) as error:
            log.warning("%s was not taken in as evidence: %s", path, error)
            continue
        adopted.append(sha256)
    return adopted
