"""Backup: one archive of a data folder, taken while captures go on, from which a restored folder verifies.

A ZIP file (PKWARE APPNOTE 6.3.3, with its 64-bit form) of:

    ohmtrail.db       the database as of one moment, copied by SQLite's own online backup
    trail-head.json   the head file of the same moment, as it was: what it lags or lacks, the copy lags or lacks as well
    evidence/, reports/   every file that a row names, each checked against its hash
    backup.json       the manifest: sizes, the database's hash, and what was found missing or changed
    signing-key.encrypted.pem   where it was asked for: the key that signs, under a passphrase (PKCS #8, PBES2)

Files that no row names are left out: an interrupted capture left them, and nobody was told that they were kept. Copies
of reports for people are left out too, since the reports themselves are there.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import secrets
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from api.ledger.canonical import JsonObject, canonical, sha256_hex
from api.ledger.errors import BackupExists, BackupInside, KeyNotEnclosed, file_not_written
from api.ledger.schema import version_of
from api.ledger.signing import KEY_FILE, SigningKey
from api.ledger.store import PRIVATE_FILE, read_plain, sync_folder
from api.ledger.verification.snapshot import Moment, moment_of

FORMAT = 1
"""Version of the archive's layout."""

DATABASE, HEAD, MANIFEST = "ohmtrail.db", "trail-head.json", "backup.json"
LOCKED_KEY = "signing-key.encrypted.pem"

LEAST_PASSPHRASE = 15
"""Shortest passphrase, characters: what alone guards something (NIST SP 800-63B-4, 3.1.1.2, from memory)."""

STORES = {"evidence": "evidence", "reports": "report_file"}
"""Folders of stored files, each with the table whose rows name them."""

_PAGES = 2000

Told = Callable[[int, int], None]
"""Told how much is done, of how much, in bytes."""


@dataclass
class Backup:
    """What a backup holds.

    Attributes:
        path: The archive.
        entries: Entries of the trail.
        files: Stored files.
        size: Bytes of the archive.
        faults: What was found missing or changed, one sentence each; the archive holds the folder as it was found.
    """

    path: Path
    entries: int = 0
    files: int = 0
    size: int = 0
    faults: list[str] = field(default_factory=list)


def _silent(_done: int, _of: int) -> None:
    pass


def back_up(folder: Path, to: Path, told: Told = _silent, passphrase: str | None = None) -> Backup:
    """Write a backup of a data folder; nothing in the folder is changed, and writers are not held up.

    Args:
        folder: The data folder.
        to: The archive to write, or a folder, in which it is named by its time.
        told: Told how far it is.
        passphrase: Encloses the signing key under it; None leaves the key out.

    Raises:
        BackupExists: There is such a file already.
        BackupInside: The place lies in the data folder.
        KeyNotEnclosed: The passphrase is too short, or there is no key.
        FileNotWritten: The disk is full or refuses; nothing is left behind.
        sqlite3.Error, OSError: The data folder cannot be read.
    """
    path = _place(folder, to)
    made = Backup(path)
    locked = None if passphrase is None else _locked_key(folder, passphrase)
    with moment_of(folder) as moment, tempfile.TemporaryDirectory(prefix=".tmp-", dir=_parent(path)) as scratch:
        work = Path(scratch) / f"{secrets.token_hex(8)}.zip"
        try:
            with open(os.open(work, os.O_RDWR | os.O_CREAT | os.O_EXCL, PRIVATE_FILE), "w+b") as handle:  # noqa: PTH123
                with zipfile.ZipFile(handle, "w") as archive:
                    if locked is not None:
                        archive.writestr(_info(LOCKED_KEY), locked)
                    _write(folder, moment, archive, Path(scratch) / DATABASE, told, made)
                handle.flush()
                os.fsync(handle.fileno())
                made.size = os.fstat(handle.fileno()).st_size
            _name(work, path)
        except FileExistsError:
            raise BackupExists(file=str(path)) from None
        except OSError as error:
            raise file_not_written(path.name, error) from error
    return made


def _locked_key(folder: Path, passphrase: str) -> bytes:
    """Encrypt the key that signs.

    Raises:
        KeyNotEnclosed: The passphrase is too short, or there is no key.
    """
    if len(passphrase) < LEAST_PASSPHRASE:
        raise KeyNotEnclosed(cause=f"the passphrase has {len(passphrase)} characters", least=LEAST_PASSPHRASE)
    try:
        return SigningKey.from_pem((folder / KEY_FILE).read_bytes()).pem(passphrase)
    except (OSError, ValueError):
        raise KeyNotEnclosed(cause="it is not there, or cannot be read", least=LEAST_PASSPHRASE) from None


def _name(work: Path, path: Path) -> None:
    """Give the archive its name, unlike a plain rename never over a file that came meanwhile."""
    try:
        os.link(work, path)
    except FileExistsError:
        raise
    except OSError:  # memory sticks have no hard links
        work.rename(path)
    sync_folder(path.parent)


def _place(folder: Path, to: Path) -> Path:
    """Give the archive's place.

    Raises:
        BackupExists: There is such a file already.
        BackupInside: The place lies in the data folder.
    """
    stamp = dt.datetime.now(dt.UTC).strftime("%Y%m%d-%H%M%S")
    path = to / f"ohmtrail-{stamp}.zip" if to.is_dir() else to
    if path.exists():
        raise BackupExists(file=str(path))
    if path.resolve().is_relative_to(folder.resolve()):
        raise BackupInside(file=str(path))
    return path


def _parent(path: Path) -> Path:
    """Give the folder of the archive, which must be there.

    Raises:
        FileNotWritten: There is no such folder.
    """
    if not path.parent.is_dir():
        raise file_not_written(path.name, NotADirectoryError(20, f"there is no folder {path.parent}"))
    return path.parent


def _write(folder: Path, moment: Moment, archive: zipfile.ZipFile, scratch: Path, told: Told, made: Backup) -> None:
    connection = moment.connection
    names = dict(_named(connection))
    bulk = sum(size for size in names.values() if type(size) is int)
    (pages,), (page,) = (connection.execute(f"PRAGMA {name}").fetchone() for name in ("page_count", "page_size"))
    total = bulk + pages * page

    def copied(_status: int, remaining: int, of: int) -> None:
        told((of - remaining) * page, total)

    with closing(sqlite3.connect(scratch)) as target:
        connection.backup(target, pages=_PAGES, progress=copied)
        # Without a log of its own, the copy can be read where nothing may be written.
        target.execute("PRAGMA journal_mode = DELETE").fetchall()
    made.entries = connection.execute("SELECT count(*) FROM trail_entry").fetchone()[0]
    archive.write(scratch, DATABASE, zipfile.ZIP_DEFLATED, 1)
    if moment.head_bytes is not None:
        archive.writestr(_info(HEAD), moment.head_bytes)
    done, changed = pages * page, []
    for name in sorted(names):
        data = _content(folder / name, name, made)
        if data is not None:
            if sha256_hex(data) != name.replace("/", "")[-64:]:
                changed.append(name)
                made.faults.append(f"{name}: its content was changed.")
            archive.writestr(_info(name), data)
            made.files += 1
            done += len(data)
            told(done, total)
    manifest: JsonObject = {
        "format": FORMAT,
        "schema": version_of(connection.execute("PRAGMA user_version").fetchone()[0]),
        "entries": made.entries,
        "files": made.files,
        "changed": [*changed],
        "database_sha256": hash_of(scratch),
    }
    archive.writestr(_info(MANIFEST), canonical(manifest))


def _named(connection: sqlite3.Connection) -> Iterator[tuple[str, object]]:
    """List the files that rows name, as names in the archive, with their sizes."""
    for place, table in STORES.items():
        for sha256, size in connection.execute(f"SELECT sha256, size FROM {table}"):  # noqa: S608 - our own names
            yield f"{place}/{str(sha256)[:2]}/{str(sha256)[2:]}", size


def _content(path: Path, name: str, made: Backup) -> bytes | None:
    try:
        return read_plain(path)
    except OSError as error:
        made.faults.append(f"{name}: {error.strerror}.")
        return None


def _info(name: str) -> zipfile.ZipInfo:
    """Describe a member: stored as it is, since photos and sound are packed already; private when unpacked by hand."""
    info = zipfile.ZipInfo(name, dt.datetime.now().timetuple()[:6])
    info.external_attr = PRIVATE_FILE << 16
    return info


def hash_of(path: Path) -> str:
    """Compute a file's SHA-256."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def read_manifest(archive: zipfile.ZipFile) -> JsonObject:
    """Read the manifest of a backup.

    Raises:
        KeyError, ValueError: There is none, or none of this layout.
    """
    manifest = json.loads(archive.read(MANIFEST))
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise ValueError("its layout is not known to this program")
    return manifest
