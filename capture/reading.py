"""What hearing and seeing hand on: readings with doubts, commands, and the pieces of evidence behind them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum
from typing import Any

from capture.expectation import Expectation
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Quantity, QuantityKind
from grading.terms.section import Section


class Command(StrEnum):
    """What a person can tell the tool by voice; the words for each are in `capture.language.vocabulary`."""

    CONFIRM = "confirm"  # the proposal asked about is right
    REJECT = "reject"  # the proposal asked about is wrong; drop it
    CORRECT = "correct"  # what follows replaces the value asked about
    UNDO = "undo"  # withdraw the last confirmed record
    REPEAT = "repeat"  # read back again
    NEXT = "next"  # go to the next test point
    PHOTO = "photo"  # take a picture of the display
    SAME = "same"  # same value as the last one, here
    NOT_APPLICABLE = "not_applicable"  # the safety question does not apply here
    SKIP = "skip"  # the open question later, the next one now
    LEFT = "left"  # how much is still to be measured
    VERDICT = "verdict"  # what the findings are so far
    NOTE = "note"  # the next utterance is a note: kept as it is, never understood
    PAUSE = "pause"  # obey nothing until RESUME
    RESUME = "resume"
    POWER_RESTORED = "power_restored"  # the lock-out is over: its safety answers count no more
    ANOTHER_PERSON = "another_person"  # somebody else goes on: the safety answers were not theirs
    IN_FULL = "in_full"  # read back at length, digit by digit


class Doubt(StrEnum):
    """Why a reading must be asked about rather than merely read back. Any doubt blocks a bare "confirm"."""

    UNIT_MISSING = "unit_missing"
    VALUE_MISSING = "value_missing"
    AXIS_MISSING = "axis_missing"
    NOTES_UNSURE = "notes_unsure"  # a circumstance was said between two values: of which of them?
    PLACE_UNSURE = "place_unsure"  # it may stand elsewhere: what was said between two readings was not understood
    SECTION_MISSING = "section_missing"  # through the cable, motor alone or cable alone?
    QUANTITY_MISSING = "quantity_missing"  # what was measured?
    DIGITS_AMBIGUOUS = "digits_ambiguous"  # 3470 or 34.70
    TEEN_OR_TY = "teen_or_ty"  # fifteen or fifty
    PREFIX_UNSURE = "prefix_unsure"  # milli or mega
    DOT_UNSURE = "dot_unsure"
    UNIT_UNSURE = "unit_unsure"
    UNUSUAL = "unusual"  # the instrument seldom shows such a string: a point, sign or unit may be misread
    IMPLAUSIBLE = "implausible"  # outside what this quantity can be
    UNKNOWN_WORDS = "unknown_words"
    LOW_CONFIDENCE = "low_confidence"
    NOT_SETTLED = "not_settled"  # "it's climbing": a series, no final value
    RANGE_END_UNKNOWN = "range_end_unknown"  # "infinity": greater than how much?
    BUILT_VOLTAGE_UNKNOWN = "built_voltage_unknown"  # "doesn't build": to how many volts?
    CONTRADICTED = "contradicted"  # a record of the same point says something that cannot be true as well
    CONFLICT = "conflict"  # voice and photo disagree, or two commands were given at once


@dataclass(frozen=True)
class Reading:
    """One reading as understood, before any person has confirmed it.

    Attributes:
        kind: What was measured; None when neither words nor context tell.
        quantity: Digits, unit and qualifier.
        axis: Axis name in upper case ("X", "SPINDLE"), or None.
        section: Through the cable, motor alone or cable alone, or None.
        terminals: Test point, e.g. "A1-A2", "U-PE", "lead-lead", "lead-ground", or None.
        test_voltage_set: Test voltage selected on the tester, V.
        test_voltage_built: Voltage that the tester really reached, V.
        elapsed_s: Time since the test voltage was applied, s.
    """

    kind: QuantityKind | None
    quantity: Quantity
    axis: str | None = None
    section: Section | None = None
    terminals: str | None = None
    test_voltage_set: Decimal | None = None
    test_voltage_built: Decimal | None = None
    elapsed_s: Decimal | None = None

    def to_json(self) -> dict[str, str | None]:
        """Give it as plain data: decimals as strings in plain notation, units as UCUM codes."""

        def plain(value: Decimal | None) -> str | None:
            return None if value is None else format(value, "f")

        return {
            "kind": None if self.kind is None else self.kind.value,
            "value": self.quantity.digits,
            "unit": self.quantity.unit,
            "qualifier": self.quantity.qualifier.value,
            "axis": self.axis,
            "section": None if self.section is None else self.section.value,
            "terminals": self.terminals,
            "test_voltage_set": plain(self.test_voltage_set),
            "test_voltage_built": plain(self.test_voltage_built),
            "elapsed_s": plain(self.elapsed_s),
        }


@dataclass(frozen=True)
class Context:
    """What has been said before and still holds: each field fills the gap of a later reading.

    Attributes:
        kind: The test being made.
        axis: Axis name in upper case.
        section: Part of the axis on the meter.
        terminals: Test point, as in `Reading`.
        test_voltage_set: Test voltage selected on the tester, V.
        last: The last reading with digits; "same" copies it.
        voltage_next: "Set to" was said without a number: the next bare number is the test voltage.
        axes: The axes that the job has, in upper case; empty where nobody knows.
        expects: What was asked last, and so can come now. This and the axes are no part of what was said, so two
            contexts that differ in them alone are equal.
    """

    kind: QuantityKind | None = None
    axis: str | None = None
    section: Section | None = None
    terminals: str | None = None
    test_voltage_set: Decimal | None = None
    last: Reading | None = None
    voltage_next: bool = False
    axes: tuple[str, ...] = field(default=(), compare=False)
    expects: Expectation = field(default=Expectation(), compare=False)

    def after(self, reading: Reading) -> Context:
        """Give the context that holds once `reading` was heard."""
        return replace(
            self,
            kind=reading.kind or self.kind,
            axis=reading.axis or self.axis,
            section=reading.section or self.section,
            # A test point belongs to its test: ohms between W and U say nothing of where insulation is tested next.
            terminals=reading.terminals or (self.terminals if reading.kind in (None, self.kind) else None),
            test_voltage_set=reading.test_voltage_set or self.test_voltage_set,
            last=reading if reading.quantity.digits is not None else self.last,
            voltage_next=False,
        )


@dataclass(frozen=True)
class Word:
    """One recognised word; times in seconds from the start of the clip, confidence 0..1."""

    word: str
    start: float
    end: float
    confidence: float

    def moved(self, by_s: float) -> Word:
        """Give the word with its times counted from another beginning, s."""
        return replace(self, start=round(self.start + by_s, 3), end=round(self.end + by_s, 3))


@dataclass(frozen=True)
class Judged:
    """How two engines judge one word sequence, each by itself.

    Attributes:
        first: The first engine's score; for words that only the second thought of, that of the first one's best.
        second: Natural logarithm of the probability of the words given the sound, by the second engine, with what words
            of the trade are worth.
        added: Counts stretches of speech in which only the second engine thought of these words: once each where they
            are numbers alone, else twice.
        apart: Stretches in which the first engine found them only when it heard the number again as digits one by one.
    """

    first: float
    second: float
    added: int = 0
    apart: int = 0


@dataclass(frozen=True)
class Hypothesis:
    """One word sequence that was considered.

    Attributes:
        text: Its words.
        score: How well it fits the sound (higher is better, no fixed scale), by all engines that were asked.
        judged: How each engine judges it; None where only one was asked.
    """

    text: str
    score: float
    judged: Judged | None = None


@dataclass(frozen=True)
class OwnTranscript:
    """What the second engine itself would write.

    Attributes:
        engine: Its name and version.
        text: As it writes it.
        log_p: Natural logarithm of its probability given the sound.
        tokens: Pieces of text that it consists of; at least 1.
        plain_log_p: The same for the transcript in plain lower-case words, as candidates are judged; None where nobody
            asked.
    """

    engine: str
    text: str
    log_p: float
    tokens: int
    plain_log_p: float | None = None


@dataclass(frozen=True)
class Heard:
    """What the recogniser made of one clip.

    Attributes:
        text: The words alone, unknown ones as "[unk]".
        words: The same with times and confidences.
        alternatives: Other word sequences, best first.
        duration_s: Length of the clip, s.
        over_noise_db: Speech over the noise around it, dB, as far as levels alone tell; None where nobody measured.
        unled: The words that sound best where hearing is not led by what was asked; None where it was not led.
        second: What a second engine would write; None where none was asked.
        levels_db: How loud each of the words is, dB; empty where nobody measured.
    """

    text: str
    words: tuple[Word, ...] = ()
    alternatives: tuple[Hypothesis, ...] = ()
    duration_s: float = 0.0
    over_noise_db: float | None = None
    unled: tuple[Word, ...] | None = None
    second: OwnTranscript | None = None
    levels_db: tuple[float, ...] = ()


@dataclass(frozen=True)
class SaidBeside:
    """What was said of the circumstances of a reading: these hold, those do not.

    Attributes:
        hold: Circumstances that were said, in the order of `Circumstance`.
        lifted: Those said not to hold ("not after cleaning").
        position: Shaft or carrier position, "3" or "30°"; None where none was said.
    """

    hold: tuple[Circumstance, ...] = ()
    lifted: tuple[Circumstance, ...] = ()
    position: str | None = None

    @property
    def anything(self) -> bool:
        """Whether anything was said."""
        return bool(self.hold or self.lifted or self.position)


@dataclass(frozen=True)
class Utterance:
    """What a clip means.

    Attributes:
        heard: The words it was made from.
        readings: Readings in the order spoken (usually one).
        command: A command, if one was given.
        context: The context that holds afterwards (axis, section, ... said without a value land here).
        alternatives: Other readings that the words could mean, best first.
        confidence: 0..1.
        doubts: Why it must be asked about.
        superseded: Readings said and withdrawn in the same breath ("five fifty, correction, four fifty meg").
        beside: Circumstances said with the readings, or alone.
    """

    heard: Heard
    readings: tuple[Reading, ...] = ()
    command: Command | None = None
    context: Context = field(default_factory=Context)
    alternatives: tuple[Reading, ...] = ()
    confidence: float = 0.0
    doubts: tuple[Doubt, ...] = ()
    superseded: tuple[Reading, ...] = ()
    beside: SaidBeside = field(default_factory=SaidBeside)


@dataclass(frozen=True)
class FieldSeen:
    """A field beside the main string of a display, or an annunciator such as "hv" (text "on").

    Attributes:
        name: As in `DisplayReading.secondary`.
        text: Exactly as shown.
        confidence: 0..1, the least of its marks.
        box: Left, top, right, bottom in picture pixels after EXIF orientation.
        unit: UCUM code of the unit seen beside it ("s" for a time with a colon); None where none of ours was.
    """

    name: str
    text: str
    confidence: float
    box: tuple[float, float, float, float]
    unit: str | None = None


@dataclass(frozen=True)
class DisplayReading:
    """What one display in a photo shows.

    Attributes:
        text: The main string exactly as shown ("194.00", ">4000", "OL").
        quantity: Value, unit and qualifier; digits None where the string is no number.
        secondary: Other fields by name ("test_voltage" in V, "elapsed" in s, ...), as shown.
        confidence: 0..1 for "value", "dot" and "unit" apart.
        accepted: False when the reader refuses; `reason` then says what a person can do.
        reason: A sentence for the person; empty when accepted.
        quad: Corners of the display in picture pixels after EXIF orientation, clockwise from top left.
        doubts: Why it must be asked about.
        secondary_seen: The fields of `secondary`, each with its own confidence and place.
        unit_by_profile: The unit was not seen: it is the only one in which the instrument shows such digits.
        units_seen: What the unit beside the number may be, by UCUM code or "other", likeliest first, each 0..1.
        alternatives: Where it is refused, what it would say if the visit told what the picture leaves open.
    """

    text: str
    quantity: Quantity
    secondary: dict[str, str]
    confidence: dict[str, float]
    accepted: bool
    reason: str
    quad: tuple[tuple[float, float], ...]
    doubts: tuple[Doubt, ...] = ()
    secondary_seen: tuple[FieldSeen, ...] = ()
    unit_by_profile: bool = False
    units_seen: tuple[tuple[str, float], ...] = ()
    alternatives: tuple[DisplayAlternative, ...] = ()

    def to_json(self, number: Callable[[float, int], Any] = round) -> dict[str, Any]:
        """Give it as plain data.

        Args:
            number: How a figure is written, given its decimals: as a number, or as text where fractions have no
                canonical form.
        """
        return {
            "text": self.text,
            "value": self.quantity.digits,
            "unit": self.quantity.unit,
            "qualifier": self.quantity.qualifier.value,
            "secondary": dict(self.secondary),
            "secondary_seen": [
                {
                    "name": one.name,
                    "text": one.text,
                    "unit": one.unit,
                    "confidence": number(one.confidence, 3),
                    "box": [number(side, 1) for side in one.box],
                }
                for one in self.secondary_seen
            ],
            "confidence": {name: number(value, 3) for name, value in self.confidence.items()},
            "accepted": self.accepted,
            "reason": self.reason,
            "quad": [[number(x, 1), number(y, 1)] for x, y in self.quad],
            "doubts": [doubt.value for doubt in self.doubts],
            "unit_by_profile": self.unit_by_profile,
        }


class LeftOpen(StrEnum):
    """What a picture leaves open and a visit may tell, by what its instrument can show and what it expects."""

    NUMBER = "number"  # which of several numbers counts
    POINT = "point"  # where the point stands


@dataclass(frozen=True)
class DisplayAlternative:
    """What a refused display says if what the picture leaves open is told.

    Attributes:
        open: What must be told.
        reading: The reading that then follows; refused where more than that speaks against it.
    """

    open: LeftOpen
    reading: DisplayReading


@dataclass(frozen=True)
class Seen:
    """What was made of one photo: its displays, best first, or a reason why there is none."""

    displays: tuple[DisplayReading, ...]
    reason: str = ""
