"""Canonical JSON, entries and the head file."""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import col, select

from api.ledger.canonical import (
    CanonicalError,
    _plain_canonical,
    canonical,
    parsed,
    parsed_canonical,
    row_bytes,
    sha256_hex,
)
from api.ledger.database import Database
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import ENTRY_COLUMNS, FIRST_PREV, Head, What, entry_for_page, entry_values, read_head, write_head
from api.workspace import Workspace
from tests.api.makers import JOB

TEXT = st.text(st.characters(exclude_categories=["Cs"]))
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(max_codepoint=126)), inner),
    max_leaves=20,
)


@given(PLAIN)
def test_canonical_text_reads_back_and_is_the_same_again(value: Any) -> None:
    text = canonical(value)
    assert parsed(text) == value
    assert canonical(parsed(text)) == text


ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(2**63 - 2, 2**64 + 2)
    | st.floats()
    | st.text()
    | st.binary(max_size=3)
    | st.sampled_from(
        [What.CONFIRMED, Decimal("1.50"), dt.date(2026, 11, 24), UUID(int=5), (1, 2), {1}, 1.0, "\ud800"]
    ),
    lambda inner: st.lists(inner) | st.dictionaries(st.text() | st.integers(), inner) | st.tuples(inner),
    max_leaves=12,
)
MARKS = st.sampled_from(
    [*'{}[]:,"\\ \n\x00\x7f\t/-.eE+0123456789aunrtfls', "\\u00e9", "\\ud800", "1.0", "1e5", "-0", "Ω"]
)


def plainly(value: object) -> str | None:
    """Give the canonical form by the standard library alone; None where there is none."""
    try:
        return _plain_canonical(value)
    except CanonicalError:
        return None


@settings(max_examples=500)
@given(ANYTHING)
def test_the_fast_way_writes_what_the_plain_way_writes(value: Any) -> None:
    try:
        text = canonical(value)
    except CanonicalError:
        text = None
    assert text == plainly(value)


@settings(max_examples=500)
@given(PLAIN | ANYTHING, st.data())
def test_the_fast_way_takes_what_the_plain_way_takes_and_no_more(value: Any, data: st.DataObject) -> None:
    """Change texts at any place: what is canonical still is so by both ways, and means the same."""
    text = plainly(value)
    if text is None:
        text = json.dumps(value, default=str, skipkeys=True)
    if data.draw(st.booleans()):
        begin = data.draw(st.integers(0, len(text)))
        text = text[:begin] + data.draw(MARKS) + text[begin + data.draw(st.integers(0, 2)) :]
    try:
        expected = parsed(text)
        takes = plainly(expected) == text
    except CanonicalError:
        takes = False
    try:
        found = parsed_canonical(text)
    except CanonicalError:
        assert not takes
    else:
        assert takes
        assert repr(found) == repr(expected), "in type too: 1 is neither 1.0 nor true"


@pytest.mark.parametrize(
    "text",
    ['{"a":1,"a":2}', '{"b":1,"a":2}', '{"a":1.0}', '{"a": 1}', '{"a":-0}', '"\\u0041"', '"\\/"', '{"Ω":1}', '"\x01"',
     '{"a":1e2}', '"\\ud800"', "[1,]", "NaN", " 1", "1 ", "01", "[" * 10_000 + "]" * 10_000],
)  # fmt: skip
def test_other_spellings_are_not_canonical(text: str) -> None:
    with pytest.raises(CanonicalError):
        parsed_canonical(text)


ROWS = st.dictionaries(
    st.sampled_from("abc"), st.none() | st.integers() | st.text() | st.booleans() | st.floats() | st.binary(max_size=4)
)


@given(ROWS, ROWS)
def test_no_two_rows_are_written_alike(first: Any, second: Any) -> None:
    one, other = row_bytes(first), row_bytes(second)
    kinds = {type(value) for value in first.values()}
    assert (one is None) == bool(kinds - {str, int, type(None)})
    if one is not None and one == other:
        assert repr(sorted(first.items())) == repr(sorted(second.items()))


@pytest.mark.parametrize(
    ("first", "second"),
    [({"a": b"\0\1\2"}, {"a": "AAEC"}), ({"a": float("inf")}, {"a": None}), ({"a": 1}, {"a": True}),
     ({"a": 1}, {"a": 1.0}), ({"a": 1}, {"a": "1"}), ({"a": None}, {}), ({"a": "\ud800"}, {"a": "\ud801"})],
)  # fmt: skip
def test_rows_that_differ_by_kind_are_told_apart(first: Any, second: Any) -> None:
    assert row_bytes(first) != row_bytes(second)
    assert row_bytes(dict(reversed(first.items()))) == row_bytes(first)


def test_canonical_form_is_fixed() -> None:
    """Hold to RFC 8785, 3.2: no white space, keys sorted, only the escapes that JSON needs."""
    assert canonical({"b": [1, True, None], "a": 'Ω\n"\\/'}) == '{"a":"Ω\\n\\"\\\\/","b":[1,true,null]}'


@pytest.mark.parametrize("value", [1.5, float("nan"), b"x", {1: 2}, {"Ω": 1}, "\ud800", {"a": [object()]}])
def test_what_has_no_canonical_form_is_refused(value: Any) -> None:
    with pytest.raises(CanonicalError):
        canonical(value)


@pytest.mark.parametrize("text", ["1.5", "NaN", "{", "[1,]", "Infinity", "[" * 100_000])
def test_text_that_is_not_ours_is_refused(text: str) -> None:
    with pytest.raises(CanonicalError):
        parsed(text)


def test_entries_chain_from_sixty_four_zeros() -> None:
    common: dict[str, Any] = {"at": "t", "job_id": "J1", "by": "", "rows": [], "note": {}}
    values, head = entry_values(Head(), 1, what=What.PROPOSED, **common)
    first = TrailEntryRow.model_validate(dict(zip(ENTRY_COLUMNS, values, strict=True)))
    values, head = entry_values(head, 2, what=What.CONFIRMED, **common)
    second = TrailEntryRow.model_validate(dict(zip(ENTRY_COLUMNS, values, strict=True)))
    assert (first.seq, first.prev) == (1, FIRST_PREV)
    assert first.hash == sha256_hex(first.body)
    assert second.prev == first.hash
    assert head == Head(2, 2, second.hash)
    assert json.loads(second.body)["prev"] == first.hash
    assert entry_for_page(second)["what"] == "confirmed"


def test_the_head_file_follows_every_commit(workspace: Workspace) -> None:
    for _ in range(3):
        workspace.create_job(JOB)
        with workspace.database.read() as session:
            last = session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq).desc())).first()
        assert last is not None
        noted = read_head(workspace.database.head_path)
        assert noted is not None
        assert (noted.seq, noted.hash) == (last.seq, last.hash)


@pytest.mark.parametrize(
    "text",
    ["", "{}", "[]", '{"hash":"x","seq":1}', '{"hash":1,"seq":1,"txn":1}', '{"hash":"x", "seq":1,"txn":1}', "\udcff"],
)
def test_a_damaged_head_file_is_said_to_be_one(tmp_path: Path, text: str) -> None:
    path = tmp_path / "head.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(CanonicalError):
        read_head(path)


def test_no_head_file_is_no_head(tmp_path: Path) -> None:
    assert read_head(tmp_path / "none.json") is None
    write_head(tmp_path / "head.json", Head(3, 2, "ab"))
    assert read_head(tmp_path / "head.json") == Head(3, 2, "ab")


def test_a_damaged_head_file_does_not_stop_the_work_and_stays_on_record(tmp_path: Path) -> None:
    workspace = Workspace.open(tmp_path)
    workspace.create_job(JOB)
    (tmp_path / "trail-head.json").write_bytes(b"garbage")
    workspace.create_job(JOB)
    found = workspace.verify()
    assert any("head file did not match" in problem for problem in found.problems)
    workspace.close()


def test_the_schema_is_the_one_that_was_reviewed(tmp_path: Path) -> None:
    """Write the tables' names, columns and types as text, so that a change of the format shows in review."""
    database = Database(tmp_path)
    with database._readers.connect() as connection:
        tables = connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
        ).fetchall()
        found = {
            name: [(row[1], row[2], bool(row[3])) for row in connection.exec_driver_sql(f"PRAGMA table_info({name})")]
            for (name,) in tables
        }
        triggers = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master WHERE type = 'trigger'").scalar()
    database.close()
    assert {column[1] for columns in found.values() for column in columns} == {"VARCHAR", "INTEGER"}
    assert found["trail_entry"] == [
        ("seq", "INTEGER", True),
        ("job_id", "VARCHAR", True),
        ("what", "VARCHAR", True),
        ("at", "VARCHAR", True),
        ("prev", "VARCHAR", True),
        ("hash", "VARCHAR", True),
        ("body", "VARCHAR", True),
    ]
    assert {name: len(columns) for name, columns in found.items()} == {
        "axis": 11,
        "capture": 10,
        "confirmation_event": 13,
        "device": 7,
        "dialogue_state": 5,
        "evidence": 8,
        "grading_run": 7,
        "instrument": 8,
        "job": 10,
        "job_change": 10,
        "picture": 9,
        "proposal": 34,
        "record": 30,
        "instrument_profile": 6,
        "report_file": 10,
        "safety_answer": 12,
        "sent_action": 9,
        "trail_entry": 7,
    }
    assert triggers == 2 * 14 + 4
