"""The files of a vosk model directory: which must be there, and whether a graph is whole.

The engine ends the whole process over some damaged files, so they are looked at before it is.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

from capture.speech.errors import ModelFileNotWhole, ModelIncomplete, ModelMissing

MODEL_SETTING = "OHMTRAIL_SPEECH_MODEL"
"""Environment variable that names another vosk model directory."""

_NEEDED = (
    ("am/final.mdl", "final.mdl"),
    ("conf/mfcc.conf", "mfcc.conf"),
    ("graph/HCLr.fst", "graph/HCLG.fst", "HCLr.fst", "HCLG.fst"),
    ("graph/words.txt", "words.txt"),
)  # the second names are those of older small models, which have no folders

# OpenFst's file header: magic number, FST type, arc type, version, flags, properties, start, states, arcs; a "const"
# FST stores 20 bytes a state and 16 an arc (OpenFst 1.7 sources: fst.cc, const-fst.h).
_MAGIC = 2_125_659_606
_STATE_BYTES, _ARC_BYTES = 20, 16


def default_model_path() -> Path:
    """Give the directory named by the setting, else the one that ships with the package."""
    named = os.environ.get(MODEL_SETTING)
    return Path(named) if named else Path(__file__).parent / "model"


def check_model_directory(path: Path) -> None:
    """Refuse a directory that cannot be a complete vosk model.

    Raises:
        ModelError: "model_missing", "model_incomplete" or "model_damaged"; the message says what to do.
    """
    if not path.is_dir():
        raise ModelMissing(path=path)
    found = [next((path / name for name in names if (path / name).is_file()), None) for names in _NEEDED]
    lacking = [names[0] for names, file in zip(_NEEDED, found, strict=True) if file is None]
    if lacking:
        raise ModelIncomplete(path=path, lacking=tuple(lacking))
    for file in found:
        if file is not None and (not file.stat().st_size or (file.suffix == ".fst" and not whole_graph(file))):
            raise ModelFileNotWhole(path=path, file=file.name)


def has_fixed_graph(path: Path) -> bool:
    """Tell whether a model's graph already holds its language, so that no grammar can be given at run time."""
    return not any((path / name).is_file() for name in ("graph/HCLr.fst", "HCLr.fst"))


def whole_graph(file: Path) -> bool:
    """Tell whether a file is an OpenFst graph that was not cut short."""
    with file.open("rb") as stream:
        head = stream.read(256)
    try:
        magic, length = struct.unpack_from("<ii", head)
        kind = head[8 : 8 + length]
        (arc_length,) = struct.unpack_from("<i", head, 8 + length)
        *_, states, arcs = struct.unpack_from("<iiQqqq", head, 12 + length + arc_length)
    except struct.error:
        return False
    if magic != _MAGIC:
        return False
    # Only of a "const" graph does the header give the size in bytes; other kinds are checked no further.
    whole = kind != b"const" or file.stat().st_size >= states * _STATE_BYTES + arcs * _ARC_BYTES
    return bool(states > 0 and whole)
