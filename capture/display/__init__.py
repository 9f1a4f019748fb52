"""Reads instrument displays in photos: `see_photo` one photo, `see_burst` several of one display, `crop_of` a cut-out.

Opening a photo: `picture`. Finding displays: `finder`. Rectified views: `views`. The networks: `networks`. Marks and
fields: `marks`, `fields`. What a string means: `strings`. When to refuse: `see`, `refusal`. What an instrument can
show at all: `profile`, `check`; generic profiles lie in `instruments/`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from capture.display.burst import Burst
    from capture.display.profile import Profile
    from capture.reading import Seen

__all__ = ["crop_of", "see_burst", "see_photo"]


def see_photo(
    data: bytes,
    *,
    crop: bool = False,
    corners: tuple[tuple[float, float], ...] | None = None,
    profile: Profile | None = None,
) -> Seen:
    """Read the displays in a photo; see `capture.display.see.see_photo`."""
    from capture.display import see

    return see.see_photo(data, crop=crop, corners=corners, profile=profile)


def see_burst(frames: Sequence[bytes], *, crop: bool = False, profile: Profile | None = None) -> Burst:
    """Read one display from several photos of it; see `capture.display.burst.see_burst`."""
    from capture.display import burst

    return burst.see_burst(frames, crop=crop, profile=profile)


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
