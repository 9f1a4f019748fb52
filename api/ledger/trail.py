"""The audit trail: every step of the flow appends one entry, each holding the hash of the one before.

An entry's body is canonical JSON:

    {"seq": 7, "txn": 3, "prev": "<hash of entry 6>", "at": "...Z", "job": "J1", "what": "confirmed", "by": "...",
     "rows": [{"table": "record", "key": "J1-R1", "row": {every column}}], "note": {...}}

and its hash is the SHA-256 of that text. `rows` hold the full content of every row that was written together with the
entry, so each row can be checked against the newest entry that names it. Entries of one transaction share `txn`.

The head file (`trail-head.json`) names the last entry. It is written after the commit, so that a trail whose tail was
cut off is found as well: a head that lies ahead of the trail means tampering; one that lies behind, on the chain, means
that the machine stopped between commit and head file, or that the disk took no more. It has its room from the start:
two slots of `SLOT` bytes, written in place in turn, each with a number that counts the writings and a check of its own.
So a full disk does not keep it from being written, and a torn write leaves the slot before.

With the head the file holds its signature (`api.ledger.signing`) and the roots of the tree's perfect subtrees, from
which the next head follows. A plain chain proves nothing against somebody who rewrites every entry and the head file; a
signature does, unless he has the key. Entries that were appended behind the last signed head bear no signature.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from api.ledger.canonical import CanonicalError, JsonObject, canonical, parsed, sha256_hex
from api.ledger.errors import file_not_written
from api.ledger.merkle import Frontier
from api.ledger.signing import SignedHead, signed_head_from
from api.ledger.store import write_synced
from api.ledger.tables import TrailEntryRow

FIRST_PREV = "0" * 64
"""`prev` of the first entry."""

SLOT = 4096
"""Bytes of one slot of the head file: a page of the file system, so that a torn write of one leaves the other whole."""


class What(StrEnum):
    """The steps of the flow."""

    JOB_CREATED = "job created"
    JOB_CHANGED = "job changed"  # its description, an axis or instrument of it, or whether it is open
    PICTURE_SET = "picture set"  # a nameplate, an instrument's plate or a logo: evidence, and no reading
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
    CONFIRMATION_SET = "confirmation set"  # whether what is heard once is confirmed by saying it again
    ATTENTION_SET = "attention set"  # whether between readings only what is sure is obeyed
    NOTED = "noted"  # a clip is kept as a note, not understood
    SAFETY_ANSWERED = "safety answered"
    GRADED = "graded"
    REPORT_MADE = "report made"
    SCHEMA_MIGRATED = "schema migrated"  # the tables got other names; older entries keep theirs
    HEAD_CAUGHT_UP = "head caught up"  # the head file lagged, on the chain
    HEAD_MISMATCH = "head mismatch"
    KEY_NAMED = "signing key named"  # from here on this key signs; the note says what the one before says to it
    DERIVED = "derived"  # files made of originals, for an export that shall hold less
    WITNESSED = "witnessed"  # somebody outside saw a head: a time-stamp, or another's signature
    WITNESS_GIVEN = "witness given"  # a head of another trail, signed here
    BAG_IMPORTED = "export imported"  # a visit that another data folder exported, to look at and to compare with
    ACTION_ANSWERED = "sent action answered"  # what a device sent under an id of its own, with the first answer
    DEVICE_PAIRED = "device paired"  # from here on it may come in, with its person and role
    DEVICE_REVOKED = "device revoked"
    CLOCK_SET_BACK = "clock set back"  # this machine's clock says an earlier time than the entry before


class Head(NamedTuple):
    """Where the trail ends: number, transaction and hash of the last entry."""

    seq: int = 0
    txn: int = 0
    hash: str = FIRST_PREV


ENTRY_COLUMNS = ("seq", "job_id", "what", "at", "prev", "hash", "body")
"""The columns of an entry, in the order in which `entry_values` gives them."""

EntryValues = tuple[int, str, str, str, str, str, str]


def entry_values(
    after: Head,
    txn: int,
    *,
    at: str,
    job_id: str,
    what: What,
    by: str,
    rows: list[JsonObject],
    note: Mapping[str, object],
) -> tuple[EntryValues, Head]:
    """Build the entry that follows `after` as the values of its columns; returns them and the head that it makes."""
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
    return (after.seq + 1, job_id, what.value, at, after.hash, digest, body), Head(after.seq + 1, txn, digest)


def head_of(seq: int, digest: str, body: str) -> Head:
    """Give the head that an entry makes, from its columns and body (unchecked)."""
    try:
        txn = parsed(body)["txn"]
    except (CanonicalError, KeyError, TypeError):
        txn = -1  # a damaged body must not stop the server: no head file matches this, so that it is noted
    return Head(seq, txn if isinstance(txn, int) else -1, digest)


@dataclass(frozen=True)
class HeadFile:
    """What the head file holds.

    Attributes:
        head: The head written last; None where there is no file.
        count: How often it was written.
        slot: The slot that holds it, 0 or 1; -1 for a file of the first form, JSON without slots.
        damaged: The other slot is not whole: its writing was torn, or somebody changed it.
        signed: The same head, signed; None for one that bears no signature.
        tree: Its tree; empty where it bears no signature.
    """

    head: Head | None
    count: int = 0
    slot: int = -1
    damaged: bool = False
    signed: SignedHead | None = None
    tree: Frontier = field(default_factory=Frontier)


def _slot(head: Head, count: int, signed: SignedHead | None = None, tree: Frontier | None = None) -> bytes:
    content: JsonObject = {"count": count, "seq": head.seq, "txn": head.txn, "hash": head.hash}
    if signed is not None and tree is not None:
        content |= {"signed": signed.to_json(), "tree": [root.hex() for root in tree.roots]}
    return canonical({**content, "check": sha256_hex(canonical(content))}).encode().ljust(SLOT - 1) + b"\n"


def _read_slot(data: bytes, slot: int) -> HeadFile | None:
    """Read one slot; None where any byte of it is not as it was written."""
    try:
        value = parsed(data.decode())
        head, count = _head_from(value), value["count"]
        signed, tree = None, Frontier()
        if "signed" in value:
            signed = signed_head_from(value["signed"])
            tree = Frontier(signed.size, [bytes.fromhex(root) for root in value["tree"]])
    except (CanonicalError, UnicodeDecodeError, KeyError, TypeError, ValueError):
        return None
    whole = type(count) is int and _slot(head, count, signed, tree) == data
    return HeadFile(head, count, slot, signed=signed, tree=tree) if whole else None


def _head_from(value: object) -> Head:
    if not isinstance(value, dict) or not {"seq", "txn", "hash"} <= set(value):
        raise CanonicalError("The head file does not hold seq, txn and hash in canonical form.")
    seq, txn, digest = value["seq"], value["txn"], value["hash"]
    if type(seq) is not int or type(txn) is not int or not isinstance(digest, str):
        raise CanonicalError("The head file holds values of the wrong kind.")
    return Head(seq, txn, digest)


def write_head(path: Path, head: Head) -> None:
    """Write the head file durably and without a signature: in place, into the slot that was not written last.

    A file that is missing, damaged or of the first form is made anew with two slots.

    Raises:
        FileNotWritten: The disk refuses.
    """
    HeadKeeper(path).write(head)


class HeadKeeper:
    """The head file in the hands of one process: read anew each time, and taken apart only where its bytes changed."""

    def __init__(self, path: Path) -> None:
        """Keep this file."""
        self._path = path
        self._bytes: bytes | None = None
        self._known = HeadFile(None)

    def read(self) -> HeadFile:
        """Read the head file; see `read_head_file`.

        Raises:
            CanonicalError: It is there, but damaged.
            OSError: The disk does not give it.
        """
        try:
            data = self._path.read_bytes()
        except FileNotFoundError:
            return HeadFile(None)
        if data != self._bytes:
            self._bytes = None
            self._known = head_file_of(data)
            self._bytes = data
        return self._known

    def write(self, head: Head, signed: SignedHead | None = None, tree: Frontier | None = None) -> None:
        """Write the head file durably; see `write_head`.

        Args:
            head: The head.
            signed: The same, signed.
            tree: Its tree.

        Raises:
            FileNotWritten: The disk refuses.
        """
        try:
            known = self.read()
        except (CanonicalError, OSError):
            known = HeadFile(None)
        if known.slot < 0 or self._bytes is None:
            write_synced(self._path, _slot(head, 1, signed, tree) + _slot(head, 0, signed, tree))
            return
        slot, whole = 1 - known.slot, self._bytes
        new = _slot(head, known.count + 1, signed, tree)
        self._bytes = None  # until it is known to be on disk
        data, offset = memoryview(new), slot * SLOT
        try:
            handle = os.open(self._path, os.O_WRONLY)
            try:
                while data:  # a short write is no error of its own: the next one says why
                    written = os.pwrite(handle, data, offset)
                    data, offset = data[written:], offset + written
                os.fdatasync(handle)
            finally:
                os.close(handle)
        except OSError as error:
            raise file_not_written(self._path.name, error) from error
        self._bytes = new + whole[SLOT:] if slot == 0 else whole[:SLOT] + new
        copied = Frontier() if tree is None else Frontier(tree.size, [*tree.roots])  # the tree grows on
        self._known = HeadFile(head, known.count + 1, slot, signed=signed, tree=copied)


def read_head_file(path: Path) -> HeadFile:
    """Read the head file with the state of its slots.

    Raises:
        CanonicalError: It is there, but damaged.
    """
    try:
        return head_file_of(path.read_bytes())
    except FileNotFoundError:
        return HeadFile(None)


def head_file_of(data: bytes) -> HeadFile:
    """Read the head file's content with the state of its slots.

    Raises:
        CanonicalError: It is damaged.
    """
    if len(data) == 2 * SLOT:
        slots = [_read_slot(data[:SLOT], 0), _read_slot(data[SLOT:], 1)]
        whole = [found for found in slots if found is not None]
        if not whole:
            raise CanonicalError("Neither slot of the head file is whole.")
        return replace(max(whole, key=lambda one: one.count), damaged=len(whole) < 2)
    try:
        text = data.decode()
    except UnicodeDecodeError:
        raise CanonicalError("The head file is not text.") from None
    value = parsed(text)
    if not isinstance(value, dict) or set(value) != {"seq", "txn", "hash"} or canonical(value) != text:
        raise CanonicalError("The head file does not hold seq, txn and hash in canonical form.")
    return HeadFile(_head_from(value))


def read_head(path: Path) -> Head | None:
    """Read the head file; None where it is missing.

    Raises:
        CanonicalError: It is there, but damaged.
    """
    return read_head_file(path).head


def prepare_head(path: Path, head: Head) -> None:
    """Give the head file its room while the disk still has some.

    Args:
        path: The head file; one of the first form keeps what it says, a damaged one stays as it is.
        head: Where the trail ends; a missing file is made only where that is the very beginning, since a missing one
            beside entries was removed, which must be noted.
    """
    try:
        known = read_head_file(path)
    except CanonicalError:
        return
    if known.head is not None and known.slot < 0:
        write_head(path, known.head)
    elif known.head is None and head == Head():
        write_head(path, head)


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
