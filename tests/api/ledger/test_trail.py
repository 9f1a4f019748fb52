"""Canonical JSON, entries and the head file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import col, select

from api.ledger.canonical import CanonicalError, canonical, parsed, sha256_hex
from api.ledger.database import Database
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import FIRST_PREV, Head, What, entry_for_page, make_entry, read_head, write_head
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
    first, head = make_entry(Head(), 1, what=What.PROPOSED, **common)
    second, head = make_entry(head, 2, what=What.CONFIRMED, **common)
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
        "capture": 8,
        "confirmation_event": 13,
        "dialogue_state": 5,
        "evidence": 8,
        "grading_run": 7,
        "instrument": 8,
        "job": 10,
        "proposal": 34,
        "record": 30,
        "instrument_profile": 6,
        "report_file": 10,
        "safety_answer": 12,
        "trail_entry": 7,
    }
    assert triggers == 2 * 11 + 3
