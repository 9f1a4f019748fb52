"""Step (4): every row against the newest entry that names it, and back; rows of append-only tables are named once."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator

from api.ledger.canonical import CanonicalError, parsed, row_bytes
from api.ledger.chain import same
from api.ledger.schema import Migration, Row, Schema, primary_key
from api.ledger.tables import APPEND_ONLY
from api.ledger.verification.result import Verification
from api.ledger.verification.trail_check import rows_of

Named = tuple[str, str, Row]
"""A row as an entry names it: table, key, content under the names that hold now."""

_DIGEST = 16
_ONCE = frozenset(APPEND_ONLY)


def _digest(row: Row) -> bytes:
    """Give a row as a short hash; b"" for one that holds what no row of ours can."""
    data = row_bytes(row)
    return b"" if data is None else hashlib.blake2b(data, digest_size=_DIGEST).digest()


class NotedRows:
    """What the trail says of every row: the entry that named it last, and its content then.

    Attributes:
        newest: By table and key, number of that entry and hash of the content.
    """

    def __init__(self) -> None:
        self.newest: dict[str, dict[str, tuple[int, bytes]]] = {}
        self._ahead: dict[int, list[Migration]] = {}

    def take(self, body: Row, ahead: list[Migration], found: Verification) -> list[Named]:
        """(4) Take an entry in; returns the rows that it names.

        Args:
            body: The entry's content.
            ahead: The migrations that came after it, by which its rows are read.
            found: Told what is wrong.
        """
        seq, named = body["seq"], []
        try:
            for item in body["rows"]:
                table, key, row = item["table"], item["key"], dict(item["row"])
                for step in ahead:
                    row = step.forward(table, row)
                known = self.newest.setdefault(table, {})
                if key in known and table in _ONCE:
                    found.problems.append(
                        f"Entry {seq}: names {table} {key} again, which entry {known[key][0]} wrote for good."
                    )
                known[key] = (seq, _digest(row))
                named.append((table, key, row))
        except (TypeError, KeyError, ValueError, AttributeError):
            found.problems.append(f"Entry {seq}: its rows are not well formed.")
        if ahead:
            self._ahead[seq] = ahead
        return named

    def seq_of(self, table: str, key: str) -> int | None:
        """Give the number of the entry that named a row last; None where none did."""
        noted = self.newest.get(table, {}).get(key)
        return None if noted is None else noted[0]

    def check(self, connection: sqlite3.Connection, schema: Schema, found: Verification) -> None:
        """(4) Check every column of every row against the trail, and back."""
        for table in schema.columns:
            if table != "trail_entry":
                self._check_table(connection, rows_of(connection, schema, table), table, found)
        for name in self.newest.keys() - schema.columns.keys():
            found.problems.append(f"The trail speaks of a table {name!r} that does not exist.")

    def _check_table(
        self, connection: sqlite3.Connection, present: Iterator[Row], table: str, found: Verification
    ) -> None:
        key_column, noted, seen = primary_key(table), self.newest.get(table, {}), set()
        for row in present:
            key = str(row[key_column])
            if key in seen:
                found.problems.append(f"{table} {key}: is there twice.")
            seen.add(key)
            if key not in noted:
                found.problems.append(f"{table} {key}: no entry of the trail knows it; it was added or renamed.")
            elif _digest(row) != noted[key][1]:
                found.problems += self._differences(connection, table, key, row)
        for key in noted.keys() - seen:
            found.problems.append(f"{table} {key}: entry {noted[key][0]} knows it, but the row is missing.")

    def _differences(self, connection: sqlite3.Connection, table: str, key: str, row: Row) -> list[str]:
        """Say column by column where a row differs from what its entry says."""
        seq = self.newest[table][key][0]
        try:
            (text,) = connection.execute("SELECT body FROM trail_entry NOT INDEXED WHERE seq = ?", (seq,)).fetchone()
            items = [item for item in parsed(text)["rows"] if (item["table"], item["key"]) == (table, key)]
            content = dict(items[-1]["row"])
            for step in self._ahead.get(seq, []):
                content = step.forward(table, content)
        except (CanonicalError, TypeError, KeyError, IndexError):
            return [f"{table} {key}: is not as entry {seq} says."]
        return [
            f"{table} {key}: {column} is {row.get(column)!r}, entry {seq} says {content.get(column)!r}."
            for column in sorted(row.keys() | content.keys())
            if not same(row.get(column), content.get(column))
        ]
