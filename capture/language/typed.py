"""Numbers as people type them, by whatever habit of their country, to plain notation."""

from __future__ import annotations

import re

_GROUPING = re.compile(r"(?<=\d)[\s'’_](?=\d{3}(?!\d))")


def plain_number(text: str) -> str:
    """Write a typed number in plain notation: "0,80" as "0.80", "1 234,5" and "1.234,5" as "1234.5".

    Digits after the point stay as they were typed. Anything that is no such number is given back as it is.

    Raises:
        ValueError: It can be read in two ways ("1,234").
    """
    text = _GROUPING.sub("", text.strip())
    commas, points = text.count(","), text.count(".")
    if commas and points:
        decimal = max(text.rfind(","), text.rfind("."))
        grouping = "." if text[decimal] == "," else ","
        return text.replace(grouping, "").replace(text[decimal], ".")
    if commas == 1:
        whole, _, rest = text.partition(",")
        if len(rest) == 3 and whole.strip("+-") not in ("", "0") and len(whole.strip("+-")) <= 3:
            raise ValueError(
                f"{text!r} can be {whole}.{rest} or {whole}{rest}: type it with a point, or without comma."
            )
        return text.replace(",", ".")
    if commas > 1 or points > 1:
        mark = "," if commas else "."
        groups = text.strip("+-").split(mark)
        if all(len(group) == 3 for group in groups[1:]) and 1 <= len(groups[0]) <= 3:
            return text.replace(mark, "")
    return text
