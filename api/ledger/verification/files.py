"""Steps (5) and (6): stored files and reports, by their content.

Files come in while this runs. One that no row knew when the database was looked at is looked up once more in its
present state; one that is still unknown is left over from an interrupted capture if its content is what its name says.
What is no plain file (a pipe, a device, a socket, a link) is told as misplaced and never read: it could wait for ever.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from api.ledger.evidence import derived_from
from api.ledger.store import writer_lives
from api.ledger.verification.result import Verification

_FOLDER, _FILE = re.compile(r"[0-9a-f]{2}"), re.compile(r"[0-9a-f]{62}")
_AT_ONCE = 4096
_SMALL = 1 << 20
_ORPHAN = (
    "whole, but no row knows it: it was left by a capture that was interrupted before it was acknowledged, or is just"
    " coming in. Nothing was lost; the next start of the server looks after it"
)

_CUT_OUT = (
    "a cut-out of photo {parent:.12}…, whole, but no row knows it: it was left by a reading of that photo that was"
    " interrupted before it was written, or is just coming in. Nothing was lost; the photo is on record"
)
_HEAD_BYTES = 2_000  # the mark of a cut-out ends before that

Sizes = Mapping[str, object]
"""Size in bytes by SHA-256, as the rows say."""


@dataclass(frozen=True)
class FoundFile:
    """A file in a store.

    Attributes:
        path: Where it lies.
        name: The same, from the store's folder.
        sha256: What its place says its hash is; empty where it says none.
    """

    path: str
    name: str
    sha256: str


@dataclass(frozen=True)
class Content:
    """What a file holds.

    Attributes:
        sha256: Its hash.
        size: In bytes.
        error: The system's word why it cannot be read.
        gone: It is there no more.
        other: What lies there instead of a file: "a pipe", ...
        parent: SHA-256 of the photo that it says it was cut out of; empty for an original.
    """

    sha256: str = ""
    size: int = 0
    error: str = ""
    gone: bool = False
    other: str = ""
    parent: str = ""


_OTHERS = {
    stat.S_IFIFO: "a pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
    stat.S_IFLNK: "a link",
    stat.S_IFDIR: "a folder",
}


def content_of(path: str) -> Content:
    """Hash a file; large ones in pieces, small ones at once. Anything but a plain file is not read."""
    try:
        # Looked at before it is opened, since opening a device can do something; and opened so that a pipe that came in
        # between neither waits for a writer nor is taken for a file.
        other = _OTHERS.get(stat.S_IFMT(os.lstat(path).st_mode), "")
        if other:
            return Content(other=other)
        with open(path, "rb", buffering=0, opener=_open_plain) as handle:  # a Path costs more than a small file's hash
            found = os.fstat(handle.fileno())
            if not stat.S_ISREG(found.st_mode):
                return Content(other=_OTHERS.get(stat.S_IFMT(found.st_mode), "no file"))
            if found.st_size <= _SMALL:
                data = handle.read()
                return Content(hashlib.sha256(data).hexdigest(), len(data), parent=derived_from(data))
            head = os.pread(handle.fileno(), _HEAD_BYTES, 0)
            digest = hashlib.file_digest(handle, "sha256").hexdigest()
            return Content(digest, handle.tell(), parent=derived_from(head))
    except FileNotFoundError:
        return Content(gone=True)
    except OSError as error:
        return Content(error=error.strerror or str(error))


def _open_plain(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NONBLOCK | os.O_NOFOLLOW)


def _walk(folder: str, found: Verification, inside: str = "") -> Iterator[FoundFile]:
    """List every file below a store's folder, in order of names."""
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except FileNotFoundError:
        return
    except OSError as error:
        found.unread.append(f"The folder {folder} cannot be read: {error.strerror}.")
        return
    for entry in entries:
        name = f"{inside}/{entry.name}" if inside else entry.name
        if entry.is_dir(follow_symlinks=False):
            yield from _walk(entry.path, found, name)
            continue
        ours = not entry.is_symlink() and _FOLDER.fullmatch(inside) and _FILE.fullmatch(entry.name)
        yield FoundFile(entry.path, name, inside + entry.name if ours else "")


def check_store(root: Path, rows: Sizes, what: str, later: Callable[[], Sizes], found: Verification) -> None:
    """(5, 6) Check every file's content against its name and its row, none missing, none added.

    Args:
        root: The store's folder.
        rows: What the database says.
        what: "evidence" or "report", for the sentences.
        later: Gives what the database says now.
        found: Told what is wrong.
    """
    present, unknown, waiting = set(), [], _walk(str(root), found)
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:  # hashing leaves Python's lock
        while batch := list(islice(waiting, _AT_ONCE)):
            for file, content in zip(batch, pool.map(lambda one: content_of(one.path), batch), strict=True):
                if content.other:
                    found.problems.append(f"{what} file {file.name}: is misplaced: it is {content.other}, and no file.")
                elif file.sha256 in rows and not content.gone:
                    present.add(file.sha256)
                    _check_known(file, content, rows[file.sha256], what, found)
                else:
                    unknown.append((file, content))
    now = later() if unknown else rows
    for file, content in unknown:
        _check_unknown(file, content, now, what, found)
    for sha256 in sorted(rows.keys() - present):
        if (root / sha256[:2] / sha256[2:]).is_file():  # set aside and stored anew while we looked
            continue
        found.problems.append(f"{what} file {sha256[:2]}/{sha256[2:14]}…: is missing.")


def _check_known(file: FoundFile, content: Content, size: object, what: str, found: Verification) -> None:
    if content.error:
        found.unread.append(f"{what} file {file.name} cannot be read: {content.error}.")
        return
    found.files += 1
    if content.sha256 != file.sha256:
        found.problems.append(f"{what} file {file.name}: its content was changed.")
    elif content.size != size:
        found.problems.append(f"{what} file {file.name}: has {content.size} bytes, its row says {size}.")


def _check_unknown(file: FoundFile, content: Content, now: Sizes, what: str, found: Verification) -> None:
    """Tell a file that arrived since, one left by an interruption, and one that does not belong there."""
    temporary = file.name.rpartition("/")[2]
    if content.gone or writer_lives(temporary):
        return
    if temporary.startswith(".tmp-"):
        found.notes.append(f"{what} file {file.name}: left by an interrupted write; the next start clears it.")
    elif file.sha256 and file.sha256 in now:
        _check_known(file, content, now[file.sha256], what, found)
    elif content.error:
        found.unread.append(f"{what} file {file.name} cannot be read: {content.error}.")
    elif file.sha256 and content.sha256 == file.sha256 and content.parent in now:
        found.notes.append(f"{what} file {file.name}: {_CUT_OUT.format(parent=content.parent)}.")
    elif file.sha256 and content.sha256 == file.sha256 and not content.parent:
        found.notes.append(f"{what} file {file.name}: {_ORPHAN}.")
    else:
        found.problems.append(f"{what} file {file.name}: no row knows it; it was added or renamed.")


COPIES = ("html", "pdf", "txt", "csv")
"""Ends of the names of reports."""


def check_copies(folder: Path, reports: Sizes, later: Callable[[], Sizes], found: Verification) -> None:
    """(6) Check the copies of reports that lie in the data folder itself, for people to open."""
    for path in sorted(path for end in COPIES for path in folder.glob(f"report-*.{end}")):
        content = content_of(str(path))
        if content.error:
            found.unread.append(f"report copy {path.name} cannot be read: {content.error}.")
        elif content.other:
            found.problems.append(f"report copy {path.name}: is misplaced: it is {content.other}, and no file.")
        elif not content.gone and content.sha256 not in reports and content.sha256 not in later():
            found.problems.append(f"report copy {path.name}: is none of the reports made here; it was edited or added.")
