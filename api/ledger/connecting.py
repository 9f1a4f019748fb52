"""Connections to the database: how each is set up, and the file of a database without entries."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, Engine, event
from sqlmodel import SQLModel, create_engine

from api.ledger.errors import JournalUnsafe
from api.ledger.schema import VERSION, schema_sql

BUSY_TIMEOUT_S = 20.0
"""How long a writer waits for another process, s."""


def _configure(connection: sqlite3.Connection, _record: object) -> None:
    """Set every new connection up; BEGIN is ours (see `engine_of`), so that it can be IMMEDIATE."""
    # Otherwise sqlite3 would begin transactions by itself, and deferred.
    connection.isolation_level = None
    # FULL: in WAL mode, NORMAL does not sync at each commit, and a power cut could take what was acknowledged.
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "trusted_schema = OFF"):
        connection.execute(f"PRAGMA {pragma}").fetchall()
    # Read back: a pragma that SQLite cannot honour (WAL on a network folder, say) changes nothing and raises nothing.
    mode = connection.execute("PRAGMA journal_mode").fetchone()[0]
    synchronous = connection.execute("PRAGMA synchronous").fetchone()[0]
    if (mode, synchronous) != ("wal", 2):
        raise JournalUnsafe(mode=mode, synchronous=synchronous)


def engine_of(path: Path, begin: Callable[[Connection], object]) -> Engine:
    """Open a pool of connections whose transactions begin as `begin` does."""
    # A pooled connection moves between threads; the pool sees to it that only one uses it at a time.
    engine = create_engine(
        f"sqlite:///{path}", connect_args={"timeout": BUSY_TIMEOUT_S, "check_same_thread": False}, pool_size=16
    )
    event.listen(engine, "connect", _configure)
    event.listen(engine, "begin", begin)
    return engine


def make_tables(connection: Connection) -> None:
    """Make all tables, indexes and triggers of the newest schema."""
    SQLModel.metadata.create_all(connection)
    for statement in schema_sql():
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(f"PRAGMA user_version = {VERSION}")


def new_database() -> bytes:
    """Make the file of a database without entries: it appears whole, as evidence does.

    Made in place, a stop at the first start would leave a database without tables, as if somebody had removed them.
    """
    engine = create_engine("sqlite://")
    try:
        with engine.begin() as connection:
            make_tables(connection)
        with engine.connect() as connection:
            made = connection.connection.driver_connection
            assert isinstance(made, sqlite3.Connection)
            return made.serialize()
    finally:
        engine.dispose()
