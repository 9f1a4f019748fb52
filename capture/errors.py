"""Errors of `capture`: each class has a stable code and one sentence that says what to do.

TemplatedError      how an error is declared here and in `api.errors`
└── CaptureError
    ├── ModelError                 no speech model, or a broken one
    ├── MediaError                 a clip or photo that cannot be decoded or is over a limit
    ├── EngineError                a recognition engine that failed, hung or is not installed
    └── InstrumentProfileError     an instrument profile that cannot be understood

What is raised lies beside what raises it: `capture.display.errors`, `capture.speech.errors`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import dataclass_transform


@dataclass_transform(kw_only_default=True, eq_default=False)
class TemplatedError(Exception):
    """An error whose code and sentences are templates of its class, filled with the facts of the case.

    A subclass is written like a data class: its annotated names are the facts, given by keyword and kept as attributes,
    so that `raise NoSuchJob(job_id=job_id)` needs no words and whoever catches it can read `problem.job_id`. Templates
    are those of `str.format`; a tuple is shown with commas between its members, "none" where it is empty. A class that
    lacks one of the three is a family, for `except` clauses, and is never raised itself.

    Attributes:
        code: Stable machine-readable code, e.g. "model_missing". Classes that tell one fault apart by circumstances
            inherit it from their family.
        message: What happened, one sentence.
        remedy: What the person can do about it, one sentence; empty where the message says it already.
    """

    code: str
    message: str
    remedy: str

    def __init_subclass__(cls) -> None:
        """Give each subclass a constructor that takes its facts."""
        super().__init_subclass__()
        dataclass(kw_only=True, eq=False, repr=False)(cls)

    def __post_init__(self) -> None:
        """Fill the templates."""
        kind = type(self)
        parts = ("code", "message", "remedy")
        assert all(hasattr(kind, part) for part in parts), f"{kind.__name__} is a family; raise a member of it."
        facts = {
            name: ", ".join(map(str, fact)) or "none" if isinstance(fact, tuple) else fact
            for name, fact in vars(self).items()
        }
        self.code, self.message, self.remedy = (getattr(kind, part).format_map(facts) for part in parts)
        super().__init__(" ".join(filter(None, (self.message, self.remedy))))

    def __reduce__(self) -> tuple[Callable[..., TemplatedError], tuple[type[TemplatedError], dict[str, object]]]:
        """Send the facts, not the sentences, when an error passes from one process to another."""
        facts = {name: fact for name, fact in vars(self).items() if name not in ("code", "message", "remedy")}
        return _made_again, (type(self), facts)


def _made_again(kind: type[TemplatedError], facts: dict[str, object]) -> TemplatedError:
    return kind(**facts)


class CaptureError(TemplatedError):
    """Any error of the package; its message says what to do as well."""

    remedy = ""


class ModelError(CaptureError):
    """A speech model that is missing, incomplete or does not load."""


class MediaError(CaptureError):
    """A clip or photo of an unknown type, damaged or over a limit."""


class EngineError(CaptureError):
    """A recognition engine that failed or is not installed."""


class InstrumentProfileError(CaptureError):
    """An instrument profile that cannot be understood; the message names the place."""
