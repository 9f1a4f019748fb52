"""Reads instrument displays in photos: `see_photo` one photo, `see_burst` several of one display, `crop_of` a cut-out.

Opening a photo: `picture`. Finding displays: `finder`. Rectified views: `views`. The networks: `networks`. Marks and
fields: `looks`, `marks`, `fields`. What a string means: `strings`. When to refuse: `acceptance`, `refusal`. What an
instrument can show at all: `profile`, `check`, and with what a visit expects: `expected`; generic profiles lie in
`instruments/`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from capture.display.burst import Burst
    from capture.display.profile import Profile
    from capture.reading import Seen
    from grading.terms.quantity import QuantityKind

__all__ = ["crop_of", "see_burst", "see_photo"]


def see_photo(
    data: bytes,
    *,
    crop: bool = False,
    corners: tuple[tuple[float, float], ...] | None = None,
    profile: Profile | None = None,
    kind: QuantityKind | None = None,
) -> Seen:
    """Read the displays in a photo; see `capture.display.see.see_photo`."""
    from capture.display import see

    return see.see_photo(data, crop=crop, corners=corners, profile=profile, kind=kind)


def see_burst(
    frames: Sequence[bytes], *, crop: bool = False, profile: Profile | None = None, kind: QuantityKind | None = None
) -> Burst:
    """Read one display from several photos of it; see `capture.display.burst.see_burst`."""
    from capture.display import burst

    return burst.see_burst(frames, crop=crop, profile=profile, kind=kind)


def crop_of(data: bytes, quad: tuple[tuple[float, float], ...]) -> bytes:
    """Cut the display out of a photo and straighten it.

    Args:
        data: The photo's content.
        quad: Corners of the display in upright pixels, as in `DisplayReading.quad`.

    Returns:
        A PNG file.

    Raises:
        MediaError: The photo cannot be decoded.
    """
    import numpy as np

    from capture.display import picture, views

    opened = picture.open_picture(data)
    return views.crop_of(opened.pixels, np.array(quad, float) * opened.scale)
