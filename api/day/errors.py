"""What can be wrong with a day's files, and with what is said about them."""

from __future__ import annotations

from pathlib import Path

from api.errors import BadInput, Refused


class DayFileProblem(BadInput):
    """A file of the day that was not taken; the others are."""


class NotPlainFile(DayFileProblem):
    """A pipe, a device, a socket or a link."""

    code = "not_a_plain_file"
    message = "It is no plain file."
    remedy = "Copy the file itself into the folder."


class DayFileUnreadable(DayFileProblem):
    """The system does not let the file be read."""

    code = "file_unreadable"
    message = "It cannot be read ({cause})."
    remedy = "Give yourself the right to read it, or copy it again from the recorder or phone."
    cause: str


class DayFileEmpty(DayFileProblem):
    """An empty file."""

    code = "file_empty"
    message = "It is empty."
    remedy = "Copy it again from the recorder or phone."


class DayFileUnknown(DayFileProblem):
    """Neither sound nor photo."""

    code = "day_file_unknown"
    message = "It is neither a sound file nor a photo that can be read."
    remedy = "Leave it out; memos may be M4A, MP3, OGG, AMR, 3GP, WAV or FLAC, photos JPEG, PNG, WebP or HEIC."


class DayFileTooLarge(DayFileProblem):
    """Over the limit of its kind."""

    code = "day_file_too_large"
    message = "It has {megabytes:.0f} MB, the limit is {most:.0f} MB."
    remedy = "Cut it in two with the recorder's own program, or send the photo at its usual size."
    megabytes: float
    most: float


class DayFileWithoutTime(DayFileProblem):
    """Nothing says when it was recorded or taken."""

    code = "no_time"
    message = "Neither the file nor its name says when it was made."
    remedy = 'Rename it to begin with its time, as in "20261125-140500 {name}", and run this again.'
    name: str


class MemoNotDecoded(DayFileProblem):
    """A recording that cannot be decoded, or not to its end; code and words are the decoder's own."""

    code = "memo_not_decoded"
    message = "{cause} What was decoded until then is used."
    remedy = "Copy it again from the recorder; type what is missing."
    cause: str


class MemoTooLong(DayFileProblem):
    """A recording over the limit."""

    code = "memo_too_long"
    message = "It is longer than {hours:.0f} hours; the rest was not heard."
    remedy = "Cut it in two with the recorder's own program."
    hours: float


class PhotoNotRead(DayFileProblem):
    """A photo in which nothing was read; words are the reader's own."""

    code = "photo_not_read"
    message = "{cause}"
    remedy = "It is kept. Type its value, or mark the display on the job's page."
    cause: str


class PieceNotHeard(DayFileProblem):
    """A part of a recording that the recogniser failed on."""

    code = "piece_not_heard"
    message = "From second {begin:.0f} to {end:.0f} nothing could be heard: {cause}"
    remedy = "Listen to that part and type what was said."
    begin: float
    end: float
    cause: str


class LeftForAgain(DayFileProblem):
    """A file that the machine, not the file, is to blame for."""

    code = "left_for_again"
    message = "It is kept, and not taken in yet."
    remedy = "Run this again on the same files: what was worked out is not worked out again."


class DayJobUnknown(Refused):
    """Nobody can tell which job some of the files belong to."""

    code = "day_job_unknown"
    message = "Which job do these belong to: {what}?"
    remedy = "Say it once for the batch: --job J1, or --job J1@13:00 --job J2@14:10 where the work changed."
    what: str


class BadDayJob(BadInput):
    """What was given for the job is none."""

    code = "bad_day_job"
    message = "{given!r} names no job."
    remedy = "Give a job's number, J1, perhaps with the time of day from which on it holds: J2@14:10."
    given: str


class BadClock(BadInput):
    """What was said of a clock cannot be understood."""

    code = "bad_clock"
    message = "{given!r} says nothing of a clock."
    remedy = 'Write "recorder +58min" where its times must be moved 58 minutes later, or "camera -1h".'
    given: str


class BadZone(BadInput):
    """There is no such time zone."""

    code = "bad_zone"
    message = "There is no time zone {given!r}."
    remedy = 'Give a name like "Europe/Berlin", or an offset like "+01:00".'
    given: str


class NoSuchDayFolder(BadInput):
    """The folder is not there."""

    code = "no_such_folder"
    message = "There is no folder {folder}."
    remedy = "Give the folder into which recorder and phone were copied."
    folder: Path


class DayRunning(Refused):
    """One batch at a time."""

    code = "day_running"
    message = "Another day's files are being read."
    remedy = "Wait until they are done."


class ClusterNotInstalled(Refused):
    """The optional packages are missing."""

    code = "cluster_not_installed"
    message = "What connects to other machines is not installed."
    remedy = "Install it: .venv/bin/pip install -e '.[cluster]', here and on each worker; or leave --cluster out."


class ClusterAway(Refused):
    """Nobody works there."""

    code = "cluster_away"
    message = "Nobody works at {address} ({cause})."
    remedy = "Start `dask scheduler` there and `dask worker {address}` on each machine, or leave --cluster out."
    address: str
    cause: str


class ClusterOtherModels(Refused):
    """Workers that would hear and see otherwise than this machine."""

    code = "cluster_other_models"
    message = "These workers have other models than this machine: {workers}."
    remedy = (
        "Install the same version there (sh fixtures/setup.sh run), or end them; results must not depend on who works."
    )
    workers: str


class DayResultsGone(Refused):
    """What was worked out of the batch was deleted while it was being put together."""

    code = "day_results_gone"
    message = "Results of this batch were deleted from {folder} while they were in use."
    remedy = "Start the same command again: the files themselves are kept, and what is missing is worked out anew."
    folder: object
