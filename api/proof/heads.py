"""Signed heads for what leaves the machine: reports, exports, witnesses."""

from __future__ import annotations

from sqlmodel import Session

from api.ledger.canonical import parsed
from api.ledger.database import Database
from api.ledger.merkle import MerkleTree
from api.ledger.signer import hash_bytes, named_key
from api.ledger.signing import SignedHead, SigningKey
from api.ledger.trail import Head, What

_NAMED = "SELECT seq, body FROM trail_entry WHERE what = ? ORDER BY seq"
_HASHES = "SELECT hash FROM trail_entry WHERE seq <= ? ORDER BY seq"


def tree_of(session: Session, size: int) -> MerkleTree:
    """Build the tree over the first entries of the trail.

    Args:
        session: A snapshot.
        size: How many.
    """
    rows = session.connection().exec_driver_sql(_HASHES, (size,))
    return MerkleTree(hash_bytes(digest) for (digest,) in rows)


def named_keys(session: Session) -> list[tuple[int, str, bool]]:
    """Read the keys that the trail names: entry, public key, and whether the one before endorsed it (unchecked)."""
    found = []
    for seq, body in session.connection().exec_driver_sql(_NAMED, (What.KEY_NAMED.value,)):
        note = parsed(body)["note"]
        found.append((int(seq), str(note["key"]), bool(note["endorsed"])))
    return found


def sign_snapshot(database: Database, session: Session, head: Head) -> SignedHead:
    """Sign the head of a snapshot, as a report that was made from it prints it; nothing is written.

    Args:
        database: Whose key signs.
        session: The snapshot.
        head: Where its trail ends (`api.ledger.database.last_head`).

    Raises:
        OSError, ValueError: The key was taken away.
    """
    return sign_tree(database, tree_of(session, head.seq), head)


def sign_tree(database: Database, tree: MerkleTree, head: Head) -> SignedHead:
    """Sign the head of a tree that was built; see `sign_snapshot`."""
    return database.signing_key().sign_head(head.seq, tree.root(head.seq), head.hash, database.now())


def key_to_sign(database: Database) -> SigningKey | None:
    """Give the key of a data folder, named in its trail; None where it was taken away, or cannot be read.

    Raises:
        EntryNotWritten: The trail does not name the key yet, and the disk is full or refuses.
    """
    try:
        key = database.signing_key()
    except (OSError, ValueError):
        return None
    with database.read() as session:
        named = named_key(session)
    if named != key.public:
        with database.write():
            pass  # a transaction of its own names the key
    return key
