"""The second reader of this process, loaded at first use and shared; or why there is none."""

from __future__ import annotations

import importlib.util
import os
import threading
from pathlib import Path

from capture.display.second_opinion.files import default_folder, find_files
from capture.display.second_opinion.networks import SecondReader
from capture.errors import EngineError

SETTING = "OHMTRAIL_SECOND_READER"
"""Environment variable: "off", or the folder of the second reader's files."""
OFF = "off"
_loading = threading.Lock()
_loaded: dict[Path, SecondReader | None] = {}


def chosen_folder() -> Path | None:
    """Give the folder that the setting names, else where the set-up puts the files; None where it is off."""
    named = os.environ.get(SETTING, "")
    return None if named.strip().lower() == OFF else Path(named) if named else default_folder()


def lacking_second_reader() -> str:
    """Say why there will be no second opinion on photos, and what to do; empty where there will be, or it is off."""
    folder = chosen_folder()
    if folder is None:
        return ""
    try:
        find_files(folder)
    except EngineError as problem:
        return str(problem)
    if importlib.util.find_spec("onnxruntime") is None:
        return "Photos are read without a second opinion: onnxruntime is not installed. Run fixtures/setup.sh again."
    return ""


def second_reader() -> SecondReader | None:
    """Load the second reader; None where it is off, missing or damaged: photos are then read without it."""
    folder = chosen_folder()
    if folder is None:
        return None
    with _loading:
        if folder not in _loaded:
            try:
                _loaded[folder] = None if lacking_second_reader() else SecondReader(find_files(folder))
            except EngineError:
                _loaded[folder] = None
        return _loaded[folder]
