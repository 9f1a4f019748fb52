"""Verification: finds any byte of any value, photo, clip, entry or report that is not what it was when it was noted.

The steps are numbered, here and at their places:

    (1) the database is sound, and its tables and triggers are ours, of the version that it says it has
    (2) every entry of the trail follows from the one before, and its columns say what its body says
    (3) the head file names the last entry
    (4) every row of every table is the one that its newest entry holds, no row is missing, none is extra; an entry
        written before a migration is read under the names of its day (`api.ledger.schema`)
    (5) every stored file has the content that its name says, none is missing, none is extra
    (6) every report made is there, unchanged

What this cannot find: somebody who rewrites the whole trail and the head file, with every hash made anew. Against that
stands the head hash that each report prints, and every copy of the report outside this machine.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from api.ledger.canonical import CanonicalError, JsonObject, canonical, parsed, sha256_hex
from api.ledger.database import version_of
from api.ledger.schema import MIGRATIONS, VERSION, Migration, Row, Schema, primary_key, schema
from api.ledger.store import Store
from api.ledger.trail import FIRST_PREV, Head, What, read_head

Progress = Callable[[str], None]

_BODY_KEYS = {"seq", "txn", "prev", "at", "job", "what", "by", "rows", "note"}


@dataclass
class Verification:
    """What the verification found.

    Attributes:
        entries: Entries in the trail.
        files: Stored files checked.
        head: Hash of the last entry; compare it with the one printed in a report.
        problems: One sentence for each thing that was changed, missing or added; empty when all is intact.
        notes: What is no tampering but worth knowing (a crash between commit and head file).
    """

    entries: int = 0
    files: int = 0
    head: str = FIRST_PREV
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def intact(self) -> bool:
        """Nothing was changed."""
        return not self.problems

    @property
    def summary(self) -> str:
        """One line: "intact, 57 entries, 80 files", or what was changed first."""
        if self.intact:
            return f"intact, {self.entries} entries, {self.files} files, head {self.head[:16]}…"
        return f"changed: {self.problems[0]} ({len(self.problems)} problems in all)"

    def to_json(self) -> JsonObject:
        """Give it as it is sent to the page."""
        return {
            "result": "intact" if self.intact else "changed",
            "entries": self.entries,
            "files": self.files,
            "head": self.head,
            "problems": [*self.problems],
            "notes": [*self.notes],
        }


def _silent(_step: str) -> None:
    pass


def verify_folder(folder: Path, progress: Progress = _silent) -> Verification:
    """Verify a data folder. Never raises: what cannot be read is a problem found.

    Args:
        folder: The data folder.
        progress: Called with the step that begins.
    """
    found = Verification()
    path = folder / "ohmtrail.db"
    if not path.is_file():
        found.problems.append("The database is missing.")
        return found
    try:
        # rw: SQLite may have to recover the WAL of a crash, which a read-only connection cannot; and, unlike the
        # default, it makes no database where there is none.
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)
    except sqlite3.Error as error:
        found.problems.append(f"The database cannot be opened: {error}.")
        return found
    try:
        # One snapshot of all tables: a server at work on the folder must not look like tampering.
        connection.execute("BEGIN")
        progress("database")
        version = _version(connection, found)
        expected = schema(version)
        _check_database(connection, expected, found)
        progress("trail")
        bodies, head, before = _check_chain(connection, expected, found)
        _check_head(folder / "trail-head.json", head, before, found)
        progress("rows")
        tables = _check_rows(connection, expected, _as_of(version, bodies, found), found)
        progress("files")
        _check_files(Store(folder / "evidence"), tables.get("evidence", {}), "evidence", found)
        progress("reports")
        reports = {str(row["sha256"]): row for row in tables.get("report_file", {}).values()}
        _check_files(Store(folder / "reports"), reports, "report", found)
    except (sqlite3.Error, UnicodeDecodeError, OSError) as error:
        found.problems.append(f"The database cannot be read to its end: {error}.")
    finally:
        connection.close()
    return found


def _normal(statement: str) -> str:
    return " ".join(statement.split())


def _version(connection: sqlite3.Connection, found: Verification) -> int:
    """(1) Read the version of the schema; one that this program does not know is compared under the newest it knows."""
    version = version_of(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > VERSION:
        found.problems.append(f"Database: its schema {version} is newer than this program, which knows {VERSION}.")
        return VERSION
    return version


def _check_database(connection: sqlite3.Connection, schema: Schema, found: Verification) -> None:
    """(1) Run SQLite's own check, then compare the schema as text."""
    for (answer,) in connection.execute("PRAGMA integrity_check(20)"):
        if answer != "ok":
            found.problems.append(f"Database: {answer}.")
    # integrity_check does not look at foreign keys.
    for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        found.problems.append(f"Database: row {rowid} of {table} refers to a missing row of {parent}.")
    expected = schema.definitions
    actual = dict(connection.execute("SELECT name, coalesce(sql, '') FROM sqlite_master").fetchall())
    for name in sorted(expected.keys() | actual.keys()):
        if name not in actual:
            found.problems.append(f"Database: {name} was removed.")
        elif name not in expected:
            found.problems.append(f"Database: {name} was added.")
        elif _normal(str(expected[name])) != _normal(str(actual[name])):
            found.problems.append(f"Database: the definition of {name} was changed.")


def _rows(connection: sqlite3.Connection, schema: Schema, table: str) -> Iterator[Row]:
    columns = schema.columns[table]
    quoted = ", ".join(f'"{name}"' for name in columns)
    # NOT INDEXED: an index that covers the columns would answer with its own copies, and hide a change of the table.
    for values in connection.execute(f'SELECT {quoted} FROM "{table}" NOT INDEXED'):  # noqa: S608 - our own names
        yield dict(zip(columns, values, strict=True))


def _check_chain(connection: sqlite3.Connection, schema: Schema, found: Verification) -> tuple[list[Row], Head, Head]:
    """(2) Check the trail entry by entry; returns the bodies, the head, and the head before the last transaction."""
    bodies: list[Row] = []
    head = before = Head()
    # In a table that was tampered with, numbers may have become text, and the two do not compare; padded to one width,
    # text sorts as its numbers do.
    entries = sorted(_rows(connection, schema, "trail_entry"), key=lambda row: str(row["seq"]).zfill(20))
    for entry in entries:
        body = _check_entry(entry, head, found)
        txn = body.get("txn") if body else None
        txn = txn if isinstance(txn, int) else head.txn
        if txn != head.txn:
            before = head
            if txn != head.txn + 1:
                found.problems.append(f"Entry {entry['seq']}: transaction {txn} follows {head.txn}.")
        if body:
            bodies.append(body)
            _note_what(body, found)
        # From what the entry itself claims: one fault is then one problem, and does not disown every entry after it.
        seq = entry["seq"] if type(entry["seq"]) is int else head.seq + 1
        head = Head(seq, txn, str(entry["hash"]))
    found.entries, found.head = len(entries), head.hash
    return bodies, head, before


def _check_entry(entry: Row, head: Head, found: Verification) -> Row | None:
    """(2) Check an entry against its own hash, its columns and the entry before; returns its body if it can be read."""
    name, text = f"Entry {entry['seq']}", entry["body"]
    if entry["seq"] != head.seq + 1:
        found.problems.append(f"{name}: follows entry {head.seq}; entries were removed, added or reordered.")
    if not isinstance(text, str) or sha256_hex(text) != entry["hash"]:
        found.problems.append(f"{name}: its content does not match its hash.")
    if entry["prev"] != head.hash:
        found.problems.append(f"{name}: does not follow from the entry before.")
    try:
        body = parsed(text) if isinstance(text, str) else None
        # Written again and compared: the same content in another spelling (spaces, order, a key twice) is refused.
        well_formed = isinstance(body, dict) and set(body) == _BODY_KEYS and canonical(body) == text
    except CanonicalError:
        body, well_formed = None, False
    if not well_formed or not isinstance(body, dict):
        found.problems.append(f"{name}: its content is not well formed.")
        return None
    for column, key in (("seq", "seq"), ("job_id", "job"), ("what", "what"), ("at", "at"), ("prev", "prev")):
        if not _same(entry[column], body[key]):
            found.problems.append(f"{name}: column {column} says {entry[column]!r}, its content {body[key]!r}.")
    return body


def _note_what(body: Row, found: Verification) -> None:
    if body["what"] == What.HEAD_MISMATCH.value:
        found.problems.append(f"Entry {body['seq']}: the head file did not match the trail at {body['at']}.")
    elif body["what"] == What.HEAD_CAUGHT_UP.value:
        found.notes.append(f"Entry {body['seq']}: the machine had stopped between commit and head file.")


def _check_head(path: Path, head: Head, before: Head, found: Verification) -> None:
    """(3) Check the head file against the last entry."""
    try:
        noted = read_head(path)
    except CanonicalError as error:
        found.problems.append(f"Head file: {error}")
        return
    if noted == head or (noted is None and head == Head()):
        return
    if (noted or Head()) == before:
        found.notes.append("The head file lags by one transaction: the machine stopped before writing it.")
    elif noted is None:
        found.problems.append("Head file: it is missing.")
    elif noted.seq > head.seq:
        found.problems.append(
            f"Head file: names entry {noted.seq}, the trail ends at {head.seq}: its tail was cut off."
        )
    else:
        found.problems.append(f"Head file: names entry {noted.seq} with another hash, or entries were added since.")


def _same(first: object, second: object) -> bool:
    """Tell whether two are equal in value and in type: 1 is not 1.0, text is not bytes."""
    # Python takes 1 and 1.0 for equal; SQLite keeps them apart, and so does the canonical text.
    return type(first) is type(second) and first == second


def _as_of(version: int, bodies: list[Row], found: Verification) -> list[Row]:
    """Give the entries with their rows under the names of the database's version.

    A migration's entry is believed only where it says exactly what that step did, so that nobody can bring a mapping
    of his own; the last one must lead to the version that the database has.
    """
    steps = {step.version: step for step in MIGRATIONS}
    taken = [body for body in bodies if body["what"] == What.SCHEMA_MIGRATED.value]
    reached = version - len(taken)
    ahead = [step for step in MIGRATIONS if reached < step.version <= version]
    out: list[Row] = []
    for body in bodies:
        if body["what"] == What.SCHEMA_MIGRATED.value:
            reached += 1
            step = steps.get(reached)
            if step is None or body["note"] != step.note():
                found.problems.append(f"Entry {body['seq']}: names a migration that never was.")
            ahead = ahead[1:]
        out.append(_renamed(body, ahead))
    return out


def _renamed(body: Row, steps: list[Migration]) -> Row:
    """Give an entry with its rows taken through the migrations that came after it."""
    rows = body["rows"]
    if not steps or not isinstance(rows, list):
        return body
    for step in steps:
        rows = [
            {**item, "row": step.forward(item["table"], item["row"])}
            if isinstance(item, dict) and isinstance(item.get("row"), dict) and isinstance(item.get("table"), str)
            else item
            for item in rows
        ]
    return {**body, "rows": rows}


def _newest(bodies: list[Row], found: Verification) -> dict[str, dict[str, tuple[int, Row]]]:
    """Give the newest content of every row by table and key, as the trail holds it."""
    newest: dict[str, dict[str, tuple[int, Row]]] = {}
    for body in bodies:
        try:
            for item in body["rows"]:
                newest.setdefault(item["table"], {})[item["key"]] = (body["seq"], dict(item["row"]))
        except (TypeError, KeyError, ValueError):
            found.problems.append(f"Entry {body['seq']}: its rows are not well formed.")
    return newest


def _check_rows(
    connection: sqlite3.Connection, schema: Schema, bodies: list[Row], found: Verification
) -> dict[str, dict[str, Row]]:
    """(4) Check every column of every row against the trail, and back; returns the rows by table and key."""
    newest = _newest(bodies, found)
    tables: dict[str, dict[str, Row]] = {}
    for table in schema.columns:
        if table != "trail_entry":  # its rows are what the others are checked by; see (2)
            tables[table] = _check_table(_rows(connection, schema, table), table, newest.pop(table, {}), found)
    for name in newest:
        found.problems.append(f"The trail speaks of a table {name!r} that does not exist.")
    return tables


def _check_table(
    present: Iterator[Row], table: str, noted: dict[str, tuple[int, Row]], found: Verification
) -> dict[str, Row]:
    """(4) Check the rows of one table; returns them by key."""
    key_column = primary_key(table)
    rows: dict[str, Row] = {}
    for row in present:
        key = str(row[key_column])
        if key in rows:
            found.problems.append(f"{table} {key}: is there twice.")
        rows[key] = row
        if key not in noted:
            found.problems.append(f"{table} {key}: no entry of the trail knows it; it was added or renamed.")
            continue
        seq, content = noted[key]
        for column in sorted(row.keys() | content.keys()):
            is_now, was = row.get(column), content.get(column)
            if not _same(is_now, was):
                found.problems.append(f"{table} {key}: {column} is {is_now!r}, entry {seq} says {was!r}.")
    for key in noted.keys() - rows.keys():
        found.problems.append(f"{table} {key}: entry {noted[key][0]} knows it, but the row is missing.")
    return rows


def _check_files(store: Store, rows: dict[str, Row], what: str, found: Verification) -> None:
    """(5, 6) Check every file's content against its name and its row, none missing, none extra."""
    present = set()
    for sha256, path in store.names():
        name = path.relative_to(store.root)
        if path.name.startswith(".tmp-"):
            found.notes.append(f"{what} file {name}: left by an interrupted write; the next start clears it.")
            continue
        # What a link leads to can change while the folder stays as it is.
        if not sha256 or path.is_symlink() or sha256 not in rows:
            found.problems.append(f"{what} file {name}: no row knows it; it was added or renamed.")
            continue
        present.add(sha256)
        data = path.read_bytes()
        found.files += 1
        if sha256_hex(data) != sha256:
            found.problems.append(f"{what} file {name}: its content was changed.")
        elif len(data) != rows[sha256]["size"]:
            found.problems.append(f"{what} file {name}: has {len(data)} bytes, its row says {rows[sha256]['size']}.")
    for sha256 in sorted(rows.keys() - present):
        found.problems.append(f"{what} file {sha256[:2]}/{sha256[2:14]}…: is missing.")
