"""The second reader's two networks: where lines of text are on a picture, and what one line says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.errors import SecondReaderFailed
from capture.display.second_opinion.files import DETECTOR, RECOGNISER

HEIGHT, LEAST_WIDTH = 48, 160
"""Size of what the recogniser takes, px; shorter lines are filled up with grey at the right."""
TEXT, LINE, WIDEN = 0.3, 0.5, 1.6
"""Probability from which a pixel is text, mean of it from which a patch is a line, and how far patches, which are drawn
in to keep lines apart, are widened. Source: the settings that the package carries for these networks."""
LEAST_SIDE = 3.0
"""Patches thinner than this are specks, px of the detector's picture. Source: as above."""


class SecondReader:
    """The two loaded networks."""

    def __init__(self, files: dict[str, Path]) -> None:
        """Load the networks.

        Args:
            files: As `files.find_files` gives them.

        Raises:
            EngineError: One cannot be loaded.
        """
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.enable_cpu_mem_arena = False  # pictures differ in size: an arena would keep the largest for ever
        provider = ["CPUExecutionProvider"]
        try:
            self._detector: Any = onnxruntime.InferenceSession(str(files[DETECTOR]), options, providers=provider)
            self._recogniser: Any = onnxruntime.InferenceSession(str(files[RECOGNISER]), options, providers=provider)
            known = self._recogniser.get_modelmeta().custom_metadata_map["character"].splitlines()
        except Exception as error:  # the engine's own errors have no common class
            raise SecondReaderFailed() from error
        self._characters = ["", *known, " "]

    def find(self, picture: NDArray[np.uint8]) -> list[NDArray[np.float64]]:
        """Find lines of text.

        Args:
            picture: RGB, sides multiples of 32 px.

        Returns:
            Corners of each line, px, clockwise from top left.

        Raises:
            EngineError: The network fails.
        """
        p = self._run(self._detector, _scaled(picture)[None])[0, 0]
        patches = cv2.dilate((p > TEXT).astype(np.uint8), np.ones((2, 2), np.uint8))
        found = []
        for outline in cv2.findContours(patches, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)[0]:
            middle, (w, h), angle = cv2.minAreaRect(outline)
            if min(w, h) < LEAST_SIDE:
                continue
            inside = cv2.drawContours(np.zeros(p.shape, np.uint8), [outline], -1, 1, -1)
            if float(p[inside > 0].mean()) < LINE:
                continue
            by = w * h * WIDEN / (w + h)  # area over circumference, on both sides
            corners = np.asarray(cv2.boxPoints((middle, (w + by, h + by), angle)), np.float64)
            found.append(_clockwise(corners))
        return found

    def read(self, line: NDArray[np.uint8]) -> tuple[str, float]:
        """Read one line.

        Args:
            line: RGB, `HEIGHT` px high.

        Returns:
            What it says, and the mean probability of its characters (0 without any).

        Raises:
            EngineError: The network fails.
        """
        filled = np.zeros((1, 3, HEIGHT, max(LEAST_WIDTH, line.shape[1])), np.float32)
        filled[0, :, :, : line.shape[1]] = _scaled(line)
        steps = self._run(self._recogniser, filled)[0]
        text, last, sure = "", 0, []
        for index, probability in zip(steps.argmax(1), steps.max(1), strict=True):
            if index not in (0, last):  # repeats without a gap between are one character
                text += self._characters[int(index)]
                sure.append(float(probability))
            last = index
        return text, float(np.mean(sure)) if sure else 0.0

    def _run(self, session: Any, picture: NDArray[np.float32]) -> NDArray[np.float32]:
        try:
            (out,) = session.run(None, {session.get_inputs()[0].name: picture})
        except Exception as error:
            raise SecondReaderFailed() from error
        return np.asarray(out, np.float32)


def _scaled(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Turn a picture into what the networks were trained on: blue first, from -1 to 1, channels first."""
    return np.ascontiguousarray((picture[:, :, ::-1].astype(np.float32) / 127.5 - 1.0).transpose(2, 0, 1))


def _clockwise(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Order the corners of a rectangle clockwise from its top left, as a line that lies level is read."""
    away = corners - corners.mean(0)
    ordered = corners[np.argsort(np.arctan2(away[:, 1], away[:, 0]))]
    return np.roll(ordered, -int(np.argmin(ordered.sum(1))), 0)
