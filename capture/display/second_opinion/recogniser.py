"""The second reader: a line of digits in, what it writes out, and how likely it holds a given string.

Its network gives, for each of some forty steps along the line, a probability for each of 18,000 characters and for
none. Only those that a display's number can hold are looked at; the rest are other print.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.errors import SecondReaderFailed

HEIGHT, LEAST_WIDTH = 48, 160
"""Size of what its network takes, px; shorter lines are filled up with grey at the right."""
SAME = {
    "0": "0OoDQ", "1": "1lI|", "2": "2", "3": "3", "4": "4", "5": "5", "6": "6", "7": "7", "8": "8", "9": "9",
    "L": "L", "F": "F", "-": "-—–_", ".": ".,。·•", ":": ":：", ">": ">＞》", "<": "<＜《",
}  # fmt: skip
"""Characters that a display's number can hold, each with those that a reader of print writes for it."""
SYMBOLS = tuple(SAME)
_LEAST = 1e-5


@dataclass(frozen=True)
class SecondReading:
    """What the second reader says about a line.

    Attributes:
        text: The number that it writes, in our spelling; other print left out.
        likely: Mean natural logarithm of the probability of our string for each of its characters, at least -9.2.
        best: The same of its own.
    """

    text: str
    likely: float
    best: float


class SecondReader:
    """The loaded network; one thread at a time may use it."""

    def __init__(self, path: Path) -> None:
        """Load the network.

        Args:
            path: The file; `files.find_file` checks it.

        Raises:
            EngineError: It cannot be loaded.
        """
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.enable_cpu_mem_arena = False  # lines differ in length: an arena would keep the largest for ever
        try:
            self._session: Any = onnxruntime.InferenceSession(
                str(path), options, providers=["CPUExecutionProvider"]
            )
            known = self._session.get_modelmeta().custom_metadata_map["character"].splitlines()
        except Exception as error:  # the engine's own errors have no common class
            raise SecondReaderFailed() from error
        self._input = self._session.get_inputs()[0].name
        self._members = [
            np.array([known.index(c) + 1 for c in characters if c in known]) for characters in SAME.values()
        ]

    def _steps(self, line: NDArray[np.uint8]) -> NDArray[np.float64]:
        """Give, for each step along a line, the probability of none and of each of `SYMBOLS`: (steps, 1 + symbols)."""
        width = max(16, round(line.shape[1] * HEIGHT / line.shape[0]))
        sized = line if line.shape[0] == HEIGHT else cv2.resize(line, (width, HEIGHT))
        bgr = sized[:, :, ::-1].astype(np.float32) / 127.5 - 1.0  # as the network was trained
        filled = np.zeros((1, 3, HEIGHT, max(LEAST_WIDTH, bgr.shape[1])), np.float32)
        filled[0, :, :, : bgr.shape[1]] = bgr.transpose(2, 0, 1)
        try:
            (out,) = self._session.run(None, {self._input: filled})
        except Exception as error:
            raise SecondReaderFailed() from error
        p = np.asarray(out[0], np.float64)
        return np.column_stack([p[:, 0], *(p[:, members].sum(1) for members in self._members)])

    def judge(self, line: NDArray[np.uint8], ours: str) -> SecondReading:
        """Read a line and judge our string by it.

        Args:
            line: RGB, any height; `views.line_of` makes one.
            ours: Main string as our reader read it.

        Raises:
            EngineError: The network fails.
        """
        steps = self._steps(line)
        text = _written(steps)
        wanted = ours.replace("O", "0")
        return SecondReading(text, _likely(steps, wanted), _likely(steps, text))


def _written(steps: NDArray[np.float64]) -> str:
    """Write the likeliest characters, doubles without a gap between left out."""
    rest = 1.0 - steps.sum(1, keepdims=True)  # all other print
    best = np.concatenate([steps, rest], 1).argmax(1)
    text, last = "", 0
    for index in (int(i) for i in best):
        if index not in (0, last, steps.shape[1]):
            text += SYMBOLS[index - 1]
        last = index
    return text


def _likely(steps: NDArray[np.float64], text: str) -> float:
    """Compute the mean log probability of a string per character, over all ways to lay it along the steps.

    Source: connectionist temporal classification, Graves et al. 2006, the forward variable.
    """
    if not text or any(c not in SYMBOLS for c in text):
        return math.log(_LEAST) * 0.8
    labels = [0]
    for c in text:
        labels += [SYMBOLS.index(c) + 1, 0]
    p = np.maximum(steps[:, labels], 1e-9)
    skip = np.array([i > 1 and labels[i] != 0 and labels[i] != labels[i - 2] for i in range(len(labels))])
    alpha = np.zeros(len(labels))
    alpha[:2] = p[0, :2]
    total = 0.0
    for row in p[1:]:
        moved = alpha.copy()
        moved[1:] += alpha[:-1]
        moved[2:] += np.where(skip[2:], alpha[:-2], 0.0)
        alpha = moved * row
        scale = float(alpha.sum()) or 1e-300
        total += math.log(scale)
        alpha /= scale
    total += math.log(max(float(alpha[-2:].sum()), 1e-300))
    return max(total / len(text), math.log(_LEAST) * 0.8)
