"""The schema of the database by version, and what each migration changes.

Version 1 is what folders hold that were made before versions were counted (`PRAGMA user_version` 0). Migrations are
plain steps here, not Alembic's: a step must append its own trail entry in the transaction that changes the tables, and
`api.ledger.verify` must know exactly what each step renamed, since entries are never rewritten: a row noted under an
older version is compared under the names that hold now. A table of Alembic's own would be a table that no entry of
the trail stands for.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Protocol

from sqlalchemy.dialects import sqlite
from sqlalchemy.schema import CreateIndex, CreateTable
from sqlmodel import Session, SQLModel, select

from api.ledger.canonical import canonical, parsed
from api.ledger.device_table import DeviceRow
from api.ledger.ids import row_id
from api.ledger.job_tables import JobChangeRow, PictureRow
from api.ledger.sent_action import SentActionRow
from api.ledger.tables import APPEND_ONLY, InstrumentProfileRow, TrailEntryRow

Row = dict[str, Any]


class Writing(Protocol):
    """What a step needs of the transaction it runs in (`api.ledger.database.Transaction`)."""

    session: Session

    def put(self, row: SQLModel) -> None:
        """Write a new row."""
        ...


@dataclass(frozen=True)
class Migration:
    """One step from a version of the schema to the next.

    Attributes:
        version: The version that it makes.
        renamed: By table, old column name to new column name.
        created: Tables that it adds.
        added: By table, new columns with the text that older rows hold there.
        carry: Writes what the new tables must hold of what the old schema kept elsewhere; None for nothing.
    """

    version: int
    renamed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    created: tuple[str, ...] = ()
    added: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    carry: Callable[[Writing], None] | None = None

    def note(self) -> Row:
        """Say in the trail's own words what the step did: both versions, and the mapping of names."""
        return {
            "from": self.version - 1,
            "to": self.version,
            "renamed": {table: dict(names) for table, names in self.renamed.items()},
            "created": list(self.created),
            "added": {table: dict(columns) for table, columns in self.added.items()},
        }

    def forward(self, table: str, row: Row) -> Row:
        """Read a row that was written before this step under the names that hold after it."""
        names = self.renamed.get(table, {})
        return {names.get(column, column): value for column, value in row.items()} | dict(self.added.get(table, {}))

    def statements(self) -> list[str]:
        """Give the SQL that changes columns; tables of their own are made from their definitions."""
        renames = [
            f"ALTER TABLE {table} RENAME COLUMN {old} TO {new}"
            for table, names in self.renamed.items()
            for old, new in names.items()
        ]
        additions = [
            f"ALTER TABLE {table} ADD COLUMN {column} VARCHAR DEFAULT '{value}' NOT NULL"
            for table, columns in self.added.items()
            for column, value in columns.items()
        ]
        return renames + additions


def _carry_profiles(transaction: Writing) -> None:
    """Put the instrument profiles, which version 1 kept in notes of the trail alone, into their table."""
    # The word as version 1 wrote it, whatever `What` may call it one day.
    statement = select(TrailEntryRow).where(TrailEntryRow.what == "profile set").order_by("seq")
    numbers: dict[str, int] = {}
    for entry in transaction.session.exec(statement).all():
        body = parsed(entry.body)
        numbers[entry.job_id] = numbers.get(entry.job_id, 0) + 1
        transaction.put(
            InstrumentProfileRow(
                id=row_id("instrument_profile", entry.job_id, numbers[entry.job_id]),
                job_id=entry.job_id,
                instrument_id=body["note"]["instrument"],
                profile_json=canonical(body["note"]["profile"]),
                by=body["by"],
                at=entry.at,
            )
        )


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        version=2,
        # "quantity" named the kind of measurement in a column and value with unit in Python; "kind" is the one name.
        renamed={
            "proposal": {"quantity": "kind"},
            "record": {"quantity": "kind"},
            "job": {"humidity_pct": "humidity_percent"},
        },
        created=("instrument_profile",),
        added={"report_file": {"profile_sha256": ""}},
        carry=_carry_profiles,
    ),
    Migration(version=3, added={"grading_run": {"rules": ""}}),
    Migration(version=4, created=(SentActionRow.__tablename__,), added={"capture": {"utterance": ""}}),
    Migration(version=5, created=(DeviceRow.__tablename__,), added={"capture": {"sent_by": ""}}),
    Migration(version=6, created=(JobChangeRow.__tablename__, PictureRow.__tablename__)),
)
"""Every step there ever was, oldest first."""

VERSION = MIGRATIONS[-1].version
"""The version that this program reads and writes."""


def version_of(user_version: int) -> int:
    """Give the schema's version from SQLite's number; folders from before versions were counted hold 0."""
    return max(1, user_version)


def after(version: int) -> tuple[Migration, ...]:
    """Give the steps from a version to the newest, oldest first."""
    return tuple(step for step in MIGRATIONS if step.version > version)


def triggers(table: str) -> list[str]:
    """Give the triggers of a table, one statement each: no row is deleted, in append-only tables none is changed."""
    forbidden = ("UPDATE", "DELETE") if table in APPEND_ONLY else ("DELETE",)
    return [
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} rows are never changed'); END"
        for verb in forbidden
    ]


def schema_sql() -> list[str]:
    """Give the triggers of all tables, one statement each."""
    return [statement for table in SQLModel.metadata.sorted_tables for statement in triggers(table.name)]


def primary_key(table: str) -> str:
    """Name a table's primary key column."""
    return next(iter(SQLModel.metadata.tables[table].primary_key.columns)).name


def undo(connection: sqlite3.Connection, step: Migration) -> None:
    """Revert the schema of a scratch database by one step."""
    for table in step.created:
        connection.execute(f"DROP TABLE {table}")
    for table, columns in step.added.items():
        for column in columns:
            connection.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
    for table, names in step.renamed.items():
        for old, new in names.items():
            connection.execute(f"ALTER TABLE {table} RENAME COLUMN {new} TO {old}")


@dataclass(frozen=True)
class Schema:
    """What a database of one version looks like.

    Attributes:
        definitions: Every table, index and trigger by name, as SQLite keeps its text.
        columns: Column names by table, in order.
    """

    definitions: Mapping[str, str]
    columns: Mapping[str, tuple[str, ...]]


@cache
def schema(version: int) -> Schema:
    """Give the schema of a version: today's, reverted step by step in a scratch database.

    Args:
        version: 1 to `VERSION`.
    """
    # SQLite rewrites the text of a table when its columns are renamed or added, so that the text to compare with must
    # come from SQLite, by the same steps.
    scratch = sqlite3.connect(":memory:")
    dialect = sqlite.dialect()
    for table in SQLModel.metadata.sorted_tables:
        scratch.execute(str(CreateTable(table).compile(dialect=dialect)))
        for index in table.indexes:
            scratch.execute(str(CreateIndex(index).compile(dialect=dialect)))
    for statement in schema_sql():
        scratch.execute(statement)
    for step in reversed(after(version)):
        undo(scratch, step)
    found = dict(scratch.execute("SELECT name, coalesce(sql, '') FROM sqlite_master").fetchall())
    names = [name for (name,) in scratch.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    columns = {name: tuple(row[1] for row in scratch.execute(f'PRAGMA table_info("{name}")')) for name in names}
    scratch.close()
    return Schema(found, columns)
