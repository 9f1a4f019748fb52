"""The pieces that the second engine writes in, and how text is divided into them.

The file holds each piece behind its length: one byte, or two where the first is 128 or more. Pieces were numbered in
the order in which byte-pair encoding made them (Sennrich et al. 2016, arXiv 1508.07909), so a text is divided by
joining, again and again, the two neighbours whose joined piece has the lowest number.
"""

from __future__ import annotations

from itertools import pairwise

BEGIN, END = 1, 2
"""Numbers of the pieces that begin and end a text."""

_SPACE = "▁".encode()


class Pieces:
    """The pieces by number."""

    def __init__(self, data: bytes) -> None:
        """Read a file of pieces.

        Args:
            data: Its content.

        Raises:
            ValueError: It is no such file.
        """
        self._pieces: list[bytes] = []
        at = 0
        while at < len(data):
            size = data[at]
            if size >= 128:
                if at + 1 >= len(data):
                    raise ValueError("the list of pieces is cut short")
                size, at = size - 128 + (data[at + 1] << 7), at + 1
            self._pieces.append(data[at + 1 : at + 1 + size])
            at += 1 + size
        self._numbers = {piece: number for number, piece in enumerate(self._pieces)}
        if at != len(data) or _SPACE not in self._numbers:
            raise ValueError("it is no list of pieces")

    def divide(self, text: str) -> list[int]:
        """Divide plain words into pieces; characters that no piece holds are left out."""
        found: list[int] = []
        for word in text.split():
            letters = [_SPACE, *(letter.encode() for letter in word)]
            found += self._joined([letter for letter in letters if letter in self._numbers])
        return found

    def _joined(self, parts: list[bytes]) -> list[int]:
        while len(parts) > 1:
            joined = [self._numbers.get(one + next_one) for one, next_one in pairwise(parts)]
            known = [(number, at) for at, number in enumerate(joined) if number is not None]
            if not known:
                break
            _, at = min(known)
            parts = [*parts[:at], parts[at] + parts[at + 1], *parts[at + 2 :]]
        return [self._numbers[part] for part in parts]

    def text(self, numbers: list[int]) -> str:
        """Put pieces together to text."""
        joined = b"".join(self._pieces[number] for number in numbers if number < len(self._pieces))
        return " ".join(joined.replace(_SPACE, b" ").decode("utf-8", "replace").split())
