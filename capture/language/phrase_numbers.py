"""Numbers as technicians say them, drawn at random: words together with the digits they mean."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal

from capture.language.say import ONES, below_hundred, cardinal

Spoken = tuple[list[str], str]


def _digit(rng: random.Random, digit: str) -> str:
    if digit == "0" and rng.random() < 0.4:
        return "oh"
    if digit == "9" and rng.random() < 0.1:
        return "niner"
    return ONES[int(digit)]


def decimal(rng: random.Random, top: int = 999) -> Spoken:
    """Make a number with a point: "two point two", "oh point eight", "point oh seven", "fifteen point two five"."""
    places = "".join(rng.choices("0123456789", k=rng.choices([1, 2, 3], [62, 34, 4])[0]))
    point = rng.choices(["point", "dot", "decimal"], [94, 4, 2])[0]
    tail = [_digit(rng, digit) for digit in places]
    roll = rng.random()
    if roll < 0.18:
        return [point, *tail], f"0.{places}"
    if roll < 0.42:
        return [rng.choices(["zero", "oh", "nought"], [55, 40, 5])[0], point, *tail], f"0.{places}"
    whole = rng.choice([rng.randint(1, 9), rng.randint(1, 9), rng.randint(10, 99), rng.randint(100, 999)])
    whole = min(whole, top)
    words = cardinal(whole) if whole < 100 or rng.random() < 0.4 else [_digit(rng, d) for d in str(whole)]
    return [*words, point, *tail], f"{whole}.{places}"


def whole(rng: random.Random, top: int = 9999) -> Spoken:
    """Make a whole number as a cardinal: "fifteen", "eight hundred", "three thousand four hundred seventy"."""
    choices = [rng.randint(0, 9), rng.randint(10, 19), rng.choice(range(20, 100, 10)), rng.randint(20, 99)]
    choices += [rng.randint(1, 9) * 100, rng.randint(100, 999), rng.randint(1, 9) * 1000, rng.randint(1000, 9999)]
    number = rng.choices([c if c <= top else c % (top + 1) for c in choices], [16, 14, 18, 14, 14, 12, 5, 7])[0]
    words = cardinal(number, use_and=rng.random() < 0.3)
    if number // 100 == 1 and rng.random() < 0.5:
        words[:2] = ["a_hundred"]
    elif number // 1000 == 1 and rng.random() < 0.3:
        words[:2] = ["a_thousand"]
    return words, str(number)


def joined_pairs(rng: random.Random) -> Spoken:
    """Make groups below a hundred said one after the other: "five fifty", "thirty four seventy", "one oh five"."""
    roll = rng.random()
    if roll < 0.2:
        first, last = rng.randint(1, 9), rng.randint(1, 9)
        return [ONES[first], "oh", ONES[last]], f"{first}0{last}"
    if roll < 0.35:
        first = rng.randint(11, 99)
        first += first % 10 == 0
        return [*below_hundred(first), "hundred"], f"{first}00"
    first = rng.randint(1, 9) if roll < 0.75 else rng.randint(10, 99)
    second = rng.choice([rng.randint(10, 19), rng.randint(2, 9) * 10, rng.randint(20, 99)])
    if first >= 20 and first % 10 == 0 and second < 10:
        first += 1
    return [*below_hundred(first), *below_hundred(second)], f"{first}{second}"


def digit_string(rng: random.Random) -> Spoken:
    """Make digits one by one: "three four seven zero", "five oh oh"."""
    digits = rng.choice("123456789") + "".join(rng.choices("0123456789", k=rng.randint(1, 3)))
    return [_digit(rng, digit) for digit in digits], digits


def spoken_number(rng: random.Random, *, joined: bool, top: int = 9999) -> Spoken:
    """Make a number in any of the forms above.

    Args:
        rng: Random generator; the same state gives the same number.
        joined: Whether pairs and digit strings may occur; people use them before meg, gig and k.
        top: Largest whole part.
    """
    forms: list[Callable[[], Spoken]] = [lambda: decimal(rng, min(top, 999)), lambda: whole(rng, top)]
    weights = [46, 54]
    if joined:
        forms += [lambda: joined_pairs(rng), lambda: digit_string(rng)]
        weights = [34, 38, 18, 10]
    return rng.choices(forms, weights)[0]()


def fraction(rng: random.Random, code: str) -> Spoken:
    """Make a fraction with its unit: "half a meg", "two and a half ohms", "three quarters of an ohm"."""
    one = {"MOhm": "meg", "GOhm": "gig", "kOhm": "k", "Ohm": "ohm"}.get(code)
    many = {"MOhm": "meg", "GOhm": "gig", "kOhm": "k", "Ohm": "ohms", "mOhm": "milliohms", "TOhm": "teraohms"}
    plural = many.get(code, "microohms")
    tails = {"and_a_half": "5", "and_a_quarter": "25", "and_three_quarters": "75"}
    tail = rng.choices(list(tails), [70, 20, 10])[0]
    if one is None or rng.random() < 0.4:
        number = rng.randint(1, 20)
        return [*below_hundred(number), tail, plural], f"{number}.{tails[tail]}"
    roll = rng.random()
    if code in ("MOhm", "GOhm") and roll < 0.25:
        return [f"a_{one}", tail], f"1.{tails[tail]}"
    if roll < 0.6:
        return [rng.choice(["half", "half_an" if one == "ohm" else "half_a"]), one], "0.5"
    if roll < 0.75:
        return [rng.choice(["quarter", "a_quarter", "quarter_of_an" if one == "ohm" else "quarter_of_a"]), one], "0.25"
    if roll < 0.9:
        start = "three_quarters_of_an" if one == "ohm" else "three_quarters_of_a"
        return [rng.choice(["three_quarters", start]), one], "0.75"
    number = rng.randint(1, 9)
    tenths = [ONES[number], "tenth" if number == 1 else "tenths", "of_an" if one == "ohm" else "of_a", one]
    return tenths, f"0.{number}"


def tester_volts(rng: random.Random) -> tuple[list[str], Decimal]:
    """Draw one of the usual test voltages, in V, with its words."""
    words, volts = rng.choice([
        (["five", "hundred"], 500), (["five", "hundred"], 500), (["two", "fifty"], 250), (["a_hundred"], 100),
        (["two", "hundred", "fifty"], 250), (["a_thousand"], 1000), (["one", "thousand"], 1000), (["fifty"], 50),
        (["one", "hundred"], 100), (["two", "hundred", "and", "fifty"], 250), (["twenty", "five", "hundred"], 2500),
        (["five", "thousand"], 5000),
    ])  # fmt: skip
    return list(words), Decimal(volts)


def volts_words(rng: random.Random) -> tuple[list[str], Decimal]:
    """Draw a voltage that the tester built, in V, with its words."""
    number = rng.choice([rng.randint(1, 9) * 100, rng.randint(1, 60) * 10, rng.randint(490, 540), rng.randint(5, 99)])
    words = cardinal(number, use_and=rng.random() < 0.2)
    if number == 100 and rng.random() < 0.7:
        words = ["a_hundred"]
    elif 110 <= number < 1000 and number % 100 >= 10 and rng.random() < 0.4:
        words = [*below_hundred(number // 100), *below_hundred(number % 100)]
    return words, Decimal(number)
