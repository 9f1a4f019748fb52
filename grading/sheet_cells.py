"""One cell of a sheet at a time: words, numbers, units, dates; each refusal says what to write instead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TypeVar

from grading.admission import Domain, why_not
from grading.entries import Impossible
from grading.sheet_columns import AT_EXAMPLE, CHECKABLE, DATE_EXAMPLE, DOMAINS, HOLDS, SIGNS, SYMBOLS, WORDS
from grading.terms.quantity import (
    DIMENSION_OF_KIND,
    UNITS,
    Qualifier,
    Quantity,
    QuantityKind,
    UnitError,
    parse_digits,
    unit,
)

_E = TypeVar("_E", bound=StrEnum)
Row = Mapping[str, str]
"""One row: text by column, empty cells left out."""


def read_quantity(row: Row, kind: QuantityKind) -> Quantity:
    """Read value and unit of a row.

    Raises:
        ValueError: Either is missing, misspelt, or does not fit the kind.
    """
    raw = row["value"].replace(" ", "")
    word = WORDS.get(raw.lower())
    code = read_unit(row["unit"], kind) if row.get("unit") else None
    if word is not None:
        return Quantity(None, code, word)
    qualifier = SIGNS.get(raw[:1], Qualifier.EQUAL)
    digits = raw.removeprefix(">").removeprefix("<")
    if "," in digits:
        raise ValueError(f"Value {raw!r} holds a comma; write a decimal point and no thousands separator.")
    parse_digits(digits)
    if code is None:
        raise ValueError("Column unit is empty; a number without its unit is no reading.")
    return Quantity(digits, code, qualifier)


def read_unit(written: str, kind: QuantityKind) -> str:
    """Read a unit, as UCUM code or symbol.

    Raises:
        UnitError: It is not known, or does not fit the kind.
    """
    plain = written.replace("\u2126", "\u03a9")
    code = SYMBOLS.get(plain, plain)
    wanted = DIMENSION_OF_KIND[kind]
    known = unit(code)
    if known.dimension != wanted:
        fitting = ", ".join(c for c, u in UNITS.items() if u.dimension == wanted)
        raise UnitError(f"{code} does not fit {kind.value.replace('_', ' ')}; use one of {fitting}.")
    return code


def read_choice(text: str, words: Mapping[str, _E], members: type[_E], column: str) -> _E:
    """Read a word from a closed list.

    Raises:
        ValueError: It is not on the list.
    """
    plain = text.strip().lower().replace("_", " ")
    by_word = {**{m.value.replace("_", " "): m for m in members}, **words}
    if plain in by_word:
        return by_word[plain]
    known = dict.fromkeys([*words, *(m.value for m in members)])
    raise ValueError(f"{text!r} in column {column} is not known; use one of {', '.join(known)}.")


def read_number(row: Row, column: str) -> Decimal | None:
    """Read a number that can be; None where the cell is empty.

    Raises:
        ValueError: It is no number, or lies where its column's values cannot lie.
    """
    text = row.get(column)
    if text is None:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal("NaN")
    found = why_not(value, DOMAINS[column])
    if found is None:
        return value
    why, bound = found
    if why is Impossible.NO_NUMBER:
        raise ValueError(f"{text!r} in column {column} is no number; it must hold {HOLDS[column]}.")
    if why is Impossible.NEGATIVE:
        raise ValueError(f"{text} in column {column} must not be negative.")
    if bound is None:
        raise ValueError(f"{text} in column {column} must be above 0.")
    raise ValueError(f"{text} in column {column} cannot be: it is {why.value} {bound.value:f}.")


def read_time(text: str | None) -> dt.datetime | None:
    """Read a time; one without time zone is taken as UTC.

    Raises:
        ValueError: It is no time, or in no year that can be.
    """
    if text is None:
        return None
    try:
        found = dt.datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} in column at is no date or time; write {AT_EXAMPLE}.") from None
    found = found if found.tzinfo else found.replace(tzinfo=dt.UTC)
    if why_not(found, Domain.TIME) is not None:
        raise ValueError(f"{text!r} in column at is in a year that cannot be; write {AT_EXAMPLE}.")
    return found


def read_date(row: Row, column: str) -> dt.date | None:
    """Read a date; None where the cell is empty.

    Raises:
        ValueError: It is no date, or in no year that can be.
    """
    text = row.get(column)
    if text is None:
        return None
    try:
        found = dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} in column {column} is no date; write {DATE_EXAMPLE}.") from None
    if why_not(Decimal(found.year), Domain.YEAR) is not None:
        raise ValueError(f"{text!r} in column {column} is in a year that cannot be; write {DATE_EXAMPLE}.")
    return found


def read_checked(columns: str) -> frozenset[str]:
    """Read the columns whose values were checked, as fields of `grading.measurement`.

    Raises:
        ValueError: A column is none that anything is asked about.
    """
    wrong = [name for name in columns.split() if name not in CHECKABLE]
    if wrong:
        raise ValueError(f"{wrong[0]!r} in column checked is not known; use any of {', '.join(CHECKABLE)}.")
    return frozenset(CHECKABLE[name] for name in columns.split())
