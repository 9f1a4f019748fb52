"""Step (1): the database is sound, and its tables, indexes and triggers are ours."""

from __future__ import annotations

import sqlite3

from api.ledger.schema import VERSION, Schema, version_of
from api.ledger.verification.result import Verification


def read_version(connection: sqlite3.Connection, found: Verification) -> int:
    """(1) Read the version of the schema; one that this program does not know is compared under the newest it knows."""
    version = version_of(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > VERSION:
        found.problems.append(f"Database: its schema {version} is newer than this program, which knows {VERSION}.")
        return VERSION
    return version


def check_database(connection: sqlite3.Connection, schema: Schema, found: Verification) -> None:
    """(1) Run SQLite's own check, then compare the schema as text."""
    for (answer,) in connection.execute("PRAGMA integrity_check(20)"):
        if answer != "ok":
            found.problems.append(f"Database: {answer}.")
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


def _normal(statement: str) -> str:
    return " ".join(statement.split())
