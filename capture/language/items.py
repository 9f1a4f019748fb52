"""The pieces an utterance is made of, found in its plain words from left to right.

Each table below names plain words and the piece they stand for; `scan` takes the longest that fits. Whatever fits no
table is kept as an unknown piece, so that the parser can see that something stood there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from capture.language.numbers import SpokenNumber, read_number
from capture.language.say import ONES
from capture.language.vocabulary import CIRCUMSTANCES, COMMANDS, ICAO_LETTERS, SOFT_ANSWERS
from capture.reading import Command, Doubt
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, QuantityKind
from grading.terms.section import Section


class Cue(StrEnum):
    """Pieces that steer how the next ones are read."""

    SET = "set"
    BUILT = "built"
    IT_IS_AT = "it is at"
    AT = "at"
    OF = "of"
    AFTER = "after"
    UNSETTLED = "unsettled"
    FILLER = "filler"
    PAUSE = "pause"
    UNKNOWN = "unknown"
    SOFT = "soft"
    NOT = "not"
    POSITION = "position"
    NOTED = "noted"  # stood for a circumstance, taken already


@dataclass(frozen=True)
class UnitSpoken:
    """A unit as said: its UCUM code or None when it cannot be told, and the doubt it raises."""

    code: str | None
    doubt: Doubt | None = None
    others: tuple[str, ...] = ()
    bare_k: bool = False


@dataclass(frozen=True)
class Special:
    """A value said without digits: open, short, blank, collapsed."""

    qualifier: Qualifier
    doubt: Doubt | None = None


@dataclass(frozen=True)
class AxisSpoken:
    """An axis name, whether it can be told from letters that sound like it, and whether "axis" was said with it."""

    name: str
    sure: bool = True
    named: bool = True


@dataclass(frozen=True)
class Terminals:
    """A test point, e.g. "U-PE"; a lead without a partner ends in "-"."""

    name: str


@dataclass(frozen=True)
class Tail:
    """A fraction that follows a number or its unit: "... and a half"."""

    places: str


@dataclass(frozen=True)
class Each:
    """One value for several leads."""

    count: int


@dataclass(frozen=True)
class Topic:
    """What is measured.

    Attributes:
        kind: The test.
        weak: The word fits several tests, and place or context decides ("resistance").
        of_motor: It belongs to the motor of an axis, where its kind alone would be the shop's ("winding temperature").
    """

    kind: QuantityKind
    weak: bool = False
    of_motor: bool = False


Piece = (
    Cue
    | SpokenNumber
    | UnitSpoken
    | Qualifier
    | Special
    | AxisSpoken
    | Section
    | Terminals
    | Tail
    | Each
    | Topic
    | Command
    | Circumstance
)


@dataclass(frozen=True)
class Item:
    """A piece with the words it covers: `start` up to but not including `end`."""

    piece: Piece
    start: int
    end: int


def _table(rows: dict[str, Piece]) -> dict[tuple[str, ...], Piece]:
    return {tuple(words.split()): piece for text, piece in rows.items() for words in text.split("|")}


_UNITS: dict[str, Piece] = {
    "ohm|ohms": UnitSpoken("Ohm"),
    "k": UnitSpoken("kOhm", bare_k=True),
    "k ohm|k ohms": UnitSpoken("kOhm", bare_k=True),
    "kilohm|kilohms|kilo ohm|kilo ohms": UnitSpoken("kOhm"),
    "meg|megs|megohm|megohms|meg ohm|meg ohms|mega|mega ohm|mega ohms": UnitSpoken("MOhm"),
    "gig|gigs|gigohm|gigohms|gig ohm|gig ohms|giga|giga ohm|giga ohms": UnitSpoken("GOhm"),
    "teraohm|teraohms|tera ohm|tera ohms|tera": UnitSpoken("TOhm"),
    "milliohm|milliohms|milli ohm|milli ohms": UnitSpoken("mOhm", others=("MOhm",)),
    "microohm|microohms|micro ohm|micro ohms": UnitSpoken("uOhm"),
    "m": UnitSpoken(None, Doubt.PREFIX_UNSURE, ("MOhm", "mOhm")),
    "milli": UnitSpoken(None, Doubt.UNIT_UNSURE, ("mOhm",)),
    "micro": UnitSpoken(None, Doubt.UNIT_UNSURE, ("uOhm",)),
    "volt|volts": UnitSpoken("V"),
    "kilovolt|kilovolts|kilo volt|kilo volts": UnitSpoken("kV"),
    "millivolt|millivolts|milli volt|milli volts": UnitSpoken("mV"),
    "amp|amps": UnitSpoken("A"),
    "milliamp|milliamps|milli amp|milli amps": UnitSpoken("mA"),
    "microamp|microamps|micro amp|micro amps": UnitSpoken("uA"),
    "nanofarad|nanofarads|nano farad|nano farads": UnitSpoken("nF"),
    "microfarad|microfarads|micro farad|micro farads": UnitSpoken("uF"),
    "degree|degrees|celsius|degrees celsius|degree celsius|degrees c": UnitSpoken("Cel"),
    "fahrenheit|degrees fahrenheit|degree fahrenheit": UnitSpoken(None, Doubt.UNIT_UNSURE),
    "percent": UnitSpoken("%"),
    "second|seconds": UnitSpoken("s"),
    "minute|minutes": UnitSpoken("min"),
    "hour|hours": UnitSpoken("h"),
}
_VALUES: dict[str, Piece] = {
    "o l|over limit|over range|overload|open|wide open|open circuit|off the scale|off scale|maxed out|max out|pegged": (
        Special(Qualifier.OPEN)
    ),
    "infinity|infinite": Special(Qualifier.OPEN, Doubt.RANGE_END_UNKNOWN),
    "dead short|short|shorted|short circuit|dead to ground": Special(Qualifier.SHORT),
    "nothing|nothing on the meter|blank|no reading|dashes": Special(Qualifier.NONE, Doubt.VALUE_MISSING),
    "doesn't build|won't build|won't come up|pulls down|breaks down|collapsed": Special(Qualifier.COLLAPSED),
    "greater than|more than|better than|over|above": Qualifier.ABOVE,
    "less than|under|below": Qualifier.BELOW,
    "and a half": Tail("5"),
    "and a quarter": Tail("25"),
    "and three quarters": Tail("75"),
    "all three|all three are": Each(3),
    "both|both are": Each(2),
    "insulation|insulation resistance": Topic(QuantityKind.INSULATION_RESISTANCE),
    "winding resistance": Topic(QuantityKind.WINDING_RESISTANCE),
    "continuity": Topic(QuantityKind.CONTINUITY),
    "voltage": Topic(QuantityKind.VOLTAGE),
    "current": Topic(QuantityKind.CURRENT),
    "capacitance": Topic(QuantityKind.CAPACITANCE),
    "temperature|air temperature": Topic(QuantityKind.TEMPERATURE),
    "winding temperature|motor temperature": Topic(QuantityKind.TEMPERATURE, of_motor=True),
    "humidity": Topic(QuantityKind.HUMIDITY),
    "resistance": Topic(QuantityKind.RESISTANCE_TO_GROUND, weak=True),
    "ohmmeter|ohm meter": Topic(QuantityKind.RESISTANCE_TO_GROUND),
    "through the cable|through cable|from the cabinet|at the cabinet": Section.THROUGH_CABLE,
    "motor alone|motor only|at the motor|just the motor": Section.MOTOR_ALONE,
    "cable alone|cable only|just the cable": Section.CABLE_ALONE,
    "lead to lead|phase to phase": Terminals("lead-lead"),
    "lead to ground|phase to ground|to ground|to earth|to frame|to case|to p e": Terminals("lead-ground"),
    "all leads to ground|both leads to ground": Terminals("all-PE"),
}
_CUES: dict[str, Piece] = {
    "set|set to|test voltage|test voltage set|test voltage set to": Cue.SET,
    "built|built to": Cue.BUILT,
    "it's at": Cue.IT_IS_AT,
    "at": Cue.AT,
    "of|out of": Cue.OF,
    "after": Cue.AFTER,
    "not": Cue.NOT,
    "position|at position": Cue.POSITION,
    "climbing|still climbing|it's climbing|rising|still rising|dropping|falling|not steady": Cue.UNSETTLED,
    ",": Cue.PAUSE,
    "uh|um|er|so|now|well|is|it's|it is|that's|reads|reading|shows|got|i got|i have|we have|the|on the meter|on|please|"
    "to|axis|a|an|plus": Cue.FILLER,
}
_TABLE = (
    _table(_UNITS)
    | _table(dict(CIRCUMSTANCES))
    | _table(_VALUES)
    | _table(_CUES)
    | _table({"|".join(SOFT_ANSWERS): Cue.SOFT})
    | _table(dict(COMMANDS))
)
_LONGEST = max(len(words) for words in _TABLE)

_LETTERS = {words.replace("_", " "): letter for words, letter in ICAO_LETTERS.items()}
SOUND_ALIKE = frozenset("BCDEGPTVZ")  # every engine and many people confuse these: ask for the alphabet word
_PLAIN_LETTERS = frozenset("abcdeptuvwxyz")
_TO = frozenset({"to", "and", "two", "too"})
_LEAD_ALPHABET = {"uniform": "u", "victor": "v", "whiskey": "w", "alfa": "a", "tango": "t", "foxtrot": "f"}
_GROUND = (("ground",), ("earth",), ("frame",), ("case",), ("p", "e"))
_FRACTIONS = {
    tuple(words.split()): digits
    for text, digits in (
        ("half|half a|half an", "0.5"),
        ("quarter|a quarter|quarter of a|quarter of an|a quarter of a|a quarter of an", "0.25"),
        ("three quarters|three quarters of a|three quarters of an", "0.75"),
    )
    for words in text.split("|")
}
_DIGIT_WORDS = {word: str(number) for number, word in enumerate(ONES)}
_AFTER_NUMBER = {
    "kilo": UnitSpoken("kOhm"),
    "mike": UnitSpoken(None, Doubt.PREFIX_UNSURE, ("MOhm", "mOhm")),
    "victor": UnitSpoken(None, Doubt.UNIT_UNSURE, ("V",)),
}


def _starts(words: Sequence[str], index: int, wanted: Sequence[str]) -> bool:
    return tuple(words[index : index + len(wanted)]) == tuple(wanted)


def _lead(words: Sequence[str], index: int) -> tuple[str, int] | None:
    """Read one named lead: "lead two", "A one", "T three", "U", the last also by alphabet word ("uniform")."""
    word = words[index] if index < len(words) else ""
    word = _LEAD_ALPHABET.get(word, word)
    number = _DIGIT_WORDS.get(words[index + 1]) if index + 1 < len(words) else None
    if word == "lead" and number in ("1", "2", "3"):
        return number, index + 2
    if (word in ("a", "f") and number in ("1", "2")) or (word == "t" and number in ("1", "2", "3")):
        return word.upper() + str(number), index + 2
    return (word.upper(), index + 1) if word in ("u", "v", "w") else None


def _ground_end(words: Sequence[str], index: int) -> int | None:
    return next((index + len(ground) for ground in _GROUND if _starts(words, index, ground)), None)


def _terminals(words: Sequence[str], index: int) -> Item | None:
    lead = _lead(words, index)
    if lead is None:
        return None
    name, end = lead
    if end < len(words) and words[end] in _TO:
        ground = _ground_end(words, end + 1)
        if ground is not None:
            return Item(Terminals(f"{name}-PE"), index, ground)
        other = _lead(words, end + 1)
        if other is not None and other[0] != name:
            return Item(Terminals(f"{name}-{other[0]}"), index, other[1])
    if (
        words[index] in ("u", "v", "w")
        or words[index] in _LEAD_ALPHABET
        or (words[index] == "a" and read_number(words, index + 2))
    ):
        return None
    return Item(Terminals(f"{name}-"), index, end)


def _axis(words: Sequence[str], index: int) -> Item | None:
    word = words[index]
    two = " ".join(words[index : index + 2])
    if word == "spindle":
        return Item(AxisSpoken("SPINDLE"), index, index + 1 + _starts(words, index + 1, ("axis",)))
    letter, end = (_LETTERS[two], index + 2) if two in _LETTERS else (_LETTERS.get(word, ""), index + 1)
    sure = bool(letter)
    if not letter and word in _PLAIN_LETTERS:
        # A bare letter is never unambiguous: "E" and "Y", "A" and "eight", "X" and "S" are too close.
        letter, sure = word.upper(), word.upper() not in SOUND_ALIKE and _starts(words, end, ("axis",))
        if word == "a" and not _starts(words, end, ("axis",)) and len(words) > 1:
            return None
    if not letter:
        return None
    digit = _DIGIT_WORDS.get(words[end]) if end + 1 < len(words) and words[end + 1] == "axis" else None
    if digit is not None:
        return Item(AxisSpoken(letter + digit, sure), index, end + 2)
    named = _starts(words, end, ("axis",))
    return Item(AxisSpoken(letter, sure, named), index, end + named)


def _fraction(words: Sequence[str], index: int) -> Item | None:
    for length in (5, 4, 3, 2, 1):
        digits = _FRACTIONS.get(tuple(words[index : index + length]))
        if digits is not None and index + length <= len(words):
            return Item(SpokenNumber(digits, index + length), index, index + length)
    digit = _DIGIT_WORDS.get(words[index])
    if digit is not None and index + 1 < len(words) and words[index + 1] in ("tenth", "tenths"):
        end = (
            index + 2 + 2 * (words[index + 2 : index + 3] == ["of"] and words[index + 3 : index + 4] in (["a"], ["an"]))
        )
        return Item(SpokenNumber(f"0.{digit}", end), index, end)
    return None


def _from_table(words: Sequence[str], index: int) -> Item | None:
    for length in range(min(_LONGEST, len(words) - index), 0, -1):
        piece = _TABLE.get(tuple(words[index : index + length]))
        if piece is not None:
            return Item(piece, index, index + length)
    return None


def _number(words: Sequence[str], index: int) -> Item | None:
    if words[index] == "minus":
        number = read_number(words, index + 1)
        if number is None:
            return None
        signed = SpokenNumber(f"-{number.digits}", number.end, tuple(f"-{twin}" for twin in number.twins))
        return Item(signed, index, number.end)
    number = read_number(words, index)
    if number is not None:
        return Item(number, index, number.end)
    if words[index] in ("a", "an"):
        unit = _from_table(words, index + 1) if index + 1 < len(words) else None
        if unit is not None and isinstance(unit.piece, UnitSpoken) and unit.piece.code is not None:
            return Item(SpokenNumber("1", index + 1), index, index + 1)
    return None


def _lead_alone(words: Sequence[str], index: int) -> Item | None:
    """Read "U" or "uniform" as a lead: an axis was named before it, so that it can be no axis."""
    lead = _lead(words, index)
    if lead is None or _starts(words, lead[1], ("axis",)):
        return None
    return Item(Terminals(f"{lead[0]}-"), index, lead[1])


def _item(words: Sequence[str], index: int, previous: Piece | None, *, placed: bool = False) -> Item:
    word = words[index]
    table = _from_table(words, index)
    # An expression of several words is meant as such; a single word may be the beginning of something longer.
    if table is not None and table.end - table.start > 1:
        return table
    # Behind a number "kilo" is a unit, elsewhere the letter K.
    if isinstance(previous, SpokenNumber) and word in _AFTER_NUMBER and not _starts(words, index + 1, ("axis",)):
        return Item(_AFTER_NUMBER[word], index, index + 1)
    found = _terminals(words, index) or (_lead_alone(words, index) if placed else None)
    found = found or _fraction(words, index) or _axis(words, index) or _number(words, index) or table
    return found if found is not None else Item(Cue.UNKNOWN, index, index + 1)


def scan(words: Sequence[str]) -> Iterator[Item]:
    """Split plain words into pieces, none left out.

    Args:
        words: Plain lower-case words; "," stands for a pause.
    """
    index, previous, placed = 0, None, False
    while index < len(words):
        item = _item(words, index, previous, placed=placed)
        placed = placed or (isinstance(item.piece, AxisSpoken) and item.piece.sure)
        yield item
        index, previous = item.end, item.piece
