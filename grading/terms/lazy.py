"""A property that is computed once: as `functools.cached_property`, without the lock that Python 3.11 takes for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar, overload

T = TypeVar("T")


class lazy(Generic[T]):  # noqa: N801 - used as a decorator, like `property`
    """Compute an attribute at its first use and keep it in the instance, frozen ones too.

    Example (computed once):
        >>> class Circle:
        ...     @lazy
        ...     def area(self) -> str:
        ...         return "computed"
        >>> circle = Circle()
        >>> circle.area, "area" in vars(circle)
        ('computed', True)
    """

    def __init__(self, compute: Callable[[Any], T]) -> None:
        """Remember how it is computed."""
        self._compute = compute
        self.__doc__ = compute.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        """Remember what it is called."""
        self._name = name

    @overload
    def __get__(self, instance: None, owner: type) -> lazy[T]: ...
    @overload
    def __get__(self, instance: object, owner: type) -> T: ...
    def __get__(self, instance: object | None, owner: type) -> lazy[T] | T:
        """Compute and keep; Python asks here only until the instance has it."""
        if instance is None:
            return self
        value = self._compute(instance)
        instance.__dict__[self._name] = value
        return value
