"""What can be wrong with files that are named on the command line."""

from __future__ import annotations

from pathlib import Path

from api.errors import BadInput
from capture.errors import MediaError


class FileNotJson(BadInput):
    """Refuse a file that is no JSON."""

    code = "bad_json"
    message = "{path} is not JSON."
    remedy = "Correct the file."
    path: Path


class SheetTooLarge(BadInput):
    """Refuse a file over the limit, MB of 2^20 bytes."""

    code = "sheet_too_large"
    message = "{path} is over {most} MB."
    remedy = "To grade all of it, split it."
    path: Path
    most: int


class SheetNoText(BadInput):
    """Refuse a file that is no UTF-8 text."""

    code = "sheet_no_text"
    message = "{path} is no UTF-8 text."
    remedy = "Save it as UTF-8."
    path: Path


class PhrasesNoText(BadInput):
    """Refuse a list of phrases that is no UTF-8 text."""

    code = "phrases_no_text"
    message = "{path} is no UTF-8 text."
    remedy = "Save it as plain text, one phrase a line."
    path: Path


class PhraseCountWrong(BadInput):
    """Refuse a list of no phrase, or of too many."""

    code = "bad_phrases"
    message = "{path} holds {count} phrases."
    remedy = "Give 1 to {most}, one a line."
    path: Path
    count: int
    most: int


class PhrasesAndWords(BadInput):
    """Refuse a list of phrases beside a list of words."""

    code = "phrases_and_words"
    message = "Both a list of phrases and a list of words are given."
    remedy = "Give --phrases or --words."


class BadSetting(BadInput):
    """Refuse a correction that sets nothing."""

    code = "bad_setting"
    message = "{setting!r} sets nothing."
    remedy = "Write FIELD=VALUE, AXIS.FIELD=VALUE or INSTRUMENT.FIELD=VALUE: X.motor_kind=ac_servo."
    setting: str


class PictureFileMissing(BadInput):
    """Refuse to keep a plate or logo without a file."""

    code = "picture_file_missing"
    message = "No picture was named."
    remedy = "Name it with {option}."
    option: str


class NoFile(MediaError):
    """A file that cannot be opened."""

    code = "no_file"


class FileMissing(NoFile):
    """A path that leads nowhere."""

    message = "There is no such file."


class PathNoFile(NoFile):
    """A path that leads to something else than a file."""

    message = "That is no file."


class FileUnreadable(NoFile):
    """The system does not give the file."""

    message = "The file cannot be read: {cause}."
    cause: str | None
