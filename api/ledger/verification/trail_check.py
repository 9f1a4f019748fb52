"""Steps (2) and (3): the trail entry by entry, and the head file against it.

The trail is read once, as a stream: of each row only a hash of its newest content is held, so that a million entries
take some hundred megabytes and not their own size several times.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from api.ledger.canonical import CanonicalError
from api.ledger.chain import check_entry
from api.ledger.schema import MIGRATIONS, Migration, Row, Schema
from api.ledger.trail import FIRST_PREV, Head, HeadFile, What
from api.ledger.verification.result import BEYOND_PROOF, Verification, lag_words
from api.ledger.verification.signatures import Signatures


def rows_of(connection: sqlite3.Connection, schema: Schema, table: str) -> Iterator[Row]:
    """Read the rows of a table in the order of storage, past every index, since an index can be made to lie."""
    columns = schema.columns[table]
    quoted = ", ".join(f'"{name}"' for name in columns)
    for values in connection.execute(f'SELECT {quoted} FROM "{table}" NOT INDEXED'):  # noqa: S608 - our own names
        yield dict(zip(columns, values, strict=True))


def hash_at(connection: sqlite3.Connection, seq: int) -> str | None:
    """Give the hash of an entry by its number; that of number 0 is the one before the first."""
    if seq == 0:
        return FIRST_PREV
    found = connection.execute("SELECT hash FROM trail_entry NOT INDEXED WHERE seq = ?", (seq,)).fetchone()
    return None if found is None else str(found[0])


def check_chain(
    connection: sqlite3.Connection, schema: Schema, version: int, found: Verification, signatures: Signatures
) -> Iterator[tuple[Row, list[Migration]]]:
    """(2) Check the trail entry by entry.

    Yields:
        The content of each entry that can be read, and the migrations that came after it. A migration's entry is
        believed only where it says exactly what that step did, so that nobody can bring a mapping of his own; the last
        one must lead to the version that the database has.
    """
    steps = {step.version: step for step in MIGRATIONS}
    counted = "SELECT count(*) FROM trail_entry NOT INDEXED WHERE what = ?"
    reached = version - int(connection.execute(counted, (What.SCHEMA_MIGRATED.value,)).fetchone()[0])
    ahead = [step for step in MIGRATIONS if reached < step.version <= version]
    head = Head()
    for entry in _in_order(connection, schema):
        checked = check_entry(entry, head)
        found.problems += [f"Entry {entry['seq']}: {fault}" for fault in checked.faults]
        found.entries += 1
        head, body = checked.head, checked.body
        signatures.leaf(head.hash)
        if body is None:
            continue
        if body["what"] == What.SCHEMA_MIGRATED.value:
            reached += 1
            step = steps.get(reached)
            if step is None or body["note"] != step.note():
                found.problems.append(f"Entry {body['seq']}: names a migration that never was.")
            ahead = ahead[1:]
        elif body["what"] in _TOLD:
            _tell(connection, body, found)
        signatures.take(body, found)
        yield body, ahead
    found.head = head.hash


def _in_order(connection: sqlite3.Connection, schema: Schema) -> Iterator[Row]:
    columns = schema.columns["trail_entry"]
    quoted = ", ".join(f'"{name}"' for name in columns)
    statement = f"SELECT {quoted} FROM trail_entry NOT INDEXED ORDER BY seq"  # noqa: S608 - our own names
    for values in connection.execute(statement):
        yield dict(zip(columns, values, strict=True))


_TOLD = {What.HEAD_MISMATCH.value, What.HEAD_CAUGHT_UP.value, What.CLOCK_SET_BACK.value}


def _tell(connection: sqlite3.Connection, body: Row, found: Verification) -> None:
    """Tell what the program itself noted of head file and clock."""
    name, note = f"Entry {body['seq']}", body["note"] if isinstance(body["note"], dict) else {}
    if body["what"] == What.CLOCK_SET_BACK.value:
        found.notes.append(f"{name}: this machine's clock was set back from {note.get('before')} to {note.get('now')}.")
        return
    seq, end = note.get("found_seq"), note.get("trail_seq")
    if type(seq) is int and type(end) is int and 0 <= seq < end < body["seq"]:
        on_chain = hash_at(connection, seq) == note.get("found_hash") and hash_at(connection, end) == note["trail_hash"]
        # A head at the very beginning, beside later transactions, may as well be a file that was removed.
        if on_chain and (seq > 0 or body["what"] == What.HEAD_CAUGHT_UP.value):
            found.notes.append(
                f"{name}: until then the head file {_lagged(end - seq)}: the machine had stopped between commit and"
                f" head file, or the disk was full. {BEYOND_PROOF}"
            )
            return
    found.problems.append(f"{name}: the head file did not match the trail at {body['at']}.")


def _lagged(entries: int) -> str:
    return lag_words(entries).replace("lags", "lagged", 1)


def check_head(
    connection: sqlite3.Connection, head_file: HeadFile | CanonicalError, beginning: int, found: Verification
) -> None:
    """(3) Check the head file against the trail: it names the last entry, or an earlier one on the chain.

    Args:
        connection: The moment.
        head_file: What the head file said at that moment; the error where it is damaged.
        beginning: Entries of the very first transaction, after which alone the file may still be missing.
        found: Told what is wrong.
    """
    if isinstance(head_file, CanonicalError):
        found.problems.append(f"Head file: {head_file}")
        return
    if head_file.damaged:
        found.notes.append("Head file: one of its two slots is not whole, as after a writing that was torn.")
    last, noted = found.entries, head_file.head
    if noted is None:
        if last > beginning:
            found.problems.append("Head file: it is missing.")
        elif last:
            _lag(last, found)
        return
    on_chain = hash_at(connection, noted.seq) == noted.hash
    if noted.seq > last:
        found.problems.append(f"Head file: names entry {noted.seq}, the trail ends at {last}: its tail was cut off.")
    elif not on_chain:
        found.problems.append(f"Head file: names entry {noted.seq} with another hash than the trail.")
    elif noted.seq < last:
        _lag(last - noted.seq, found)


def _lag(entries: int, found: Verification) -> None:
    found.lag = entries
    found.notes.append(
        f"The head file {lag_words(entries)}: the machine stopped between commit and head file, or the disk was full."
        f" {BEYOND_PROOF}"
    )
