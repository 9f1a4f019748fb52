"""Errors of `capture`: each has a stable code and one sentence that says what to do.

CaptureError
├── ModelError      no speech model, or a broken one
├── MediaError      a clip or photo that cannot be decoded or is over a limit
└── EngineError     a recognition engine that failed, hung or is not installed
"""

from __future__ import annotations


class CaptureError(Exception):
    """Base of the package's errors.

    Attributes:
        code: Stable machine-readable code, e.g. "model_missing".
    """

    def __init__(self, code: str, message: str) -> None:
        """Keep the code beside the sentence for the person."""
        super().__init__(message)
        self.code = code


class ModelError(CaptureError):
    """The speech model is missing, incomplete or does not load."""


class MediaError(CaptureError):
    """A clip or photo is of an unknown type, damaged or over a limit."""


class EngineError(CaptureError):
    """A recognition engine failed or is not installed."""
