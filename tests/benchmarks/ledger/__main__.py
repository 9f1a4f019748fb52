"""Measures the ledger: `python -m tests.benchmarks.ledger [--entries 10000 100000] [--gigabytes 1] [--folder FOLDER]`.

Appending: transactions of one row and one entry, each on disk before the next begins, beside a plain SQLite table that
takes the same bytes with the same number of syncs (one for the log, one for a file of the head's size).

Verifying: trails of some sizes beside `sha256sum` over the same folder, both from files that lie in the page cache, in
the same run; and stored files of some gigabytes, the same way. The ratio is our speed over that of `sha256sum`.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sqlite3
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from api.ledger.database import Database, row_of
from api.ledger.schema import primary_key
from api.ledger.store import Store
from api.ledger.tables import CaptureRow, EvidenceRow, JobRow
from api.ledger.trail import ENTRY_COLUMNS, Head, What, entry_values, write_head
from api.ledger.verify import verify_folder

APPENDS = 2000
FILE_BYTES = 1_000_000
BATCH = 5000
JOB: dict[str, Any] = {
    "title": "Ground fault on X", "customer": "Brackwater Gearworks (invented)", "machine": "Machining centre 4",
    "technician": "Technician 7", "alarm_text": "", "air_c": None, "humidity_percent": None, "description_json": "{}",
}  # fmt: skip


def capture(number: int, sha256: str, at: str) -> CaptureRow:
    """Make a row of the size of most."""
    return CaptureRow(
        id=f"J1-C{number}", job_id="J1", sha256=sha256, client_id=f"phone-1-{number}", state="recognised",
        outcome_json='{"heard":"x ray axis motor alone a one to a two one point zero eight","proposals":["J1-P1"]}',
        captured_at="2026-11-24T14:05:00-05:00", received_at=at,
    )  # fmt: skip


def evidence(sha256: str, size: int, at: str) -> EvidenceRow:
    """Make the row of a stored file."""
    return EvidenceRow(
        sha256=sha256, media_type="image/jpeg", kind="photo", size=size, parent_sha256=None, derivation="",
        metadata_json="{}", stored_at=at,
    )  # fmt: skip


def begun(folder: Path, data: bytes = b"a clip") -> str:
    """Begin a folder with one job and one stored file; returns the file's hash."""
    database, sha256 = Database(folder), Store(folder / "evidence").put(data)
    with database.write() as transaction:
        transaction.put(JobRow(id="J1", created_at=transaction.now, **JOB))
        transaction.put(evidence(sha256, len(data), transaction.now))
        transaction.entry(What.JOB_CREATED, "J1")
    database.close()
    return sha256


def append_rate(folder: Path, count: int) -> float:
    """Append transactions through the one way to write; returns how many a second."""
    sha256, database = begun(folder), Database(folder)
    started = time.perf_counter()
    for number in range(1, count + 1):
        with database.write() as transaction:
            transaction.put(capture(number, sha256, transaction.now))
            transaction.entry(What.EVIDENCE_STORED, "J1", note={"sha256": sha256})
    seconds = time.perf_counter() - started
    database.close()
    return count / seconds


def plain_rate(folder: Path, count: int) -> float:
    """Append the same bytes to a plain table, with the same syncs; returns how many a second."""
    folder.mkdir()
    connection = sqlite3.connect(folder / "plain.db", isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL"):
        connection.execute(f"PRAGMA {pragma}").fetchall()
    connection.execute("CREATE TABLE entry (seq INTEGER PRIMARY KEY, body TEXT)")
    connection.execute("CREATE TABLE line (id TEXT PRIMARY KEY, body TEXT)")
    row, head = str(row_of(capture(1, "0" * 64, "2026-11-24T14:05:00.000000Z"))), bytes(4096)
    handle = os.open(folder / "head", os.O_WRONLY | os.O_CREAT, 0o600)
    os.pwrite(handle, bytes(2 * len(head)), 0)
    started = time.perf_counter()
    for number in range(1, count + 1):
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO line VALUES (?, ?)", (f"J1-C{number}", row))
        connection.execute("INSERT INTO entry VALUES (?, ?)", (number, row * 2))
        connection.execute("COMMIT")
        os.pwrite(handle, head, number % 2 * len(head))
        os.fdatasync(handle)
    seconds = time.perf_counter() - started
    os.close(handle)
    connection.close()
    return count / seconds


def fill(folder: Path, count: int, told: Progress) -> None:
    """Write a trail of so many entries straight into the database, in large transactions."""
    sha256, task = begun(folder), told.add_task(f"{count} entries", total=count)
    connection = sqlite3.connect(folder / "ohmtrail.db", isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    last = "SELECT seq, hash, at FROM trail_entry ORDER BY seq DESC LIMIT 1"
    seq, text, at = connection.execute(last).fetchone()
    head, key = Head(seq, 1, text), primary_key("capture")
    columns = tuple(row_of(capture(1, sha256, at)))
    into_captures, into_trail = (
        f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
        for table, names in (("capture", columns), ("trail_entry", ENTRY_COLUMNS))
    )
    for begin in range(1, count, BATCH):
        connection.execute("BEGIN")
        for number in range(begin, min(begin + BATCH, count)):
            row = capture(number, sha256, at)
            content = row_of(row)
            named: list[Any] = [{"table": "capture", "key": content[key], "row": content}]
            note = {"sha256": sha256}
            values, head = entry_values(
                head, head.txn + 1, at=at, job_id="J1", what=What.EVIDENCE_STORED, by="", rows=named, note=note
            )  # fmt: skip
            connection.execute(into_captures, tuple(content.values()))
            connection.execute(into_trail, values)
        connection.execute("COMMIT")
        told.update(task, completed=begin + BATCH)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    write_head(folder / "trail-head.json", head)
    database = Database(folder)
    with database.write() as transaction:  # signs what was written past it
        transaction.entry(What.ASKED, "J1")
    database.close()


def fill_files(folder: Path, gigabytes: float, told: Progress) -> None:
    """Store files of a megabyte each; they are not synced, since the writing is not what is measured."""
    begun(folder)
    count = int(gigabytes * 1e9 / FILE_BYTES)
    task, database = told.add_task(f"{gigabytes:g} GB of files", total=count), Database(folder)
    import hashlib

    with database.write() as transaction:
        for _ in range(count):
            data = os.urandom(FILE_BYTES)
            sha256 = hashlib.sha256(data).hexdigest()
            path = folder / "evidence" / sha256[:2] / sha256[2:]
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)
            transaction.put(evidence(sha256, FILE_BYTES, transaction.now))
            told.advance(task)
        transaction.entry(What.EVIDENCE_STORED, "J1")
    database.close()


def sums(folder: Path) -> tuple[float, int]:
    """Run `sha256sum` over all files of a folder; returns seconds and bytes. The first run fills the page cache."""
    files = [str(path) for path in folder.rglob("*") if path.is_file()]
    names = "\0".join(files).encode()
    seconds = 0.0
    for _ in range(2):
        started = time.perf_counter()
        subprocess.run(["xargs", "-0", "sha256sum"], input=names, stdout=subprocess.DEVNULL, check=True)
        seconds = time.perf_counter() - started
    return seconds, sum(Path(name).stat().st_size for name in files)


def verified(folder: Path, name: str, table: Table) -> None:
    """Verify a folder beside `sha256sum`, and add the line."""
    plain, size = sums(folder)
    started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF).ru_utime
    found = verify_folder(folder)
    seconds = time.perf_counter() - started
    cpu = resource.getrusage(resource.RUSAGE_SELF).ru_utime - before
    assert found.intact, found.problems
    rate = f"{found.entries / seconds:,.0f}" if found.entries > 100 else ""
    figures = [f"{size / 1e6:,.0f}", *(f"{one:.2f}" for one in (seconds, cpu, plain)), f"{100 * plain / seconds:.0f} %"]
    print(name, *figures, rate, flush=True)  # a long run that is cut off has told what it knew
    table.add_row(name, *figures, rate)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--entries", type=int, nargs="*", default=[10_000, 100_000])
    parser.add_argument("--gigabytes", type=float, nargs="*", default=[1.0])
    parser.add_argument("--appends", type=int, default=APPENDS)
    parser.add_argument("--folder", type=Path, help="Where to work; the system's temporary folder if not given.")
    given = parser.parse_args()
    console, top = Console(), Path(tempfile.mkdtemp(prefix="ohmtrail-ledger-", dir=given.folder))
    verifying = Table(title="Verifying, beside sha256sum of the same folder")
    for heading in ("", "MB", "verify, s", "its processor, s", "sha256sum, s", "speed of sha256sum", "entries/s"):
        verifying.add_column(heading, justify="right" if heading else "left")
    try:
        own, plain = append_rate(top / "append", given.appends), plain_rate(top / "plain", given.appends)
        console.print(
            f"Appending with full sync: {own:.0f} transactions/s; SQLite's own, same syncs and bytes: {plain:.0f}/s"
            f" ({100 * own / plain:.0f} %)"
        )
        with Progress(console=console, transient=True) as told:
            for count in given.entries:
                fill(top / f"e{count}", count, told)
                verified(top / f"e{count}", f"{count:,} entries", verifying)
                shutil.rmtree(top / f"e{count}")
            for size in given.gigabytes:
                fill_files(top / f"g{size}", size, told)
                verified(top / f"g{size}", f"{size:g} GB of files", verifying)
                shutil.rmtree(top / f"g{size}")
        console.print(verifying)
        console.print(f"Load of the machine: {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
    finally:
        shutil.rmtree(top, ignore_errors=True)


if __name__ == "__main__":
    main()
