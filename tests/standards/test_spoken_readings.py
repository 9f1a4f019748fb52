"""How technicians speak readings: the fifty cases TV-S01 to TV-S50 of the domain notes.

Common practice, no published source: no standard says how a reading is spoken. The radiotelephony letters are those of
aviation regulation SERA.14020, table S14-2. Action A accepts with a read-back on screen, R must be read back aloud, Q
must be asked about: Q means at least one doubt, A and R mean none.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from capture.language.parse import parse
from capture.language.vocabulary import ICAO_LETTERS
from capture.reading import Command, Context, Doubt, Reading, Utterance
from grading.terms.quantity import Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

LL = Context(kind=QuantityKind.WINDING_RESISTANCE)
LG = Context(kind=QuantityKind.RESISTANCE_TO_GROUND)
IR = Context(kind=QuantityKind.INSULATION_RESISTANCE)
IR_500 = Context(kind=QuantityKind.INSULATION_RESISTANCE, test_voltage_set=Decimal(500))
KIND = {"LL": QuantityKind.WINDING_RESISTANCE, "LG": QuantityKind.RESISTANCE_TO_GROUND}
KIND["IR"] = QuantityKind.INSULATION_RESISTANCE
CONTEXT = {"LL": LL, "LG": LG, "IR": IR}

# id, utterance, contexts, digits, unit, qualifier, doubts (empty for A and R), digits and unit of an alternative
SINGLE = [
    ("TV-S01", "seventy k", "LG IR", "70", "kOhm", "=", (), "17 kOhm"),
    ("TV-S02", "two and a half ohms", "LL", "2.5", "Ohm", "=", (), None),
    ("TV-S03", "eight hundred k", "LG", "800", "kOhm", "=", (), "100 kOhm"),
    ("TV-S03", "a hundred k", "LG", "100", "kOhm", "=", (), "800 kOhm"),
    ("TV-S04", "point five", "LL", "0.5", None, "=", (Doubt.UNIT_MISSING,), None),
    ("TV-S05", "oh point eight", "LL", "0.8", None, "=", (Doubt.UNIT_MISSING,), None),
    ("TV-S06", "thirty four seventy meg", "IR", "3470", "MOhm", "=", (Doubt.DIGITS_AMBIGUOUS,), "34.70 MOhm"),
    ("TV-S07", "three thousand four hundred seventy megohms", "IR", "3470", "MOhm", "=", (), None),
    ("TV-S08", "two point two gig", "IR", "2.2", "GOhm", "=", (), None),
    ("TV-S09", "five fifty meg", "IR", "550", "MOhm", "=", (), "5.50 MOhm"),
    ("TV-S10", "half a meg", "IR LG", "0.5", "MOhm", "=", (), None),
    ("TV-S11", "wide open", "LL", None, "Ohm", "open", (), None),
    ("TV-S12", "wide open", "LG", None, "Ohm", "open", (), None),
    ("TV-S12", "wide open", "IR", None, "MOhm", "open", (), None),
    ("TV-S13", "O L", "LG", None, "Ohm", "open", (), None),
    ("TV-S14", "infinity", "IR", None, "MOhm", "open", (Doubt.RANGE_END_UNKNOWN,), None),
    ("TV-S15", "dead short", "LG", None, "Ohm", "short", (), None),
    ("TV-S16", "dead short", "LL", None, "Ohm", "short", (Doubt.VALUE_MISSING,), None),
    ("TV-S17", "greater than four gig", "IR", "4", "GOhm", ">", (), None),
    ("TV-S18", "doesn't build", "IR", None, "MOhm", "collapsed", (Doubt.BUILT_VOLTAGE_UNKNOWN,), None),
    ("TV-S21", "two fifty", "IR", "250", None, "=", (Doubt.UNIT_MISSING,), None),
    ("TV-S22", "two fifty meg", "IR", "250", "MOhm", "=", (), "2.50 MOhm"),
    ("TV-S23", "fifteen meg", "IR", "15", "MOhm", "=", (), "50 MOhm"),
    ("TV-S24", "fifty meg", "IR", "50", "MOhm", "=", (), "15 MOhm"),
    ("TV-S25", "point oh seven meg", "IR", "0.07", "MOhm", "=", (), None),
    ("TV-S26", "seventy thousand ohms", "LG", "70000", "Ohm", "=", (), None),
    ("TV-S27", "a meg and a half", "LG", "1.5", "MOhm", "=", (), None),
    ("TV-S28", "quarter meg", "LG", "0.25", "MOhm", "=", (), None),
    ("TV-S29", "three quarters of an ohm", "LL", "0.75", "Ohm", "=", (), None),
    ("TV-S30", "four tenths", "LL", "0.4", None, "=", (Doubt.UNIT_MISSING,), None),
    ("TV-S31", "twenty two hundred meg", "IR", "2200", "MOhm", "=", (), None),
    ("TV-S32", "one oh five meg", "IR", "105", "MOhm", "=", (), "1.05 MOhm"),
    ("TV-S33", "eleven gig", "IR", "11", "GOhm", "=", (), None),
    ("TV-S34", "eight milliohms", "LL", "8", "mOhm", "=", (), None),
    ("TV-S35", "eight megohms", "LL", "8", "MOhm", "=", (Doubt.IMPLAUSIBLE,), None),
    ("TV-S40", "better than a gig", "IR", "1", "GOhm", ">", (), None),
    ("TV-S41", "under point one", "LL", "0.1", None, "<", (Doubt.UNIT_MISSING,), None),
    ("TV-S46", "five hundred", "IR", "500", None, "=", (Doubt.UNIT_MISSING,), None),
    ("TV-S48", "nothing on the meter", "LL LG IR", None, "*", "none", (Doubt.VALUE_MISSING,), None),
    ("TV-S49", "niner niner nine meg", "IR", "999", "MOhm", "=", (), None),
    ("TV-S50", "one k", "LL LG IR", "1", "kOhm", "=", (Doubt.UNIT_UNSURE,), None),
    ("TV-S50", "one kay ohm", "LL LG IR", "1", "kOhm", "=", (Doubt.UNIT_UNSURE,), None),
]
CASES = [(case, name) for case in SINGLE for name in case[2].split()]


def only(utterance: Utterance) -> Reading:
    assert len(utterance.readings) == 1, utterance
    return utterance.readings[0]


@pytest.mark.parametrize(("case", "where"), CASES, ids=[f"{case[0]}-{where}-{case[1]}" for case, where in CASES])
def test_single_value(
    case: tuple[str, str, str, str | None, str | None, str, tuple[Doubt, ...], str | None], where: str
) -> None:
    _, text, _, digits, code, qualifier, doubts, alternative = case
    utterance = parse(text, CONTEXT[where])
    reading = only(utterance)
    assert reading.kind is KIND[where]
    assert reading.quantity.digits == digits
    if code != "*":
        assert reading.quantity.unit == code
    assert reading.quantity.qualifier is Qualifier(qualifier)
    if text.startswith("one k"):  # 1 kΩ is moreover no winding resistance
        assert Doubt.UNIT_UNSURE in utterance.doubts
    else:
        assert utterance.doubts == doubts
    offered = [f"{other.quantity.digits} {other.quantity.unit}" for other in utterance.alternatives]
    if alternative is not None:
        assert alternative in offered
    assert utterance.command is None


def test_s19_built_to_a_hundred_volts_of_five_hundred() -> None:
    utterance = parse("built to a hundred volts", IR_500)
    reading = only(utterance)
    assert reading.quantity.qualifier is Qualifier.COLLAPSED
    assert (reading.test_voltage_set, reading.test_voltage_built) == (Decimal(500), Decimal(100))
    assert utterance.doubts == ()
    assert utterance.alternatives == ()  # eight hundred of five hundred is impossible, so it is not offered
    heard_otherwise = parse("built to eight hundred volts", IR_500)
    assert Doubt.IMPLAUSIBLE in heard_otherwise.doubts
    assert [other.test_voltage_built for other in heard_otherwise.alternatives] == [100]


def test_s20_built_of_set() -> None:
    utterance = parse("it's at three hundred of five hundred", IR)
    reading = only(utterance)
    assert reading.quantity.qualifier is Qualifier.COLLAPSED
    assert (reading.test_voltage_built, reading.test_voltage_set) == (Decimal(300), Decimal(500))
    assert utterance.doubts == ()


def test_s36_three_readings_keep_their_digits_and_order() -> None:
    utterance = parse("point eight, point eight one, point eight", LL)
    assert [reading.quantity.digits for reading in utterance.readings] == ["0.8", "0.81", "0.8"]
    assert [reading.terminals for reading in utterance.readings] == ["U-V", "V-W", "W-U"]
    assert {reading.quantity.unit for reading in utterance.readings} == {"Ohm"}
    assert utterance.doubts == ()


def test_s37_all_three_are() -> None:
    utterance = parse("all three are one point two", LL)
    assert [reading.quantity for reading in utterance.readings] == [Quantity("1.2", "Ohm")] * 3
    assert len({reading.terminals for reading in utterance.readings}) == 3
    assert utterance.doubts == ()


@pytest.mark.parametrize("where", ["LL", "LG", "IR"])
def test_s38_same_copies_the_last_value_of_the_same_test(where: str) -> None:
    first = parse("two point two ohms" if where == "LL" else "two point two meg", CONTEXT[where])
    again = parse("same", first.context)
    assert again.command is Command.SAME
    assert only(again).quantity == only(first).quantity
    assert again.doubts == ()


def test_s38_same_never_crosses_from_one_test_to_another() -> None:
    winding = parse("two point two ohms", LL)
    other = parse("same", Context(kind=QuantityKind.INSULATION_RESISTANCE, last=only(winding)))
    assert other.readings == ()
    assert Doubt.VALUE_MISSING in other.doubts


def test_s39_correction_in_one_breath() -> None:
    utterance = parse("five fifty … correction, four fifty meg", IR)
    assert only(utterance).quantity == Quantity("450", "MOhm")
    assert [reading.quantity.digits for reading in utterance.superseded] == ["550"]
    assert utterance.doubts == ()


def test_s42_value_at_a_built_voltage() -> None:
    utterance = parse("sixty k at a hundred volts", IR)
    reading = only(utterance)
    assert reading.quantity == Quantity("60", "kOhm")
    assert reading.test_voltage_built == 100
    assert utterance.doubts == ()


def test_s43_axis_section_value() -> None:
    utterance = parse("X-ray axis, cable alone, two point two gig", IR)
    reading = only(utterance)
    assert (reading.axis, reading.section) == ("X", Section.CABLE_ALONE)
    assert reading.quantity == Quantity("2.2", "GOhm")
    assert utterance.doubts == ()


@pytest.mark.parametrize("letter", ["zee", "zed", "see", "bee", "dee", "ee"])
def test_s44_letters_that_sound_alike_force_the_alphabet_word(letter: str) -> None:
    utterance = parse(letter, Context())
    assert Doubt.AXIS_MISSING in utterance.doubts
    assert utterance.readings == ()


@pytest.mark.parametrize(("word", "letter"), ICAO_LETTERS.items())
def test_s44_alphabet_words_name_their_letter(word: str, letter: str) -> None:
    utterance = parse(f"{word} axis", Context())
    assert utterance.context.axis == letter
    assert utterance.doubts == ()


def test_s45_five_hundred_after_set_to_is_a_voltage() -> None:
    asked = parse("set to", IR)
    utterance = parse("five hundred", asked.context)
    assert utterance.readings == ()
    assert utterance.context.test_voltage_set == 500
    assert utterance.doubts == ()
    assert parse("five hundred", utterance.context).readings[0].quantity.digits == "500"


def test_s47_a_climbing_series_is_not_final() -> None:
    utterance = parse("it's climbing, one fifty, one eighty, two ten meg", IR)
    assert [reading.quantity for reading in utterance.readings] == [Quantity(d, "MOhm") for d in ("150", "180", "210")]
    assert Doubt.NOT_SETTLED in utterance.doubts


def test_s50_okay_is_no_reading_and_confirms_nothing() -> None:
    for text in ("okay", "OK", "O.K."):
        utterance = parse(text, IR)
        assert utterance.readings == ()
        assert utterance.command is None
        assert utterance.doubts != ()


def test_every_case_is_here() -> None:
    covered = {case[0] for case in SINGLE} | {
        f"TV-S{name.split('_')[1][1:]}" for name in globals() if name.startswith("test_s") and name[6:8].isdigit()
    }
    assert covered == {f"TV-S{number:02d}" for number in range(1, 51)}
