"""What can go wrong with stored files, times and the database."""

from __future__ import annotations

import errno

from api.errors import BadInput, NotFound, Refused, TooLarge, WriteFailed

NO_SPACE = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What the system says where there is no space left: on the disk, or for this user."""


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
    remedy = "See that the disk of the data folder is connected and may be written to, then send it again."
    file: str
    cause: str | None


class FileHasNoSpace(FileNotWritten):
    """A file for which there is no space left."""

    remedy = "Free some space, then send it again."


def file_not_written(file: str, error: OSError) -> FileNotWritten:
    """Give the error for a file that could not be written: only where space is missing it says so."""
    if error.errno in NO_SPACE:
        return FileHasNoSpace(file=file, cause=error.strerror)
    return FileNotWritten(file=file, cause=error.strerror)


class EntryNotWritten(DiskRefused):
    """Rows that the database did not take."""

    message = "The database did not take the entry: {cause}."
    remedy = "Try again; if it stays so, see that the disk of the data folder is connected and may be written to."
    cause: str


class EntryHasNoSpace(EntryNotWritten):
    """Rows for which there is no space left."""

    remedy = "Free some space, then try again."


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


class DatabaseUnusable(Refused):
    """Refuse to begin anew beside what was recorded before, or to write into a database that is not ours."""

    remedy = (
        "Restore the folder from a backup with `ohmtrail restore`, or name another data folder; nothing was changed."
    )


class DatabaseMissing(DatabaseUnusable):
    """Evidence or a trail head without their database."""

    code = "database_missing"
    message = "The database is missing from {folder}, though {beside} of earlier work lies there."
    folder: str
    beside: str


class DatabaseEmpty(DatabaseUnusable):
    """Evidence or a trail head beside a database that holds nothing."""

    code = "database_empty"
    message = "The database in {folder} is empty, though {beside} of earlier work lies there."
    folder: str
    beside: str


class DatabaseForeign(DatabaseUnusable):
    """A file in the database's place that is none of ours."""

    code = "database_foreign"
    message = "The file ohmtrail.db in {folder} is no database of Ohmtrail: {cause}."
    folder: str
    cause: str


class BackupExists(Refused):
    """Refuse to write over a file."""

    code = "backup_exists"
    message = "{file} is there already."
    remedy = "Name another file, or a folder, in which the backup is named by its time."
    file: str


class BackupInside(Refused):
    """Refuse a backup within what it backs up."""

    code = "backup_inside"
    message = "{file} lies in the data folder itself."
    remedy = "Name a place outside, best on another disk."
    file: str


class BackupUnusable(BadInput):
    """Refuse to restore from what is no whole backup."""

    code = "backup_unusable"
    message = "{file} is no whole backup of Ohmtrail: {cause}."
    remedy = "Take another backup; nothing was restored."
    file: str
    cause: str


class KeyNotEnclosed(Refused):
    """Refuse a backup that shall hold the signing key where it cannot."""

    code = "key_not_enclosed"
    message = "The signing key cannot be put into the backup: {cause}."
    remedy = "Give a passphrase of {least} characters or more, or take the backup without the key. Nothing was written."
    cause: str
    least: int


class KeyNotOpened(BadInput):
    """Refuse to restore with a passphrase that does not fit."""

    code = "key_not_opened"
    message = "The signing key in {file} is not opened by this passphrase."
    remedy = (
        "Type it again, or restore without the key: a new one begins then, and `verify` says so. Nothing was restored."
    )
    file: str


class RestoreNotEmpty(Refused):
    """Refuse to restore over something."""

    code = "restore_not_empty"
    message = "{folder} is not empty."
    remedy = "Name a new or empty folder; nothing was changed."
    folder: str


class TimeStampUnusable(BadInput):
    """An answer of a time-stamping server is no time-stamp of what it should be."""

    code = "time_stamp_unusable"
    message = "This is no time-stamp that can be used: {cause}."
    remedy = "Ask for another one. Nothing was kept."
    cause: str


class CertificatesUnreadable(BadInput):
    """A file holds no certificates."""

    code = "certificates_unreadable"
    message = "{file} holds no certificates: {cause}."
    remedy = "Give the certificate of the time-stamping service in PEM."
    file: str
    cause: str
