"""Instrument profiles as files: TOML or JSON written by a person, and the generic ones that ship.

name = "tester-4000"
title = "Hand-held insulation tester, 4000 counts"
source = "its manual, page 12"

[[range]]                       # one for each range
unit = "MOhm"
top = "40.00"                   # the largest number it shows, written as it shows it
bottom = "3.60"                 # optional: below this it changes to a finer range
test_voltage = [250, 500]       # optional: only at these, V
negative = false                # optional: shows numbers below nothing
leading_zeros = false           # optional: shows 00.80 for 0.80

[[over]]                        # what is shown beyond the end; leave out where you do not know
shown = ">4000"                 # or "OL"
unit = "MOhm"
test_voltage = [500]            # optional
"""

from __future__ import annotations

import json
import re
import tomllib
from decimal import Decimal, InvalidOperation
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from capture.display.errors import (
    FlagNotBoolean,
    NoSuchProfile,
    OverMarkInvalid,
    ProfileFileInvalid,
    ProfileFileNoData,
    ProfileFileTooLarge,
    ProfileFileUnreadable,
    ProfileKeyUnknown,
    ProfileNameInvalid,
    ProfileNoTable,
    ProfileNumberInvalid,
    ProfilePartNoTable,
    ProfileUnitUnknown,
    ProfileVoltageInvalid,
    RangeCountWrong,
    RangeUpsideDown,
    TooManyOverMarks,
)
from capture.display.profile import Over, Profile, Range
from capture.errors import InstrumentProfileError
from grading.terms.quantity import UNITS, parse_digits

MAX_ROWS = 60
"""Ranges, or over-range marks, in one profile."""
MAX_PROFILE_BYTES = 200_000
"""Bytes of a profile file."""

_KEYS = {"name", "title", "source", "range", "over"}
_RANGE_KEYS = {"unit", "top", "bottom", "test_voltage", "negative", "leading_zeros"}
_OVER_KEYS = {"shown", "unit", "test_voltage"}


def read_profile(data: object) -> Profile:
    """Build a profile from plain data (the keys of this module's docstring).

    Raises:
        InstrumentProfileError: Something is missing, misspelt or no number; the message names it.
    """
    if not isinstance(data, dict):
        raise ProfileNoTable()
    _known(data, _KEYS, "the profile")
    name = str(data.get("name", ""))
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,40}", name):
        raise ProfileNameInvalid(name=name)
    rows, overs = data.get("range", []), data.get("over", [])
    if not isinstance(rows, list) or not isinstance(overs, list) or not 1 <= len(rows) <= MAX_ROWS:
        raise RangeCountWrong(name=name, most=MAX_ROWS)
    if len(overs) > MAX_ROWS:
        raise TooManyOverMarks(name=name, most=MAX_ROWS)
    return Profile(
        name,
        str(data.get("title") or name)[:200],
        tuple(_range(row, f"range {i + 1}") for i, row in enumerate(rows)),
        tuple(_over(row, f"over {i + 1}") for i, row in enumerate(overs)),
        str(data.get("source", ""))[:400],
    )


def _known(data: dict[str, Any], keys: set[str], place: str) -> None:
    if unknown := sorted(set(data) - keys):
        raise ProfileKeyUnknown(place=place, key=unknown[0], known=tuple(sorted(keys)))


def _table(data: object, keys: set[str], place: str) -> dict[str, Any]:
    if not isinstance(data, dict):
        raise ProfilePartNoTable(place=place)
    _known(data, keys, place)
    return data


def _range(data: object, place: str) -> Range:
    row = _table(data, _RANGE_KEYS, place)
    top, bottom = _number(row.get("top"), f"{place}, top"), _number(row.get("bottom", "0"), f"{place}, bottom")
    if parse_digits(bottom) > parse_digits(top) or parse_digits(top) <= 0:
        raise RangeUpsideDown(place=place, bottom=bottom, top=top)
    flags = {name: row.get(name, False) for name in ("negative", "leading_zeros")}
    for name, value in flags.items():
        if not isinstance(value, bool):
            raise FlagNotBoolean(place=place, flag=name)
    return Range(_unit(row.get("unit"), place), top, bottom, _volts(row, place), **flags)


def _over(data: object, place: str) -> Over:
    row = _table(data, _OVER_KEYS, place)
    shown = str(row.get("shown", "")).replace(" ", "")
    if shown.startswith(">"):
        _number(shown[1:], f"{place}, shown")
        return Over(shown, _unit(row.get("unit"), place), _volts(row, place))
    if not re.fullmatch(r"[0O]\.?F?\.?L|∞", shown):
        raise OverMarkInvalid(place=place, shown=shown)
    unit = row.get("unit")
    return Over(shown, None if unit is None else _unit(unit, place), _volts(row, place))


def _number(value: object, place: str) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"\d{1,8}(\.\d{1,6})?", value):
        raise ProfileNumberInvalid(place=place, value=value)
    return value


def _unit(value: object, place: str) -> str:
    if not isinstance(value, str) or value not in UNITS:
        raise ProfileUnitUnknown(place=place, value=value, known=tuple(UNITS))
    return value


def _volts(row: dict[str, Any], place: str) -> tuple[Decimal, ...]:
    given = row.get("test_voltage", [])
    result = []
    for value in given if isinstance(given, list) else [given]:
        try:
            number = Decimal(str(value))
        except InvalidOperation:
            number = Decimal("NaN")
        if isinstance(value, bool) or not number.is_finite() or not 0 < number <= 20_000:
            raise ProfileVoltageInvalid(place=place, value=value)
        result.append(number)
    return tuple(result)


def load_profile(path: Path) -> Profile:
    """Read a profile file: TOML, or JSON where its name ends in ".json".

    Raises:
        InstrumentProfileError: It cannot be read or understood; the message names file and place.
    """
    try:
        raw = path.read_bytes()[: MAX_PROFILE_BYTES + 1]
        if len(raw) > MAX_PROFILE_BYTES:
            raise ProfileFileTooLarge(file=path.name, most=MAX_PROFILE_BYTES // 1000)
        text = raw.decode("utf-8")
        data = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise ProfileFileUnreadable(path=str(path), cause=error.strerror) from None
    except (ValueError, RecursionError) as error:
        raise ProfileFileNoData(file=path.name, cause=str(error)) from None
    try:
        return read_profile(data)
    except InstrumentProfileError as error:
        raise ProfileFileInvalid(file=path.name, problem=error) from None


@cache
def shipped() -> dict[str, Profile]:
    """Load the generic profiles by name."""
    found = {}
    for entry in sorted(files("capture.display").joinpath("instruments").iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            profile = read_profile(tomllib.loads(entry.read_text(encoding="utf-8")))
            found[profile.name] = profile
    return found


def profile_from(given: object) -> Profile:
    """Give the shipped profile of a name, or the one that plain data writes out.

    Raises:
        NoSuchProfile: No shipped profile has that name.
        InstrumentProfileError: The data is no profile; the message names the place.
    """
    if not isinstance(given, str):
        return read_profile(given)
    if given not in shipped():
        raise NoSuchProfile(name=given, shipped=tuple(shipped()))
    return shipped()[given]


def find_profile(name: str) -> Profile:
    """Find a profile by the name of a shipped one, or by the path of a file.

    Raises:
        InstrumentProfileError: There is no such profile or file, or it is wrong.
    """
    if name in shipped():
        return shipped()[name]
    path = Path(name)
    if path.suffix.lower() in (".toml", ".json") or path.exists():
        return load_profile(path)
    raise NoSuchProfile(name=name, shipped=tuple(shipped()))
