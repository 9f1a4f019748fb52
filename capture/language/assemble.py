"""Assembles the pieces of an utterance: values with units and bounds, places, voltages and times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from capture.language.draft import Draft, SpokenValue
from capture.language.items import (
    AxisSpoken,
    Cue,
    Each,
    Item,
    Special,
    Tail,
    Terminals,
    Topic,
    UnitSpoken,
)
from capture.language.numbers import SpokenNumber
from capture.reading import Doubt
from grading.terms.quantity import Qualifier, Quantity, QuantityKind, unit
from grading.terms.section import Section

# Usual nominal test voltages, V (domain practice): said without "volts" only these are taken for one.
_TEST_VOLTAGES = frozenset({"50", "100", "250", "500", "1000", "2500", "5000"})


class _Assembler:
    """Walks the pieces once and fills a draft."""

    def __init__(self, items: Sequence[Item]) -> None:
        self.items = items
        self.at = 0
        self.draft = Draft()
        self.values: list[SpokenValue] = []
        self.doubts: list[Doubt] = []
        self.compare: Qualifier | None = None
        self.place: str | None = None
        self.collapsed = False

    def peek(self, ahead: int = 0) -> object:
        """Give the piece some places ahead, None past the end."""
        index = self.at + ahead
        return self.items[index].piece if index < len(self.items) else None

    def skip_fillers(self) -> None:
        """Step over fillers and pauses."""
        while self.peek() in (Cue.FILLER, Cue.PAUSE):
            self.at += 1

    def run(self) -> Draft:
        """Assemble everything."""
        while self.at < len(self.items):
            self.step(self.items[self.at])
        if self.compare is not None:  # "greater than", and no number came
            self.doubts.append(Doubt.VALUE_MISSING)
        if any(self.near_unknown(at, at + 1) for at, item in enumerate(self.items) if _speaks(item)):
            self.doubts.append(Doubt.UNKNOWN_WORDS)
        self.move_volts()  # before units are spread, or a voltage's unit would spread to the values before it
        self.spread_units()
        return replace(self.draft, values=tuple(self.values), doubts=tuple(self.doubts))

    def step(self, item: Item) -> None:
        """Take one piece, and those that belong to it."""
        piece = item.piece
        if isinstance(piece, SpokenNumber):
            self.number(piece)
            return
        self.at += 1
        if isinstance(piece, Qualifier):
            self.compare = piece
        elif isinstance(piece, Special):
            self.special(piece, item)
        elif isinstance(piece, UnitSpoken | Tail):
            self.doubts.append(Doubt.UNKNOWN_WORDS if self.near_unknown(self.at - 1, self.at) else Doubt.VALUE_MISSING)
        elif isinstance(piece, Cue):
            self.mark(piece)
        else:
            self.where(piece)

    def where(self, piece: object) -> None:
        """Take a piece that says where or what."""
        if isinstance(piece, AxisSpoken):
            self.draft = replace(self.draft, axis=piece.name, axis_unambiguous=piece.sure, axis_named=piece.named)
            if not piece.sure:
                self.doubts.append(Doubt.AXIS_MISSING)
        elif isinstance(piece, Section):
            self.draft = replace(self.draft, section=piece)
        elif isinstance(piece, Terminals):
            self.place = piece.name
            self.draft = replace(self.draft, terminals=piece.name)
        elif isinstance(piece, Each):
            self.draft = replace(self.draft, each=piece.count)
        elif isinstance(piece, Topic):
            self.draft = replace(self.draft, topic=piece)

    def mark(self, mark: Cue) -> None:
        """Take a piece that steers how the next are read."""
        if mark is Cue.UNSETTLED:
            self.draft = replace(self.draft, unsettled=True)
            self.doubts.append(Doubt.NOT_SETTLED)
        elif mark is Cue.SET:
            volts = self.volts()
            self.draft = replace(self.draft, set_volts=_decimal(volts), voltage_next=volts is None, high_voltage=True)
        elif mark is Cue.BUILT:
            self.built(self.volts())
        elif mark is Cue.IT_IS_AT:
            self.it_is_at()
        elif mark in (Cue.AT, Cue.AFTER):
            self.at_or_after()

    def volts(self) -> SpokenNumber | None:
        """Take a number with or without "volts" that stands right here; take nothing and give None otherwise."""
        before = self.at  # to go back to: what turns out to be no voltage is read anew as something else
        self.skip_fillers()
        number, following = self.peek(), self.peek(1)
        if isinstance(number, SpokenNumber) and not number.digits.startswith("-"):
            code = following.code if isinstance(following, UnitSpoken) else "V"
            if code in ("V", "kV"):
                self.at += 1 + isinstance(following, UnitSpoken)
                return _in_volts(number) if code == "kV" else number
        self.at = before
        return None

    def built(self, volts: SpokenNumber | None) -> None:
        """Take the voltage that the tester reached."""
        if volts is None:
            self.doubts.append(Doubt.BUILT_VOLTAGE_UNKNOWN)
            return
        others = tuple(Decimal(digits) for digits in volts.twins)
        self.draft = replace(self.draft, built_volts=Decimal(volts.digits), built_others=others, high_voltage=True)

    def it_is_at(self) -> None:
        """Take built and set voltage: "it's at three hundred of five hundred"."""
        before = self.at
        volts = self.volts()
        if volts is not None and self.peek() is Cue.OF:
            self.at += 1
            asked = self.volts()
            self.built(volts)
            self.draft = replace(self.draft, set_volts=_decimal(asked))
            return
        said_volts = volts is not None and isinstance(self.items[self.at - 1].piece, UnitSpoken)
        if said_volts:
            self.built(volts)
        else:
            self.at = before

    def at_or_after(self) -> None:
        """Take a voltage or a time: "at a hundred volts", "after one minute"; any other number stays a value."""
        before = self.at
        self.skip_fillers()
        number, following = self.peek(), self.peek(1)
        if not isinstance(number, SpokenNumber):
            self.at = before
            return
        if isinstance(following, UnitSpoken) and following.code in ("s", "min", "h"):
            self.at += 2
            self.elapsed(number.digits, following.code, number.twins)
        elif isinstance(following, UnitSpoken) and following.code in ("V", "kV"):
            self.at_volts()
        elif self.values and not isinstance(following, UnitSpoken):  # behind a value: what it was taken at
            self.built(self.volts())
            if number.digits not in _TEST_VOLTAGES:
                self.doubts.append(Doubt.UNIT_UNSURE)  # "at five": volts or minutes?

    def at_volts(self) -> None:
        """Take a voltage said after "at": what the tester reached, or what it is set to.

        "Insulation at five hundred volts", the test and a usual voltage and nothing else, tells what to set; of a lead
        or with a value it tells what was reached.
        """
        volts, draft = self.volts(), self.draft
        test = (
            draft.topic is not None and not draft.topic.weak and draft.topic.kind is QuantityKind.INSULATION_RESISTANCE
        )
        alone = self.at == len(self.items) and not self.values
        placed = draft.axis or draft.section or draft.terminals
        if volts is not None and test and alone and not placed and volts.digits in _TEST_VOLTAGES:
            self.draft = replace(draft, set_volts=_decimal(volts), high_voltage=True)
        else:
            self.built(volts)

    def elapsed(self, digits: str, code: str, twins: Sequence[str] = ()) -> None:
        """Take the time since the voltage was applied, and what sounds like it."""
        factor = unit(code).factor
        others = tuple(Decimal(twin) * factor for twin in twins)
        self.draft = replace(self.draft, elapsed_s=Decimal(digits) * factor, elapsed_others=others)

    def special(self, piece: Special, item: Item) -> None:
        """Take a value without digits."""
        if piece.qualifier is Qualifier.COLLAPSED:
            self.draft = replace(self.draft, high_voltage=True)
        doubts = [] if piece.doubt is None else [piece.doubt]
        if self.near_unknown(self.at - 1, self.at):
            doubts.append(Doubt.UNKNOWN_WORDS)
        self.add(SpokenValue(Quantity(None, None, piece.qualifier), doubts=tuple(doubts)), item)

    def number(self, number: SpokenNumber) -> None:
        """Take a number with its fraction and unit."""
        first, item = self.at, self.items[self.at]
        self.at += 1
        doubts: list[Doubt] = []
        spoken_unit, digits = None, number.digits
        while isinstance(piece := self.peek(), UnitSpoken | Tail) or (
            piece in (Cue.FILLER, Cue.PAUSE, Cue.UNKNOWN) and spoken_unit is None and self.unit_follows()
        ):
            if isinstance(piece, Tail):
                if "." in digits:  # "two point five and a half"
                    doubts.append(Doubt.DIGITS_AMBIGUOUS)
                digits = digits if "." in digits else f"{digits}.{piece.places}"
            elif isinstance(piece, UnitSpoken):
                if spoken_unit is not None:
                    break
                spoken_unit = piece
            elif piece is Cue.UNKNOWN:
                doubts.append(Doubt.UNKNOWN_WORDS)
            self.at += 1
        if number.ambiguous:
            doubts.append(Doubt.DIGITS_AMBIGUOUS)
        if self.near_unknown(first, self.at):
            doubts.append(Doubt.UNKNOWN_WORDS)
        self.add(_value(digits, number, spoken_unit, self.compare or Qualifier.EQUAL, doubts), item)

    def unit_follows(self) -> bool:
        """Tell whether a unit comes next but for fillers, pauses or one unknown word."""
        ahead = 0
        while self.peek(ahead) in (Cue.FILLER, Cue.UNKNOWN):
            ahead += 1
        return ahead > 0 and isinstance(self.peek(ahead), UnitSpoken | Tail)

    def add(self, value: SpokenValue, item: Item) -> None:
        """Store a value with the test point where it was measured."""
        if self.values and item.start > 0 and self.last_end == item.start and value.quantity.digits is not None:
            self.draft = replace(self.draft, unpaused=True)
        self.values.append(replace(value, terminals=self.place))
        self.place, self.compare = None, None
        self.last_end = self.items[self.at - 1].end

    last_end = -1

    def near_unknown(self, first: int, end: int) -> bool:
        """Tell whether an unknown word touches pieces `first` up to `end`; a pause parts them, a filler does not."""
        for start, step in ((first - 1, -1), (end, 1)):
            index = start
            while 0 <= index < len(self.items) and self.items[index].piece is Cue.FILLER:
                index += step
            if 0 <= index < len(self.items) and self.items[index].piece is Cue.UNKNOWN:
                return True
        return False

    def move_volts(self) -> None:
        """Move voltages and times beside a resistance to where they belong: the built voltage, the elapsed time."""
        main = [value for value in self.values if _dimension(value) in (None, "resistance")]
        if not main or len(main) == len(self.values):
            return
        for value in self.values:
            code, digits = value.quantity.unit, value.quantity.digits
            if code is None or digits is None or value in main:
                continue
            if unit(code).dimension == "voltage" and self.draft.built_volts is None:
                volts = Decimal(digits) * unit(code).factor
                self.draft = replace(self.draft, built_volts=volts, high_voltage=True)
            elif unit(code).dimension == "time" and self.draft.elapsed_s is None:
                self.elapsed(digits, code, [other.digits for other in value.others if other.digits is not None])
            else:
                main.append(value)
        self.values = main

    def spread_units(self) -> None:
        """Spread the unit said last in a list to the numbers before it: "one fifty, one eighty, two ten meg"."""
        code = None
        for index in range(len(self.values) - 1, -1, -1):  # from the end, since the unit comes last
            value = self.values[index]
            if value.quantity.unit is not None:
                code = value.quantity.unit
            elif code is not None and value.quantity.digits is not None and not value.doubts:
                self.values[index] = replace(value, quantity=replace(value.quantity, unit=code))


def _speaks(item: Item) -> bool:
    return item.piece not in (Cue.FILLER, Cue.PAUSE, Cue.UNKNOWN, Cue.SOFT)


def _dimension(value: SpokenValue) -> str | None:
    return None if value.quantity.unit is None else unit(value.quantity.unit).dimension


def _decimal(number: SpokenNumber | None) -> Decimal | None:
    return None if number is None else Decimal(number.digits)


def _in_volts(number: SpokenNumber) -> SpokenNumber:
    return replace(number, digits=format(Decimal(number.digits) * 1000, "f"), twins=())


def _value(
    digits: str, number: SpokenNumber, spoken: UnitSpoken | None, qualifier: Qualifier, doubts: Sequence[Doubt]
) -> SpokenValue:
    """Make a value with everything else its words could mean."""
    code = None if spoken is None else spoken.code
    open_doubts = list(doubts)
    fraction = digits.removeprefix(number.digits)  # ".5" of "fifteen and a half"
    alike = number.twins if fraction else (*number.lost_point, *number.twins)
    others = [Quantity(other + fraction, code, qualifier) for other in alike]
    if spoken is not None:
        others += [Quantity(digits, other, qualifier) for other in spoken.others]
        if spoken.doubt is not None:
            open_doubts.append(spoken.doubt)
        if spoken.bare_k and digits == "1":
            open_doubts.append(Doubt.UNIT_UNSURE)  # "one k" is nearly "okay"
    return SpokenValue(Quantity(digits, code, qualifier), tuple(others), tuple(open_doubts))


def assemble(items: Sequence[Item]) -> Draft:
    """Put the pieces of one utterance, or of one part of it between corrections, together.

    Args:
        items: Pieces in the order spoken.
    """
    return _Assembler(items).run()
