"""Imports: taken in whole, given back byte for byte, refused with a sentence where they are hostile or changed."""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from api.exchange.errors import BagChanged, BagUnusable, NoSuchImport
from api.exchange.imported import import_bag, imports_of, look_at, title_of, write_imported
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines, clip


def snapshot(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("name", ["bag", "bag.zip", "reduced"])
def test_an_import_comes_back_byte_for_byte(exported: Path, other: Workspace, tmp_path: Path, name: str) -> None:
    taken = import_bag(other.database, other.evidence, exported / name)
    assert taken.new
    assert not import_bag(other.database, other.evidence, exported / name).new
    with other.database.read() as session:
        assert [title_of(row) for row in imports_of(session)] == [
            "J1, Ground fault on X; Machining centre 4; Brackwater Gearworks (invented)"
        ]
    back = tmp_path / f"back{Path(name).suffix}"
    write_imported(other.database, other.evidence, taken.sha256[:12], back)
    if back.is_dir():
        assert snapshot(back) == snapshot(exported / name)
    else:
        assert back.read_bytes() == (exported / name).read_bytes()
    with pytest.raises(NoSuchImport):
        write_imported(other.database, other.evidence, "0" * 64, tmp_path / "none")
    assert other.verify().problems == []
    other.close()


def test_what_does_not_verify_is_refused_and_can_be_looked_at(exported: Path, other: Workspace, tmp_path: Path) -> None:
    bag = Path(shutil.copytree(exported / "bag", tmp_path / "changed"))
    rows = (bag / "data" / "records.csv").read_text()
    (bag / "data" / "records.csv").write_text(rows.replace(",1.08,", ",7.08,"))
    with pytest.raises(BagChanged, match=r"records.csv was changed"):
        import_bag(other.database, other.evidence, bag)
    found = look_at(bag)
    assert not found.intact
    assert found.rows["record", "J1-R1"]["value"] == "1.08"
    with other.database.read() as session:
        assert not imports_of(session)
    other.close()


Hostile = Callable[[Path, Path], Path]


def _zip(source: Path, to: Path, change: Callable[[zipfile.ZipFile], None], leave: str = "") -> Path:
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(to, "w") as new:
        for member in old.infolist():
            if member.filename != leave:
                new.writestr(member, old.read(member))
        change(new)
    return to


def _link(archive: zipfile.ZipFile) -> None:
    info = zipfile.ZipInfo("bag/data/link")
    info.external_attr = 0o120777 << 16
    archive.writestr(info, "/etc/passwd")


def _bomb(archive: zipfile.ZipFile) -> None:
    archive.writestr("bag/data/bomb", bytes(200_000_000), zipfile.ZIP_DEFLATED, 9)


def _lying_size(source: Path, to: Path) -> Path:
    """Let the directory say that a deflated member is smaller than it is."""
    made = _zip(source, to, _bomb)
    data = bytearray(made.read_bytes())
    size = (200_000_000).to_bytes(4, "little")
    for start in range(len(data)):
        if data[start : start + 4] == size:
            data[start : start + 4] = (10).to_bytes(4, "little")
    made.write_bytes(data)
    return made


def _folder(change: Callable[[Path], object]) -> Hostile:
    def make(exported: Path, tmp_path: Path) -> Path:
        bag = Path(shutil.copytree(exported / "bag", tmp_path / "hostile"))
        change(bag)
        return bag

    return make


def _archive(change: Callable[[zipfile.ZipFile], None], leave: str = "") -> Hostile:
    return lambda exported, tmp_path: _zip(exported / "bag.zip", tmp_path / "hostile.zip", change, leave)


def _manifest(line: str) -> Hostile:
    def change(bag: Path) -> None:
        path = bag / "manifest-sha256.txt"
        path.write_text(path.read_text() + line)

    return _folder(change)


HOSTILE: dict[str, tuple[Hostile, str]] = {
    "a name that leads up": (_archive(lambda a: a.writestr("bag/../../evil", "x")), "leads out"),
    "a name from the root": (_archive(lambda a: a.writestr("bag//etc/evil", "x")), "leads out"),
    "a name with a drive": (_archive(lambda a: a.writestr("bag/C:evil", "x")), "leads out"),
    "a name with a backslash": (_archive(lambda a: a.writestr("bag/data\\..\\evil", "x")), "leads out"),
    "two top folders": (_archive(lambda a: a.writestr("evil/x", "x")), "one folder"),
    "a link": (_archive(_link), "is a link"),
    "a name in two cases": (_archive(lambda a: a.writestr("bag/BAGIT.txt", "x")), "twice"),
    "a name with a control character": (_archive(lambda a: a.writestr("bag/data/a\x07b", "x")), "safely"),
    "a bomb": (_archive(_bomb), "added"),
    "a bomb that lies about its size": (lambda e, t: _lying_size(e / "bag.zip", t / "hostile.zip"), ""),
    "no zip": (lambda _, t: _written(t / "hostile.zip", b"nothing at all"), "not a zip"),
    "an empty file": (lambda _, t: _written(t / "hostile.zip", b""), "not a zip"),
    "nothing there": (lambda _, t: t / "none.zip", "No such file"),
    "a bag of somebody else": (_folder(lambda b: (b / "bagit.txt").write_text("BagIt-Version: 0.97\n")), "bagit.txt"),
    "no manifest": (_folder(lambda b: (b / "manifest-sha256.txt").unlink()), "manifest-sha256.txt is missing"),
    "a manifest in another encoding": (
        _folder(lambda b: (b / "manifest-sha256.txt").write_bytes("ü".encode("latin-1"))), "UTF-8",
    ),
    "a manifest that leads up": (_manifest(f"{'0' * 64}  ../../etc/passwd\n"), "leads out"),
    "a manifest that names a file twice": (_manifest(f"{'0' * 64}  data/a\n{'1' * 64}  data/a\n"), "twice"),
    "a manifest of other words": (_manifest("hello\n"), "no hash"),
    "a link in a folder": (_folder(lambda b: (b / "data" / "link").symlink_to("/etc/passwd")), "is a link"),
    "a pipe in a folder": (_folder(lambda b: os.mkfifo(b / "data" / "pipe")), "is a link, a device"),
    "a trail too deep to read": (_folder(lambda b: (b / "data" / "trail.jsonl").write_text("[" * 100_000 + "\n")), ""),
    "a statement that is a number": (_folder(lambda b: (b / "export.json").write_text("1")), ""),
    "a head without fields": (_folder(lambda b: (b / "data" / "tree-head.json").write_text("{}")), ""),
    "records that are no table": (_folder(lambda b: (b / "data" / "records.csv").write_bytes(b'"')), ""),
}  # fmt: skip


def _written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_exports_are_refused_with_a_sentence(exported: Path, tmp_path: Path, kind: str) -> None:
    make, word = HOSTILE[kind]
    (tmp_path / "room").mkdir()
    place = make(exported, tmp_path / "room")
    workspace = Workspace.attach(tmp_path / "other")
    before = sorted(path for path in tmp_path.rglob("*") if "other" not in path.parts)
    with pytest.raises((BagUnusable, BagChanged)) as caught:
        import_bag(workspace.database, workspace.evidence, place)
    workspace.close()
    assert word in str(caught.value)
    assert str(caught.value).count("\n") == 0
    assert sorted(path for path in tmp_path.rglob("*") if "other" not in path.parts) == before, "nothing outside"
    assert not [path for path in (tmp_path / "other" / "evidence").rglob("*") if path.is_file()]


def test_a_bag_with_another_s_files_in_one_trail(exported: Path, tmp_path: Path) -> None:
    """Refuse a clip that is exchanged for another one under the same name, with manifests made anew."""
    bag = Path(shutil.copytree(exported / "bag", tmp_path / "changed"))
    clip = next((bag / "data" / "evidence").glob("*.wav"))
    clip.write_bytes(b"another clip")
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        names = [line.split("  ", 1)[1] for line in (bag / manifest).read_text().splitlines()]
        lines = [f"{sha256((bag / name).read_bytes()).hexdigest()}  {name}\n" for name in names]
        (bag / manifest).write_text("".join(lines))
    found = look_at(bag)
    assert any("is not enclosed" in problem for problem in found.problems)
    assert any("list of files is not the one that was signed" in problem for problem in found.problems)
    assert json.loads((bag / "export.json").read_text())["job"] == "J1"


def test_an_imported_visit_is_an_earlier_visit_of_the_trend(exported: Path, tmp_path: Path) -> None:
    """Grade a later visit to the same machine over the imported one, and verify that its findings follow from it."""
    workspace = Workspace.open(tmp_path / "next", engines=FakeEngines())
    taken = import_bag(workspace.database, workspace.evidence, exported / "bag.zip")
    visit = Visit(workspace)
    visit.make_safe()
    for minute, words in enumerate((
        "x ray axis through the cable a one to a two one point zero nine ohms",
        "confirm",
    )):  # fmt: skip
        workspace.take_clip(visit.job, clip(words, minute), f"2026-11-25T09:{minute:02d}:00+00:00")
    graded = workspace.grade(visit.job)
    assert graded["earlier_record_ids"] == [f"{taken.sha256[:8]}:J1-R1", f"{taken.sha256[:8]}:J1-R2"]
    found = workspace.verify()
    assert (found.problems, found.notes) == ([], [])
    workspace.close()
