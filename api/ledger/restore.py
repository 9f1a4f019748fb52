"""Restore: a backup unpacked into a new folder, each member checked; the folder is there whole or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
import zipfile
import zlib
from pathlib import Path

from api.ledger.backup import DATABASE, HEAD, LOCKED_KEY, MANIFEST, Told, hash_of, read_manifest
from api.ledger.canonical import JsonObject
from api.ledger.errors import BackupUnusable, KeyNotOpened, RestoreNotEmpty, file_not_written
from api.ledger.signing import KEY_FILE, SigningKey
from api.ledger.store import PRIVATE_FILE, PRIVATE_FOLDER, STORED_FILE, sync_folder, write_synced

_STORED = re.compile(r"(?:evidence|reports)/[0-9a-f]{2}/[0-9a-f]{62}")
_PIECE = 1 << 20


def _silent(_done: int, _of: int) -> None:
    pass


def holds_key(archive: Path) -> bool:
    """Tell whether a backup holds the signing key; what is no backup holds none."""
    try:
        with zipfile.ZipFile(archive) as opened:
            return LOCKED_KEY in opened.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def restore(archive: Path, folder: Path, told: Told = _silent, passphrase: str | None = None) -> None:
    """Unpack a backup into a folder that is new or empty; it appears under its name once all of it is on disk.

    Args:
        archive: The backup.
        folder: The folder to make.
        told: Told how far it is.
        passphrase: Opens the signing key that the backup holds; None leaves it, and a new key begins.

    Raises:
        RestoreNotEmpty: Something lies there.
        KeyNotOpened: The passphrase does not open it, or there is none.
        BackupUnusable: The archive is none of ours, or not whole.
        FileNotWritten: The disk is full or refuses; nothing is left behind.
    """
    if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
        raise RestoreNotEmpty(folder=str(folder))
    target = folder.absolute()
    work = target.parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
    try:
        with zipfile.ZipFile(archive) as opened:
            members = _members(opened)
            manifest = read_manifest(opened)
            key = None if passphrase is None else _key(archive.name, opened, passphrase)
            try:
                _unpack(opened, members, manifest, work, told)
                if key is not None:
                    write_synced(work / KEY_FILE, key.pem(), PRIVATE_FILE)
                os.sync()  # once for all, which for many small files is far cheaper than one after the other
                work.rename(target)
                sync_folder(target.parent)
            except OSError as error:
                raise file_not_written(folder.name, error) from error
    except FileNotFoundError:
        raise BackupUnusable(file=str(archive), cause="there is no such file") from None
    except OSError as error:
        raise BackupUnusable(file=str(archive), cause=str(error.strerror)) from None
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError, NotImplementedError, RuntimeError) as error:
        raise BackupUnusable(file=str(archive), cause=str(error).strip("'\".")) from None
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _key(name: str, opened: zipfile.ZipFile, passphrase: str) -> SigningKey:
    """Open the key that a backup holds.

    Raises:
        KeyNotOpened: The passphrase does not open it, or there is none.
    """
    try:
        return SigningKey.from_pem(opened.read(LOCKED_KEY), passphrase)
    except (KeyError, ValueError):
        raise KeyNotOpened(file=name) from None


def _members(opened: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """List the members; only names of our own layout, each once, so that none leads out of the folder.

    Raises:
        ValueError: There is another.
    """
    members = opened.infolist()
    names = [member.filename for member in members]
    if len(set(names)) < len(names):
        raise ValueError("a member is there twice")
    for name in names:
        if name not in (DATABASE, HEAD, MANIFEST, LOCKED_KEY) and not _STORED.fullmatch(name):
            raise ValueError(f"{name!r} does not belong there")
    return members


def _unpack(
    opened: zipfile.ZipFile, members: list[zipfile.ZipInfo], manifest: JsonObject, work: Path, told: Told
) -> None:
    """Unpack every member beside the folder to be made.

    Raises:
        ValueError: A member is missing or not as the manifest says.
    """
    members = [member for member in members if member.filename not in (MANIFEST, LOCKED_KEY)]
    changed, total, done = manifest.get("changed"), sum(member.file_size for member in members), 0
    for folder in (work, work / "evidence", work / "reports"):
        folder.mkdir(mode=PRIVATE_FOLDER)
    stored = 0
    for member in members:
        name = member.filename
        path, is_stored = work / name, name not in (DATABASE, HEAD)
        path.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        found = _copy(opened, member, path, STORED_FILE if is_stored else PRIVATE_FILE)
        stored += is_stored
        as_noted = isinstance(changed, list) and name in changed
        if is_stored and found != name.replace("/", "")[-64:] and not as_noted:
            raise ValueError(f"{name} is not what its name says")
        done += member.file_size
        told(done, total)
    if not (work / DATABASE).is_file() or hash_of(work / DATABASE) != manifest.get("database_sha256"):
        raise ValueError("its database is not what the manifest says")
    if stored != manifest.get("files"):
        raise ValueError(f"it holds {stored} files, the manifest says {manifest.get('files')}")


def _copy(opened: zipfile.ZipFile, member: zipfile.ZipInfo, path: Path, mode: int) -> str:
    """Write a member's bytes; returns their SHA-256."""
    digest = hashlib.sha256()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_FILE)
    with opened.open(member) as source, open(handle, "wb") as target:  # noqa: PTH123 - opened above, for its user alone
        while piece := source.read(_PIECE):
            digest.update(piece)
            target.write(piece)
        os.fchmod(target.fileno(), mode)
    return digest.hexdigest()
