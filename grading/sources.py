"""The sources of the limits in a verdict, each once, with the remark that the word beside a limit stands for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass

from grading.limit import Limit, Origin


@dataclass(frozen=True)
class LimitSource:
    """One source as it was used.

    Attributes:
        document: Document and clause, or "House rule", "Common practice", "Shop profile".
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


def _limits(found: object) -> Iterator[Limit]:
    if isinstance(found, Limit):
        yield found
    elif is_dataclass(found) and not isinstance(found, type):
        for field in fields(found):
            yield from _limits(getattr(found, field.name))
    elif isinstance(found, Iterable) and not isinstance(found, (str, bytes)):
        for part in found:
            yield from _limits(part)
