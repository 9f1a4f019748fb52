"""One entry of the trail against the one before: the one check, for the verification and for the report's proof."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from api.ledger.canonical import CanonicalError, PlainData, parsed_canonical, sha256_hex
from api.ledger.trail import Head

BODY_KEYS = frozenset({"seq", "txn", "prev", "at", "job", "what", "by", "rows", "note"})
"""What the content of every entry holds (see `api.ledger.trail`)."""

_COLUMNS = (("seq", "seq"), ("job_id", "job"), ("what", "what"), ("at", "at"), ("prev", "prev"))


class CheckedEntry(NamedTuple):
    """What the check of one entry gave.

    Attributes:
        head: Where the trail stands after it.
        body: Its content; None where that is not well formed.
        faults: What is wrong with it, one sentence each.
    """

    head: Head
    body: PlainData | None
    faults: tuple[str, ...]


def same(first: object, second: object) -> bool:
    """Tell whether two are equal in value and in type: 1 is not 1.0, text is not bytes."""
    return type(first) is type(second) and first == second


def check_entry(entry: Mapping[str, object], before: Head) -> CheckedEntry:
    """Check an entry against its own hash, its columns and the entry before.

    Args:
        entry: Its columns by name, as the database gives them.
        before: Where the trail stands before it.
    """
    text = entry["body"]
    body = _body(text)
    if body is None or not isinstance(text, str):
        return _checked(entry, None, before)
    # All in one look, since nearly every entry has no fault. Columns hold the kinds of their schema or bytes, which
    # equal no text; so only a number of the body could equal a column and be of another type.
    seq, txn, digest = body["seq"], body["txn"], sha256_hex(text)
    sound = (
        type(seq) is int is type(txn)
        and seq == before.seq + 1
        and txn - before.txn in (0, 1)
        and (before.hash, digest) == (entry["prev"], entry["hash"])
        and [body[key] for _, key in _COLUMNS] == [entry[column] for column, _ in _COLUMNS]
    )
    return CheckedEntry(Head(seq, txn, digest), body, ()) if sound else _checked(entry, body, before)


def _checked(entry: Mapping[str, object], body: PlainData | None, before: Head) -> CheckedEntry:
    seq, text, faults = entry["seq"], entry["body"], []
    if seq != before.seq + 1:
        faults.append(f"follows entry {before.seq}; entries were removed, added or reordered.")
    if not isinstance(text, str) or sha256_hex(text) != entry["hash"]:
        faults.append("its content does not match its hash.")
    if entry["prev"] != before.hash:
        faults.append("does not follow from the entry before.")
    if body is None:
        faults.append("its content is not well formed.")
    else:
        faults += [
            f"column {column} says {entry[column]!r}, its content {body[key]!r}."
            for column, key in _COLUMNS
            if not same(entry[column], body[key])
        ]
    txn = body["txn"] if body is not None and type(body["txn"]) is int else before.txn
    if txn not in (before.txn, before.txn + 1):
        faults.append(f"transaction {txn} follows {before.txn}.")
    head = Head(seq if type(seq) is int else before.seq + 1, txn, str(entry["hash"]))
    return CheckedEntry(head, body, tuple(faults))


def _body(text: object) -> PlainData | None:
    try:
        body = parsed_canonical(text) if isinstance(text, str) else None
    except CanonicalError:
        return None
    return body if isinstance(body, dict) and body.keys() == BODY_KEYS else None
