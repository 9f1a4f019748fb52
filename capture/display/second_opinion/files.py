"""The file of the second reader: where it lies, and whether it is the one known."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

from capture.display.errors import SecondReaderFileUnknown, SecondReaderMissing

PACKAGE = "rapidocr/models"
"""Folder of the file in the package that carries it (RapidOCR; the network is PaddleOCR's, Apache-2.0 both)."""
NAME = "PP-OCRv6_rec_small.onnx"
"""Its name there and here."""
SHA256 = "6f327246b50388f3c176ae304bd95767ea6dc0c9ae92153ef8cbe210b3c14884"


def default_folder() -> Path:
    """Give the folder that the set-up puts the file into: inside the Python environment."""
    return Path(sys.prefix) / "share" / "ohmtrail" / "second-reader"


def find_file(folder: Path) -> Path:
    """Give the file.

    Args:
        folder: Where it lies.

    Raises:
        EngineError: "second_reader_missing": it is not there; "second_reader_damaged": it is not the one known.
    """
    path = folder / NAME
    if not path.is_file():
        raise SecondReaderMissing(path=path)
    if hashlib.sha256(path.read_bytes()).hexdigest() != SHA256:
        raise SecondReaderFileUnknown(path=path)
    return path
