"""The database: SQLite in WAL mode with full syncing, one way to write, triggers that forbid changing what proves.

Every writing transaction begins with BEGIN IMMEDIATE (a read that later turns into a write would fail at once under
load), runs under one lock for this process and a file lock for others, ends by appending to the audit trail, and is
acknowledged only after commit and head file are on disk.
"""

from __future__ import annotations

import datetime as dt
import fcntl
import os
import sqlite3
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, text
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlmodel import Session, SQLModel

from api.ledger.canonical import CanonicalError, JsonObject
from api.ledger.clock import Clock, capture_remark, parse_instant, system_clock, utc_text, was_set_back
from api.ledger.connecting import engine_of, make_tables, new_database
from api.ledger.errors import DiskRefused, FolderIsNewer, file_not_written
from api.ledger.ids import row_id
from api.ledger.opening import entry_not_written, make_private_file, refuse_to_begin_anew, tighten_folder
from api.ledger.schema import VERSION, after, primary_key, triggers, version_of
from api.ledger.signer import Signer
from api.ledger.signing import SigningKey
from api.ledger.store import PRIVATE_FILE, make_private, write_synced
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import ENTRY_COLUMNS, Head, HeadFile, HeadKeeper, What, entry_values, head_of, prepare_head

_KEYS = {name: primary_key(name) for name in SQLModel.metadata.tables}

_INSERT_ENTRY = f"INSERT INTO trail_entry ({', '.join(ENTRY_COLUMNS)}) VALUES ({', '.join('?' * len(ENTRY_COLUMNS))})"  # noqa: S608 - our own names
_LAST_ENTRY = "SELECT seq, hash, at, body FROM trail_entry ORDER BY seq DESC LIMIT 1"

ARRIVAL = {
    "capture": "received_at",
    "confirmation_event": "at",
    "proposal": "created_at",
    "safety_answer": "at",
}
"""Column by table that says when a row with a capture time came in, by this machine's clock."""


def row_of(row: SQLModel) -> JsonObject:
    """Give a row as plain data: every column, as stored."""
    table = SQLModel.metadata.tables[str(row.__tablename__)]
    return {column.name: getattr(row, column.name) for column in table.columns}


class Transaction:
    """One writing transaction: rows, and the trail entries that stand for them."""

    def __init__(self, session: Session, head: Head, now: str, device_ahead_s: int = 0) -> None:
        """Begin after `head`; all stamps of the transaction are `now` (UTC text); see `Database.device_time`."""
        self.session = session
        self.now = now
        self._device_ahead_s = device_ahead_s
        self.head = head
        self._txn = head.txn + 1
        self._rows: list[SQLModel] = []
        self.hashes: list[str] = []
        """Of the entries appended so far."""
        self.clock_set_back = False
        """This machine's clock says an earlier time than the entry before."""

    def put(self, row: SQLModel) -> None:
        """Write a new row, or the changed state of an old one; the next `entry` will hold its content."""
        self.session.add(row)
        # SQLAlchemy knows no relationships here and would choose its own order of inserts; rows refer to earlier ones
        # by foreign keys, so each goes in at once, in the order put.
        self.session.flush()
        # By identity: a row that is put twice belongs into the entry once, in its last state.
        if not any(row is known for known in self._rows):
            self._rows.append(row)

    def entry(self, what: What, job_id: str = "", *, by: str = "", note: Mapping[str, object] | None = None) -> None:
        """Append a trail entry for all rows put since the last one."""
        rows: list[JsonObject] = [
            {"table": str(row.__tablename__), "key": str(content[_KEYS[str(row.__tablename__)]]), "row": content}
            for row, content in ((row, row_of(row)) for row in self._rows)
        ]
        self._rows.clear()
        remarks = {**(note or {}), **self._remarks(rows)}
        values, self.head = entry_values(
            self.head, self._txn, at=self.now, job_id=job_id, what=what, by=by, rows=rows, note=remarks
        )
        # Past the session, which has no use for an entry: nobody changes it, and making an object of it took longer.
        self.session.connection().exec_driver_sql(_INSERT_ENTRY, values)
        self.hashes.append(self.head.hash)

    def by_device(self, at: str) -> str:
        """Give an instant of this machine's clock as the device's clock had it (see `Database.device_time`)."""
        return utc_text(parse_instant(at) + dt.timedelta(seconds=self._device_ahead_s)) if self._device_ahead_s else at

    def _remarks(self, rows: list[JsonObject]) -> JsonObject:
        """Note the capture times among some rows that can hardly be right, and by which clock they were judged."""
        found: JsonObject = {}
        captured = False
        for item in rows:
            arrival, row = ARRIVAL.get(str(item["table"])), item["row"]
            if arrival is not None and isinstance(row, dict):
                captured = True
                remark = capture_remark(str(row["captured_at"]), self.by_device(str(row[arrival])))
                if remark:
                    found[str(item["key"])] = remark
        judged: JsonObject = {"device_ahead_s": self._device_ahead_s} if captured and self._device_ahead_s else {}
        return {**judged, **({"times": found} if found else {})}

    def close(self) -> None:
        """Check that no row goes in without an entry.

        Raises:
            AssertionError: A programming error: `put` without `entry`.
        """
        if self._rows:
            raise AssertionError(f"{len(self._rows)} rows were put without a trail entry.")

    def next_id(self, table: type[SQLModel], job_id: str) -> str:
        """Name the next row of a job in a table; rows are never deleted, so their count gives the number."""
        name = str(table.__tablename__)
        statement = text(f"SELECT count(*) FROM {name} WHERE job_id = :job")  # noqa: S608 - a class's own table name
        # Two writers cannot get one number: this transaction has held the write lock since it began.
        number = int(self.session.connection().execute(statement, {"job": job_id}).scalar_one()) + 1
        return row_id(name, job_id, number)


def _begin_reading(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def _begin_writing(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


class Database:
    """The one database of a data folder."""

    def __init__(self, folder: Path, clock: Clock = system_clock) -> None:
        """Open, making file, tables and triggers where missing.

        Raises:
            DatabaseUnusable: Evidence lies there without its database, or the database is none of ours.
            FolderIsNewer: The folder was written by a newer version.
        """
        refuse_to_begin_anew(folder)
        make_private(folder)
        self.path = folder / "ohmtrail.db"
        self.head_path = folder / "trail-head.json"
        self._head_file = HeadKeeper(self.head_path)
        self._signer = Signer(folder)
        self._last = Head()
        self.clock = clock
        self.head_lags = False
        """The head file could not be written after a commit; the next writing that succeeds names what it lacked."""
        make_private_file(folder / "write.lock")
        self._lag_noted = False
        self._device_ahead_s = 0
        self._lock = threading.Lock()
        self._lock_path = folder / "write.lock"
        # Two pools, since how a transaction begins is a matter of the connection. IMMEDIATE for writers: a deferred one
        # that has read fails at its first write where another committed in between, however long it would wait.
        with self._file_lock():
            if not self.path.exists():
                write_synced(self.path, new_database())
        self._readers = engine_of(self.path, _begin_reading)
        self._writers = engine_of(self.path, _begin_writing)
        try:
            self._open_schema()
        except OperationalError as error:
            self.close()
            raise entry_not_written(folder, error.orig) from error
        tighten_folder(folder)

    def _open_schema(self) -> None:
        """Make the tables where there are none, bring those of an older version to this one, refuse a newer."""
        with self._file_lock(), self._writers.begin() as connection:
            if not connection.exec_driver_sql("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
                make_tables(connection)  # a file that an older version left empty, stopped at its first start
            version = version_of(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
        if version > VERSION:
            self.close()
            raise FolderIsNewer(version=version, known=VERSION)
        self._prepare_head()
        with self._file_lock(), self.read() as session:
            self._signer.prepare(session)
        if version < VERSION:
            self._migrate()

    def _prepare_head(self) -> None:
        with self._file_lock(), self.read() as session:
            try:
                prepare_head(self.head_path, last_head(session))
            except DiskRefused:
                if not self.head_path.exists():
                    raise  # nothing was recorded yet, and nothing shall be that the head could never name
                self.head_lags = True

    def _migrate(self) -> None:
        """Bring the tables to this version, step by step, all or nothing; each step is an entry of the trail."""
        with self.write() as transaction:
            connection = transaction.session.connection()
            # Another process may have migrated while this one waited for the lock.
            version = version_of(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
            for step in after(version):
                for statement in step.statements():
                    connection.exec_driver_sql(statement)
                for table in step.created:
                    SQLModel.metadata.tables[table].create(connection)
                    for statement in triggers(table):
                        connection.exec_driver_sql(statement)
                if step.carry is not None:
                    step.carry(transaction)
                connection.exec_driver_sql(f"PRAGMA user_version = {step.version}")
                transaction.entry(What.SCHEMA_MIGRATED, note=step.note())

    def close(self) -> None:
        """Close all connections."""
        self._readers.dispose()
        self._writers.dispose()

    @contextmanager
    def _file_lock(self) -> Iterator[None]:
        try:
            handle = os.open(self._lock_path, os.O_RDWR | os.O_CREAT, PRIVATE_FILE)
        except OSError as error:
            raise file_not_written(self._lock_path.name, error) from error
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            yield
        finally:
            os.close(handle)

    @contextmanager
    def device_time(self, instant: dt.datetime) -> Iterator[None]:
        """Judge capture times within the block by the capturing device's own clock, as it was stated.

        A replay of an old visit is no absurd time. Stamps are still those of this machine, and each entry with a
        capture time says by how many seconds the stated clock is ahead of this one.

        Args:
            instant: What the device's clock says now.
        """
        self._device_ahead_s = round((instant - self.clock()).total_seconds())
        try:
            yield
        finally:
            self._device_ahead_s = 0

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Open a session on one consistent snapshot."""
        # Rows are used after the session has ended, when they could not be loaded again.
        with Session(self._readers, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Transaction]:
        """Write, the one way to do so: all of the block's rows and entries are on disk when it ends, or none.

        What is committed is answered as committed: a head file that cannot be written then lags, which is no error here
        and is noted by the next transaction and by every verification.

        Raises:
            EntryNotWritten: The disk is full or refuses; nothing was kept.
        """
        # The file lock spans commit and head file, which SQLite's own lock does not: another process that committed in
        # between would have its head overwritten by an older one.
        with self._lock, self._file_lock():
            try:
                with Session(self._writers, expire_on_commit=False) as session:
                    transaction = self._begin(session)
                    yield transaction
                    transaction.close()
                    session.commit()
            except DatabaseError as error:
                if isinstance(error, OperationalError) or type(error.orig) is sqlite3.DatabaseError:
                    raise entry_not_written(self.path.parent, error.orig) from error
                raise  # a constraint: an error of the program
            # After the commit: a crash in between leaves a head that lags, which the next writer notes. Written before,
            # a commit that fails would leave a head ahead of the trail, as if its tail was cut off.
            self._last = transaction.head
            self._write_head(transaction)

    def rotate_key(self) -> str:
        """Let a new key sign from now on, endorsed by the present one in the trail; returns the new public key.

        Raises:
            EntryNotWritten, FileNotWritten: The disk is full or refuses; the old key goes on signing.
        """
        with self.write() as transaction:
            self._signer.hand_over(transaction, self._known_head())
        with self._lock, self._file_lock():
            self._signer.taken_over()
        return self._signer.file.key().public

    def now(self) -> str:
        """Give the present instant as stamps hold it."""
        return utc_text(self.clock())

    def signing_key(self) -> SigningKey:
        """Give the key that signs.

        Raises:
            OSError, ValueError: It was taken away.
        """
        return self._signer.file.key()

    def _known_head(self) -> HeadFile:
        try:
            return self._head_file.read()
        except (CanonicalError, OSError):
            return HeadFile(None)

    def _write_head(self, transaction: Transaction) -> None:
        made = self._signer.committed(transaction.hashes, transaction.head, transaction.now)
        try:
            self._head_file.write(transaction.head, *(made or ()))
        except DiskRefused:
            self.head_lags = True
        else:
            self.head_lags = False

    def _begin(self, session: Session) -> Transaction:
        last = session.connection().exec_driver_sql(_LAST_ENTRY).first()
        head = Head() if last is None else self._head_at(*last)
        transaction = Transaction(session, head, utc_text(self.clock()), self._device_ahead_s)
        self._reconcile(transaction, head)
        if head != self._signer.in_step or head == Head():
            self._signer.begin(transaction, head, self._known_head())
        if last is not None and was_set_back(last.at, transaction.now):
            transaction.clock_set_back = True
            transaction.entry(What.CLOCK_SET_BACK, note={"before": last.at, "now": transaction.now})
        return transaction

    def _head_at(self, seq: int, digest: str, _at: str, body: str) -> Head:
        """Give the head that the last entry makes; its body need not be read where it is the one written here last."""
        if (seq, digest) != (self._last.seq, self._last.hash):
            self._last = head_of(seq, digest, body)
        return self._last

    def _reconcile(self, transaction: Transaction, head: Head) -> None:
        """Note for good where the head file did not match the trail; never hide it, never stop the work."""
        try:
            noted = self._head_file.read().head
        except CanonicalError as error:
            transaction.entry(What.HEAD_MISMATCH, note={"found": str(error)})
            return
        except OSError:
            return  # a disk that does not answer says nothing about what lies on it; the next transaction looks again
        if noted == head or (noted is None and head == Head()):
            return
        found = noted or Head()
        note = {"found_seq": found.seq, "found_hash": found.hash, "trail_seq": head.seq, "trail_hash": head.hash}
        # A file that is not there lags only where its very first writing did not come about.
        lags = head.txn <= 1 if noted is None else _is_on_trail(transaction.session, found)
        if not lags:
            transaction.entry(What.HEAD_MISMATCH, note=note)
        elif not self._lag_noted:
            transaction.entry(What.HEAD_CAUGHT_UP, note=note)
        self._lag_noted = lags


def last_head(session: Session) -> Head:
    """Give the head at which the trail ends in this snapshot."""
    last = session.connection().exec_driver_sql(_LAST_ENTRY).first()
    return Head() if last is None else head_of(last.seq, last.hash, last.body)


def _is_on_trail(session: Session, head: Head) -> bool:
    if head == Head():
        return True
    entry = session.get(TrailEntryRow, head.seq)
    return entry is not None and entry.hash == head.hash
