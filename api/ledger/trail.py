"""The audit trail: every step of the flow appends one entry, each holding the hash of the one before.

An entry's body is canonical JSON:

    {"seq": 7, "txn": 3, "prev": "<hash of entry 6>", "at": "...Z", "job": "J1", "what": "confirmed", "by": "...",
     "rows": [{"table": "record", "key": "J1-R1", "row": {every column}}], "note": {...}}

and its hash is the SHA-256 of that text. `rows` hold the full content of every row that was written together with the
entry, so each row can be checked against the newest entry that names it. Entries of one transaction share `txn`.

The head file (`trail-head.json`) names the last entry. It is written after the commit, so that a trail whose tail was
cut off is found as well: a head that lies ahead of the trail means tampering; one that lies behind by one
transaction means that the machine stopped between commit and head file. A plain chain proves nothing against somebody
who rewrites every entry and the head file; therefore each report prints the head hash of its day.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from api.ledger.canonical import CanonicalError, JsonObject, canonical, parsed, sha256_hex
from api.ledger.store import write_synced
from api.ledger.tables import TrailEntryRow

FIRST_PREV = "0" * 64
"""`prev` of the first entry."""


class What(StrEnum):
    """The steps of the flow."""

    JOB_CREATED = "job created"
    EVIDENCE_STORED = "evidence stored"
    EVIDENCE_ADOPTED = "evidence adopted"  # found on disk at start: stored, but the crash came before its entry
    RECOGNISED = "recognised"
    CORNERS_MARKED = "corners marked"  # a person showed where the display is in a photo
    NOT_RECOGNISED = "not recognised"  # could not be decoded or read; kept as evidence
    STORED_INCOMPLETE = "kept, cut"  # the connection was lost while it was sent
    PROPOSED = "proposed"
    JOINED = "joined"  # voice and photo of one reading
    ASKED = "asked"
    TYPED = "typed"
    CONFIRMED = "confirmed"
    CONFIRM_REFUSED = "confirm refused"
    CORRECTED = "corrected"
    CHOSEN = "chosen"
    REJECTED = "rejected"
    WITHDRAWN = "undone"  # trails written so far hold this word, so the value stays
    PROFILE_SET = "profile set"  # what an instrument can show
    SAFETY_ANSWERED = "safety answered"
    GRADED = "graded"
    REPORT_MADE = "report made"
    SCHEMA_MIGRATED = "schema migrated"  # the tables got other names; older entries keep theirs
    HEAD_CAUGHT_UP = "head caught up"
    HEAD_MISMATCH = "head mismatch"


@dataclass(frozen=True)
class Head:
    """Where the trail ends: number, transaction and hash of the last entry."""

    seq: int = 0
    txn: int = 0
    hash: str = FIRST_PREV


def make_entry(
    after: Head,
    txn: int,
    *,
    at: str,
    job_id: str,
    what: What,
    by: str,
    rows: list[JsonObject],
    note: Mapping[str, object],
) -> tuple[TrailEntryRow, Head]:
    """Build the entry that follows `after`.

    Returns:
        The entry and the head that it makes.
    """
    body = canonical(
        {
            "seq": after.seq + 1,
            "txn": txn,
            "prev": after.hash,
            "at": at,
            "job": job_id,
            "what": what.value,
            "by": by,
            "rows": rows,
            "note": note,
        }
    )
    digest = sha256_hex(body)
    entry = TrailEntryRow(
        seq=after.seq + 1, job_id=job_id, what=what.value, at=at, prev=after.hash, hash=digest, body=body
    )
    return entry, Head(after.seq + 1, txn, digest)


def head_of(entry: TrailEntryRow) -> Head:
    """Give the head that an entry makes, from its columns and body (unchecked)."""
    try:
        txn = parsed(entry.body)["txn"]
    except (CanonicalError, KeyError, TypeError):
        txn = -1  # a damaged body must not stop the server: no head file matches this, so that it is noted
    return Head(entry.seq, txn if isinstance(txn, int) else -1, entry.hash)


def write_head(path: Path, head: Head) -> None:
    """Write the head file durably."""
    write_synced(path, canonical({"seq": head.seq, "txn": head.txn, "hash": head.hash}).encode())


def read_head(path: Path) -> Head | None:
    """Read the head file; None where it is missing.

    Raises:
        CanonicalError: It is there, but damaged.
    """
    try:
        text = path.read_bytes().decode()
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        raise CanonicalError("The head file is not text.") from None
    value = parsed(text)
    # Exactly the text that `write_head` writes; another spelling of the same values is by another hand.
    if not isinstance(value, dict) or set(value) != {"seq", "txn", "hash"} or canonical(value) != text:
        raise CanonicalError("The head file does not hold seq, txn and hash in canonical form.")
    seq, txn, digest = value["seq"], value["txn"], value["hash"]
    # `isinstance` would take true for a number.
    if type(seq) is not int or type(txn) is not int or not isinstance(digest, str):
        raise CanonicalError("The head file holds values of the wrong kind.")
    return Head(seq, txn, digest)


def entry_for_page(entry: TrailEntryRow) -> JsonObject:
    """Give an entry as the page shows it."""
    body = json.loads(entry.body)
    return {
        "seq": entry.seq,
        "at": entry.at,
        "what": entry.what,
        "by": body["by"],
        "rows": [{"table": row["table"], "key": row["key"]} for row in body["rows"]],
        "note": body["note"],
        "hash": entry.hash,
        "prev": entry.prev,
    }
