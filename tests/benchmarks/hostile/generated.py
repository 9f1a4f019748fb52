"""A hundred files drawn from known seeds: sounds put together from parts, pictures of many edges and false displays."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from tests.benchmarks.hostile.sounds import KINDS, LAYOUTS, SECONDS, encoded

SOUNDS, PICTURES = 60, 40
"""How many of each; the seed of a file is its number, from 1, sounds first."""

MOST_LAYERS = 3
LONGEST_SIDE, SHORTEST_SIDE = 6000, 400


def sound(seed: int) -> bytes:
    """Put a sound together: the minute is parted, and each part is a mixture of some kinds, perhaps with pulses."""
    rng = np.random.default_rng(seed)
    layout = [*LAYOUTS][int(rng.integers(len(LAYOUTS)))]
    rate = LAYOUTS[layout][2]
    cuts = np.sort(rng.integers(0, SECONDS * rate, int(rng.integers(0, 5))))
    whole = np.zeros(SECONDS * rate)
    made: dict[str, npt.NDArray[np.float64]] = {}
    for start, end in zip([0, *cuts], [*cuts, len(whole)], strict=True):
        for _ in range(int(rng.integers(1, MOST_LAYERS + 1))):
            kind = [*KINDS][int(rng.integers(len(KINDS)))]
            if kind not in made:
                made[kind] = KINDS[kind](rate)
            whole[start:end] += rng.uniform(0.05, 1) * made[kind][start:end]
        if rng.random() < 0.3:
            every, level = int(rate * rng.uniform(0.03, 1.5)), rng.uniform(0.05, 1)
            whole[start:end:every] += level
    return encoded(whole, layout)


def picture(seed: int) -> bytes:
    """Draw a picture of many false displays: boxes, bars like segments, rows of digits, noise over all."""
    rng = np.random.default_rng(seed)
    width, height = (int(side) for side in rng.integers(SHORTEST_SIDE, LONGEST_SIDE, 2))
    made = Image.new("RGB", (width, height), tuple(int(one) for one in rng.integers(0, 256, 3)))
    draw = ImageDraw.Draw(made)
    for _ in range(int(rng.integers(20, 400))):
        x, y = int(rng.integers(width)), int(rng.integers(height))
        w, h = int(rng.integers(8, width // 3)), int(rng.integers(8, height // 4))
        ink = tuple(int(one) for one in rng.integers(0, 256, 3))
        what = int(rng.integers(3))
        if what == 0:
            draw.rectangle((x, y, x + w, y + h), fill=ink, outline=(0, 0, 0), width=4)
        elif what == 1:
            for bar in range(7):
                draw.rectangle((x + bar * w // 7, y, x + bar * w // 7 + w // 20 + 1, y + h), fill=ink)
        else:
            draw.text((x, y), "".join(map(str, rng.integers(0, 10, 5))), fill=ink, font_size=max(10, h))
    if rng.random() < 0.5:
        noise = Image.effect_noise((width // 4 + 1, height // 4 + 1), float(rng.uniform(10, 120)))
        made = Image.blend(made, noise.resize((width, height)).convert("RGB"), float(rng.uniform(0.1, 0.6)))
    out = io.BytesIO()
    form = ("JPEG", "PNG", "WEBP")[int(rng.integers(3))]
    made.save(out, form, **({} if form == "PNG" else {"quality": int(rng.integers(10, 96))}))
    return out.getvalue()


def generated() -> dict[str, Callable[[], bytes]]:
    """List the hundred files by name."""
    found: dict[str, Callable[[], bytes]] = {
        f"generated sound, seed {seed}": partial(sound, seed) for seed in range(1, SOUNDS + 1)
    }
    for seed in range(SOUNDS + 1, SOUNDS + PICTURES + 1):
        found[f"photo: generated, seed {seed}"] = partial(picture, seed)
    return found
