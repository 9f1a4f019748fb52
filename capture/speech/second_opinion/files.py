"""The files of the second engine: where they lie, and whether they are those known."""

from __future__ import annotations

import sys
from pathlib import Path

from capture.pinned_files import find_pinned
from capture.speech.errors import SecondOpinionFileUnknown, SecondOpinionMissing

PACKAGE = "moonshine_voice/assets/tiny-en"
"""Folder of the files in the package that carries them."""

FILES = {
    "encoder_model.ort": "94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221",
    "decoder_model_merged.ort": "cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0",
    "tokenizer.bin": "6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d",
}
"""SHA-256 of each file."""


def default_folder() -> Path:
    """Give the folder that the set-up puts the files into: inside the Python environment."""
    return Path(sys.prefix) / "share" / "ohmtrail" / "second-opinion"


def find_files(folder: Path) -> dict[str, Path]:
    """Give the files by name.

    Args:
        folder: Where they lie.

    Raises:
        ModelError: "second_opinion_missing": one is not there; "second_opinion_damaged": one is not the one known.
    """
    return find_pinned(
        folder,
        FILES,
        missing=lambda path: SecondOpinionMissing(path=path),
        unknown=lambda path: SecondOpinionFileUnknown(path=path),
    )
