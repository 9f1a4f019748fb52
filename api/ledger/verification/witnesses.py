"""Step (8), continued: what somebody outside saw of this trail, held here or brought along."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cryptography.x509 import Certificate

from api.ledger.canonical import JsonObject
from api.ledger.errors import TimeStampUnusable
from api.ledger.schema import Row
from api.ledger.signing import SignedHead, fingerprint, signature_holds, signed_head_from
from api.ledger.store import read_plain
from api.ledger.timestamps import read_time_stamp
from api.ledger.verification.result import Verification
from api.ledger.verification.signatures import Signatures

WITNESS_STATEMENT = "ohmtrail witness 1"
"""What another trail's key signs of a head."""


@dataclass(frozen=True)
class PrintedWords:
    """A head of the trail as paper bears it (`api.proof.words`).

    Attributes:
        said: The words.
        bits: The first bits of the root that they stand for.
        length: How many bits.
        entry: Number of the entry that stands beside them; 0 where it was not given.
    """

    said: str
    bits: int
    length: int
    entry: int = 0


@dataclass(frozen=True)
class Outside:
    """What is brought along from outside to compare with.

    Attributes:
        heads: Signed heads, each with where it comes from.
        hashes: Hashes of entries, or the first digits of them, as reports print them.
        trusted: Certificates that time-stamps may lead to.
        words: Heads as words, as reports print them.
    """

    heads: tuple[tuple[str, SignedHead], ...] = ()
    hashes: tuple[str, ...] = ()
    trusted: tuple[Certificate, ...] = ()
    words: tuple[PrintedWords, ...] = ()


NOTHING = Outside()


def witness_statement(head: SignedHead, by: str, at: str, key: str) -> JsonObject:
    """Give what another trail's key signs."""
    return {"what": WITNESS_STATEMENT, "head": head.to_json(), "by": by, "at": at, "key": key}


def check_witnesses(folder: Path, signatures: Signatures, outside: Outside, found: Verification) -> None:
    """(8) Check time-stamps and signatures of others, and what is brought along.

    Args:
        folder: The data folder.
        signatures: The trail's keys, heads and tree; its witness notes.
        outside: What is brought along.
        found: Told what holds and what does not.
    """
    for name, note in signatures.witness_notes:
        head = signed_head_from(note["tree_head"])
        if note.get("kind") == "time-stamp":
            _check_stamp(folder, name, note, head, outside, found)
        else:
            _check_signature(name, note, head, found)
    for name, head in outside.heads:
        fault = signatures.fault(head)
        if fault:
            found.problems.append(f"The head in {name} is none of this trail: {fault}.")
        elif head.key not in {one.key for one in signatures.keys}:
            found.problems.append(f"The head in {name} is signed by a key that this trail does not name.")
        else:
            found.witnesses.append(f"{name}: entries 1 to {head.size} are those that it covers, signed {head.at}.")
    for digits in outside.hashes:
        seq = signatures.entry_with(digits.casefold())
        if seq:
            found.witnesses.append(f"The printed hash {digits[:16]} is that of entry {seq}: all up to it stands.")
        else:
            found.problems.append(f"The printed hash {digits[:16]} is of no entry: the trail was written anew or cut.")
    for printed in outside.words:
        _check_words(printed, signatures, found)


def _check_words(printed: PrintedWords, signatures: Signatures, found: Verification) -> None:
    size = signatures.size_with(printed.bits, printed.length)
    if size and printed.entry in (0, size):
        found.witnesses.append(
            f"The printed words “{printed.said}” are found at entry {size}: entries 1 to {size} are those from which"
            " the report that prints them was made."
        )
    elif size:
        found.problems.append(
            f"The printed words “{printed.said}” stand at entry {size} of this trail, and not at entry {printed.entry}"
            " as was typed. Compare the number once more with the paper."
        )
    else:
        found.problems.append(
            f"The printed words “{printed.said}” are not on this chain. Compare them once more with the paper; if they"
            " are typed as they stand there, the report is of another computer's records, or these were written anew"
            " or cut off since it was made."
        )


def _check_stamp(folder: Path, name: str, note: Row, head: SignedHead, outside: Outside, found: Verification) -> None:
    token = str(note.get("token"))
    try:
        data = read_plain(folder / "evidence" / token[:2] / token[2:])
        stamp = read_time_stamp(data, outside.trusted)
    except (OSError, TimeStampUnusable) as error:
        found.problems.append(f"{name}: its time-stamp cannot be read: {error}")
        return
    if not stamp.is_of(head) or stamp.at != note.get("at"):
        found.problems.append(f"{name}: its time-stamp is of something else.")
    elif stamp.trusted is False:
        found.problems.append(f"{name}: its time-stamp does not lead to a trusted certificate: {stamp.why}.")
    else:
        how = "" if stamp.trusted else " (its signature was not checked: bring the certificate with --trust)"
        found.witnesses.append(f"{name}: entries 1 to {head.size} stood at {stamp.at}, by a time-stamp{how}.")


def _check_signature(name: str, note: Row, head: SignedHead, found: Verification) -> None:
    by, at, key = str(note.get("by")), str(note.get("at")), str(note.get("key"))
    if not signature_holds(key, note.get("signature"), witness_statement(head, by, at, key)):
        found.problems.append(f"{name}: the signature of {by or 'a witness'} does not hold.")
        return
    found.witnesses.append(f"{name}: entries 1 to {head.size} were seen by {by}, key {fingerprint(key)}, at {at}.")
