"""Records: frozen for whoever reads the code and for the type checker, and cheap to make.

`dataclass(frozen=True)` sets every field through `object.__setattr__`, about eight times the price of an assignment;
grading makes a dozen records for each reading, and that was a quarter of its time. So nothing stops Python itself from
setting a field of a record; mypy, which the tree passes, does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def record(cls: type[T]) -> type[T]:
    """Make a class of annotated fields a record with slots, compared and hashed by its fields.

    Example (as a frozen dataclass):
        >>> @record
        ... class Pair:
        ...     one: int
        ...     two: int = 2
        >>> Pair(1), Pair(1) == Pair(1, 2), hash(Pair(1)) == hash(Pair(1, 2))
        (Pair(one=1, two=2), True, True)
    """
    return dataclass(slots=True, unsafe_hash=True)(cls)
