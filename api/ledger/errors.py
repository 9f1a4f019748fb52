"""What can go wrong with stored files, times and the database."""

from __future__ import annotations

from api.errors import BadInput, NotFound, Refused, TooLarge, WriteFailed


class BadTime(BadInput):
    """Refuse a time that is not ISO 8601, or without an offset."""

    code = "bad_time"
    message = "{text!r} is not a time with offset."
    remedy = 'Send the time as in "2026-11-25T14:05:00-05:00".'
    text: str


class FileEmpty(BadInput):
    """Refuse a file without content."""

    code = "empty"
    message = "The file is empty."
    remedy = "Take it again."


class FileTooLarge(TooLarge):
    """Refuse a file over the limit of its kind, MB of 10^6 bytes."""

    code = "too_large"
    message = "This {kind} has {megabytes:.1f} MB; {most:.0f} MB are allowed."
    remedy = "Send a shorter clip or a smaller photo; nothing was stored."
    kind: str
    megabytes: float
    most: float


class NoSuchFile(NotFound):
    """There is no file of this SHA-256."""

    code = "no_such_file"
    sha256: str


class FileNotOnRecord(NoSuchFile):
    """A file that never came in."""

    message = "No file {sha256:.12}… is on record."
    remedy = "Check the number."


class FileNotStored(NoSuchFile):
    """A file that is not on the disk."""

    message = "No file {sha256:.12}… is stored."
    remedy = "Run the verification to see what is missing."


class NotAFileHash(NoSuchFile):
    """Refuse what is no SHA-256."""

    message = "That is not the SHA-256 of a file."
    remedy = "Use 64 lower-case hex digits."


class DiskRefused(WriteFailed):
    """The disk is full or refuses."""

    code = "disk"


class FileNotWritten(DiskRefused):
    """A file that the disk did not take."""

    message = "The disk did not take {file}: {cause}."
    remedy = "Free some space, then send it again."
    file: str
    cause: str | None


class EntryNotWritten(DiskRefused):
    """Rows that the database did not take."""

    message = "The database did not take the entry: {cause}."
    remedy = "Free some space, then try again."
    cause: str


class JournalUnsafe(WriteFailed):
    """The database would not survive a power cut."""

    code = "journal"
    message = "The database runs in mode {mode}/{synchronous}."
    remedy = "Keep the data on a local disk."
    mode: str
    synchronous: int


class FolderIsNewer(Refused):
    """Refuse to work on a data folder whose schema this program does not know yet."""

    code = "newer_folder"
    message = "This data folder was written by a newer Ohmtrail (schema {version}, this one knows {known})."
    remedy = "Update Ohmtrail; nothing in the folder was changed."
    version: int
    known: int
