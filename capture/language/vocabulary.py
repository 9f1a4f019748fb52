"""Every word the tool can hear, in classes, and what each becomes in plain words.

One list serves the recogniser (its runtime grammar), the lexicon, the training text and the parser, so what can be
heard and what can be understood cannot drift apart. Entries written with an underscore are several words that the
recogniser treats as one, where a part alone would be mistaken: "to_ground" cannot become "two ground", "a_hundred"
cannot become "eight hundred".

Command words were chosen so that none sounds like a reading or like a command with the opposite effect:

* "negative" is an answer, never a sign; the sign is "minus".
* "yes", "right", "correct", "affirmative", "okay", "no" and "wrong" are heard but command nothing (`SOFT_ANSWERS`):
  they are short, turn up in talk, or lie close to an opposite ("correct" / "correction", "right" / "wrong",
  "affirmative" / "negative"). Aviation uses "affirm" for the same reason.
* "undo" alone is left out: it is nearly "one two", and other recognisers lose it. "Undo that" and "take it back" stand
  for it. For the same reason what steers the work ("skip it", "stop listening") has two words or more.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from capture.reading import Command
from grading.terms.circumstance import Circumstance


class WordClass(StrEnum):
    """What part of an utterance a word can be."""

    DIGIT = "digit"
    TEEN = "teen"
    TENS = "tens"
    MULTIPLIER = "multiplier"
    POINT = "point"
    FRACTION = "fraction"
    SIGN = "sign"
    COMPARE = "compare"
    UNIT = "unit"
    OVER_RANGE = "over_range"
    SHORT = "short"
    BLANK = "blank"
    COLLAPSE = "collapse"
    UNSETTLED = "unsettled"
    AXIS = "axis"
    SECTION = "section"
    TERMINAL = "terminal"
    TEST_VOLTAGE = "test_voltage"
    TIME = "time"
    QUANTITY = "quantity"
    COMMAND = "command"
    SOFT_ANSWER = "soft_answer"
    DIALOGUE = "dialogue"
    LIST = "list"
    CIRCUMSTANCE = "circumstance"
    FILLER = "filler"


@dataclass(frozen=True)
class Entry:
    """One thing that can be heard.

    Attributes:
        word: The recogniser's word; parts of a multi-word entry are joined by "_".
        word_class: What it can be in an utterance.
        plain: The plain words that the parser sees instead.
    """

    word: str
    word_class: WordClass
    plain: tuple[str, ...]


_TEXT: dict[WordClass, str] = {
    WordClass.DIGIT: "zero oh nought one two three four five six seven eight nine niner",
    WordClass.TEEN: "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen",
    WordClass.TENS: "twenty thirty forty fifty sixty seventy eighty ninety",
    WordClass.MULTIPLIER: "hundred thousand million a_hundred a_thousand and",
    WordClass.POINT: "point dot decimal",
    WordClass.FRACTION: """half half_a half_an and_a_half and_a_quarter and_three_quarters quarter quarter_of_a
        quarter_of_an a_quarter three_quarters three_quarters_of_a three_quarters_of_an tenth tenths of_a of_an""",
    WordClass.SIGN: "minus plus",
    WordClass.COMPARE: "greater_than more_than better_than over above less_than under below",
    WordClass.UNIT: """ohm ohms an_ohm kilohm kilohms k megohm megohms a_megohm meg megs a_meg m gigohm gigohms gig gigs
        a_gig teraohm teraohms milliohm milliohms microohm microohms volt volts kilovolt kilovolts millivolt
        millivolts amp amps milliamp milliamps microamp microamps nanofarad nanofarads microfarad microfarads
        degree degrees celsius fahrenheit percent""",
    WordClass.OVER_RANGE: """o_l over_limit over_range overload open wide_open open_circuit infinity infinite
        off_the_scale off_scale maxed_out pegged""",
    WordClass.SHORT: "dead_short short shorted short_circuit dead_to_ground",
    WordClass.BLANK: "nothing nothing_on_the_meter blank no_reading dashes",
    WordClass.COLLAPSE: "doesn't_build won't_build won't_come_up pulls_down breaks_down collapsed built_to it's_at",
    WordClass.UNSETTLED: "climbing still_climbing it's_climbing rising still_rising dropping falling not_steady",
    WordClass.AXIS: """axis spindle alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike
        november oscar papa quebec romeo sierra tango uniform victor whiskey x_ray yankee zulu
        a b c d e p t u v w x y z x_axis y_axis z_axis a_axis b_axis c_axis u_axis v_axis w_axis""",
    WordClass.SECTION: """through_the_cable through_cable from_the_cabinet at_the_cabinet motor_alone motor_only
        at_the_motor just_the_motor cable_alone cable_only just_the_cable""",
    WordClass.TERMINAL: """lead_one lead_two lead_three lead_to_lead lead_to_ground phase_to_phase phase_to_ground
        all_leads_to_ground both_leads_to_ground to_lead_one to_lead_two to_lead_three to_ground to_earth to_frame
        to_case to_p_e a_one a_two f_one f_two t_one t_two t_three to""",
    WordClass.TEST_VOLTAGE: "set set_to test_voltage at at_a_hundred built built_to_a_hundred of out_of",
    WordClass.TIME: "after second seconds minute minutes a_minute hour hours",
    WordClass.QUANTITY: """insulation insulation_resistance winding_resistance resistance ohmmeter continuity voltage
        current capacitance temperature air_temperature winding_temperature motor_temperature humidity""",
    WordClass.COMMAND: """confirm confirmed affirm negative reject cancel correction scratch_that take_it_back
        take_that_back say_again repeat next next_point next_test photo take_a_photo picture take_a_picture same
        same_value ditto""",
    WordClass.SOFT_ANSWER: "yes yeah no okay right correct affirmative wrong",
    WordClass.DIALOGUE: """does_not_apply not_applicable skip_it what_is_left what's_left the_verdict
        what_is_the_verdict make_a_note pause_listening stop_listening resume_listening go_on_listening undo_that
        power_restored restored_power another_person in_full read_it_in_full not""",
    WordClass.LIST: "all_three all_three_are both both_are",
    WordClass.CIRCUMSTANCE: """after_cleaning after_drying brushes_out leads_zeroed leads_swapped low_battery
        cable_moved one_phase_only checked_again value_fell value_unsteady position at_position""",
    WordClass.FILLER: """uh um er so now well is it's it_is that's reads reading shows got i_got i_have we_have the
        on_the_meter please""",
}

ENTRIES: dict[str, Entry] = {
    word: Entry(word, word_class, tuple(word.split("_"))) for word_class, text in _TEXT.items() for word in text.split()
}
"""All entries by recogniser word."""

WORDS: tuple[str, ...] = tuple(ENTRIES)
"""Every recogniser word once, in a fixed order."""

UNKNOWN = "[unk]"
"""What the recogniser writes for speech or noise that is none of `WORDS`."""

COMMANDS: dict[str, Command] = {
    "confirm": Command.CONFIRM,
    "confirmed": Command.CONFIRM,
    "affirm": Command.CONFIRM,
    "negative": Command.REJECT,
    "reject": Command.REJECT,
    "cancel": Command.REJECT,
    "correction": Command.CORRECT,
    "scratch that": Command.CORRECT,
    "take it back": Command.UNDO,
    "take that back": Command.UNDO,
    "say again": Command.REPEAT,
    "repeat": Command.REPEAT,
    "next": Command.NEXT,
    "next point": Command.NEXT,
    "next test": Command.NEXT,
    "photo": Command.PHOTO,
    "take a photo": Command.PHOTO,
    "picture": Command.PHOTO,
    "take a picture": Command.PHOTO,
    "same": Command.SAME,
    "same value": Command.SAME,
    "ditto": Command.SAME,
    "does not apply": Command.NOT_APPLICABLE,
    "not applicable": Command.NOT_APPLICABLE,
    "skip it": Command.SKIP,
    "what is left": Command.LEFT,
    "what's left": Command.LEFT,
    "the verdict": Command.VERDICT,
    "what is the verdict": Command.VERDICT,
    "make a note": Command.NOTE,
    "pause listening": Command.PAUSE,
    "stop listening": Command.PAUSE,
    "resume listening": Command.RESUME,
    "go on listening": Command.RESUME,
    "undo that": Command.UNDO,
    "power restored": Command.POWER_RESTORED,
    "restored power": Command.POWER_RESTORED,
    "another person": Command.ANOTHER_PERSON,
    "in full": Command.IN_FULL,
    "read it in full": Command.IN_FULL,
}
"""Plain words of each command. "Scratch that" with no value after it rejects."""

CIRCUMSTANCES: dict[str, Circumstance] = {
    "after cleaning": Circumstance.AFTER_CLEANING,
    "after drying": Circumstance.AFTER_CLEANING,
    "brushes out": Circumstance.BRUSHES_OUT,
    "leads zeroed": Circumstance.LEADS_ZEROED,
    "leads swapped": Circumstance.REVERSED,
    "low battery": Circumstance.LOW_BATTERY,
    "cable moved": Circumstance.FLEXED,
    "one phase only": Circumstance.ONE_PHASE_ONLY,
    "checked again": Circumstance.CHECKED,
    "value fell": Circumstance.FALLING,
    "value unsteady": Circumstance.UNSTEADY,
}
"""Plain words of each circumstance of a reading; the first of several is how it is read back."""

SOFT_ANSWERS: frozenset[str] = frozenset(
    word for word, entry in ENTRIES.items() if entry.word_class is WordClass.SOFT_ANSWER
)
"""Heard, but no command: the dialogue answers these by asking for "confirm" or "negative"."""

ICAO_LETTERS: dict[str, str] = {
    word: word[0].upper()
    for word in [
        "alfa",
        "bravo",
        "charlie",
        "delta",
        "echo",
        "foxtrot",
        "golf",
        "hotel",
        "india",
        "juliett",
        "kilo",
        "lima",
        "mike",
        "november",
        "oscar",
        "papa",
        "quebec",
        "romeo",
        "sierra",
        "tango",
        "uniform",
        "victor",
        "whiskey",
        "x_ray",
        "yankee",
        "zulu",
    ]
}
"""Radiotelephony words (aviation regulation SERA.14020, table S14-2) and their letters."""

SPELLINGS: dict[str, str] = {
    "alpha": "alfa",
    "juliet": "juliett",
    "whisky": "whiskey",
    "xray": "x ray",
    "x-ray": "x ray",
    "tree": "three",
    "fower": "four",
    "fife": "five",
    "naught": "nought",
    "fourty": "forty",
    "kay": "k",
    "zed": "z",
    "zee": "z",
    "see": "c",
    "bee": "b",
    "dee": "d",
    "ee": "e",
    "eks": "x",
    "ok": "okay",
    "o.k.": "okay",
    "megaohm": "megohm",
    "megaohms": "megohms",
    "gigaohm": "gigohm",
    "gigaohms": "gigohms",
    "kiloohm": "kilohm",
    "kiloohms": "kilohms",
    "centigrade": "celsius",
    "doesnt": "doesn't",
    "wont": "won't",
    "its": "it's",
    "erm": "um",
    "uhm": "um",
}
"""Other spellings that a foreign model or a typed line may bring, and the plain words they stand for."""

FOREIGN: dict[str, tuple[str, ...]] = {
    "kilohm": ("kilo ohm",),
    "kilohms": ("kilo ohms",),
    "k": ("kay",),
    "megohm": ("mega ohm", "meg ohm"),
    "megohms": ("mega ohms", "meg ohms"),
    "meg": ("mega",),
    "megs": ("mega",),
    "gigohm": ("giga ohm",),
    "gigohms": ("giga ohms",),
    "teraohm": ("tera ohm",),
    "teraohms": ("tera ohms",),
    "milliohm": ("milli ohm",),
    "milliohms": ("milli ohms",),
    "microohm": ("micro ohm",),
    "microohms": ("micro ohms",),
    "kilovolt": ("kilo volt",),
    "kilovolts": ("kilo volts",),
    "millivolt": ("milli volt",),
    "millivolts": ("milli volts",),
    "milliamp": ("milli amp",),
    "milliamps": ("milli amps",),
    "microamp": ("micro amp",),
    "microamps": ("micro amps",),
    "nanofarad": ("nano farad",),
    "nanofarads": ("nano farads",),
    "microfarad": ("micro farad",),
    "microfarads": ("micro farads",),
    "alfa": ("alpha",),
    "juliett": ("juliet",),
    "whiskey": ("whisky",),
    "ohmmeter": ("ohm meter",),
    "niner": ("nine",),
    "maxed": ("max",),
}
"""How to say a word with the words of a model that lacks it, best first; the parser understands each."""


def plain_words(word: str) -> tuple[str, ...]:
    """Split one recognised word into its plain words.

    Args:
        word: A word of `WORDS`, `UNKNOWN`, or any other word, which is returned as it is.
    """
    entry = ENTRIES.get(word)
    return entry.plain if entry is not None else tuple(word.split("_"))


@cache
def unit_words() -> frozenset[str]:
    """List the plain words that units are said with."""
    return frozenset(word for entry in ENTRIES.values() if entry.word_class is WordClass.UNIT for word in entry.plain)


def plain_text(text: str) -> list[str]:
    """Split recognised text into plain lower-case words, other spellings replaced.

    Args:
        text: Words separated by white space; underscores, commas and full stops may be among them.
    """
    words: list[str] = []
    for token in text.lower().replace(",", " , ").replace("…", " ").split():
        for part in plain_words(token.strip(".?!:;") or token):
            words.extend(SPELLINGS.get(part, part).split())
    return words
