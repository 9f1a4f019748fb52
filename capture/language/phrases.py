"""A seeded generator of phrases as technicians say them, each with what it means.

The recogniser's grammar, the training text of the speech model and the tests of the parser all draw from here. The
meaning is composed along with the words, never parsed back from them, so it can stand as the truth in a test.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

from capture.language.items import SOUND_ALIKE
from capture.language.phrase_numbers import fraction, spoken_number, tester_volts, volts_words
from capture.language.say import ONES, cardinal
from capture.language.vocabulary import CIRCUMSTANCES, COMMANDS, ENTRIES, ICAO_LETTERS, SOFT_ANSWERS, WordClass
from capture.reading import Command, Context, Reading, SaidBeside
from grading.terms.quantity import Qualifier, Quantity
from grading.terms.section import Section

Meaning = Reading | Command | Context | None
"""A reading, a command, or context that holds for later readings; None for words that only answer or fill."""


@dataclass(frozen=True)
class Phrase:
    """One phrase.

    Attributes:
        words: Recogniser words (multi-word entries joined by "_").
        meaning: What it means without any context; a reading's `kind` is left None here.
        beside: Circumstances said with it.
    """

    words: tuple[str, ...]
    meaning: Meaning
    beside: SaidBeside = field(default_factory=SaidBeside)

    @property
    def plain(self) -> str:
        """The plain words, as a voice would be given them to speak."""
        return " ".join(part for word in self.words for part in ENTRIES[word].plain)


SECTION_WORDS: dict[str, Section] = {
    "through_the_cable": Section.THROUGH_CABLE,
    "through_cable": Section.THROUGH_CABLE,
    "from_the_cabinet": Section.THROUGH_CABLE,
    "at_the_cabinet": Section.THROUGH_CABLE,
    "motor_alone": Section.MOTOR_ALONE,
    "motor_only": Section.MOTOR_ALONE,
    "at_the_motor": Section.MOTOR_ALONE,
    "just_the_motor": Section.MOTOR_ALONE,
    "cable_alone": Section.CABLE_ALONE,
    "cable_only": Section.CABLE_ALONE,
    "just_the_cable": Section.CABLE_ALONE,
}
_CIRCUMSTANCES = {"_".join(words.split()): meant for words, meant in CIRCUMSTANCES.items()}
_LEADS = {
    "lead_one": "1", "lead_two": "2", "lead_three": "3", "a_one": "A1", "a_two": "A2", "u": "U", "v": "V", "w": "W",
    "t_one": "T1", "t_two": "T2", "t_three": "T3", "f_one": "F1", "f_two": "F2",
}  # fmt: skip
_SPELT = {"u": "uniform", "v": "victor", "w": "whiskey"}
_GROUNDS = ("to_ground", "to_ground", "to_ground", "to_earth", "to_frame", "to_case", "to_p_e")
_PAIRS = (
    ("a_one", "a_two"), ("u", "v"), ("v", "w"), ("w", "u"), ("lead_one", "lead_two"), ("lead_two", "lead_three"),
    ("lead_three", "lead_one"), ("t_one", "t_two"), ("t_two", "t_three"), ("t_three", "t_one"), ("f_one", "f_two"),
)  # fmt: skip
_OHM_UNITS = {
    "MOhm": ("meg", "meg", "meg", "megs", "megohms", "megohms", "megohm"),
    "GOhm": ("gig", "gig", "gigs", "gigohms", "gigohm"),
    "kOhm": ("k", "k", "kilohms", "kilohm"),
    "Ohm": ("ohms", "ohms", "ohm"),
    "mOhm": ("milliohms", "milliohm"),
    "TOhm": ("teraohms", "teraohm"),
    "uOhm": ("microohms", "microohm"),
}
_OHM_WEIGHTS = (40, 20, 16, 18, 4, 1, 1)
_OVER = ("o_l", "o_l", "o_l", "over_limit", "over_range", "overload", "open", "wide_open", "wide_open", "open_circuit",
         "infinity", "infinite", "off_the_scale", "off_scale", "maxed_out", "pegged")  # fmt: skip
_SHORTS = ("dead_short", "dead_short", "short", "shorted", "short_circuit", "dead_to_ground")
_BLANKS = ("nothing", "nothing_on_the_meter", "blank", "no_reading", "dashes")
_FAILS = ("doesn't_build", "won't_build", "won't_come_up", "pulls_down", "breaks_down", "collapsed")
_LEAD_INS = ("uh", "um", "er", "so", "now", "well", "it's", "it_is", "that's", "reads", "reading", "shows", "got",
             "i_got", "i_have", "we_have", "the")  # fmt: skip

_DIGITS = [*((word, str(digit)) for digit, word in enumerate(ONES)), ("oh", "0"), ("niner", "9")]


def _axis(rng: random.Random) -> tuple[list[str], str]:
    roll = rng.random()
    if roll < 0.55:
        word = rng.choice(["x_ray", "x_ray", "yankee", "zulu", "alfa", "bravo", "charlie", *ICAO_LETTERS])
        return ([word, "axis"] if rng.random() < 0.8 else [word]), ICAO_LETTERS[word]
    if roll < 0.75:
        return (["spindle", "axis"] if rng.random() < 0.2 else ["spindle"]), "SPINDLE"
    word = rng.choice(
        ["x_axis", "x_axis", "y_axis", "z_axis", "a_axis", "b_axis", "c_axis", "u_axis", "v_axis", "w_axis"]
    )
    return [word], word[0].upper()


def _terminals(rng: random.Random) -> tuple[list[str], str]:
    roll = rng.random()
    if roll < 0.12:
        return [rng.choice(["lead_to_lead", "phase_to_phase"])], "lead-lead"
    if roll < 0.24:
        return [rng.choice(["lead_to_ground", "phase_to_ground"])], "lead-ground"
    if roll < 0.3:
        return [rng.choice(["all_leads_to_ground", "both_leads_to_ground"])], "all-PE"
    if roll < 0.65:
        lead = rng.choice(list(_LEADS))
        spelt = _SPELT.get(lead, lead) if rng.random() < 0.6 else lead
        return [spelt, rng.choice(_GROUNDS)], f"{_LEADS[lead]}-PE"
    first, second = rng.choice(_PAIRS)
    if first in _SPELT and rng.random() < 0.6:
        return [_SPELT[first], "to", _SPELT[second]], f"{_LEADS[first]}-{_LEADS[second]}"
    joined = [f"to_{second}"] if second.startswith("lead") and rng.random() < 0.8 else ["to", second]
    return [first, *joined], f"{_LEADS[first]}-{_LEADS[second]}"


def _quantity(rng: random.Random) -> tuple[list[str], Quantity]:
    """Make words and meaning of one resistance value, with or without a comparison."""
    code = rng.choices(list(_OHM_UNITS), _OHM_WEIGHTS)[0]
    roll = rng.random()
    if rng.random() < 0.03:
        millions = rng.randint(1, 9)
        return [ONES[millions], "million", "ohms"], Quantity(f"{millions}000000", "Ohm")
    if roll < 0.09:
        words, digits = fraction(rng, code)
        return words, Quantity(digits, code)
    if roll < 0.12 and code in ("MOhm", "GOhm"):
        word = {"MOhm": "a_meg", "GOhm": "a_gig"}[code]
        compare = rng.choice([[], [], ["better_than"], ["over"], ["under"]])
        sign = {"better_than": Qualifier.ABOVE, "over": Qualifier.ABOVE, "under": Qualifier.BELOW}
        return [*compare, word], Quantity("1", code, sign.get("".join(compare), Qualifier.EQUAL))
    words, digits = spoken_number(rng, joined=code in ("MOhm", "GOhm", "kOhm"))
    unit_word = rng.choice(_OHM_UNITS[code])
    if words == ["one"]:
        unit_word = {"MOhm": "megohm", "GOhm": "gigohm", "Ohm": "ohm"}.get(code, unit_word)
    if roll < 0.22:
        compare_word = rng.choice(["greater_than", "greater_than", "more_than", "better_than", "over", "above"])
        return [compare_word, *words, unit_word], Quantity(digits, code, Qualifier.ABOVE)
    if roll < 0.27:
        compare_word = rng.choice(["less_than", "less_than", "under", "below"])
        return [compare_word, *words, unit_word], Quantity(digits, code, Qualifier.BELOW)
    return [*words, unit_word], Quantity(digits, code)


def _value(rng: random.Random) -> tuple[list[str], Quantity]:
    roll = rng.random()
    if roll < 0.86:
        return _quantity(rng)
    if roll < 0.95:
        return [rng.choice(_OVER)], Quantity(None, None, Qualifier.OPEN)
    if roll < 0.985:
        return [rng.choice(_SHORTS)], Quantity(None, None, Qualifier.SHORT)
    return [rng.choice(_BLANKS)], Quantity(None, None, Qualifier.NONE)


def _time(rng: random.Random) -> tuple[list[str], Decimal]:
    words, seconds = rng.choice([
        (["a_minute"], 60), (["one", "minute"], 60), (["sixty", "seconds"], 60), (["thirty", "seconds"], 30),
        (["ten", "minutes"], 600), (["two", "minutes"], 120), (["fifteen", "seconds"], 15), (["five", "minutes"], 300),
    ])  # fmt: skip
    return [rng.choice(["after", "after", "at"]), *words], Decimal(seconds)


def reading(rng: random.Random) -> Phrase:
    """Make a full reading: where, what, how much, at which voltage, after how long; each part may be left out."""
    words: list[str] = []
    axis = section = terminals = built = elapsed = None
    if rng.random() < 0.3:
        part, axis = _axis(rng)
        words += part
    if rng.random() < 0.3:
        word = rng.choice(list(SECTION_WORDS))
        words, section = [*words, word], SECTION_WORDS[word]
    if rng.random() < 0.4:
        part, terminals = _terminals(rng)
        words += part
    if rng.random() < 0.12:
        words.append(
            rng.choice(["insulation", "insulation_resistance", "winding_resistance", "resistance", "ohmmeter"])
        )
    if rng.random() < 0.18:
        words.append(rng.choice(_LEAD_INS))
    part, quantity = _value(rng)
    words += part
    if rng.random() < 0.14:
        part, built = tester_volts(rng)
        words += ["at_a_hundred", "volts"] if part == ["a_hundred"] else ["at", *part, "volts"]
    if rng.random() < 0.1:
        part, elapsed = _time(rng)
        words += part
    elif rng.random() < 0.03:
        words.append("on_the_meter")
    return Phrase(tuple(words), Reading(None, quantity, axis, section, terminals, None, built, elapsed))


def bare_number(rng: random.Random) -> Phrase:
    """Make a number without a unit, single digits among them."""
    if rng.random() < 0.45:
        word, digit = rng.choice(_DIGITS)
        return Phrase((word,), Reading(None, Quantity(digit, None)))
    words, digits = spoken_number(rng, joined=True)
    return Phrase(tuple(words), Reading(None, Quantity(digits, None)))


def collapse(rng: random.Random) -> Phrase:
    """Make a report that the tester does not reach its voltage."""
    roll = rng.random()
    built_words, built = volts_words(rng)
    quantity = Quantity(None, None, Qualifier.COLLAPSED)
    if roll < 0.35:
        return Phrase((rng.choice(_FAILS),), Reading(None, quantity))
    if roll < 0.7:
        words = ["built_to_a_hundred"] if built_words == ["a_hundred"] else ["built_to", *built_words]
        return Phrase((*words, "volts"), Reading(None, quantity, test_voltage_built=built))
    set_words, asked = tester_volts(rng)
    if built >= asked * Decimal("0.9"):
        built_words, built = ["twenty"], Decimal(20)
    if roll < 0.82:
        words = [rng.choice(["set", "set_to"]), *set_words, *rng.choice([[], ["volts"]]), "built", *built_words]
        words += rng.choice([[], ["volts"]])
        return Phrase(tuple(words), Reading(None, quantity, test_voltage_set=asked, test_voltage_built=built))
    words = ["it's_at", *built_words, rng.choice(["of", "out_of"]), *set_words, *rng.choice([[], ["volts"]])]
    return Phrase(tuple(words), Reading(None, quantity, test_voltage_set=asked, test_voltage_built=built))


def command(rng: random.Random) -> Phrase:
    """Make one command."""
    words = [word for word, entry in ENTRIES.items() if entry.word_class is WordClass.COMMAND]
    word = rng.choice(words)
    return Phrase((word,), COMMANDS[" ".join(ENTRIES[word].plain)])


def setting(rng: random.Random) -> Phrase:
    """Make context without a value: axis, section, test point or selected test voltage."""
    roll = rng.random()
    if roll < 0.3:
        words, axis = _axis(rng)
        return Phrase(tuple(words), None if words[0][1:] == "_axis" and axis in SOUND_ALIKE else Context(axis=axis))
    if roll < 0.34:
        letter = rng.choice("abcdeptuvwxyz")
        return Phrase((letter,), None)  # asked about: a bare letter is too easily mistaken
    if roll < 0.5:
        word = rng.choice(list(SECTION_WORDS))
        return Phrase((word,), Context(section=SECTION_WORDS[word]))
    if roll < 0.7:
        words, terminals = _terminals(rng)
        return Phrase(tuple(words), Context(terminals=terminals))
    words, volts = tester_volts(rng)
    start = rng.choice([["set"], ["set_to"], ["test_voltage"], ["test_voltage", "set_to"]])
    return Phrase((*start, *words, *rng.choice([[], ["volts"], ["volts"]])), Context(test_voltage_set=volts))


def surroundings(rng: random.Random) -> Phrase:
    """Make a temperature, a humidity, a voltage, a current or a capacitance."""
    roll = rng.random()
    words, digits = spoken_number(rng, joined=False, top=95)
    if roll < 0.5:
        start = rng.choice(["temperature", "air_temperature", "winding_temperature", "motor_temperature"])
        unit = rng.choice([["degrees"], ["degrees", "celsius"], ["celsius"], ["degrees", "fahrenheit"]])
        code = None if "fahrenheit" in unit else "Cel"
        sign = rng.choice(["minus", "minus", "plus"]) if rng.random() < 0.15 else ""
        digits = f"-{digits}" if sign == "minus" else digits
        section = Section.MOTOR_ALONE if start in ("winding_temperature", "motor_temperature") else None
        said = (start, *([sign] if sign else []), *words, *unit)
        return Phrase(said, Reading(None, Quantity(digits, code), section=section))
    if roll < 0.75:
        return Phrase(("humidity", *words, "percent"), Reading(None, Quantity(digits, "%")))
    name, unit_word, code = rng.choice([
        ("voltage", "volt", "V"), ("voltage", "millivolt", "mV"), ("voltage", "kilovolt", "kV"),
        ("current", "amp", "A"), ("current", "milliamp", "mA"), ("current", "microamp", "uA"),
        ("capacitance", "nanofarad", "nF"), ("capacitance", "microfarad", "uF"), ("continuity", "ohm", "Ohm"),
    ])  # fmt: skip
    named: list[str] = rng.choice([[], [name], [name, "is"]])
    plural = unit_word if words == ["one"] or rng.random() < 0.1 else f"{unit_word}s"
    return Phrase((*named, *words, plural), Reading(None, Quantity(digits, code)))


def unsettled(rng: random.Random) -> Phrase:
    """Make a value that still moves: no final reading, so no meaning beyond the last number."""
    word = rng.choice([w for w, e in ENTRIES.items() if e.word_class is WordClass.UNSETTLED])
    words, quantity = _quantity(rng)
    return Phrase((word, *words) if rng.random() < 0.6 else (*words, word), Reading(None, quantity))


def elapsed_only(rng: random.Random) -> Phrase:
    """Make a time said by itself."""
    number, unit = rng.choice([(1, "minute"), (1, "hour"), (1, "second"), (2, "hours"), (3, "hours"), (10, "minutes")])
    code = {"m": "min", "h": "h", "s": "s"}[unit[0]]
    return Phrase((cardinal(number)[0], unit), Reading(None, Quantity(str(number), code)))


def corrected(rng: random.Random) -> Phrase:
    """Make a value corrected in one breath: only the last one counts."""
    first, _ = _quantity(rng)
    second, quantity = _quantity(rng)
    if rng.random() < 0.5:
        first = first[:-1] or first
    return Phrase((*first, rng.choice(["correction", "correction", "scratch_that"]), *second), Reading(None, quantity))


def small_talk(rng: random.Random) -> Phrase:
    """Make answers that command nothing, and fillers."""
    words = [*sorted(SOFT_ANSWERS), *_LEAD_INS, "please"]
    said = rng.choices(words, k=rng.choice([1, 1, 2]))
    return Phrase(tuple(said if said != ["no", "reading"] else said[:1]), None)  # together they are a reading


def all_three(rng: random.Random) -> Phrase:
    """Make one value said of several leads at once; its meaning is the value."""
    words, quantity = _quantity(rng)
    return Phrase((rng.choice(["all_three", "all_three_are", "both", "both_are"]), *words), Reading(None, quantity))


_MAKERS: tuple[tuple[Callable[[random.Random], Phrase], int], ...] = (
    (reading, 56), (bare_number, 10), (command, 12), (setting, 8), (collapse, 3), (surroundings, 4), (corrected, 2),
    (all_three, 2), (small_talk, 3), (unsettled, 1), (elapsed_only, 1),
)  # fmt: skip


def phrases(seed: int, count: int) -> list[Phrase]:
    """Make phrases in the mix in which they are said.

    Args:
        seed: The same seed gives the same phrases.
        count: How many, 0 or more.
    """
    rng = random.Random(seed)  # noqa: S311 - a repeatable mix, not a secret
    makers = [maker for maker, _ in _MAKERS]
    weights = [weight for _, weight in _MAKERS]
    return [maker(rng) for maker in rng.choices(makers, weights, k=count)]


def noted_phrases(seed: int, count: int) -> list[Phrase]:
    """Make phrases that name circumstances: with a reading, alone, or said not to hold.

    They are apart from `phrases`, whose mix the speech model was trained and its confidence fitted with.

    Args:
        seed: The same seed gives the same phrases.
        count: How many, 0 or more.
    """
    rng = random.Random(seed)  # noqa: S311 - a repeatable mix, not a secret
    return [_noted(rng) for _ in range(count)]


def _noted(rng: random.Random) -> Phrase:
    roll = rng.random()
    words: list[str]
    if rng.random() < 0.12:
        number = rng.choice([1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 30, 45, 90, 180])
        degrees = number > 12
        words = [rng.choice(["position", "at_position"]), *cardinal(number), *(["degrees"] if degrees else [])]
        beside = SaidBeside(position=f"{number}°" if degrees else str(number))
    else:
        word = rng.choice(list(_CIRCUMSTANCES))
        words, beside = [word], SaidBeside((_CIRCUMSTANCES[word],))
        if roll >= 0.9:
            return Phrase(("not", word), None, SaidBeside(lifted=(_CIRCUMSTANCES[word],)))
    if roll >= 0.5:
        return Phrase(tuple(words), None, beside)
    said = reading(rng)
    while said.words[-1] in ("on_the_meter", "nothing", "hundred", "thousand"):  # would run on into what follows
        said = reading(rng)
    return Phrase((*said.words, *words), said.meaning, beside)


def word_phrases() -> list[Phrase]:
    """List every vocabulary word by itself, so that no word is missing from a grammar or a training text."""
    return [Phrase((word,), None) for word in ENTRIES]
