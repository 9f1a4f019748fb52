"""BagIt (RFC 8493): a folder or ZIP file whose manifests list every file with its SHA-256.

A bag that comes from elsewhere is read by `open_bag`, into which nothing is unpacked: names that lead out of it, links,
names given twice, more files or bytes than any visit has, and other encodings are refused with a sentence.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import stat
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from api.exchange.errors import BagUnusable

Content = bytes | Path
"""What a file of a bag holds: the bytes, or a file that has them."""

MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

MOST_FILES, MOST_BYTES, MOST_TEXT = 50_000, 8_000_000_000, 2_000_000_000
"""What is read of a bag from elsewhere: files, bytes in all, bytes of one file that is read whole (program's rules)."""

_PIECE = 1 << 20
_LINE = re.compile(r"([0-9a-f]{64})[ \t]+\*?(.+)")
_DATE = (1980, 1, 1, 0, 0, 0)


def _sha256(content: Content) -> tuple[str, int]:
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest(), len(content)
    with content.open("rb") as handle:
        digest = hashlib.file_digest(handle, "sha256").hexdigest()
        return digest, handle.tell()


def _manifest(hashes: Mapping[str, str]) -> bytes:
    return "".join(f"{hashes[name]}  {name}\n" for name in sorted(hashes)).encode()


def bag_of(
    payload: Mapping[str, Content], info: Mapping[str, str], tags: Callable[[bytes], Mapping[str, Content]]
) -> dict[str, Content]:
    """Put a bag together.

    Args:
        payload: Files below `data/`, by their name there.
        info: Lines of `bag-info.txt`.
        tags: Gives further files of the top folder, told the manifest.
    """
    files: dict[str, Content] = {f"data/{name}": content for name, content in payload.items()}
    found = {name: _sha256(content) for name, content in files.items()}
    manifest = _manifest({name: digest for name, (digest, _) in found.items()})
    octets = sum(size for _, size in found.values())
    lines = {**info, "Payload-Oxum": f"{octets}.{len(files)}"}
    top: dict[str, Content] = {
        "bagit.txt": DECLARATION,
        "bag-info.txt": "".join(f"{name}: {text}\n" for name, text in lines.items()).encode(),
        MANIFEST: manifest,
        **tags(manifest),
    }
    top[TAG_MANIFEST] = _manifest({name: _sha256(content)[0] for name, content in top.items()})
    return {**top, **files}


def write_folder(files: Mapping[str, Content], folder: Path) -> None:
    """Write a bag as a folder, which must not be there."""
    folder.mkdir()
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            shutil.copyfile(content, path)


def write_zip(files: Mapping[str, Content], handle: BinaryIO) -> None:
    """Write a bag as a ZIP file: the same files give the same bytes."""
    with zipfile.ZipFile(handle, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            info = zipfile.ZipInfo(f"bag/{name}", _DATE)
            info.external_attr, info.create_system = 0o644 << 16, 3
            content = files[name]
            with archive.open(info, "w", force_zip64=True) as target:
                if isinstance(content, bytes):
                    target.write(content)
                else:
                    with content.open("rb") as source:
                        shutil.copyfileobj(source, target, _PIECE)


class Bag:
    """A bag from elsewhere, opened to read."""

    def __init__(self, place: str, sizes: Mapping[str, int], opened: Callable[[str], BinaryIO]) -> None:
        """Use `open_bag`."""
        self.place = place
        self.sizes = sizes
        self._opened = opened

    def refuse(self, cause: str) -> BagUnusable:
        """Give the error that says why this bag cannot be read."""
        return BagUnusable(place=self.place, cause=cause)

    @contextmanager
    def open(self, name: str) -> Iterator[BinaryIO]:
        """Open a file of it.

        Raises:
            BagUnusable: It is not there or cannot be read.
        """
        if name not in self.sizes:
            raise self.refuse(f"{name} is missing")
        try:
            with self._opened(name) as handle:
                yield handle
        except (zipfile.BadZipFile, zlib.error, OSError, EOFError, NotImplementedError, RuntimeError) as error:
            raise self.refuse(f"{name} cannot be read ({error})") from None

    def read(self, name: str) -> bytes:
        """Read a file of it whole.

        Raises:
            BagUnusable: It is not there, cannot be read or is too large.
        """
        with self.open(name) as handle:
            data = handle.read(min(self.sizes[name], MOST_TEXT) + 1)
        if len(data) > self.sizes[name] or len(data) > MOST_TEXT:
            raise self.refuse(f"{name} is larger than it says")
        return data

    def text(self, name: str) -> str:
        """Read a text of it.

        Raises:
            BagUnusable: Not there, or no UTF-8.
        """
        try:
            return self.read(name).decode()
        except UnicodeDecodeError:
            raise self.refuse(f"{name} is not written in UTF-8") from None

    def sha256(self, name: str) -> str:
        """Hash a file of it, reading no more than it says it holds."""
        digest, left = hashlib.sha256(), self.sizes[name]
        with self.open(name) as handle:
            while piece := handle.read(_PIECE):
                left -= len(piece)
                if left < 0:
                    raise self.refuse(f"{name} is larger than it says")
                digest.update(piece)
        return digest.hexdigest()

    def manifest(self, name: str) -> dict[str, str]:
        """Read a manifest: hash by name.

        Raises:
            BagUnusable: It is none.
        """
        found: dict[str, str] = {}
        for line in self.text(name).splitlines():
            match = _LINE.fullmatch(line)
            if match is None:
                raise self.refuse(f"{name} has a line that is no hash with a name")
            listed = match[2]
            _check_name(self, listed)
            if listed in found:
                raise self.refuse(f"{name} lists {listed[:80]!r} twice")
            found[listed] = match[1]
        return found


def _check_name(bag: Bag, name: str) -> None:
    parts = name.split("/")
    if name.startswith(("/", "~")) or "\\" in name or ":" in name or any(part in ("", ".", "..") for part in parts):
        raise bag.refuse(f"the name {name[:80]!r} leads out of it")
    if not name.isprintable() or len(name) > 240 or unicodedata.normalize("NFC", name) != name:
        raise bag.refuse(f"the name {name[:80]!r} cannot be written safely everywhere")


def checked(bag: Bag, sizes: Mapping[str, int]) -> None:
    """Refuse names, numbers and sizes that no export has.

    Raises:
        BagUnusable: With what is wrong.
    """
    if len(sizes) > MOST_FILES:
        raise bag.refuse(f"it has {len(sizes)} files, more than any visit")
    if sum(sizes.values()) > MOST_BYTES:
        raise bag.refuse(f"it unpacks to {sum(sizes.values()) / 1e9:.0f} GB, more than any visit")
    folded: set[str] = set()
    for name in sizes:
        _check_name(bag, name)
        if name.casefold() in folded:
            raise bag.refuse(f"the name {name[:80]!r} is there twice")
        folded.add(name.casefold())


@contextmanager
def open_bag(place: Path) -> Iterator[Bag]:
    """Open a bag, folder or ZIP file; nothing is written anywhere.

    Raises:
        BagUnusable: It is none, or made to do harm.
    """
    nothing = Bag(str(place), {}, lambda _: (_ for _ in ()).throw(OSError()))
    try:
        if place.is_dir():
            yield _folder(place)
            return
        with zipfile.ZipFile(place) as archive:
            yield _archive(place, archive)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, ValueError, NotImplementedError) as error:
        raise nothing.refuse(str(error).strip(".") or "it cannot be read") from None


def _folder(place: Path) -> Bag:
    bag, sizes = Bag(str(place), {}, lambda _: (_ for _ in ()).throw(OSError())), {}
    for folder, folders, names in os.walk(place):
        for name in (*folders, *names):
            path = Path(folder, name)
            found = path.lstat()
            inside = path.relative_to(place).as_posix()
            if stat.S_ISREG(found.st_mode):
                sizes[inside] = found.st_size
            elif not stat.S_ISDIR(found.st_mode):
                raise bag.refuse(f"{inside[:80]!r} is a link, a device or the like, and no file")
            if len(sizes) > MOST_FILES:
                raise bag.refuse("it has more files than any visit")
    checked(bag, sizes)
    return Bag(str(place), sizes, lambda name: (place / name).open("rb"))


def _archive(place: Path, archive: zipfile.ZipFile) -> Bag:
    bag = Bag(str(place), {}, lambda _: (_ for _ in ()).throw(OSError()))
    members: dict[str, zipfile.ZipInfo] = {}
    tops = set()
    for member in archive.infolist():
        top, _, name = member.filename.partition("/")
        tops.add(top)
        if member.is_dir():
            continue
        if stat.S_IFMT(member.external_attr >> 16) not in (0, stat.S_IFREG):
            raise bag.refuse(f"{member.filename[:80]!r} is a link or the like, and no file")
        if member.flag_bits & 1:
            raise bag.refuse("it has a password")
        if name in members:
            raise bag.refuse(f"the name {name[:80]!r} is there twice")
        members[name] = member
    if len(tops) != 1 or tops & {"", ".", ".."}:
        raise bag.refuse("it does not hold one folder")
    sizes = {name: member.file_size for name, member in members.items()}
    checked(bag, sizes)
    return Bag(str(place), sizes, lambda name: archive.open(members[name]))  # type: ignore[arg-type, return-value]  # IO[bytes]


def contents(bag: Bag) -> dict[str, bytes]:
    """Read all files of a bag, to write it again."""
    return {name: bag.read(name) for name in bag.sizes}
