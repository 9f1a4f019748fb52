"""A signed head for paper: a few words that a person can compare, and a QR code that holds it whole.

The words are the first 66 bits of the tree's root, eleven bits a word, from the list of BIP 39 (2048 English words that
differ in their first four letters), as the package `mnemonic` carries it. Somebody who wants another trail with the
same words must try 2^66 of them.
"""

from __future__ import annotations

import io
from functools import cache

from api.ledger.canonical import canonical
from api.ledger.signing import SignedHead

WORDS = 6
_BITS = 11


@cache
def _list() -> tuple[str, ...]:
    from mnemonic import Mnemonic

    return tuple(Mnemonic("english").wordlist)


def words_of(root: str) -> str:
    """Give the words of a root.

    Args:
        root: 64 hex digits.
    """
    number = int(root, 16) >> 256 - WORDS * _BITS
    picked = [number >> _BITS * at & (1 << _BITS) - 1 for at in reversed(range(WORDS))]
    return " ".join(_list()[index] for index in picked)


def words_match(root: str, said: str) -> bool:
    """Tell whether words from paper are those of a root: case does not matter, four letters of each word do."""
    return [word[:4] for word in said.casefold().split()] == [word[:4] for word in words_of(root).split()]


def qr_text(head: SignedHead) -> str:
    """Give what the QR code of a head holds: the signed head itself, as `ohmtrail verify --head` takes it."""
    return canonical(head.to_json())


def qr_svg(text: str) -> str:
    """Draw a QR code (ISO/IEC 18004) as an SVG element to stand in a page; a quiet zone of four modules."""
    import segno

    out = io.BytesIO()
    segno.make_qr(text, error="l").save(
        out, kind="svg", xmldecl=False, svgns=False, border=4, omitsize=True, dark="#000", light="#fff", nl=False,
        svgclass=None, lineclass=None,
    )  # fmt: skip
    return out.getvalue().decode()
