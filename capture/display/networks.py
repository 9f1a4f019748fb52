"""The three trained networks, run by OpenCV's network engine; loaded once, used by one thread at a time."""

from __future__ import annotations

import threading
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.errors import DisplayModelMissing, DisplayReaderFailed, NetworkNotLoaded
from capture.display.glyphs import (
    FINDER_HEIGHT,
    FINDER_WIDTH,
    READER_HEIGHT,
    READER_WIDTH,
    STRIP_HEIGHT,
    STRIP_WIDTH,
)

MODELS = Path(__file__).parent / "models"
_lock = threading.Lock()  # an OpenCV network must not be run by two threads at once

Floats = NDArray[np.float32]


def _loaded(path: Path) -> Any:
    """Load a network into OpenCV's older engine where there are two: it takes half the time for these networks."""
    classic = getattr(cv2.dnn, "ENGINE_CLASSIC", None)
    if classic is None:  # OpenCV 4 has no other
        return cv2.dnn.readNetFromONNX(str(path))
    try:
        return cv2.dnn.readNetFromONNX(str(path), engine=classic)
    except cv2.error:  # a layer that only the newer one knows
        return cv2.dnn.readNetFromONNX(str(path))


@lru_cache(maxsize=3)
def _network(name: str) -> Any:
    path = MODELS / f"{name}.onnx"
    if not path.is_file():
        raise DisplayModelMissing(file=path.name)
    try:
        return _loaded(path)
    except cv2.error as error:
        raise NetworkNotLoaded(file=path.name) from error


def _run(name: str, picture: NDArray[np.uint8], outputs: list[str]) -> list[Floats]:
    blob = cv2.dnn.blobFromImage(picture, 1 / 255.0)  # 0..1 and RGB, as the networks were trained
    with _lock:
        network = _network(name)
        try:
            network.setInput(blob)
            return [np.asarray(out, np.float32) for out in network.forward(outputs)]
        except cv2.error as error:
            raise DisplayReaderFailed() from error


def finder_map(picture: NDArray[np.uint8]) -> Floats:
    """Run the finder on an RGB picture of `FINDER_WIDTH` x `FINDER_HEIGHT`.

    Returns:
        (10, 48, 64): middle of a display and display area (0..1), then x and y offsets to the four corners in eighths
        of the map.

    Raises:
        EngineError: The model is missing or fails.
    """
    assert picture.shape == (FINDER_HEIGHT, FINDER_WIDTH, 3)
    return np.asarray(_run("finder", picture, ["map"])[0][0])


def reader_map(picture: NDArray[np.uint8]) -> tuple[Floats, float]:
    """Run the reader on an RGB picture of `READER_WIDTH` x `READER_HEIGHT`.

    Returns:
        (3 + classes + 4, 56, 96) heat maps, class scores and boxes; and legibility 0..1.

    Raises:
        EngineError: The model is missing or fails.
    """
    assert picture.shape == (READER_HEIGHT, READER_WIDTH, 3)
    out, legible = _run("reader", picture, ["map", "legible"])
    return np.asarray(out[0]), float(legible[0, 0])


def cover_map(strip: NDArray[np.uint8]) -> Floats:
    """Run the network for covers on an RGB strip of `STRIP_WIDTH` x `STRIP_HEIGHT`; see `hidden`.

    Returns:
        For each place along the strip how likely something lies over it, 0..1.

    Raises:
        EngineError: The model is missing or fails.
    """
    assert strip.shape == (STRIP_HEIGHT, STRIP_WIDTH, 3)
    return np.asarray(_run("cover", strip, ["hidden"])[0].reshape(-1))
