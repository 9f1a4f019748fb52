"""Witnesses: somebody outside this machine who saw a head of the trail.

A time-stamping server (RFC 3161) where one is named, by network or by file; the owner of another Ohmtrail, who signs
a head that was sent to him, and whose own trail then holds it as well. What is brought to a verification later (a head
from an export, from paper, from a witness) finds a trail that was written anew, even with the key, or cut off.
"""

from __future__ import annotations

import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from api.ledger.canonical import CanonicalError, JsonObject, canonical, parsed
from api.ledger.database import Database, last_head
from api.ledger.errors import TimeStampUnusable
from api.ledger.signing import SignedHead, signature_holds, signed_head_from
from api.ledger.store import Store
from api.ledger.tables import EvidenceRow
from api.ledger.timestamps import MOST_BYTES, read_time_stamp, request_for
from api.ledger.trail import What
from api.ledger.verification.witnesses import WITNESS_STATEMENT, witness_statement
from api.proof.errors import HeadUnreadable, ServerSilent, WitnessUnusable
from api.proof.heads import sign_snapshot

TIMEOUT_S = 30.0
"""How long a time-stamping server may take, s."""

TIME_STAMP = "application/timestamp-reply"


def present_head(database: Database) -> SignedHead:
    """Sign the head of the trail as it stands."""
    with database.read() as session:
        return sign_snapshot(database, session, last_head(session))


def read_head_text(name: str, text: str) -> SignedHead:
    """Read a signed head: alone as a QR code or an export holds it, or within a witness's signature.

    Raises:
        HeadUnreadable: It is none.
    """
    try:
        value = parsed(text)
        if isinstance(value, dict) and value.get("what") == WITNESS_STATEMENT:
            value = value.get("head")
        head = signed_head_from(value)
    except CanonicalError as error:
        raise HeadUnreadable(name=name, cause=str(error).strip(".")) from None
    if not head.holds():
        raise HeadUnreadable(name=name, cause="its signature does not hold")
    return head


def ask_server(url: str, head: SignedHead) -> bytes:
    """Ask a time-stamping server (RFC 3161, 3.4) for a stamp of a head; returns its answer.

    Raises:
        ServerSilent: It did not answer, or not with a time-stamp.
    """
    if not url.startswith(("http://", "https://")):
        raise ServerSilent(url=url, cause="its address begins with neither http:// nor https://")
    headers = {"Content-Type": "application/timestamp-query"}
    request = urllib.request.Request(url, request_for(head), headers, method="POST")  # noqa: S310 - checked above
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310 - checked above
            return bytes(answer.read(MOST_BYTES + 1))
    except (urllib.error.URLError, OSError, ValueError) as error:
        raise ServerSilent(url=url, cause=str(error)) from None


def keep_time_stamp(database: Database, evidence: Store, head: SignedHead, answer: bytes) -> str:
    """Keep a time-stamp of a head; returns when it was made.

    Raises:
        TimeStampUnusable: It is none, or one of something else; nothing was kept.
    """
    stamp = read_time_stamp(answer)
    if not stamp.is_of(head):
        raise TimeStampUnusable(cause="it is of something else than this head")
    sha256 = evidence.put(answer)
    with database.write() as transaction:
        if transaction.session.get(EvidenceRow, sha256) is None:
            transaction.put(
                EvidenceRow(
                    sha256=sha256, media_type=TIME_STAMP, kind="timestamp", size=len(answer), parent_sha256=None,
                    derivation="", metadata_json="{}", stored_at=transaction.now,
                )
            )  # fmt: skip
        note: JsonObject = {"kind": "time-stamp", "tree_head": head.to_json(), "token": sha256, "at": stamp.at}
        transaction.entry(What.WITNESSED, note=note)
    return stamp.at


def give_witness(database: Database, head: SignedHead, by: str) -> str:
    """Sign the head of another trail, and note it in this one; returns the text to send back.

    Args:
        database: Whose key signs.
        head: The other's head.
        by: Who witnesses, in words.
    """
    with database.write() as transaction:
        key = database.signing_key()
        statement = witness_statement(head, by, transaction.now, key.public)
        signed = {**statement, "signature": key.sign(statement)}
        transaction.entry(What.WITNESS_GIVEN, by=by, note={"head": head.to_json()})
    return canonical(signed)


def keep_witness(database: Database, text: str) -> SignedHead:
    """Keep what a witness signed of this trail; returns the head that he saw.

    Raises:
        WitnessUnusable: It is no witness's signature, or does not hold.
    """
    try:
        value: Any = parsed(text)
        head = signed_head_from(value["head"])
        by, at, key, signature = (str(value[name]) for name in ("by", "at", "key", "signature"))
    except (CanonicalError, KeyError, TypeError) as error:
        raise WitnessUnusable(cause=str(error).strip("'.")) from None
    if not head.holds() or not signature_holds(key, signature, witness_statement(head, by, at, key)):
        raise WitnessUnusable(cause="its signature does not hold")
    with database.write() as transaction:
        note: JsonObject = {
            "kind": "signature", "tree_head": head.to_json(), "by": by, "at": at, "key": key, "signature": signature,
        }  # fmt: skip
        transaction.entry(What.WITNESSED, note=note)
    return head


def read_head_file(path: Path) -> SignedHead:
    """Read a signed head from a file; see `read_head_text`.

    Raises:
        HeadUnreadable: It is none, or cannot be read.
    """
    try:
        return read_head_text(path.name, path.read_text("utf-8").strip())
    except (OSError, UnicodeDecodeError) as error:
        raise HeadUnreadable(name=path.name, cause=str(error)) from None
