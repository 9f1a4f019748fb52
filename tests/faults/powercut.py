"""Loss of power: from the log of an undisturbed visit, the folders that a cut at some call could leave.

What is certain to be there is what was synced: the writes to a file before its last sync, and the names in a folder
before the folder's last sync. Of all that came later any part may have reached the disk, in any order: each unsynced
write is kept or lost by itself, one is torn at a boundary of 512 bytes, and each unsynced making, renaming or removing
of a name is kept or lost by itself. That allows more than a journaling file system does (ext4 keeps the order of names,
and syncs a new file's name with the file), and so asks more of the program.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import NamedTuple

SECTOR = 512
"""Bytes that a disk writes whole or not at all."""


@dataclass(frozen=True)
class Event:
    """One line of the log.

    Attributes:
        op: "create", "write", "sync", "resize", "mkdir", "rename", "unlink", "link", "chmod", "call" or "mark".
        inode: Which file or folder, whatever its name is.
        offset: Where it was written, or the new size.
        path: Its name then, below the folder that was watched.
        other: For a renaming, the new name; for a call, what kind it is.
        data: What was written; the text of a mark.
    """

    op: str
    inode: int
    offset: int
    path: str
    other: str
    data: bytes


def read_log(data: bytes, root: Path) -> list[Event]:
    """Read what the layer wrote down."""
    events, position = [], 0
    while position < len(data):
        end = data.index(b"\n", position)
        op, inode, offset, size, path, other = data[position:end].decode().split("\t")
        position = end + 1 + int(size)
        path, other = path.removeprefix(str(root)), other if op == "call" else other.removeprefix(str(root))
        events.append(Event(op, int(inode), int(offset), path, other, data[end + 1 : position]))
    return events


def already_there(root: Path) -> list[Event]:
    """Give what lies in a folder as events that made it, all of it synced."""
    events = []
    for path in sorted(root.rglob("*")):
        inode, name = path.stat().st_ino, f"/{path.relative_to(root)}"
        if path.is_dir():
            events.append(Event("mkdir", inode, 0, name, "", b""))
        else:
            events += [Event("create", inode, 0, name, "", b""), Event("write", inode, 0, name, "", path.read_bytes())]
            events.append(Event("sync", inode, 0, name, "", b""))
    folders = ["", *(event.path for event in events if event.op == "mkdir")]
    return events + [Event("sync", 0, 0, name, "", b"") for name in folders]


class Call(NamedTuple):
    """A call that counts.

    Attributes:
        op: What it does.
        path: On what, below the watched folder.
        told: How many steps had been answered before it.
    """

    op: str
    path: str
    told: int


def calls_of(events: Sequence[Event]) -> list[Call]:
    """List the calls that count, in order."""
    calls, told = [], 0
    for event in events:
        told += event.op == "mark"
        if event.op == "call":
            calls.append(Call(event.other, event.path, told))
    return calls


def marks_of(events: Sequence[Event]) -> list[str]:
    """Give the texts of all marks, in order."""
    return [event.data.decode() for event in events if event.op == "mark"]


@dataclass
class _File:
    """A file: what is certain of it, and what came after its last sync."""

    content: bytearray = field(default_factory=bytearray)
    unsynced: list[Event] = field(default_factory=list)

    def apply(self, event: Event, length: int | None = None) -> None:
        """Write, or change the size."""
        if event.op == "resize":
            del self.content[event.offset :]
            self.content.extend(bytes(event.offset - len(self.content)))
            return
        data = event.data[:length]
        self.content.extend(bytes(max(0, event.offset - len(self.content))))
        self.content[event.offset : event.offset + len(data)] = data

    def sync(self) -> None:
        """Make all of it certain."""
        for event in self.unsynced:
            self.apply(event)
        self.unsynced.clear()

    def cut(self, rng: random.Random, share: float) -> None:
        """Keep each unsynced write by itself with this probability; tear one of those kept."""
        kept = [event for event in self.unsynced if rng.random() < share]
        torn = rng.choice(kept) if kept and rng.random() < 0.5 else None
        for event in kept:
            whole = len(event.data)
            self.apply(event, rng.randrange(0, whole + SECTOR, SECTOR) if event is torn and whole > SECTOR else whole)


_Change = tuple[str, int | None]
"""A name in a folder, and the inode that it now means; None where it is gone."""


@dataclass
class _Folder:
    """A folder: names that are certain, and changes since its last sync; those of one call share their fate."""

    names: dict[str, int] = field(default_factory=dict)
    unsynced: list[tuple[_Change, ...]] = field(default_factory=list)

    def apply(self, changes: tuple[_Change, ...]) -> None:
        """Give or take names."""
        for name, inode in changes:
            if inode is None:
                self.names.pop(name, None)
            else:
                self.names[name] = inode

    def sync(self) -> None:
        """Make all of it certain."""
        for changes in self.unsynced:
            self.apply(changes)
        self.unsynced.clear()

    def cut(self, rng: random.Random, share: float) -> None:
        """Keep each unsynced change by itself with this probability."""
        for changes in self.unsynced:
            if rng.random() < share:
                self.apply(changes)
        self.unsynced.clear()


class Disk:
    """What is on the disk for certain, and what may be."""

    def __init__(self) -> None:
        """Begin with a watched folder that is there and empty."""
        self._files: dict[int, _File] = {}
        self._folders: dict[int, _Folder] = {-1: _Folder()}
        self._inode_of: dict[str, int] = {"": -1}

    def take(self, event: Event) -> None:
        """Take in the next event of the log."""
        if event.op in ("write", "resize"):
            self._file(event.inode).unsynced.append(event)
        elif event.op == "sync":
            if event.path in self._inode_of:
                self._folders[self._inode_of[event.path]].sync()
            else:
                self._file(event.inode).sync()
        elif event.op == "create":
            self._files[event.inode] = _File()  # the system gives numbers of removed files again
            self._name(event.path, event.inode)
        elif event.op == "mkdir":
            self._folders[event.inode] = _Folder()
            self._inode_of[event.path] = event.inode
            self._name(event.path, event.inode)
        elif event.op == "rename":
            self._rename(event)
        elif event.op == "unlink":
            self._name(event.path, None)

    def _file(self, inode: int) -> _File:
        return self._files.setdefault(inode, _File())

    def _name(self, path: str, inode: int | None) -> None:
        self._folder_of(path).unsynced.append(((PurePosixPath(path).name, inode),))

    def _folder_of(self, path: str) -> _Folder:
        parent = str(PurePosixPath(path).parent)
        return self._folders[self._inode_of["" if parent in ("/", ".") else parent]]

    def _rename(self, event: Event) -> None:
        old, new = PurePosixPath(event.path), PurePosixPath(event.other)
        if old.parent != new.parent:
            raise ValueError(f"{old} is renamed into another folder; this model knows renaming within one only.")
        self._folder_of(event.path).unsynced.append(((new.name, event.inode), (old.name, None)))

    def cut(self, rng: random.Random, share: float) -> None:
        """Lose the power: what is not certain is kept in part."""
        for file in self._files.values():
            file.cut(rng, share)
        for folder in self._folders.values():
            folder.cut(rng, share)

    def write(self, target: Path) -> None:
        """Write what is certain into a folder."""
        for path, inode in self._walk("", -1):
            if inode in self._folders:
                (target / path).mkdir(exist_ok=True)
            else:
                (target / path).write_bytes(bytes(self._file(inode).content))

    def _walk(self, at: str, inode: int) -> Iterator[tuple[str, int]]:
        for name, child in self._folders[inode].names.items():
            path = f"{at}/{name}".lstrip("/")
            yield path, child
            if child in self._folders:
                yield from self._walk(path, child)


SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Probabilities with which something unsynced is kept: none of it, some, all."""


def cut_at(events: Sequence[Event], calls: int, seed: int, target: Path) -> list[str]:
    """Make the folder that a loss of power after some calls could leave.

    Args:
        events: The log.
        calls: After how many counted calls.
        seed: Which of the possible folders.
        target: An empty folder for it.

    Returns:
        What had been told until then.
    """
    rng = random.Random(f"{calls} {seed}")
    disk, marks, count = Disk(), [], 0
    for event in events:
        count += event.op == "call"
        if count > calls:
            break
        if event.op == "mark":
            marks.append(event.data.decode())
        disk.take(event)
    disk.cut(rng, rng.choice(SHARES))
    disk.write(target)
    return marks
