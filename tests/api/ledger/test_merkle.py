"""The tree of RFC 9162 against published vectors and against its own definition, written a second way."""

from __future__ import annotations

import random
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from api.ledger.merkle import EMPTY_ROOT, Frontier, MerkleTree, consistent, included

ENCLOSED = Path(__file__).parents[3] / "api" / "exchange" / "enclosed"

LEAVES = [bytes.fromhex(text) for text in (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
)]  # fmt: skip
ROOTS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
"""Roots of 0 to 8 of the leaves above: test data of Certificate Transparency's reference implementation
(google/certificate-transparency, merkletree tests), which RFC 9162 keeps the hashing of; from memory, and confirmed by
the definition in `naive`."""


def naive(leaves: list[bytes]) -> bytes:
    """Compute MTH as RFC 9162, 2.1.1 defines it."""
    if not leaves:
        return sha256().digest()
    if len(leaves) == 1:
        return sha256(b"\0" + leaves[0]).digest()
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return sha256(b"\1" + naive(leaves[:split]) + naive(leaves[split:])).digest()


@pytest.mark.parametrize("size", range(9))
def test_published_roots(size: int) -> None:
    assert naive(LEAVES[:size]).hex() == ROOTS[size]
    assert MerkleTree(LEAVES).root(size).hex() == ROOTS[size]
    tree = Frontier()
    for leaf in LEAVES[:size]:
        tree.append(leaf)
    assert tree.root().hex() == ROOTS[size]
    assert tree.is_whole()


def test_the_empty_tree() -> None:
    assert MerkleTree([]).root(0) == EMPTY_ROOT == Frontier().root()


@pytest.mark.parametrize("seed", range(4))
def test_random_trees(seed: int) -> None:
    """Prove every leaf and every pair of sizes of random trees, and refuse each proof with one bit changed."""
    drawn = random.Random(seed)
    leaves = [drawn.randbytes(32) for _ in range(drawn.randint(2, 70))]
    tree, roots = MerkleTree(leaves), [naive(leaves[:size]) for size in range(len(leaves) + 1)]
    for size in range(1, len(leaves) + 1):
        assert tree.root(size) == roots[size]
        for index in range(size):
            path = tree.inclusion(index, size)
            assert included(leaves[index], index, size, path, roots[size])
            assert not included(drawn.randbytes(32), index, size, path, roots[size])
            for at in range(len(path)):
                bad = [*path]
                bad[at] = bytes([bad[at][0] ^ 1]) + bad[at][1:]
                assert not included(leaves[index], index, size, bad, roots[size])
            assert not included(leaves[index], index, size, [*path, path[0] if path else leaves[0]], roots[size])
        for first in range(1, size + 1):
            proof = tree.consistency(first, size)
            assert consistent(first, size, proof, roots[first], roots[size])
            assert not consistent(first, size, proof, roots[first], drawn.randbytes(32))
            assert not consistent(first, size, proof, drawn.randbytes(32), roots[size])


def test_the_enclosed_verifier_computes_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(ENCLOSED))
    import check  # type: ignore[import-not-found]  # what every export encloses, run by itself

    try:
        for size in range(9):
            assert check.root_of(LEAVES[:size]).hex() == ROOTS[size]
        drawn = random.Random(7)
        leaves = [drawn.randbytes(32) for _ in range(53)]
        tree = MerkleTree(leaves)
        for size in range(1, 54):
            for index in range(size):
                path = tree.inclusion(index, size)
                assert check.root_from(leaves[index], index, size, path) == tree.root(size)
    finally:
        sys.modules.pop("check", None)
        sys.modules.pop("ed25519", None)
