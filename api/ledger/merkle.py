"""The Merkle tree of RFC 9162, section 2.1, over SHA-256: roots, inclusion proofs and consistency proofs.

A leaf is SHA-256(0x00 || data), a node SHA-256(0x01 || left || right); the tree of n leaves is split at the largest
power of two below n. The data of a leaf is the hash of one entry of the trail, as 32 bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

EMPTY_ROOT = sha256().digest()
"""Root of the tree without leaves (RFC 9162, 2.1.1)."""


def leaf_hash(data: bytes) -> bytes:
    """Compute the hash of a leaf (RFC 9162, 2.1.1)."""
    return sha256(b"\0" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Compute the hash of an inner node (RFC 9162, 2.1.1)."""
    return sha256(b"\1" + left + right).digest()


@dataclass
class Frontier:
    """What is needed of a tree to append leaves and give its root: the roots of its perfect subtrees, largest first.

    Attributes:
        size: Number of leaves.
        roots: As many as `size` has ones in binary.
    """

    size: int = 0
    roots: list[bytes] = field(default_factory=list)

    def append(self, data: bytes) -> None:
        """Append one leaf."""
        found, size = leaf_hash(data), self.size
        while size & 1:
            found, size = node_hash(self.roots.pop(), found), size >> 1
        self.roots.append(found)
        self.size += 1

    def root(self) -> bytes:
        """Compute the root."""
        if not self.roots:
            return EMPTY_ROOT
        found = self.roots[-1]
        for left in reversed(self.roots[:-1]):
            found = node_hash(left, found)
        return found

    def is_whole(self) -> bool:
        """Tell whether there are as many subtrees as the size asks for."""
        return self.size >= 0 and len(self.roots) == self.size.bit_count()


class MerkleTree:
    """A whole tree, for roots of any of its earlier sizes and for proofs."""

    def __init__(self, leaves: Iterable[bytes]) -> None:
        """Build it from the data of its leaves."""
        self._levels: list[list[bytes]] = [[leaf_hash(data) for data in leaves]]
        while len(self._levels[-1]) > 1:
            below = self._levels[-1]
            self._levels.append([node_hash(*below[at : at + 2]) for at in range(0, len(below) - 1, 2)])

    @property
    def size(self) -> int:
        """Number of leaves."""
        return len(self._levels[0])

    def _range(self, begin: int, end: int) -> bytes:
        """Compute MTH(D[begin:end]); `begin` is a multiple of the power of two that `end - begin` fits in."""
        width = end - begin
        if width and not width & (width - 1):
            level = width.bit_length() - 1
            return self._levels[level][begin >> level]
        split = 1 << (width - 1).bit_length() - 1
        return node_hash(self._range(begin, begin + split), self._range(begin + split, end))

    def root(self, size: int) -> bytes:
        """Compute the root of the first `size` leaves, 0 to `self.size`."""
        return self._range(0, size) if size else EMPTY_ROOT

    def inclusion(self, index: int, size: int) -> list[bytes]:
        """Prove that a leaf is in the tree of a size (RFC 9162, 2.1.3.1).

        Args:
            index: The leaf, from 0.
            size: `index` + 1 to `self.size`.
        """
        path: list[bytes] = []
        begin, end = 0, size
        while end - begin > 1:
            split = begin + (1 << (end - begin - 1).bit_length() - 1)
            if index < split:
                path.append(self._range(split, end))
                end = split
            else:
                path.append(self._range(begin, split))
                begin = split
        return path[::-1]

    def consistency(self, first: int, second: int) -> list[bytes]:
        """Prove that the tree of one size is the beginning of that of another (RFC 9162, 2.1.4.1).

        Args:
            first: 1 to `second`.
            second: Up to `self.size`.
        """
        path: list[bytes] = []
        begin, end, whole = 0, second, True
        while first != end:
            split = begin + (1 << (end - begin - 1).bit_length() - 1)
            if first <= split:
                path.append(self._range(split, end))
                end = split
            else:
                path.append(self._range(begin, split))
                begin, whole = split, False
        return ([] if whole else [self._range(begin, end)]) + path[::-1]


def included(data: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Check an inclusion proof (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    first, last, found = index, size - 1, leaf_hash(data)
    for other in path:
        if last == 0:
            return False
        if first & 1 or first == last:
            found = node_hash(other, found)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            found = node_hash(found, other)
        first, last = first >> 1, last >> 1
    return last == 0 and found == root


def consistent(first: int, second: int, path: Sequence[bytes], first_root: bytes, second_root: bytes) -> bool:
    """Check a consistency proof (RFC 9162, 2.1.4.2)."""
    if first == second:
        return not path and first_root == second_root
    if not 0 < first < second or not path:
        return False
    nodes = [first_root, *path] if not first & (first - 1) else list(path)
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    old = new = nodes[0]
    for other in nodes[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            old, new = node_hash(other, old), node_hash(other, new)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            new = node_hash(new, other)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and old == first_root and new == second_root
