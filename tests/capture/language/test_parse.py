"""What the fifty cases leave open: places, voltages and times in one breath, lists, and words that must not count.

Common practice, no published source, unless a source stands beside the check.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from capture.language.parse import parse
from capture.reading import Command, Context, Doubt, Reading
from grading.terms.quantity import Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

K = QuantityKind
IR = Context(kind=K.INSULATION_RESISTANCE, test_voltage_set=Decimal(500))
LL = Context(kind=K.WINDING_RESISTANCE)
LG = Context(kind=K.RESISTANCE_TO_GROUND)
LAST = Reading(K.INSULATION_RESISTANCE, Quantity("550", "MOhm"), "X", Section.MOTOR_ALONE, "1-PE")


def test_everything_in_one_breath() -> None:
    utterance = parse(
        "uh so X-ray axis motor alone lead one to ground it's at five fifty meg at five hundred volts after one minute"
    )
    assert utterance.readings == (
        Reading(
            K.INSULATION_RESISTANCE,
            Quantity("550", "MOhm"),
            "X",
            Section.MOTOR_ALONE,
            "1-PE",
            None,
            Decimal(500),
            Decimal(60),
        ),
    )
    assert utterance.doubts == ()
    assert utterance.context.axis == "X"


@pytest.mark.parametrize(
    ("text", "context", "kind"),
    [
        ("lead to lead two point two ohms", Context(), K.WINDING_RESISTANCE),
        ("uniform to victor one point two ohms", Context(), K.WINDING_RESISTANCE),
        ("ohmmeter lead to ground eight hundred k", Context(), K.RESISTANCE_TO_GROUND),
        ("resistance lead to ground eight hundred k", IR, K.RESISTANCE_TO_GROUND),
        ("resistance two hundred meg", IR, K.INSULATION_RESISTANCE),
        ("ohmmeter lead to lead two ohms", Context(), K.WINDING_RESISTANCE),
        ("insulation two hundred meg", Context(), K.INSULATION_RESISTANCE),
        ("lead to ground two hundred meg at five hundred volts", Context(), K.INSULATION_RESISTANCE),
        ("lead to ground two hundred meg", IR, K.INSULATION_RESISTANCE),
        ("lead to ground two hundred meg", LG, K.RESISTANCE_TO_GROUND),
        ("lead to ground two hundred meg", Context(test_voltage_set=Decimal(500)), K.INSULATION_RESISTANCE),
        ("lead to ground wide open", LL, None),
        ("two hundred meg", Context(), None),
        ("twenty four degrees", IR, K.TEMPERATURE),
        ("humidity forty five percent", LL, K.HUMIDITY),
        ("three point two nanofarads", IR, K.CAPACITANCE),
        ("one point two microamps", IR, K.CURRENT),
        ("continuity zero point two ohms", LL, K.CONTINUITY),
    ],
)
def test_the_test_follows_from_words_then_context_or_is_asked(
    text: str, context: Context, kind: QuantityKind | None
) -> None:
    utterance = parse(text, context)
    assert utterance.readings[0].kind is kind
    assert (Doubt.QUANTITY_MISSING in utterance.doubts) is (kind is None)


def test_a_temperature_between_two_readings_ends_no_test() -> None:
    utterance = parse("air temperature twenty four point five degrees humidity forty five percent", IR)
    assert [reading.quantity for reading in utterance.readings] == [Quantity("24.5", "Cel"), Quantity("45", "%")]
    assert utterance.doubts == ()
    assert parse("five meg", utterance.context).readings[0].kind is K.INSULATION_RESISTANCE


def test_fahrenheit_is_asked_about_since_no_record_holds_it() -> None:
    utterance = parse("temperature seventy five degrees fahrenheit")
    assert utterance.readings[0].quantity.unit is None
    assert Doubt.UNIT_UNSURE in utterance.doubts


@pytest.mark.parametrize(
    ("text", "asked", "built"),
    [
        ("built to seventy volts", 500, 70),
        ("pulls down to a hundred volts", 500, 100),
        ("won't come up seventy volts", 500, 70),
        ("set one thousand volts built one hundred", 1000, 100),
        ("it's at three hundred volts of five hundred", 500, 300),
        ("it's at three hundred volts", 500, 300),
        ("set one kilovolt built ninety volts", 1000, 90),
    ],
)
def test_a_collapse_in_many_words(text: str, asked: int, built: int) -> None:
    reading = parse(text, IR).readings[0]
    assert reading.quantity.qualifier is Qualifier.COLLAPSED
    assert (reading.test_voltage_set, reading.test_voltage_built) == (Decimal(asked), Decimal(built))


def test_a_voltage_that_holds_is_no_collapse() -> None:
    """A compliant tester holds its nominal voltage down to 1 kΩ per volt and up to 1.25 times (IEC 61557-2)."""
    for volts in ("five hundred", "five hundred twelve"):
        utterance = parse(f"built {volts} volts", IR)
        assert utterance.readings[0].quantity.qualifier is Qualifier.NONE
        assert Doubt.VALUE_MISSING in utterance.doubts
    assert Doubt.IMPLAUSIBLE in parse("two meg at seven hundred volts", IR).doubts
    assert parse("two meg at six hundred volts", IR).doubts == ()


@pytest.mark.parametrize("text", ["set two fifty volts", "test voltage set to two fifty", "set to two hundred fifty"])
def test_a_setting_is_context_not_a_reading(text: str) -> None:
    utterance = parse(text, IR)
    assert utterance.readings == ()
    assert utterance.context.test_voltage_set == Decimal(250)
    assert utterance.doubts == ()


def test_saying_again_what_already_holds_is_no_mistake() -> None:
    for text in ("set five hundred volts", "test voltage is five hundred"):
        utterance = parse(text, IR)
        assert (utterance.context, utterance.doubts, utterance.confidence) == (IR, (), 1.0)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("five meg after one minute", 60), ("five meg at sixty seconds", 60), ("after ten minutes five meg", 600),
     ("five meg after a minute", 60), ("one minute five meg", 60), ("at fifteen seconds five meg", 15)],
)  # fmt: skip
def test_times(text: str, seconds: int) -> None:
    reading = parse(text, IR).readings[0]
    assert (reading.quantity, reading.elapsed_s) == (Quantity("5", "MOhm"), Decimal(seconds))


def test_a_bare_number_after_at_is_volts_only_if_it_is_a_test_voltage() -> None:
    utterance = parse("five meg at five hundred", IR)
    assert (utterance.readings[0].test_voltage_built, utterance.doubts) == (Decimal(500), ())
    assert Doubt.UNIT_UNSURE in parse("eighty seven gig at five", IR).doubts


def test_pauses_inside_numbers_and_expressions_part_nothing() -> None:
    for text in (
        "lead , one , to , ground , greater , than , four , two , eight , nine , meg",
        "lead one to ground greater than four two eight nine meg",
    ):
        reading = parse(text, IR).readings[0]
        assert reading.quantity == Quantity("4289", "MOhm", Qualifier.ABOVE)
        assert (reading.terminals, parse(text, IR).doubts) == ("1-PE", ())
    for text in ("zero , point , eight , ohms", "three , thousand , four hundred , seventy , ohms"):
        assert parse(text, LG).doubts == ()
    assert [one.quantity.digits for one in parse("one fifty , one eighty , two ten meg", IR).readings] == [
        "150",
        "180",
        "210",
    ]
    assert Doubt.DIGITS_AMBIGUOUS in parse("eight , nine point five meg", IR).doubts


@pytest.mark.parametrize(
    ("text", "digits"), [("sixty to meg", "62"), ("to point two gig", "2.2"), ("four to zero meg", "420")]
)
def test_to_where_only_two_makes_sense_is_asked_about(text: str, digits: str) -> None:
    utterance = parse(text, IR)
    assert [one.quantity.digits for one in utterance.readings] == [digits]
    assert Doubt.DIGITS_AMBIGUOUS in utterance.doubts


@pytest.mark.parametrize(
    "text", ["set to five hundred", "pulls down to a hundred volts", "lead one to ground five meg"]
)
def test_to_elsewhere_stays_to(text: str) -> None:
    assert Doubt.DIGITS_AMBIGUOUS not in parse(text, IR).doubts


def test_values_each_with_their_lead() -> None:
    utterance = parse("lead one to ground five meg lead two to ground six meg", IR)
    assert [(one.terminals, one.quantity.digits) for one in utterance.readings] == [("1-PE", "5"), ("2-PE", "6")]
    assert utterance.doubts == ()


def test_two_values_with_nothing_between_are_asked_about() -> None:
    for text in ("five meg six meg", "one fifty one eighty two ten meg", "one point two one point three ohms"):
        assert Doubt.DIGITS_AMBIGUOUS in parse(text, IR).doubts


def test_all_three_and_both_need_leads_that_are_known() -> None:
    over = parse("all three over four gig", IR)
    assert [one.terminals for one in over.readings] == ["U-PE", "V-PE", "W-PE"]
    both = parse("both infinity", IR)
    assert [one.terminals for one in both.readings] == ["A1-PE", "A2-PE"]
    numbered = parse("all three over four gig", Context(kind=K.INSULATION_RESISTANCE, terminals="1-PE"))
    assert [one.terminals for one in numbered.readings] == ["1-PE", "2-PE", "3-PE"]
    assert len(parse("all three over four gig").readings) == 1


@pytest.mark.parametrize(
    ("text", "terminals", "axis"),
    [("same on lead two", "2-PE", "X"), ("same lead two to ground", "2-PE", "X"), ("yankee axis same", "1-PE", "Y"),
     ("ditto", "1-PE", "X")],
)  # fmt: skip
def test_same_elsewhere(text: str, terminals: str, axis: str) -> None:
    context = Context(K.INSULATION_RESISTANCE, "X", Section.MOTOR_ALONE, "1-PE", last=LAST)
    utterance = parse(text, context)
    assert utterance.command is Command.SAME
    reading = utterance.readings[0]
    assert (reading.quantity, reading.terminals, reading.axis) == (LAST.quantity, terminals, axis)
    assert utterance.doubts == ()


@pytest.mark.parametrize(
    ("text", "command", "digits", "superseded"),
    [
        ("correction four fifty meg", Command.CORRECT, ["450"], []),
        ("scratch that four fifty meg", Command.CORRECT, ["450"], []),
        ("scratch that", Command.REJECT, [], []),
        ("correction", Command.CORRECT, [], []),
        ("five fifty correction four fifty meg", None, ["450"], ["550"]),
        ("five meg correction six meg correction seven meg", None, ["7"], ["5", "6"]),
        ("uh correction four fifty meg", Command.CORRECT, ["450"], []),
    ],
)
def test_corrections(text: str, command: Command | None, digits: list[str], superseded: list[str]) -> None:
    utterance = parse(text, IR)
    assert utterance.command is command
    assert [reading.quantity.digits for reading in utterance.readings] == digits
    assert [reading.quantity.digits for reading in utterance.superseded] == superseded


def test_the_place_named_before_a_correction_still_holds() -> None:
    reading = parse("yankee axis lead one to ground five fifty correction four fifty meg", IR).readings[0]
    assert (reading.axis, reading.terminals, reading.quantity.digits) == ("Y", "1-PE", "450")


def test_a_value_and_a_command_in_one_breath_confirm_nothing() -> None:
    for word in ("confirm", "negative", "take it back"):
        utterance = parse(f"five fifty meg {word}", IR)
        assert utterance.command is None
        assert Doubt.CONFLICT in utterance.doubts


@pytest.mark.parametrize("text", ["[unk] five meg", "five [unk] meg", "five meg [unk]", "five uh [unk] meg"])
def test_an_unknown_word_at_a_value_is_asked_about(text: str) -> None:
    assert Doubt.UNKNOWN_WORDS in parse(text, IR).doubts


def test_an_unknown_word_parted_by_a_pause_is_not() -> None:
    assert parse("[unk] , five meg", IR).doubts == ()


def test_nothing_new_holds_amid_unknown_words() -> None:
    utterance = parse("[unk] yankee axis", IR)
    assert utterance.context == IR
    assert Doubt.UNKNOWN_WORDS in utterance.doubts


@pytest.mark.parametrize(
    ("text", "unit", "doubt"),
    [
        ("fifty m", None, Doubt.PREFIX_UNSURE),
        ("fifty mike", None, Doubt.PREFIX_UNSURE),
        ("fifty milli", None, Doubt.UNIT_UNSURE),
        ("fifty victor", None, Doubt.UNIT_UNSURE),
        ("eight milliohms", "mOhm", Doubt.IMPLAUSIBLE),
        ("minus five meg", "MOhm", Doubt.IMPLAUSIBLE),
    ],
)
def test_units_that_could_be_misheard_are_asked_about(text: str, unit: str | None, doubt: Doubt) -> None:
    utterance = parse(text, IR)
    assert utterance.readings[0].quantity.unit == unit
    assert doubt in utterance.doubts


def test_prefix_alternatives_are_offered() -> None:
    assert "8 MOhm" in [
        f"{q.digits} {q.unit}" for q in (one.quantity for one in parse("eight milliohms", IR).alternatives)
    ]
    assert parse("eight milliohms", LL).alternatives == ()  # 8 MΩ is no winding


def test_kilo_after_a_number_is_a_unit_and_elsewhere_an_axis() -> None:
    assert parse("five kilo", LG).readings[0].quantity == Quantity("5", "kOhm")
    assert parse("five kilo ohms", LG).readings[0].quantity == Quantity("5", "kOhm")
    assert parse("five kilo volts", LG).readings[0].quantity == Quantity("5", "kV")
    assert parse("kilo axis").context.axis == "K"


@pytest.mark.parametrize(
    ("text", "axis"), [("x ray two axis", "X2"), ("zulu one axis", "Z1"), ("spindle", "SPINDLE"), ("x axis", "X")]
)
def test_axis_names(text: str, axis: str) -> None:
    utterance = parse(text)
    assert (utterance.context.axis, utterance.doubts) == (axis, ())


def test_a_letter_that_sounds_like_others_is_offered_with_its_value_and_asked_about() -> None:
    utterance = parse("z axis five meg", IR)
    assert utterance.readings[0].axis == "Z"
    assert Doubt.AXIS_MISSING in utterance.doubts
    assert parse("z axis", IR).context.axis is None


@pytest.mark.parametrize("text", ["a one to a two point eight ohms", "a one two a two point eight ohms"])
def test_to_and_two_between_leads(text: str) -> None:
    reading = parse(text).readings[0]
    assert (reading.terminals, reading.quantity) == ("A1-A2", Quantity("0.8", "Ohm"))


def test_nothing_said_is_nothing_understood() -> None:
    utterance = parse("")
    assert (utterance.readings, utterance.command, utterance.doubts, utterance.confidence) == ((), None, (), 0.0)


def test_a_pause_inside_a_test_point_does_not_make_an_axis_of_its_letter() -> None:
    context = Context(axis="B", kind=QuantityKind.INSULATION_RESISTANCE, terminals="lead-ground")
    for words in ("uniform , to victor one point six ohms", "uniform to , victor one point six ohms"):
        [reading] = parse(words, context).readings
        assert (reading.axis, reading.terminals) == ("B", "U-V")
        assert reading.kind is QuantityKind.WINDING_RESISTANCE


def test_a_test_point_does_not_outlive_its_test() -> None:
    winding = parse("whiskey to uniform one point two ohms", Context(axis="B")).context
    insulation = parse("insulation set five hundred volts", winding).context
    [reading] = parse("twelve hundred meg", insulation).readings
    assert reading.terminals is None
    grounded = Context(kind=QuantityKind.RESISTANCE_TO_GROUND, terminals="U-PE")
    assert parse("insulation set five hundred volts", grounded).context.terminals == "U-PE"


def test_a_letter_is_an_axis_where_the_job_has_no_other_that_sounds_like_it() -> None:
    """SERA.14020 gives the alphabet words for letters that cannot be told apart; a job's axes settle some of them."""
    alone = parse("b axis u to v one point two ohms", Context(axes=("X", "Y", "B")))
    assert (alone.readings[0].axis, Doubt.AXIS_MISSING in alone.doubts) == ("B", False)
    assert parse("b axis", Context(axes=("X", "Y", "B"))).context.axis == "B"
    for axes in ((), ("X", "Z", "B"), ("X", "Y", "C")):
        unsure = parse("b axis u to v one point two ohms", Context(axes=axes))
        assert Doubt.AXIS_MISSING in unsure.doubts
        assert parse("b axis", Context(axes=axes)).context.axis is None


def test_an_axis_that_sounds_alike_is_offered_and_not_taken() -> None:
    utterance = parse("v axis u to v one point two ohms", Context(axes=("X", "Y", "Z", "B")))
    assert Doubt.AXIS_MISSING in utterance.doubts
    assert {other.axis for other in utterance.alternatives} == {"Z", "B"}


@pytest.mark.parametrize("text", ["b", "b one point two ohms", "x", "e axis"])
def test_a_bare_letter_or_one_that_the_job_lacks_stays_unsure(text: str) -> None:
    assert Doubt.AXIS_MISSING in parse(text, Context(axes=("X", "Y", "B"))).doubts


@pytest.mark.parametrize(
    ("text", "doubt"),
    [
        ("insulation resistance above five celsius", Doubt.UNIT_UNSURE),
        ("humidity fifty volts", Doubt.UNIT_UNSURE),
        ("voltage two hundred ohms", Doubt.UNIT_UNSURE),
        ("six five thousand volts", Doubt.DIGITS_AMBIGUOUS),
    ],
)
def test_words_that_do_not_fit_one_another_are_asked_about(text: str, doubt: Doubt) -> None:
    assert doubt in parse(text).doubts


@pytest.mark.parametrize(
    "text",
    ["insulation five meg at five hundred volts after one minute", "temperature twenty degrees humidity forty percent",
     "winding resistance point eight ohms", "two hundred five thousand ohms", "insulation set five hundred volts"],
)  # fmt: skip
def test_words_that_fit_are_not(text: str) -> None:
    assert not {Doubt.UNIT_UNSURE, Doubt.DIGITS_AMBIGUOUS} & set(parse(text).doubts)


def test_the_test_and_a_usual_voltage_alone_tell_what_to_set() -> None:
    """Nobody names the test to tell that it collapsed; usual voltages: IEC 61557-2 and catalogues, from memory."""
    told = parse("insulation at five hundred volts")
    assert told.readings == ()
    assert told.context.test_voltage_set == Decimal(500)
    assert told == replace(parse("insulation set five hundred volts"), heard=told.heard)
    for words in ("insulation built five hundred volts", "insulation at three hundred volts", "at five hundred volts"):
        [reading] = parse(words).readings
        assert reading.quantity.qualifier is Qualifier.COLLAPSED
