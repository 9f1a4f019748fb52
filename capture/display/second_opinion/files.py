"""The files of the second reader: where they lie, and whether they are those known."""

from __future__ import annotations

import sys
from pathlib import Path

from capture.display.errors import SecondReaderFileUnknown, SecondReaderMissing
from capture.pinned_files import find_pinned

PACKAGE = "rapidocr/models"
"""Folder of the files in the package that carries them (RapidOCR; the networks are PaddleOCR's, Apache-2.0 both)."""
DETECTOR, RECOGNISER = "PP-OCRv6_det_small.onnx", "PP-OCRv6_rec_small.onnx"
"""Their names there and here: one finds lines of text, the other reads a line."""
FILES = {
    DETECTOR: "090f04abcd9d9a7498bc4ebf677e4cb9bdce1fe4197ddb7e529f1ef44e1ff94f",
    RECOGNISER: "6f327246b50388f3c176ae304bd95767ea6dc0c9ae92153ef8cbe210b3c14884",
}
"""SHA-256 of each."""


def default_folder() -> Path:
    """Give the folder that the set-up puts the files into: inside the Python environment."""
    return Path(sys.prefix) / "share" / "ohmtrail" / "second-reader"


def find_files(folder: Path) -> dict[str, Path]:
    """Give the files by name.

    Args:
        folder: Where they lie.

    Raises:
        EngineError: "second_reader_missing": one is not there; "second_reader_damaged": one is not the one known.
    """
    return find_pinned(
        folder,
        FILES,
        missing=lambda path: SecondReaderMissing(path=path),
        unknown=lambda path: SecondReaderFileUnknown(path=path),
    )
