"""Signs the head of a data folder's trail after each commit, and names its key in the trail.

The key is named by an entry before it signs for the first time, and again where another takes its place: handed over
by the old one's signature, or, where that was lost, without it, which every verification says.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

from sqlmodel import Session

from api.ledger.canonical import CanonicalError, JsonObject, parsed
from api.ledger.merkle import Frontier
from api.ledger.signing import KeyFile, SignedHead, SigningKey, key_statement
from api.ledger.trail import Head, HeadFile, What

_HASHES = "SELECT seq, hash FROM trail_entry WHERE seq > ? AND seq <= ? ORDER BY seq"
_NAMED = "SELECT body FROM trail_entry WHERE what = ? ORDER BY seq DESC LIMIT 1"


class SignerWriting(Protocol):
    """What naming a key needs of a transaction (`api.ledger.database.Transaction`)."""

    session: Session
    now: str

    def entry(self, what: What, job_id: str = "", *, by: str = "", note: JsonObject | None = None) -> None:
        """Append an entry."""
        ...


def named_key(session: Session) -> str:
    """Give the public key that the trail named last; empty where it never named one."""
    found = session.connection().exec_driver_sql(_NAMED, (What.KEY_NAMED.value,)).first()
    if found is None:
        return ""
    try:
        return str(parsed(found[0])["note"]["key"])
    except (CanonicalError, KeyError, TypeError):
        return ""


class Signer:
    """The signing of one data folder, in the hands of one process, under the write lock."""

    def __init__(self, folder: Path) -> None:
        """Sign for this folder."""
        self.file = KeyFile(folder)
        self._tree, self._last = Frontier(), Head()
        self._named = ""
        self.in_step = Head()
        """The head that was signed here last; while the trail ends there, nobody else wrote or changed the key."""

    def prepare(self, session: Session) -> None:
        """Make the key where there is none, and end a rotation that was interrupted.

        Raises:
            FileNotWritten: The disk is full or refuses.
        """
        waiting = self.file.next_key()
        if waiting is not None and waiting.public == named_key(session):
            self.file.put_next_in_place()
        elif waiting is not None:
            self.file.drop_next()
        self.file.prepare()

    def begin(self, transaction: SignerWriting, head: Head, known: HeadFile) -> None:
        """Bring the tree to where the trail ends, and name the key where the trail does not name it.

        Args:
            transaction: The transaction that begins.
            head: Where the trail ends.
            known: What the head file says.
        """
        self._catch_up(transaction.session, head, known)
        key = self.file.key()
        if self._named != key.public:
            self._named = named_key(transaction.session)
        if self._named != key.public:
            self._name(transaction, key, self._named, "", known)

    def _name(self, transaction: SignerWriting, key: SigningKey, before: str, endorsed: str, known: HeadFile) -> None:
        last = None if known.signed is None else known.signed.to_json()
        note: JsonObject = {"key": key.public, "before": before, "endorsed": endorsed, "head": last}
        transaction.entry(What.KEY_NAMED, note=note)

    def hand_over(self, transaction: SignerWriting, known: HeadFile) -> None:
        """Name a new key, endorsed by the present one; `taken_over` puts it in place once that is committed.

        Raises:
            FileNotWritten: The disk is full or refuses.
        """
        old, new = self.file.key(), self.file.write_next()
        endorsed = old.sign(key_statement(new.public, old.public, transaction.now))
        self._name(transaction, new, old.public, endorsed, known)

    def taken_over(self) -> None:
        """Sign with the new key from now on."""
        self.file.put_next_in_place()

    def _catch_up(self, session: Session, head: Head, known: HeadFile) -> None:
        if self._last == head and self._tree.size == head.seq:
            return
        signed = known.signed
        tree = Frontier()
        # What the head file says of the tree is believed only where a signature stands for it.
        if signed is not None and signed.size <= head.seq and known.tree.is_whole():
            copied = Frontier(known.tree.size, [*known.tree.roots])
            if copied.size == signed.size and copied.root().hex() == signed.root and signed.holds():
                tree = copied
        # Up to the head only: the transaction that begins may have noted something already.
        for seq, digest in session.connection().exec_driver_sql(_HASHES, (tree.size, head.seq)):
            if seq != tree.size + 1:
                break  # a damaged trail must not stop the work; the verification tells
            tree.append(hash_bytes(digest))
        self._tree, self._last = tree, head

    def committed(self, hashes: Iterable[str], head: Head, at: str) -> tuple[SignedHead, Frontier] | None:
        """Sign the head that a committed transaction made; None where there is no key to sign with.

        Args:
            hashes: Of its entries.
            head: The head that they make.
            at: The transaction's time.
        """
        for digest in hashes:
            self._tree.append(hash_bytes(digest))
        self._last = self.in_step = head
        try:
            key = self.file.key()
        except (OSError, ValueError):
            return None
        if self._tree.size != head.seq:
            return None
        return key.sign_head(self._tree.size, self._tree.root(), head.hash, at), self._tree


def hash_bytes(digest: object) -> bytes:
    """Give an entry's hash as the leaf's data; what is no hash, in a damaged trail, as its text."""
    try:
        return bytes.fromhex(str(digest))
    except ValueError:
        return str(digest).encode()
