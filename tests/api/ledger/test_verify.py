"""Whatever is changed is found: every byte of the trail, every column, every file, order, tail, head, raw bytes.

Method after the tamper tests of content-addressed backup programs: flip bits by XOR, since writing a constant is no
change once in 256 times; expect the verification to speak, and to stay silent on the untouched folder.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import SQLModel

from api.ledger.canonical import canonical
from api.ledger.chain import check_entry
from api.ledger.trail import SLOT, Head, read_head
from api.ledger.verify import verify_folder
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.ledger.tampering import alter, entries, put_entries, rows, sign
from tests.api.makers import FakeEngines


def test_the_untouched_visit_is_intact(folder: Path) -> None:
    found = verify_folder(folder)
    assert found.intact, found.problems
    assert found.notes == []
    assert found.entries > 20
    assert found.files >= 8
    for table in SQLModel.metadata.tables:
        assert rows(folder, table), f"{table} has no row, so nothing about it is tried"


def test_reenabling_triggers_alone_changes_nothing(folder: Path) -> None:
    alter(folder)
    assert verify_folder(folder).intact


def test_every_byte_of_every_entry(sealed: Path) -> None:
    head, tried = Head(), 0
    for entry in rows(sealed, "trail_entry"):
        body = entry["body"].encode()
        for position in range(len(body)):
            changed = bytearray(body)
            changed[position] ^= 0x01
            text = changed.decode("utf-8", errors="surrogateescape")
            if max(text) >= "\udc80":
                continue  # no longer text: SQLite would give it back as such, and decoding it fails loudly
            assert check_entry({**entry, "body": text}, head).faults, f"byte {position} of entry {entry['seq']}"
            tried += 1
        head = Head(entry["seq"], head.txn, entry["hash"])
    assert tried > 20_000


def columns() -> Iterator[tuple[str, str]]:
    for table in SQLModel.metadata.sorted_tables:
        for column in table.columns:
            yield table.name, column.name


@pytest.mark.parametrize(("table", "column"), list(columns()))
def test_every_column_of_every_table(folder: Path, table: str, column: str) -> None:
    row = random.Random(table + column).choice(rows(folder, table))
    old = row[column]
    if isinstance(old, int):
        new: Any = old + 1000
    elif column in SQLModel.metadata.tables[table].primary_key.columns:
        new = old + "0"
    else:
        new = "" if old is None else old[:-1] + chr(ord(old[-1:] or "a") ^ 1)
    alter(folder, (f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, row["_rowid"])))
    found = verify_folder(folder)
    assert not found.intact
    key = str(
        row["seq"] if table == "trail_entry" else row[next(iter(SQLModel.metadata.tables[table].primary_key)).name]
    )
    assert any(key in problem for problem in found.problems), found.problems


def test_a_value_of_the_same_look_but_another_type(folder: Path) -> None:
    alter(folder, ("UPDATE record SET value = ? WHERE rowid = 1", (b"1.080",)))
    assert not verify_folder(folder).intact


def test_a_whole_number_written_as_a_fraction_is_stored_as_it_was(folder: Path) -> None:
    """Report nothing where nothing changed: INTEGER affinity turns 2.0 back into 2 before it is stored."""
    revision = rows(folder, "proposal")[0]["revision"]
    alter(folder, ("UPDATE proposal SET revision = ? WHERE rowid = 1", (float(revision),)))
    assert isinstance(rows(folder, "proposal")[0]["revision"], int)
    assert verify_folder(folder).intact


@pytest.mark.parametrize("table", list(SQLModel.metadata.tables))
def test_a_row_removed_added_or_doubled(folder: Path, table: str) -> None:
    names = [column.name for column in SQLModel.metadata.tables[table].columns]
    key = next(iter(SQLModel.metadata.tables[table].primary_key)).name
    row = rows(folder, table)[-1]
    alter(folder, (f"DELETE FROM {table} WHERE rowid = ?", (row["_rowid"],)))
    assert not verify_folder(folder).intact
    alter(folder, (f"INSERT INTO {table} VALUES ({', '.join('?' * len(names))})", tuple(row[name] for name in names)))
    assert verify_folder(folder).intact, "the same row put back is the same content"
    row[key] = row[key] + 1 if isinstance(row[key], int) else row[key] + "0"
    alter(folder, (f"INSERT INTO {table} VALUES ({', '.join('?' * len(names))})", tuple(row[name] for name in names)))
    assert not verify_folder(folder).intact


@pytest.mark.parametrize("keep_numbers", [True, False])
def test_entries_swapped(folder: Path, keep_numbers: bool) -> None:
    changed = entries(folder)
    changed[4], changed[5] = changed[5], changed[4]
    if keep_numbers:
        changed[4]["seq"], changed[5]["seq"] = changed[5]["seq"], changed[4]["seq"]
    put_entries(folder, changed)
    assert verify_folder(folder).intact == (not keep_numbers)  # the order of storage alone is no order of entries


@pytest.mark.parametrize("renumber", [True, False])
def test_an_entry_removed(folder: Path, renumber: bool) -> None:
    changed = entries(folder)
    del changed[7]
    if renumber:
        for number, entry in enumerate(changed, 1):
            entry["seq"] = number
    put_entries(folder, changed)
    assert not verify_folder(folder).intact


def test_an_entry_doubled(folder: Path) -> None:
    changed = entries(folder)
    changed.append({**changed[-1], "seq": changed[-1]["seq"] + 1})
    put_entries(folder, changed)
    assert not verify_folder(folder).intact


@pytest.mark.parametrize("cut", [1, 2, 5, 20])
def test_the_tail_cut_off(folder: Path, cut: int) -> None:
    put_entries(folder, entries(folder)[:-cut])
    found = verify_folder(folder)
    assert any("tail was cut off" in problem for problem in found.problems)


def test_the_tail_cut_off_with_its_rows_and_the_head_file(folder: Path) -> None:
    (folder / "trail-head.json").unlink()
    assert any("Head file" in problem for problem in verify_folder(folder).problems)


def test_a_valid_entry_added_by_another_hand(folder: Path) -> None:
    """Append two well-formed transactions, as somebody who knows the format could: the lag of the head file tells."""
    from api.ledger.trail import ENTRY_COLUMNS, What, entry_values

    last = entries(folder)[-1]
    head = Head(last["seq"], 10_000, last["hash"])
    changed = entries(folder)
    import json

    txn = json.loads(last["body"])["txn"]
    for number in (1, 2):
        values, head = entry_values(
            head, txn + number, at=last["at"], job_id="J1", what=What.ASKED, by="", rows=[], note={"message": "x"}
        )
        changed.append({**dict(zip(ENTRY_COLUMNS, values, strict=True)), "_rowid": 0})
    put_entries(folder, changed)
    found = verify_folder(folder)
    assert (found.problems, found.lag) == ([], 2)
    assert "lags by 2 entries" in found.summary
    assert "beyond proof" in found.summary


@pytest.mark.parametrize("position", range(0, 2 * SLOT, 263))
def test_every_part_of_the_head_file(folder: Path, position: int) -> None:
    """Remark every changed byte of a slot; with both slots changed nothing is left to compare with."""
    path = folder / "trail-head.json"
    data = bytearray(path.read_bytes())
    data[position] ^= 0x01
    path.write_bytes(bytes(data))
    assert any("not whole" in note for note in verify_folder(folder).notes)
    data[(position + SLOT) % (2 * SLOT)] ^= 0x01
    path.write_bytes(bytes(data))
    assert any("Neither slot" in problem for problem in verify_folder(folder).problems)
    path.write_bytes(data[:-1])
    assert any("Head file" in problem for problem in verify_folder(folder).problems)


@pytest.mark.parametrize("position", range(0, 90, 3))
def test_every_part_of_a_head_file_of_the_first_form(folder: Path, position: int) -> None:
    path = folder / "trail-head.json"
    head = read_head(path)
    assert head is not None
    data = bytearray(canonical({"seq": head.seq, "txn": head.txn, "hash": head.hash}).encode())
    path.write_bytes(bytes(data))
    assert verify_folder(folder).notes == []
    data[position % len(data)] ^= 0x01
    path.write_bytes(bytes(data))
    assert not verify_folder(folder).intact


def stored_files(folder: Path) -> list[Path]:
    return sorted(path for name in ("evidence", "reports") for path in (folder / name).rglob("*") if path.is_file())


def test_bytes_of_every_stored_file(folder: Path) -> None:
    rng = random.Random(7)
    for path in stored_files(folder):
        path.chmod(0o644)
        good = path.read_bytes()
        for mask in (0x01, 0x20, 0xFF):
            bad = bytearray(good)
            bad[rng.randrange(len(good))] ^= mask
            path.write_bytes(bytes(bad))
            found = verify_folder(folder)
            assert any(path.name in problem and "changed" in problem for problem in found.problems)
        path.write_bytes(good[:-1])
        assert not verify_folder(folder).intact
        path.write_bytes(good)
    assert verify_folder(folder).intact


def test_files_swapped_removed_added_renamed(folder: Path) -> None:
    first, second = stored_files(folder)[:2]
    first.chmod(0o644)
    second.chmod(0o644)
    one, two = first.read_bytes(), second.read_bytes()
    first.write_bytes(two)
    second.write_bytes(one)
    assert len(verify_folder(folder).problems) == 2
    first.write_bytes(one)
    second.write_bytes(two)
    first.unlink()
    assert any("missing" in problem for problem in verify_folder(folder).problems)
    first.write_bytes(one)
    extra = folder / "evidence" / "ab" / "note.txt"
    extra.parent.mkdir(exist_ok=True)
    extra.write_bytes(b"x")
    assert any("note.txt" in problem for problem in verify_folder(folder).problems)
    extra.unlink()
    first.rename(first.with_name("f" * 62))
    assert len(verify_folder(folder).problems) == 2


def test_a_trigger_table_or_index_changed(folder: Path) -> None:
    connection = sqlite3.connect(folder / "ohmtrail.db")
    for statement, word in (
        ("DROP TRIGGER record_no_update", "record_no_update was removed"),
        ("CREATE TABLE extra (a)", "extra was added"),
        ("CREATE TRIGGER record_no_update BEFORE UPDATE ON record BEGIN SELECT 1; END", "record_no_update was changed"),
    ):
        connection.execute(statement)
        connection.commit()
        assert any(word in problem for problem in verify_folder(folder).problems)
    connection.close()


def dump(folder: Path) -> list[str]:
    """Dump the logical content: every statement that would make this database again."""
    connection = sqlite3.connect(f"file:{folder / 'ohmtrail.db'}?mode=ro", uri=True)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


def test_random_bytes_of_the_database_file(folder: Path) -> None:
    """Find a flipped byte, or prove every row and definition the same as before."""
    path = folder / "ohmtrail.db"
    good, content = path.read_bytes(), dump(folder)
    rng = random.Random(20261125)
    found_count = 0
    for _ in range(400):
        data = bytearray(good)
        data[rng.randrange(len(data))] ^= rng.choice((0x01, 0x20, 0x80, 0xFF))
        for leftover in ("ohmtrail.db-wal", "ohmtrail.db-shm"):
            (folder / leftover).unlink(missing_ok=True)
        path.write_bytes(bytes(data))
        if verify_folder(folder).intact:
            assert dump(folder) == content
        else:
            found_count += 1
    assert found_count > 100


def test_what_is_no_database(folder: Path) -> None:
    path = folder / "ohmtrail.db"
    path.write_bytes(b"no database at all" * 300)
    assert not verify_folder(folder).intact
    path.unlink()
    assert verify_folder(folder).problems == ["The database is missing."]


def test_a_lagging_head_is_accepted_and_reported(folder: Path, sealed: Path) -> None:
    """Accept a head that names the transaction before the last, as after a crash between commit and head file."""
    import json

    bodies = [(entry, json.loads(entry["body"])) for entry in entries(sealed)]
    last_txn = bodies[-1][1]["txn"]
    entry, body = [pair for pair in bodies if pair[1]["txn"] == last_txn - 1][-1]
    sign(folder, Head(entry["seq"], body["txn"], entry["hash"]))
    found = verify_folder(folder)
    assert found.intact
    assert found.signed == entry["seq"]
    assert any("lags" in note for note in found.notes)
    workspace = Workspace.open(folder, engines=FakeEngines())
    Visit(workspace)
    workspace.close()
    found = verify_folder(folder)
    assert found.intact
    assert any("had stopped" in note for note in found.notes)


def test_a_head_that_lay_ahead_stays_on_record_after_the_work_goes_on(folder: Path) -> None:
    put_entries(folder, entries(folder)[:-3])
    workspace = Workspace.open(folder, engines=FakeEngines())
    Visit(workspace)
    workspace.close()
    assert any("head file did not match" in problem for problem in verify_folder(folder).problems)
