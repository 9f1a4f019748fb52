"""A folder made under an older schema: intact before and after it is brought to this one, with nothing lost.

`data/schema1.zip` was made by the program as it was before versions were counted: a visit with safety answers, speech,
photos, a correction, a withdrawal, two instrument profiles, a typed reading, a grading and a report. `data/schema2.zip`
was made by the last program of version 2 in the same way, with a head file of the first form and a copy of the report.
"""

from __future__ import annotations

import json
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest

from api.assessment.recheck import verify_all
from api.dialogue.actions import Confirm, Correct
from api.errors import Refused
from api.ledger import schema
from api.ledger.canonical import canonical, sha256_hex
from api.ledger.schema import MIGRATIONS, VERSION
from api.ledger.verify import verify_folder
from api.visit.profiles import instrument_of, profile_of
from api.visit.records import all_records, current_records
from api.workspace import Workspace
from tests.api.makers import FakeEngines, at

DATA = Path(__file__).parent / "data"
OLD = DATA / "schema1.zip"


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Copy a folder of version 1, as it was left."""
    folder = tmp_path / "data"
    with zipfile.ZipFile(OLD) as packed:
        packed.extractall(folder)
    return folder


def migrate(folder: Path) -> None:
    Workspace.open(folder, engines=FakeEngines()).close()


def ask(folder: Path, query: str) -> list[tuple[Any, ...]]:
    connection = sqlite3.connect(folder / "ohmtrail.db")
    found = connection.execute(query).fetchall()
    connection.close()
    return found


def tell(folder: Path, *statements: tuple[str, tuple[Any, ...]]) -> None:
    """Change the file as somebody with the database in hand would: triggers off, change, triggers back."""
    connection = sqlite3.connect(folder / "ohmtrail.db", isolation_level=None)
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for statement, values in statements:
        connection.execute(statement, values)
    for _, text in triggers:
        connection.execute(text)
    connection.close()


def test_the_old_folder_is_intact_before_and_after(old: Path) -> None:
    before = verify_folder(old)
    assert before.intact, before.problems
    assert ask(old, "PRAGMA user_version") == [(0,)]
    entries = ask(old, "SELECT seq, hash, body FROM trail_entry ORDER BY seq")
    migrate(old)
    after = verify_folder(old)
    assert after.intact, after.problems
    assert len(before.notes) == len(after.notes) == 1
    assert "No head of this trail is signed yet" in before.notes[0]
    assert f"Entries 1 to {len(entries)} were written before heads were signed" in after.notes[0]
    assert (before.signed, after.signed) == (0, after.entries)
    assert ask(old, "PRAGMA user_version") == [(VERSION,)]
    now = ask(old, "SELECT seq, hash, body FROM trail_entry ORDER BY seq")
    assert now[: len(entries)] == entries, "no entry is ever rewritten"
    added = [json.loads(body) for _, _, body in now[len(entries) :]]
    assert added.pop(0)["what"] == "signing key named"
    assert [(body["what"], body["note"]) for body in added] == [("schema migrated", step.note()) for step in MIGRATIONS]
    assert added[0]["note"]["renamed"]["record"] == {"quantity": "kind"}


def test_a_folder_of_version_2_is_intact_before_and_after(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with zipfile.ZipFile(DATA / "schema2.zip") as packed:
        packed.extractall(folder)
    before = verify_all(folder)
    assert (before.problems, before.lag) == ([], 0)
    assert ask(folder, "PRAGMA user_version") == [(2,)]
    unsigned = (folder / "trail-head.json").read_bytes()
    migrate(folder)
    after = verify_all(folder)
    assert (after.problems, after.lag, after.entries) == ([], 0, before.entries + 1 + VERSION - 2)
    # Stopped between commit and head file, the first key is named and has signed nothing: no tampering.
    kept, signed = (folder / "trail-head.json"), (folder / "trail-head.json").read_bytes()
    kept.write_bytes(unsigned)
    stopped = verify_all(folder)
    assert (stopped.problems, stopped.lag) == ([], 1 + VERSION - 2)
    assert any("stopped before it signed" in note for note in stopped.notes)
    kept.write_bytes(signed)
    assert ask(folder, "SELECT rules FROM grading_run") == [("",)]
    tell(folder, ("UPDATE grading_run SET rules = 'x'", ()))
    assert not verify_folder(folder).intact


def test_a_folder_of_version_3_is_intact_before_and_after(tmp_path: Path) -> None:
    """Its key was left out, as from a backup: a new one is named, and an entry says so."""
    folder = tmp_path / "data"
    with zipfile.ZipFile(DATA / "schema3.zip") as packed:
        packed.extractall(folder)
    before = verify_all(folder)
    assert (before.problems, before.lag) == ([], 0)
    assert ask(folder, "PRAGMA user_version") == [(3,)]
    migrate(folder)
    after = verify_all(folder)
    assert (after.problems, after.lag, after.entries) == ([], 0, before.entries + 1 + VERSION - 3)
    assert ask(folder, "SELECT DISTINCT utterance FROM capture") == [("",)]
    assert ask(folder, "SELECT count(*) FROM sent_action") == [(0,)]


def test_a_folder_of_version_5_is_intact_before_and_after(tmp_path: Path) -> None:
    """A sealed visit of the last program without changes and pictures of jobs; its key was left out."""
    folder = tmp_path / "data"
    with zipfile.ZipFile(DATA / "schema5.zip") as packed:
        packed.extractall(folder)
    before = verify_all(folder)
    assert (before.problems, before.lag) == ([], 0)
    assert ask(folder, "PRAGMA user_version") == [(5,)]
    migrate(folder)
    after = verify_all(folder)
    assert (after.problems, after.lag, after.entries) == ([], 0, before.entries + 1 + VERSION - 5)
    assert ask(folder, "SELECT count(*) FROM job_change") == ask(folder, "SELECT count(*) FROM picture") == [(0,)]


def test_opening_again_changes_nothing(old: Path) -> None:
    migrate(old)
    head = verify_folder(old).head
    migrate(old)
    assert verify_folder(old).head == head


def test_every_value_is_what_it_was(old: Path) -> None:
    names = {
        "record": ("id, quantity, value, unit, qualifier, axis, section, terminals, supersedes, note", "quantity"),
        "proposal": ("id, quantity, value, unit, state, revision, doubts_json, voice_json, photo_json", "quantity"),
        "job": ("id, title, air_c, humidity_pct, description_json", "humidity_pct"),
    }
    new = {"quantity": "kind", "humidity_pct": "humidity_percent"}
    before = {table: ask(old, f"SELECT {columns} FROM {table} ORDER BY id") for table, (columns, _) in names.items()}
    migrate(old)
    for table, (columns, renamed) in names.items():
        assert ask(old, f"SELECT {columns.replace(renamed, new[renamed])} FROM {table} ORDER BY id") == before[table]
    assert ("J1-R1", "winding_resistance") in ask(old, "SELECT id, kind FROM record")


def test_profiles_that_only_the_trail_held_are_carried_into_their_table(old: Path) -> None:
    noted = [
        json.loads(body)["note"]
        for (body,) in ask(old, "SELECT body FROM trail_entry WHERE what = 'profile set' ORDER BY seq")
    ]
    assert len(noted) == 2
    workspace = Workspace.open(old, engines=FakeEngines())
    with workspace.database.read() as session:
        for note in noted:
            profile, origin = profile_of(session, instrument_of(session, "J1", note["instrument"].removeprefix("J1-")))
            assert origin == "set"
            assert profile is not None
            assert profile.to_json() == note["profile"]
    workspace.close()


def test_work_goes_on_in_a_migrated_folder(old: Path) -> None:
    """Read, confirm, correct and report old proposals, which hold "quantity" in their JSON columns."""
    workspace = Workspace.open(old, engines=FakeEngines())
    with workspace.database.read() as session:
        assert [record.row.kind for record in all_records(session, "J1")] == [
            "winding_resistance",
            "insulation_resistance",
        ]
        current = [record.id for record in current_records(session, "J1")]
    open_proposals = ask(old, "SELECT id, revision, kind FROM proposal WHERE state = 'open' ORDER BY id")
    assert {kind for _, _, kind in open_proposals} >= {"winding_resistance"}
    proposal = next(id_ for id_, _, kind in open_proposals if kind == "winding_resistance")
    changed = workspace.act(proposal, Correct(reading={"value": "1.22"}), captured_at=at(1500))
    revision = changed["proposals"][0]["revision"]
    confirmed = workspace.act(proposal, Confirm(revision), captured_at=at(1510))
    assert [record["kind"] for record in confirmed["records"]] == ["winding_resistance"]
    workspace.type_reading("J1", {"value": "1.081"}, at(1520), supersedes=current[0])
    assert workspace.grade("J1")["axes"]
    earlier = ask(old, "SELECT count(*) FROM report_file")[0][0]
    workspace.make_report("J1")
    assert ask(old, "SELECT count(*) FROM report_file")[0][0] == earlier + 1
    assert workspace.verify().intact, workspace.verify().problems
    workspace.close()


def test_a_migrated_folder_has_the_schema_of_a_new_one(old: Path, tmp_path: Path) -> None:
    def definitions(folder: Path) -> dict[str, str]:
        return {name: " ".join((sql or "").split()) for name, sql in ask(folder, "SELECT name, sql FROM sqlite_master")}

    migrate(old)
    migrate(tmp_path / "new")
    assert definitions(old) == definitions(tmp_path / "new")


def test_a_step_that_fails_leaves_the_old_folder_as_it_was(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fall_over(_transaction: object) -> None:
        raise RuntimeError("the power went")

    broken = schema.Migration(**{**vars(MIGRATIONS[0]), "carry": fall_over})
    with monkeypatch.context() as patched:
        patched.setattr(schema, "MIGRATIONS", (broken,))
        with pytest.raises(RuntimeError, match="the power went"):
            migrate(old)
    assert ask(old, "PRAGMA user_version") == [(0,)]
    assert verify_folder(old).intact
    migrate(old)
    assert verify_folder(old).intact


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record SET kind = 'continuity' WHERE id = 'J1-R1'",
        "UPDATE record SET value = '1.081' WHERE id = 'J1-R1'",
        "UPDATE proposal SET kind = NULL WHERE id = 'J1-P1'",
        "UPDATE job SET humidity_percent = '44'",
        "UPDATE instrument_profile SET profile_json = '{}' WHERE id = 'J1-F1'",
        "DELETE FROM instrument_profile WHERE id = 'J1-F2'",
        "UPDATE report_file SET profile_sha256 = 'x'",
        "ALTER TABLE record RENAME COLUMN kind TO quantity",
        "ALTER TABLE record RENAME COLUMN kind TO value2",
        "PRAGMA user_version = 1",
        "PRAGMA user_version = 0",
        f"PRAGMA user_version = {VERSION + 1}",
    ],
)
def test_changes_under_the_new_names_are_found(old: Path, statement: str) -> None:
    migrate(old)
    tell(old, (statement, ()))
    assert not verify_folder(old).intact


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record SET quantity = 'continuity' WHERE id = 'J1-R1'",
        "UPDATE job SET humidity_pct = '44'",
        "ALTER TABLE record RENAME COLUMN quantity TO kind",
        f"PRAGMA user_version = {VERSION}",
    ],
)
def test_changes_under_the_old_names_are_found(old: Path, statement: str) -> None:
    tell(old, (statement, ()))
    assert not verify_folder(old).intact


def test_nobody_can_bring_a_mapping_of_his_own(old: Path) -> None:
    """Refuse a forged migration that, every hash made anew, renames a column away from the confirmed value."""
    migrate(old)
    seq, text = ask(old, "SELECT seq, body FROM trail_entry ORDER BY seq DESC LIMIT 1")[0]
    body = json.loads(text)
    body["note"]["renamed"]["record"] = {"quantity": "kind", "value": "unit", "unit": "value"}
    forged = canonical(body)
    digest = sha256_hex(forged)
    tell(
        old,
        ("UPDATE trail_entry SET body = ?, hash = ? WHERE seq = ?", (forged, digest, seq)),
        ("UPDATE record SET value = unit, unit = value", ()),
    )
    (old / "trail-head.json").write_text(canonical({"seq": seq, "txn": body["txn"], "hash": digest}))
    assert any("names a migration that never was" in problem for problem in verify_folder(old).problems)


def test_a_folder_of_a_newer_version_is_left_alone(old: Path) -> None:
    migrate(old)
    tell(old, (f"PRAGMA user_version = {VERSION + 1}", ()))
    with pytest.raises(Refused, match="newer Ohmtrail"):
        Workspace.open(old, engines=FakeEngines())
    assert any("newer than this program" in problem for problem in verify_folder(old).problems)


def test_a_new_folder_counts_its_version_from_the_start(tmp_path: Path) -> None:
    migrate(tmp_path / "new")
    assert ask(tmp_path / "new", "PRAGMA user_version") == [(VERSION,)]
    assert verify_folder(tmp_path / "new").entries == 0
