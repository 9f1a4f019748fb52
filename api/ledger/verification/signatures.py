"""Step (8): signed heads against the tree of the trail, and the keys that signed them.

The hashes of all entries are held (32 bytes each), since heads that older entries and witnesses name are of any size.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.ledger.canonical import CanonicalError
from api.ledger.merkle import Frontier, MerkleTree
from api.ledger.schema import Row
from api.ledger.signing import SignedHead, fingerprint, key_statement, signature_holds, signed_head_from
from api.ledger.trail import HeadFile, What
from api.ledger.verification.result import Verification

_OF_OPENING = {What.SCHEMA_MIGRATED.value, What.KEY_NAMED.value, What.HEAD_CAUGHT_UP.value, What.CLOCK_SET_BACK.value}
"""What opening a folder writes by itself."""


@dataclass(frozen=True)
class NamedKey:
    """A key as the trail names it: by entry `seq`, handed over by `before` if that key endorsed it."""

    seq: int
    key: str
    before: str
    endorsed: bool


class Signatures:
    """Follows keys and signed heads through the trail."""

    def __init__(self) -> None:
        self._hashes: list[bytes] = []
        self._tree: MerkleTree | None = None
        self._last_step = 0
        self.keys: list[NamedKey] = []
        self.heads: list[tuple[str, SignedHead]] = []
        self.witness_notes: list[tuple[str, Row]] = []

    def leaf(self, digest: object) -> None:
        """(8) Take the hash of the next entry."""
        try:
            self._hashes.append(bytes.fromhex(str(digest)))
        except ValueError:
            self._hashes.append(b"")  # step (2) reports it

    def take(self, body: Row, found: Verification) -> None:
        """(8) Take what an entry says of keys and heads."""
        note, name = body["note"], f"Entry {body['seq']}"
        if body["what"] not in _OF_OPENING:
            self._last_step = int(body["seq"])
        if not isinstance(note, dict):
            return
        if body["what"] == What.KEY_NAMED.value:
            self._take_key(body, note, found)
        for word in ("head", "tree_head"):
            if note.get(word) is None or body["what"] == What.WITNESS_GIVEN.value:
                continue  # a head that was witnessed here is of another trail
            try:
                self.heads.append((name, signed_head_from(note[word])))
            except CanonicalError as error:
                found.problems.append(f"{name}: {error}")
                return
        if body["what"] == What.WITNESSED.value and "tree_head" in note:
            self.witness_notes.append((name, note))

    def _take_key(self, body: Row, note: Row, found: Verification) -> None:
        key, before = str(note.get("key")), str(note.get("before"))
        last = self.keys[-1].key if self.keys else ""
        if before != last:
            found.problems.append(f"Entry {body['seq']}: names a signing key in place of one that did not sign.")
        statement = key_statement(key, before, str(body["at"]))
        endorsed = bool(note.get("endorsed")) and signature_holds(before, note["endorsed"], statement)
        if note.get("endorsed") and not endorsed:
            found.problems.append(f"Entry {body['seq']}: the old key's signature under the new key does not hold.")
        self.keys.append(NamedKey(body["seq"], key, before, endorsed))

    def entry_with(self, digits: str) -> int:
        """Give the entry whose hash begins with these digits, at least eight; 0 where none does."""
        found = (seq for seq, digest in enumerate(self._hashes, 1) if digest.hex().startswith(digits))
        return next(found, 0) if len(digits) >= 8 else 0

    def size_with(self, bits: int, length: int) -> int:
        """Give the number of entries whose tree has a root with these first bits; 0 where none has."""
        tree = Frontier()
        for size, data in enumerate(self._hashes, 1):
            tree.append(data)
            if int.from_bytes(tree.root()) >> 256 - length == bits:
                return size
        return 0

    @property
    def tree(self) -> MerkleTree:
        """The tree of all entries."""
        if self._tree is None or self._tree.size != len(self._hashes):
            self._tree = MerkleTree(self._hashes)
        return self._tree

    def fault(self, head: SignedHead) -> str:
        """Say why a signed head is none of this trail; empty where it lies on it."""
        if not head.holds():
            return "its signature does not hold"
        if head.size > len(self._hashes):
            return f"it covers {head.size} entries, the trail has {len(self._hashes)}: its tail was cut off"
        if head.size < 1 or self._hashes[head.size - 1].hex() != head.hash:
            return f"entry {head.size} has another hash: the trail was written anew"
        if self.tree.root(head.size).hex() != head.root:
            return f"entries before {head.size} are others than it covers: the trail was written anew"
        return ""

    def check(self, head_file: HeadFile | CanonicalError, found: Verification) -> None:
        """(8) Check every signed head that is held here, and say what the signatures prove."""
        named = {one.key for one in self.keys}
        for name, head in self.heads:
            fault = self.fault(head)
            if fault:
                found.problems.append(f"{name}: the signed head that it holds is none of this trail: {fault}.")
            elif head.key not in named:
                found.problems.append(f"{name}: the signed head that it holds is signed by a key that nothing names.")
        if isinstance(head_file, CanonicalError) or head_file.head is None:
            return
        signed = head_file.signed
        if signed is None:
            self._unsigned(head_file.head.seq, found)
            return
        fault = self.fault(signed)
        if (signed.size, signed.hash) != (head_file.head.seq, head_file.head.hash):
            fault = "it covers another entry than the head file names"
        elif not fault and not self._may_sign(signed):
            fault = f"key {fingerprint(signed.key)} signed it, which the trail does not name as the one that signs"
        if fault:
            found.problems.append(f"Signed head: {fault}.")
            return
        self._proved(signed, found)

    def _may_sign(self, head: SignedHead) -> bool:
        """Tell whether a key was the one in force: the last named, or, where that entry is the last, the one before."""
        before = [one for one in self.keys if one.seq <= head.size]
        allowed = {one.key for one in before[-1:]}
        if before and before[-1].seq == head.size:
            allowed.add(before[-1].before)
        return head.key in allowed

    def _unsigned(self, named: int, found: Verification) -> None:
        """Judge a head file without a signature, which names this entry."""
        if self.keys and self._last_step <= named < self.keys[0].seq:
            # Opening a folder of before named the first key, and stopped between its commit and the head file.
            found.notes.append(
                f"The opening that first named a signing key, in entry {self.keys[0].seq}, stopped before it signed;"
                " the next one signs. Until then nothing of this trail is signed."
            )
        elif self.keys:
            key, since = fingerprint(self.keys[-1].key), self.keys[0].seq
            found.problems.append(
                f"Signed head: the head bears no signature, though key {key} signs this trail since entry {since}:"
                " another hand wrote it, or an older version of this program."
            )
        elif self._hashes:
            found.notes.append(
                "No head of this trail is signed yet: it was made before heads were signed. Who has the folder could"
                " have written it anew; compare the hash that a report prints."
            )

    def _proved(self, signed: SignedHead, found: Verification) -> None:
        found.signed, found.key, found.root = signed.size, signed.key, signed.root
        first = self.keys[0].seq
        if first > 1 and self.keys[0].before == "":
            found.notes.append(
                f"Entries 1 to {first - 1} were written before heads were signed: the signature says that they stand"
                f" unchanged since entry {first}, and nothing of the time before."
            )
        found.notes += [
            f"Entry {one.seq}: the signing key {fingerprint(one.before)} was lost, or taken away; key"
            f" {fingerprint(one.key)} signs since, and no signature of the old one vouches for it."
            for one in self.keys[1:]
            if not one.endorsed
        ]
