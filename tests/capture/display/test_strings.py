"""Laws of display strings, over all numbers that a display can show."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from capture.display.strings import SYMBOLS, on_its_head, parse_line, parse_main
from grading.terms.quantity import UNITS, Qualifier

DIGITS = st.from_regex(r"-?[0-9]{1,6}(\.[0-9]{1,4})?", fullmatch=True)
UNIT = st.sampled_from(sorted(UNITS))
RESISTANCE = st.sampled_from([code for code, u in UNITS.items() if u.dimension == "resistance"])


@given(DIGITS, UNIT)
def test_digits_are_kept_as_shown(digits: str, unit: str) -> None:
    quantity = parse_main(digits, unit)
    assert quantity is not None
    assert quantity.digits == digits
    assert quantity.value == Decimal(digits)
    assert quantity.qualifier is Qualifier.EQUAL


@given(DIGITS.filter(lambda d: not d.startswith("-")), UNIT, st.sampled_from("<>"))
def test_a_sign_before_the_digits_is_a_bound_with_the_same_digits(digits: str, unit: str, sign: str) -> None:
    quantity = parse_main(f"{sign} {digits}", unit)
    assert quantity is not None
    assert quantity.digits == digits
    assert quantity.qualifier.value == sign


@given(st.text(max_size=12))
def test_any_text_gives_a_quantity_or_nothing(text: str) -> None:
    quantity = parse_main(text, None)
    assert quantity is None or quantity.digits is None or quantity.value is not None


@given(st.text(alphabet="0123456789.-<>OL Ω:VMks", max_size=20))
def test_any_line_gives_something_or_nothing(line: str) -> None:
    shown = parse_line(line)
    assert shown is None or shown.elapsed_s is None or shown.elapsed_s >= 0


@given(
    DIGITS.filter(lambda d: not d.startswith("-")),
    RESISTANCE,
    st.integers(0, 5000),
    st.integers(0, 20),
    st.integers(0, 59),
)
def test_a_line_gives_back_its_fields(digits: str, unit: str, volts: int, minutes: int, seconds: int) -> None:
    shown = parse_line(f"{digits} {UNITS[unit].symbol} {volts}V {minutes}:{seconds:02d}")
    assert shown is not None
    assert shown.main is not None
    assert (shown.main.digits, shown.main.unit) == (digits, unit)
    assert shown.test_voltage == volts
    assert shown.elapsed_s == minutes * 60 + seconds


def test_every_unit_can_be_written_on_a_display() -> None:
    assert set(SYMBOLS.values()) == set(UNITS)


@given(st.text(alphabet="0125689L7", min_size=1, max_size=6))
def test_turned_twice_a_string_is_itself(text: str) -> None:
    assert on_its_head(on_its_head(text)) == text


def test_what_seven_segments_say_on_their_head() -> None:
    """Segments a to g as data sheets name them: half a turn changes a and d, b and e, c and f."""
    lit = {"0": "abcdef", "1": "bc", "2": "abged", "5": "afgcd", "6": "afgedc", "8": "abcdefg", "9": "abcdfg"}
    turned = str.maketrans("abcdef", "defabc")
    for char, segments in lit.items():
        same = {c for c, own in lit.items() if set(own) == set(segments.translate(turned))} or {"1"}  # a 1 moves aside
        assert on_its_head(char) in same
    assert (on_its_head("205"), on_its_head("70"), on_its_head("34")) == ("502", "0L", "")
