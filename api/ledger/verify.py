"""Verification: finds any byte of any value, photo, clip, entry or report that is not what it was when it was noted.

The steps are numbered, here, where they are called and at their places in `api.ledger.verification`:

    (1) the database is sound, and its tables and triggers are ours, of the version that it says it has
    (2) every entry of the trail follows from the one before, and its columns say what its body says
    (3) the head file names the last entry; one that names an earlier entry on the chain lags, which is told with its
        count: a stop between commit and head file, or a full disk
    (4) every row of every table is the one that its newest entry holds, no row is missing, none is extra, and a row of
        an append-only table is named by one entry only; an entry written before a migration is read under the names
        of its day (`api.ledger.schema`)
    (5) every stored file has the content that its name says, none is missing, none is added
    (6) every report made is there, unchanged, its copies in the data folder too, and the entry whose hash it prints is
        still on the chain
    (7) every record has a confirmation of its own, for exactly the digits and the revision that its proposal held
    (8) every signed head that is held here lies on the trail and is signed by the key that the trail named; the last
        one covers the whole trail, but for entries behind a head that lags
    (9) findings follow from the records that they name (`api.assessment.recheck`, which the caller adds)

All steps look at one moment of the database and its head file, however many captures come in meanwhile; a file that
arrived since is looked up in the present state. Nothing in the folder is written.

What this cannot find: somebody who has the signing key and rewrites the whole trail with it; a tail that was cut off
together with everything later, the head file set back to what it was; and who appended entries behind a signed head
that lags. Against that stand witnesses outside this machine (`api.proof.witness`): reports, exports, time-stamps,
others' signatures. A file that an interrupted capture left cannot be told from one that was
added under its right name: both are notes.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from api.ledger.schema import Row, Schema, after, schema
from api.ledger.store import read_plain
from api.ledger.verification.confirmations import Confirmations
from api.ledger.verification.database_check import check_database, read_version
from api.ledger.verification.files import Sizes, check_copies, check_store
from api.ledger.verification.result import ExitStatus, Verification, VerifyResult
from api.ledger.verification.rows import NotedRows
from api.ledger.verification.signatures import Signatures
from api.ledger.verification.snapshot import Moment, moment_of
from api.ledger.verification.trail_check import check_chain, check_head, hash_at, rows_of
from api.ledger.verification.witnesses import NOTHING, Outside, check_witnesses

__all__ = ["ExitStatus", "Verification", "Verified", "VerifyResult", "verify_folder"]

Progress = Callable[[str], None]

_CHANGED_CODES = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA}


@dataclass(frozen=True)
class Verified:
    """What a further check is given: the moment that was verified.

    Attributes:
        folder: The data folder.
        connection: In its reading transaction.
        schema: What its tables look like.
        version: Version of that schema.
        noted: What the trail says of every row.
        signatures: Keys, heads and the tree of the trail.
        found: Told what is wrong.
    """

    folder: Path
    connection: sqlite3.Connection
    schema: Schema
    version: int
    noted: NotedRows
    signatures: Signatures
    found: Verification

    def rows(self, table: str) -> Iterator[Row]:
        """Read a table's rows in the order of storage, under the names of the newest schema."""
        if table not in self.schema.columns:
            return
        for row in rows_of(self.connection, self.schema, table):
            for step in after(self.version):
                row = step.forward(table, row)  # noqa: PLW2901 - the same row under its next names
            yield row


Check = Callable[[Verified], None]
"""A step of another room, run on the same moment after those of the ledger."""


def _silent(_step: str) -> None:
    pass


def verify_folder(
    folder: Path, progress: Progress = _silent, checks: Iterable[Check] = (), outside: Outside = NOTHING
) -> Verification:
    """Verify a data folder. Never raises: what cannot be read is told as such.

    Args:
        folder: The data folder.
        progress: Told the step that begins.
        checks: Steps of other rooms.
        outside: What is brought along to compare with.
    """
    found = Verification()
    try:
        if _is_missing(folder, found):
            return found
        with moment_of(folder) as moment:
            _verify(folder, moment, progress, checks, outside, found)
    except (sqlite3.Error, UnicodeDecodeError, OSError) as error:
        _cannot_be_read(error, found)
    return found


def _is_missing(folder: Path, found: Verification) -> bool:
    """Tell that there is nothing to verify, and what lies there instead."""
    if not folder.is_dir():
        found.problems.append("The data folder is missing.")
    elif (folder / "ohmtrail.db").is_file():
        return False
    elif os.path.lexists(folder / "ohmtrail.db"):
        found.problems.append("The database is no file: something else lies in its place.")
    else:
        found.problems.append("The database is missing.")
        if any(path.is_file() for path in (folder / "evidence").glob("*/*")):
            found.notes.append("Evidence lies there without its database. Restore the folder from a backup.")
    found.missing = True
    return True


def _cannot_be_read(error: Exception, found: Verification) -> None:
    """Tell a database whose bytes were changed from one that the system does not give."""
    code = getattr(error, "sqlite_errorcode", None)
    changed = isinstance(error, UnicodeDecodeError) or (code is not None and code & 0xFF in _CHANGED_CODES)
    changed = changed or (isinstance(error, sqlite3.Error) and code is None)
    sentence = f"The database cannot be read to its end: {error}."
    (found.problems if changed else found.unread).append(sentence)


def _verify(
    folder: Path, moment: Moment, progress: Progress, checks: Iterable[Check], outside: Outside, found: Verification
) -> None:
    connection, noted = moment.connection, NotedRows()
    progress("database")
    version = read_version(connection, found)  # (1)
    expected = schema(version)
    check_database(connection, expected, found)  # (1)
    progress("trail")
    confirmations, signatures, beginning = Confirmations(), Signatures(), 0
    for body, ahead in check_chain(connection, expected, version, found, signatures):  # (2)
        beginning += body["txn"] == 1
        named = noted.take(body, ahead, found)  # (4)
        confirmations.take(body["seq"], named, found)  # (7)
    check_head(connection, moment.head_file, beginning, found)  # (3)
    progress("signatures")
    signatures.check(moment.head_file, found)  # (8)
    check_witnesses(folder, signatures, outside, found)  # (8)
    progress("rows")
    noted.check(connection, expected, found)  # (4)
    progress("files")
    _check_files(folder, connection, found)  # (5)
    progress("reports")
    _check_reports(folder, connection, expected, found)  # (6)
    progress("findings")
    for check in checks:  # (9)
        check(Verified(folder, connection, expected, version, noted, signatures, found))


def _sizes(connection: sqlite3.Connection, table: str) -> Sizes:
    statement = f"SELECT sha256, size FROM {table} NOT INDEXED"  # noqa: S608 - our own names
    return {str(sha256): size for sha256, size in connection.execute(statement)}


def _check_files(folder: Path, connection: sqlite3.Connection, found: Verification) -> None:
    """(5) Check the evidence."""

    def later() -> Sizes:
        with moment_of(folder) as now:
            return _sizes(now.connection, "evidence")

    check_store(folder / "evidence", _sizes(connection, "evidence"), "evidence", later, found)


def _check_reports(folder: Path, connection: sqlite3.Connection, schema: Schema, found: Verification) -> None:
    """(6) Check the reports, their copies for people, and the hashes that they print."""

    def later() -> Sizes:
        with moment_of(folder) as now:
            return _sizes(now.connection, "report_file")

    reports = _sizes(connection, "report_file")
    check_store(folder / "reports", reports, "report", later, found)
    check_copies(folder, reports, later, found)
    for row in rows_of(connection, schema, "report_file"):
        seq, name = row["trail_seq"], f"report {row['id']}"
        if type(seq) is not int or hash_at(connection, seq) != row["trail_hash"]:
            found.problems.append(
                f"{name}: the hash that it names of entry {seq} is no longer on the chain; the trail was written anew."
            )
        if not _prints(folder, row):
            found.problems.append(f"{name}: it does not print the hash {row['trail_hash']} that its row names.")


def _prints(folder: Path, row: Row) -> bool:
    """Tell whether a report made here prints the hash that its row names; what was kept for others need not.

    Looked for in HTML and short text only: a PDF prints it too, but packed, and the table does not.
    """
    if row["name"] not in (
        f"report-{row['job_id']}{end}" for end in (".html", "-letter.html", "-short.txt", "-reduced.html")
    ):
        return True
    try:
        data = read_plain(folder / "reports" / str(row["sha256"])[:2] / str(row["sha256"])[2:])
    except OSError:
        return True  # missing or unread: told already
    return str(row["trail_hash"]).encode() in data
