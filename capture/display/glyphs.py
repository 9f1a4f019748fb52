"""The marks that the reader knows, in the order of the network's outputs: characters, points, units, annunciators.

The trainer and the reader both take the order from here, so that they cannot drift apart. A unit or annunciator is one
mark as a whole ("MΩ" is one token): which letters stand before the ohm sign decides a factor of a thousand million.
"""

from __future__ import annotations

DIGITS = tuple("0123456789")
OTHER_CHARACTERS = ("-", ">", "<", "L", "F", "inf", "other", "unreadable")
POINTS = (".", ":")
UNIT_TOKENS = (
    "uOhm", "mOhm", "Ohm", "kOhm", "MOhm", "GOhm", "TOhm", "mV", "V", "kV", "uA", "mA", "A", "nF", "uF",
    "Cel", "%", "s", "min", "unit_other",
)  # fmt: skip
ANNUNCIATORS = ("hv", "bat_low", "hold", "lock", "zero", "set")

CLASSES: tuple[str, ...] = (*DIGITS, *OTHER_CHARACTERS, *POINTS, *UNIT_TOKENS, *ANNUNCIATORS)
INDEX: dict[str, int] = {name: i for i, name in enumerate(CLASSES)}

GROUPS = ("glyph", "point", "token")
"""Heat maps of the network: characters of the readings; points and colons; units and annunciators."""


def group_of(name: str) -> int:
    """Tell which heat map a mark belongs to (index into `GROUPS`)."""
    if name in POINTS:
        return 1
    return 2 if name in UNIT_TOKENS or name in ANNUNCIATORS else 0


READER_WIDTH, READER_HEIGHT = 384, 224
"""Size of the rectified picture that the reader's network takes, px."""
READER_STRIDE = 4
"""One cell of the reader's output per this many pixels."""
FINDER_WIDTH, FINDER_HEIGHT = 512, 384
"""Size of the reduced photo that the finder's network takes, px."""
FINDER_STRIDE = 8
"""One cell of the finder's output per this many pixels."""
STRIP_WIDTH, STRIP_HEIGHT, STRIP_DIGIT, STRIP_STRIDE = 256, 64, 24, 4
"""Size of the strip along the main row that the network for covers takes, px; how high digits are in it; and one place
of its output per this many pixels."""
