"""The sources of the limits in a verdict, each once, with the remark that the word beside a limit stands for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any

from grading.limit import Limit, Origin


@dataclass(frozen=True)
class LimitSource:
    """One source as it was used.

    Attributes:
        document: Document and clause, or "Program's rule", "Common practice", "Shop profile".
        origin: The word that stands beside its limits.
        remark: How the figures were seen, or who set them and why.
        limits: Its limits, in the order met.
    """

    document: str
    origin: Origin
    remark: str
    limits: tuple[Limit, ...]


def sources_of(*objects: object) -> tuple[LimitSource, ...]:
    """Collect the sources of every limit in findings, drives, summaries or any other of grading's objects.

    Returns:
        Sorted by document; one row for each document, word and remark.
    """
    found: dict[tuple[str, Origin, str], dict[str, Limit]] = {}
    for limit in _limits(objects):
        key = (limit.document, limit.origin, _remark(limit))
        found.setdefault(key, {}).setdefault(limit.id, limit)
    return tuple(LimitSource(*key, tuple(found[key].values())) for key in sorted(found))


def _remark(limit: Limit) -> str:
    parts = [limit.status.value]
    if limit.of_shop:
        parts += ["shop profile", limit.decided_by, limit.reason]
    if limit.loosened_from is not None:
        parts.append(f"loosened from {limit.loosened_from:f} {limit.unit}")
    return "; ".join(part for part in parts if part)


def _limits(objects: Iterable[object]) -> list[Limit]:
    """Give every limit in some objects, in the order met; what is met again is gone through once."""
    found: list[Limit] = []
    _collect(objects, found, set())
    return found


def _collect(parts: Iterable[object], found: list[Limit], seen: set[int]) -> None:
    for part in parts:
        if isinstance(part, Limit):
            found.append(part)
            continue
        kind: Any = type(part)
        inside = _inside(kind)
        if inside is None or id(part) in seen:
            continue
        seen.add(id(part))
        _collect(inside(part), found, seen)


@cache
def _inside(kind: type) -> Callable[[Any], Iterable[object]] | None:
    """Give how to look into a type of object; None where it holds nothing."""
    if issubclass(kind, (str, bytes)):
        return None
    if is_dataclass(kind):
        names = [field.name for field in fields(kind)]
        return lambda record: [getattr(record, name) for name in names]
    return (lambda items: items) if issubclass(kind, Iterable) else None
