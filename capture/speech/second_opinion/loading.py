"""The second engine of this process, loaded at first use and shared; or why there is none."""

from __future__ import annotations

import importlib.util
import os
import threading
from pathlib import Path

from capture.errors import ModelError
from capture.speech.second_opinion.engine import SecondOpinion
from capture.speech.second_opinion.files import default_folder, find_files

SETTING = "OHMTRAIL_SECOND_OPINION"
"""Environment variable: "off", or the folder of the second engine's files."""

OFF = "off"

_loading = threading.Lock()
_loaded: dict[Path, SecondOpinion | None] = {}


def chosen_folder() -> Path | None:
    """Give the folder that the setting names, else where the set-up puts the files; None where it is off."""
    named = os.environ.get(SETTING, "")
    return None if named.strip().lower() == OFF else Path(named) if named else default_folder()


def lacking_second_opinion() -> str:
    """Say why there will be no second opinion, and what to do; empty where there will be one, or where it is off."""
    folder = chosen_folder()
    if folder is None:
        return ""
    try:
        find_files(folder)
    except ModelError as problem:
        return str(problem)
    if importlib.util.find_spec("onnxruntime") is None:
        return "There is no second opinion: the package onnxruntime is not installed. Run fixtures/setup.sh again."
    return ""


def second_opinion() -> SecondOpinion | None:
    """Load the second engine; None where it is off, missing or damaged: hearing then goes on without it."""
    folder = chosen_folder()
    if folder is None or lacking_second_opinion():
        return None
    with _loading:
        if folder not in _loaded:
            from capture.speech.second_opinion.moonshine import Moonshine

            try:
                _loaded[folder] = Moonshine(folder)
            except ModelError:
                _loaded[folder] = None
        return _loaded[folder]
