"""The engines behind recognition, as the server sees them: small protocols, and the real ones behind them.

Tests of the conversation hand in their own; the real ones load lazily, since a speech model takes memory and time.
"""

from __future__ import annotations

import io
import threading
import warnings
from pathlib import Path
from typing import Protocol

from capture.reading import Context, Seen, Utterance

Quad = tuple[tuple[float, float], ...]


class Stream(Protocol):
    """One utterance being spoken."""

    def accept(self, pcm: bytes) -> str:
        """Take 16 kHz mono 16-bit samples; returns the words so far."""
        ...


class Engines(Protocol):
    """Hearing and seeing."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        """Understand a clip.

        Raises:
            capture.errors.CaptureError: It cannot be decoded, or the engine failed.
        """
        ...

    def see(self, data: bytes) -> Seen:
        """Read the displays in a photo.

        Raises:
            capture.errors.CaptureError: It cannot be decoded, or the engine failed.
        """
        ...

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """Cut a display out of a photo and rectify it; returns a PNG file."""
        ...

    def stream(self) -> Stream:
        """Begin to listen to one utterance."""
        ...


def crop_png(data: bytes, quad: Quad, longest: int = 1200) -> bytes:
    """Cut a quadrilateral out of a photo, rectified, as PNG.

    Args:
        data: The photo.
        quad: Corners in pixels after EXIF orientation, clockwise from top left.
        longest: Longest side of the result, pixels.
    """
    from PIL import Image, ImageOps

    def length(first: int, second: int) -> float:
        (x1, y1), (x2, y2) = quad[first], quad[second]
        return float(((x1 - x2) ** 2 + (y1 - y2) ** 2) ** 0.5)

    width = max(length(0, 1), length(3, 2), 1.0)
    height = max(length(0, 3), length(1, 2), 1.0)
    scale = min(1.0, longest / max(width, height))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    top_left, top_right, bottom_right, bottom_left = quad
    corners = (*top_left, *bottom_left, *bottom_right, *top_right)  # the order that Pillow's QUAD wants
    with warnings.catch_warnings(), Image.open(io.BytesIO(data)) as opened:
        warnings.simplefilter("ignore")
        upright = ImageOps.exif_transpose(opened).convert("RGB")
        cut = upright.transform(size, Image.Transform.QUAD, corners, Image.Resampling.BICUBIC)
    out = io.BytesIO()
    cut.save(out, "PNG")
    return out.getvalue()


class RealEngines:
    """The engines of `capture`, loaded at first use."""

    def __init__(self, model: Path | None = None) -> None:
        """Keep where the speech model lies; None is the one that ships."""
        self._model = model
        self._lock = threading.Lock()

    def hear(self, data: bytes, context: Context) -> Utterance:
        """See `Engines.hear`."""
        from capture.speech.understand import hear_clip

        return hear_clip(data, context, model_path=self._model)

    def see(self, data: bytes) -> Seen:
        """See `Engines.see`."""
        from capture.display import see_photo

        return see_photo(data)

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """See `Engines.crop`."""
        return crop_png(data, quad)

    def stream(self) -> Stream:
        """See `Engines.stream`."""
        from capture.speech.stream import Listener

        return Listener(self._model)
