"""Whatever lies in the evidence folder, the start goes on, and only whole originals become evidence."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlmodel import select

from api.intake.reader import CaptureReader
from api.ledger.canonical import sha256_hex
from api.ledger.errors import FileNotWritten
from api.ledger.evidence import derived_from, store_derived
from api.ledger.store import Store
from api.ledger.tables import EvidenceRow
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines, clip, photo

GOOD = clip("x ray axis", 7)
OTHER = "ab" * 32


def place(root: Path, sha256: str) -> Path:
    path = root / sha256[:2] / sha256[2:]
    path.parent.mkdir(exist_ok=True)
    return path


def fifo(root: Path) -> None:
    os.mkfifo(place(root, OTHER))


def link(root: Path) -> None:
    (root.parent / "elsewhere").write_bytes(GOOD)
    place(root, sha256_hex(GOOD)).symlink_to(root.parent / "elsewhere")


def unreadable(root: Path) -> None:
    place(root, OTHER).write_bytes(b"x")
    place(root, OTHER).chmod(0)


STRAYS: dict[str, Callable[[Path], object]] = {
    "wrong hash": lambda root: place(root, OTHER).write_bytes(GOOD),
    "empty": lambda root: place(root, sha256_hex(b"")).write_bytes(b""),
    "empty at another hash": lambda root: place(root, OTHER).write_bytes(b""),
    "over every limit": lambda root: place(root, OTHER).write_bytes(bytes(40_000_000)),
    "folder in a file's place": lambda root: place(root, OTHER).mkdir(),
    "folder named as a left-over": lambda root: (root / ".tmp-4000000-00ff").mkdir(),
    "left-over of an absurd process": lambda root: (root / f".tmp-{'9' * 40}-00ff").write_bytes(b"x"),
    "link to a file": link,
    "dangling link": lambda root: place(root, OTHER).symlink_to(root / "nowhere"),
    "link that leads in a circle": lambda root: (root / "cc").symlink_to(root),
    "pipe": fifo,
    "not readable": unreadable,
    "file where a folder belongs": lambda root: (root / "ab").write_bytes(b"x"),
    "odd name": lambda root: (root / "\n\u202e .jpg").write_bytes(GOOD),
    "name of no encoding": lambda root: Path(os.fsdecode(os.fsencode(root) + b"/\xff\xfe")).write_bytes(GOOD),
    "upper case": lambda root: place(root, sha256_hex(GOOD).upper()).write_bytes(GOOD),
    "deep": lambda root: (root / "ab" / "cd" / "ef").mkdir(parents=True),
}


@pytest.mark.parametrize("name", STRAYS)
def test_a_stray_neither_stops_the_start_nor_becomes_evidence(visit: Visit, name: str) -> None:
    visit.say("x ray axis")
    folder = visit.workspace.folder
    visit.workspace.close()
    STRAYS[name](folder / "evidence")
    before = sorted(os.fsencode(path) for path in folder.joinpath("evidence").rglob("*"))
    for _ in range(2):
        opened = Workspace.open(folder, engines=FakeEngines())
        assert opened.adopted == []
        with opened.database.read() as session:
            assert len(session.exec(select(EvidenceRow)).all()) == 1
        opened.close()
    after = sorted(os.fsencode(path) for path in folder.joinpath("evidence").rglob("*"))
    assert set(after) <= set(before), "nothing is made of it"


@pytest.mark.parametrize("name", ["folder in a file's place", "dangling link", "file where a folder belongs"])
def test_a_good_file_gets_the_place_that_a_stray_holds(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "evidence")
    monkeypatch.setattr("api.ledger.store.sha256_hex", lambda _data: OTHER)
    STRAYS[name](store.root)
    assert store.put(b"good") == OTHER
    assert store.read(OTHER) == b"good"
    assert any("damaged" in path.name for path in store.root.rglob("*"))


def test_a_disk_that_refuses_is_said_and_not_left_as_a_system_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(30, "Read-only file system")

    store = Store(tmp_path)
    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(FileNotWritten):
        store.put(b"abc")


def test_a_cut_out_left_by_a_crash_is_no_original(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    class PowerCutError(BaseException):
        pass

    def die(*_: object, **__: object) -> None:
        raise PowerCutError

    with monkeypatch.context() as patch:
        patch.setattr(CaptureReader, "_put_crops", die)
        with pytest.raises(PowerCutError):
            visit.show("1.080", "Ohm")
    folder = visit.workspace.folder
    visit.workspace.close()
    workspace = Workspace.open(folder, engines=FakeEngines())
    assert workspace.adopted == []
    assert len(list(workspace.evidence.names())) == 2
    assert workspace.intake.resume() == 1
    with workspace.database.read() as session:
        rows = {row.kind: row for row in session.exec(select(EvidenceRow)).all()}
    assert rows["crop"].parent_sha256 == rows["photo"].sha256
    assert workspace.verify().intact
    workspace.close()


def test_a_cut_out_says_what_it_was_cut_from(tmp_path: Path) -> None:
    store = Store(tmp_path)
    parent = sha256_hex(b"abc")
    stored = store_derived(store, photo("1", "Ohm"), parent)
    assert derived_from(store.read(stored.sha256)) == parent
    assert (stored.metadata["width"], stored.metadata["height"]) == (60, 40)
    assert derived_from(photo("1", "Ohm")) == ""
