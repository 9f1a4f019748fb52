"""One way to write a value as JSON, and its SHA-256.

Canonical form: UTF-8, keys sorted, no spaces, only strings, whole numbers, true, false, null, lists and objects with
string keys. Fractions travel as strings, so no question of floating point ever arises. For such values the result
equals that of RFC 8785 as long as keys are ASCII, which ours are.

What is canonical is defined here in plain Python. msgspec writes and reads the same several times as fast, and is used
where what it gave can be checked: what it read is written again and must be the text that came, what it wrote is read
again and must be the value. Where it is not, or where it refuses, the plain way decides.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

import msgspec
from pydantic import JsonValue

JsonObject = dict[str, JsonValue]
"""Plain data as it is made for the trail, the page and the command line: nothing in it that has no JSON form."""

PlainData = dict[str, Any]
"""The same in the hands of who reads it: the shape of each answer is documented where it is made."""


class CanonicalError(ValueError):
    """A value has no canonical form; the message says where."""


def _refuse(number: str) -> Any:
    raise CanonicalError(f"The number {number} is not a whole one.")


# Made once: `json.dumps` and `json.loads` with arguments make a new one for each of a trail's entries.
# Circles need no check of their own: `_check` comes first, and what was read from text has none.
_ENCODER = json.JSONEncoder(
    ensure_ascii=False, check_circular=False, allow_nan=False, sort_keys=True, separators=(",", ":")
)
_DECODER = json.JSONDecoder(parse_float=_refuse, parse_constant=_refuse)


_FAST_ENCODER = msgspec.json.Encoder(order="sorted")
_FAST_DECODER = msgspec.json.Decoder(float_hook=_refuse)
# What the fast way says of what it cannot do: a text that is no JSON or too deep, a number or type without our form,
# a key that is no text, half a surrogate pair.
_REFUSED = (msgspec.MsgspecError, CanonicalError, ValueError, TypeError, RecursionError, OverflowError)

_ROW_TYPES = frozenset({str, int, type(None)})


def _check(value: object, where: str) -> None:
    if value is None or isinstance(value, (bool, int)):
        return
    if isinstance(value, str):
        # Such a text has no UTF-8 form: it could be neither hashed nor stored.
        if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
            raise CanonicalError(f"{where}: the text holds half a surrogate pair.")
    elif isinstance(value, (list, tuple)):
        for index, item in enumerate(value):
            _check(item, f"{where}[{index}]")
    elif isinstance(value, dict):
        for key, item in value.items():
            # RFC 8785 sorts keys by UTF-16 code units, Python by code points; for ASCII both orders are one.
            if not isinstance(key, str) or not key.isascii():
                raise CanonicalError(f"{where}: the key {key!r} is not ASCII text.")
            _check(item, f"{where}.{key}")
    else:
        raise CanonicalError(f"{where}: {type(value).__name__} has no canonical form; write it as text.")


def canonical(value: object) -> str:
    """Write a value as canonical JSON.

    Raises:
        CanonicalError: The value holds a fraction, bytes or another type without canonical form.
    """
    try:
        data = _FAST_ENCODER.encode(value)
        # ASCII alone, so that no key can be anything else.
        if data.isascii() and _FAST_DECODER.decode(data) == value:
            return data.decode("ascii")
    except _REFUSED:
        pass
    return _plain_canonical(value)


def _plain_canonical(value: object) -> str:
    _check(value, "$")
    return _ENCODER.encode(value)


def parsed_canonical(text: str) -> Any:
    """Read a text that must be canonical JSON; fractions, other spellings and keys named twice are refused.

    Raises:
        CanonicalError: It is not JSON, or not the canonical form of what it says.
    """
    try:
        if text.isascii():
            data = text.encode("ascii")
            value = _FAST_DECODER.decode(data)
            if _FAST_ENCODER.encode(value) == data:
                return value
    except _REFUSED:
        pass
    value = parsed(text)
    if _plain_canonical(value) != text:
        raise CanonicalError("Not in canonical form.")
    return value


def row_bytes(row: JsonObject) -> bytes | None:
    """Write a row of a table as one text that no other row has; None where it holds what no row of ours can."""
    if not _ROW_TYPES.issuperset(map(type, row.values())):  # bytes, a fraction: written, they could pass for others
        return None
    try:
        return _FAST_ENCODER.encode(row)
    except _REFUSED:  # half a surrogate pair
        return _ENCODER.encode(row).encode("utf-8", "surrogatepass")


def parsed(text: str) -> Any:
    """Read JSON text back; fractions are refused, since canonical text never holds one.

    Raises:
        CanonicalError: Not JSON, or with a fraction in it.
    """
    try:
        return _DECODER.decode(text)
    # Nesting too deep to parse is a damaged or hostile text as well, and no reason to stop.
    except (json.JSONDecodeError, RecursionError) as error:
        raise CanonicalError(f"Not JSON: {error}") from None


def sha256_hex(data: bytes | str) -> str:
    """Compute SHA-256 (FIPS 180-4) as 64 lower-case hex digits; text is taken as UTF-8."""
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()
