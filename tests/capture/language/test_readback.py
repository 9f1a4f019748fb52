"""Read-back: what is said aloud is understood again as the same reading."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from capture.language.parse import parse
from capture.language.readback import axis_words, number_words, read_back, statement, value_words
from capture.reading import Context, Reading
from grading.terms.quantity import DIMENSION_OF_KIND, UNITS, Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

DIGITS = st.builds(
    lambda whole, places: f"{whole}.{places}" if places else str(whole),
    st.integers(0, 9999),
    st.text("0123456789", max_size=2),
)
RESISTANCES = [kind for kind, dimension in DIMENSION_OF_KIND.items() if dimension == "resistance"]
BOUNDS = st.sampled_from([Qualifier.EQUAL, Qualifier.ABOVE, Qualifier.BELOW])
AXES = st.sampled_from([None, "X", "Y", "Z", "B", "C", "X2", "Z1", "SPINDLE"])
TERMINALS = st.sampled_from(
    [None, "A1-A2", "A1-PE", "U-V", "V-W", "W-U", "U-PE", "1-2", "1-PE", "T1-T3", "all-PE", "lead-lead", "lead-ground"]
)
VOLTS = st.sampled_from([None, Decimal(50), Decimal(100), Decimal(250), Decimal(500), Decimal(1000), Decimal(2500)])


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    kind = draw(st.sampled_from(list(QuantityKind)))
    codes = [code for code, unit in UNITS.items() if unit.dimension == DIMENSION_OF_KIND[kind]]
    quantity = Quantity(draw(DIGITS), draw(st.sampled_from(codes)), draw(BOUNDS))
    if kind not in RESISTANCES:
        return Reading(kind, quantity)
    insulation = kind is QuantityKind.INSULATION_RESISTANCE
    return Reading(
        kind,
        quantity,
        draw(AXES),
        draw(st.sampled_from([None, *Section])),
        draw(TERMINALS),
        None,
        draw(VOLTS) if insulation else None,
        draw(st.sampled_from([None, Decimal(15), Decimal(60), Decimal(600)])),
    )


@settings(deadline=None, max_examples=500)
@given(reading=readings())
def test_what_is_read_back_is_understood_as_the_same(reading: Reading) -> None:
    utterance = parse(read_back(reading), Context(kind=reading.kind))
    assert len(utterance.readings) == 1, read_back(reading)
    again = utterance.readings[0]
    assert again.quantity == reading.quantity
    for name in ("axis", "section", "terminals", "test_voltage_built", "elapsed_s"):
        assert getattr(again, name) == getattr(reading, name), (name, read_back(reading))
    assert utterance.command is None


@given(qualifier=st.sampled_from([Qualifier.OPEN, Qualifier.SHORT, Qualifier.COLLAPSED, Qualifier.NONE]))
def test_values_without_digits_are_understood_again(qualifier: Qualifier) -> None:
    reading = Reading(QuantityKind.INSULATION_RESISTANCE, Quantity(None, "MOhm", qualifier), terminals="U-PE")
    utterance = parse(read_back(reading), Context(kind=reading.kind))
    assert [again.quantity for again in utterance.readings] == [reading.quantity]


@given(built=st.integers(1, 499))
def test_a_collapse_keeps_both_voltages(built: int) -> None:
    quantity = Quantity(None, "MOhm", Qualifier.COLLAPSED)
    kind = QuantityKind.INSULATION_RESISTANCE
    reading = Reading(kind, quantity, test_voltage_set=Decimal(500), test_voltage_built=Decimal(built))
    again = parse(read_back(reading)).readings
    assert [(one.test_voltage_set, one.test_voltage_built) for one in again] == [(Decimal(500), Decimal(built))]
    assert again[0].quantity.qualifier is Qualifier.COLLAPSED


def test_the_sentence() -> None:
    reading = Reading(
        QuantityKind.INSULATION_RESISTANCE,
        Quantity("2.2", "GOhm"),
        "X",
        Section.MOTOR_ALONE,
        "1-PE",
        test_voltage_built=Decimal(500),
    )
    expected = "X-ray axis, motor alone, lead one to ground: two point two gigohms at five hundred volts. Right?"
    assert read_back(reading) == expected


def test_every_digit_is_said() -> None:
    assert number_words("3470", "MOhm") == "three four seven zero megohms"
    assert number_words("0.80", "Ohm") == "zero point eight zero ohms"
    assert number_words("1", "MOhm") == "one megohm"
    assert value_words(Reading(None, Quantity("4", "GOhm", Qualifier.ABOVE))) == "greater than four gigohms"


def test_axes_are_said_by_the_alphabet() -> None:
    assert axis_words("X") == "X-ray axis"
    assert axis_words("Z1") == "Zulu one axis"
    assert axis_words("SPINDLE") == "spindle"
    assert axis_words("LOADER") == "LOADER axis"


def test_the_ohmmeter_is_named_beside_a_test_point_to_ground() -> None:
    """To ground, "wide open" means different things by ohmmeter and by insulation tester."""
    open_ = Quantity(None, "Ohm", Qualifier.OPEN)
    assert "ohmmeter" in statement(Reading(QuantityKind.RESISTANCE_TO_GROUND, open_, terminals="U-PE")).lower()
    assert "ohmmeter" not in statement(Reading(QuantityKind.INSULATION_RESISTANCE, open_, terminals="U-PE")).lower()
