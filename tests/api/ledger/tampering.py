"""What somebody with the database in hand can do: change rows behind the triggers, append entries, forge a trail."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from api.ledger.canonical import canonical, sha256_hex
from api.ledger.merkle import Frontier
from api.ledger.schema import primary_key, schema_sql
from api.ledger.signing import KeyFile
from api.ledger.trail import ENTRY_COLUMNS, FIRST_PREV, Head, HeadKeeper, What, entry_values, write_head

Rows = list[dict[str, Any]]


def alter(folder: Path, *statements: tuple[str, tuple[Any, ...]]) -> None:
    """Change the database as somebody with the file in hand would: triggers off, change, triggers back."""
    connection = sqlite3.connect(folder / "ohmtrail.db")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement, values in statements:
        connection.execute(statement, values)
    for statement in schema_sql():
        connection.execute(statement)
    connection.commit()
    connection.close()


def rows(folder: Path, table: str) -> Rows:
    connection = sqlite3.connect(folder / "ohmtrail.db")
    connection.row_factory = sqlite3.Row
    found = [dict(row) for row in connection.execute(f"SELECT rowid AS _rowid, * FROM {table}")]
    connection.close()
    return found


def entries(folder: Path) -> Rows:
    return rows(folder, "trail_entry")


def put_entries(folder: Path, changed: Rows) -> None:
    statement = f"INSERT INTO trail_entry ({', '.join(ENTRY_COLUMNS)}) VALUES ({', '.join('?' * len(ENTRY_COLUMNS))})"
    inserts = [(statement, tuple(entry[name] for name in ENTRY_COLUMNS)) for entry in changed]
    alter(folder, ("DELETE FROM trail_entry", ()), *inserts)


def _insert(table: str, row: Mapping[str, Any]) -> tuple[str, tuple[Any, ...]]:
    marks = ", ".join("?" * len(row))
    return f"INSERT OR REPLACE INTO {table} ({', '.join(row)}) VALUES ({marks})", tuple(row.values())


def append(
    folder: Path,
    what: What,
    *changed: tuple[str, dict[str, Any]],
    head: bool = True,
    note: Mapping[str, Any] | None = None,
) -> None:
    """Append a well-formed entry with its rows and name it in the head file, as who knows the format could."""
    last = entries(folder)[-1]
    before = Head(last["seq"], json.loads(last["body"])["txn"], last["hash"])
    clean = [(table, {name: value for name, value in row.items() if name != "_rowid"}) for table, row in changed]
    named: list[Any] = [{"table": t, "key": str(row[primary_key(t)]), "row": row} for t, row in clean]
    values, after = entry_values(
        before, before.txn + 1, at=last["at"], job_id="J1", what=what, by="", rows=named, note=note or {}
    )
    alter(
        folder,
        *(_insert(t, row) for t, row in clean),
        _insert("trail_entry", dict(zip(ENTRY_COLUMNS, values, strict=True))),
    )
    if head:
        sign(folder, after)


def sign(folder: Path, head: Head) -> None:
    """Write a head file as who has the folder with its key could."""
    tree = Frontier()
    for entry in entries(folder)[: head.seq]:
        tree.append(bytes.fromhex(entry["hash"]))
    signed = KeyFile(folder).key().sign_head(head.seq, tree.root(), head.hash, "2026-11-25T19:05:00.000000Z")
    HeadKeeper(folder / "trail-head.json").write(head, signed, tree)


def rewrite(folder: Path, changed: Rows, *, with_key: bool = False) -> None:
    """Write a whole trail anew, every hash made anew, with its head file: what a plain chain cannot find by itself."""
    prev, txn = FIRST_PREV, 0
    for seq, entry in enumerate(changed, 1):
        body = {**json.loads(entry["body"]), "seq": seq, "prev": prev}
        entry |= {"seq": seq, "prev": prev, "body": canonical(body)}
        entry["hash"] = prev = sha256_hex(entry["body"])
        txn = body["txn"]
    put_entries(folder, changed)
    (sign if with_key else _write_plain)(folder, Head(len(changed), txn, prev))


def _write_plain(folder: Path, head: Head) -> None:
    write_head(folder / "trail-head.json", head)
