"""Phrases that answer each question of the dialogue, drawn at random: the language that hearing leans to by its state.

How often each kind of answer is drawn is common practice, no source: nobody has counted yet what technicians answer.
Each phrase comes with what it means, as those of `capture.language.phrases` do.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache

from capture.display.profile import Range
from capture.display.profile_files import shipped
from capture.expectation import Asked
from capture.language.phrase_numbers import spoken_number, volts_words
from capture.language.phrases import Phrase, bare_number, command, reading, setting, small_talk
from capture.language.say import ONES
from capture.language.vocabulary import COMMANDS, ENTRIES, WordClass
from capture.reading import Command, Reading
from grading.terms.quantity import Quantity

DRAWN = 4_000
"""Phrases for each state."""

SEED = 21

UNIT_WORDS = {
    "uOhm": ("microohms",), "mOhm": ("milliohms",), "Ohm": ("ohms",), "kOhm": ("kilohms", "k"),
    "MOhm": ("megohms", "meg", "megs"), "GOhm": ("gigohms", "gig", "gigs"), "TOhm": ("teraohms",),
}  # fmt: skip
"""Units of resistance, each in the words that follow a number."""
_TESTS = ("insulation", "insulation_resistance", "winding_resistance", "ohmmeter")
_ANSWERS = (Command.CONFIRM, Command.REJECT, Command.CORRECT, Command.REPEAT)
"""Commands that answer a read-back."""


@cache
def _ranges() -> tuple[Range, ...]:
    found = (one for profile in shipped().values() for one in profile.ranges if one.unit in UNIT_WORDS)
    return tuple(dict.fromkeys(found))


def shown(rng: random.Random) -> tuple[str, str]:
    """Draw a number as some instrument shows it, with its unit: "34.70", "MOhm"."""
    one = rng.choice(_ranges())
    top = int(one.top.replace(".", ""))
    # Of each count of digits alike many: values spread over decades, not over the top of a range.
    number = str(rng.randint(1, min(top, 10 ** rng.randint(1, one.digits)))).zfill(one.decimals + 1)
    return (f"{number[: -one.decimals]}.{number[-one.decimals :]}" if one.decimals else number), one.unit


def spelt(digits: str) -> list[str]:
    """Say a number digit by digit: "three four seven point zero"."""
    return ["point" if digit == "." else ONES[int(digit)] for digit in digits]


def digits_and_unit(rng: random.Random) -> Phrase:
    """Make a number said digit by digit, with its unit in three of four."""
    digits, unit = shown(rng)
    if rng.random() < 1 / 4:
        return Phrase(tuple(spelt(digits)), Reading(None, Quantity(digits, None)))
    return Phrase((*spelt(digits), rng.choice(UNIT_WORDS[unit])), Reading(None, Quantity(digits, unit)))


def unit_alone(rng: random.Random) -> Phrase:
    """Make a unit said alone; nothing by itself."""
    return Phrase((rng.choice(rng.choice(list(UNIT_WORDS.values()))),), None)


def yes_or_no(rng: random.Random) -> Phrase:
    """Make a command that answers a read-back."""
    words = [word for word, entry in ENTRIES.items() if entry.word_class is WordClass.COMMAND]
    answers = [word for word in words if COMMANDS[" ".join(ENTRIES[word].plain)] in _ANSWERS]
    word = rng.choice(["confirm", "confirm", "confirm", "negative", "negative", "correction", *answers])
    return Phrase((word,), COMMANDS[" ".join(ENTRIES[word].plain)])


def corrected_value(rng: random.Random) -> Phrase:
    """Make a value that replaces the one read back: "correction" and the value, digit by digit in half of them."""
    digits, unit = shown(rng)
    words = spelt(digits)
    if rng.random() < 0.5:
        words, digits = spoken_number(rng, joined=True)
    return Phrase(("correction", *words, rng.choice(UNIT_WORDS[unit])), Reading(None, Quantity(digits, unit)))


def volts(rng: random.Random) -> Phrase:
    """Make a voltage that the tester built, with or without its unit."""
    words, number = volts_words(rng)
    if rng.random() < 1 / 3:
        return Phrase(tuple(words), Reading(None, Quantity(str(number), None)))
    return Phrase((*words, "volts"), Reading(None, Quantity(str(number), "V")))


def kind_named(rng: random.Random) -> Phrase:
    """Make the name of a test; it means nothing without a value."""
    return Phrase((rng.choice(_TESTS),), None)


def safety_answer(rng: random.Random) -> Phrase:
    """Make an answer to a safety question; yes and no alone command nothing elsewhere, so they mean nothing here."""
    word = rng.choice(["yes", "yes", "yes", "yes", "yeah", "no", "no", "affirmative", "confirm", "negative",
                       "does_not_apply", "does_not_apply", "not_applicable"])  # fmt: skip
    return Phrase((word,), COMMANDS.get(" ".join(ENTRIES[word].plain)))


def about_the_work(rng: random.Random) -> Phrase:
    """Make a command that steers the work, said while a question is open."""
    words = [word for word, entry in ENTRIES.items() if entry.word_class is WordClass.DIALOGUE and word != "not"]
    word = rng.choice(words)
    return Phrase((word,), COMMANDS[" ".join(ENTRIES[word].plain)])


Maker = Callable[[random.Random], Phrase]

MAKERS: dict[Asked, tuple[tuple[Maker, int], ...]] = {
    Asked.NOTHING: (),
    Asked.CONFIRMATION: (
        (yes_or_no, 70), (corrected_value, 14), (reading, 8), (command, 4), (small_talk, 4), (about_the_work, 4),
    ),
    Asked.ANSWER: ((safety_answer, 88), (volts, 2), (command, 4), (about_the_work, 6)),
    Asked.VALUE: ((digits_and_unit, 50), (reading, 20), (bare_number, 10), (yes_or_no, 12), (corrected_value, 8)),
    Asked.UNIT: ((unit_alone, 65), (digits_and_unit, 10), (reading, 10), (yes_or_no, 10), (corrected_value, 5)),
    Asked.VOLTAGE: ((volts, 75), (yes_or_no, 15), (reading, 10)),
    Asked.PLACE: ((setting, 60), (kind_named, 20), (yes_or_no, 12), (reading, 8)),
}  # fmt: skip
"""What answers each question, and how often: common practice, no source."""


@cache
def answers(asked: Asked) -> tuple[Phrase, ...]:
    """Draw phrases that answer a question; the same every time, none where nothing was asked."""
    makers = MAKERS[asked]
    if not makers:
        return ()
    rng = random.Random(f"{SEED} {asked.value}")  # noqa: S311 - a repeatable mix, not a secret
    chosen = rng.choices([maker for maker, _ in makers], [weight for _, weight in makers], k=DRAWN)
    return tuple(maker(rng) for maker in chosen)
