"""A signed head for paper: a few words that a person can compare, and a QR code that holds it whole.

The words are the first 66 bits of the tree's root, eleven bits a word, from the list of BIP 39 (2048 English words that
differ in their first four letters), as the package `mnemonic` carries it. Somebody who wants another trail with the
same words must try 2^66 of them.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from difflib import get_close_matches
from functools import cache

from api.ledger.canonical import canonical
from api.ledger.signing import SignedHead
from api.ledger.verification.witnesses import Outside, PrintedWords
from api.proof.errors import PaperUnreadable

WORDS = 6
_BITS = 11
_TELLING = 4
"""Letters by which the words of the list differ (BIP 39, "Wordlist")."""
_LEAST_DIGITS, _MOST_FIGURES = 8, 10


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


def _index(word: str) -> int:
    """Give the place of a word in the list, by its first four letters.

    Raises:
        ValueError: It is none; the message says which, and what it may have been.
    """
    known = _list()
    for index, one in enumerate(known):
        if one == word or (len(word) >= _TELLING and one[:_TELLING] == word[:_TELLING]):
            return index
    near = get_close_matches(word, known, 1, 0.6)
    raise ValueError(f"“{word}” is none of the words that reports print" + (f"; is it “{near[0]}”?" if near else ""))


def read_printed(typed: str) -> PrintedWords | str:
    """Read what somebody typed from a printed report: six words, perhaps behind the entry's number, or a hash.

    Case, commas and further space do not matter; four letters of each word do. A hash is given back as it stands.

    Raises:
        PaperUnreadable: It is neither.
    """
    parts = typed.casefold().replace(",", " ").replace("…", " ").split()
    if len(parts) == 1 and len(parts[0]) >= _LEAST_DIGITS and not parts[0].strip("0123456789abcdef"):
        return parts[0]
    entry = int(parts[0]) if parts and parts[0].isdecimal() and len(parts[0]) < _MOST_FIGURES else 0
    words = parts[1:] if entry else parts
    try:
        if len(words) != WORDS:
            raise ValueError(f"a report prints {WORDS} words, and these are {len(words)}")
        bits = 0
        for word in words:
            bits = bits << _BITS | _index(word)
    except ValueError as error:
        raise PaperUnreadable(cause=str(error)) from None
    return PrintedWords(" ".join(words), bits, WORDS * _BITS, entry)


def printed_outside(typed: Iterable[str]) -> Outside:
    """Gather what was typed from paper, to hold a verification against it.

    Raises:
        PaperUnreadable: Some of it is neither six words nor a hash.
    """
    read = [read_printed(one) for one in typed]
    return Outside(
        hashes=tuple(one for one in read if isinstance(one, str)),
        words=tuple(one for one in read if not isinstance(one, str)),
    )


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
