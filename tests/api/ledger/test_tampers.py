"""Tampers that leave every hash right: what can be found without a key, by kind, each with what is said of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.assessment.recheck import verify_all
from api.assessment.rules import rules_in_force
from api.ledger.canonical import canonical, sha256_hex
from api.ledger.trail import What
from tests.api.ledger.tampering import alter, append, entries, rewrite, rows

Tamper = Callable[[Path], object]


def record(folder: Path, **changed: Any) -> dict[str, Any]:
    return {**rows(folder, "record")[0], **changed}


def event(folder: Path, **changed: Any) -> dict[str, Any]:
    found = next(row for row in rows(folder, "confirmation_event") if row["action"] == "confirm")
    return {**found, **changed}


def run(folder: Path, **changed: Any) -> dict[str, Any]:
    made = {**rows(folder, "grading_run")[0], **changed}
    return {**made, "findings_sha256": changed.get("findings_sha256", sha256_hex(made["findings_json"]))}


def forged(folder: Path, word: str, other: str) -> str:
    text = str(rows(folder, "grading_run")[0]["findings_json"])
    assert word in text
    return text.replace(word, other)


def confirmed_anew(folder: Path, record_changes: dict[str, Any], event_changes: dict[str, Any]) -> None:
    """Append an open proposal, then an event and a record for it, with some columns other than they must be."""
    proposal = {**rows(folder, "proposal")[0], "id": "J1-P90", "state": "open"}
    append(folder, What.PROPOSED, ("proposal", proposal))
    made = event(folder, id="J1-E90", proposal_id="J1-P90", revision=proposal["revision"])
    kept = record(folder, id="J1-R90", proposal_id="J1-P90", confirmation_id="J1-E90")
    kept |= {name: proposal[name] for name in proposal if name in kept and name not in ("id", "_rowid", "supersedes")}
    done = {**proposal, "state": "confirmed"}
    rows_put = (
        ("confirmation_event", {**made, **event_changes}),
        ("proposal", done),
        ("record", {**kept, **record_changes}),
    )
    append(folder, What.CONFIRMED, *rows_put)


def rewritten(folder: Path, word: str, other: str, *, follow: bool = False) -> None:
    """Change a word in an entry and in its row, and make every hash anew; the reports stay."""
    changed = entries(folder)
    hit = next(entry for entry in changed if entry["what"] == "job created")
    assert word in hit["body"]
    hit["body"] = hit["body"].replace(word, other)
    rewrite(folder, changed)
    alter(folder, ("UPDATE job SET title = replace(title, ?, ?), description_json = replace(description_json, ?, ?)",
                   (word, other, word, other)))  # fmt: skip
    if follow:
        _follow(folder)


def _write(path: Path, data: bytes) -> None:
    path.write_bytes(data)


def edit_copy(folder: Path) -> None:
    report = rows(folder, "report_file")[0]
    data = (folder / "reports" / report["sha256"][:2] / report["sha256"][2:]).read_bytes()
    (folder / report["name"]).write_bytes(data.replace(b"1.080", b"1.880"))


TAMPERS: dict[str, tuple[Tamper, str]] = {
    "record without any event": (
        lambda f: append(f, What.CONFIRMED, ("record", record(f, id="J1-R90", confirmation_id="J1-E77"))),
        "no person's confirmation stands behind it",
    ),
    "record on another record's event": (
        lambda f: append(f, What.CONFIRMED, ("record", record(f, id="J1-R90", value="9.99"))),
        "is that of J1-R1",
    ),
    "record on an event that is no confirmation": (
        lambda f: append(f, What.CONFIRMED, ("confirmation_event", event(f, id="J1-E90", action="correct")),
                         ("record", record(f, id="J1-R90", confirmation_id="J1-E90"))),
        "no person's confirmation stands behind it",
    ),
    "record of a proposal that never was": (
        lambda f: confirmed_anew(f, {"proposal_id": "J1-P91"}, {"proposal_id": "J1-P91"}), "there was no proposal",
    ),
    "record of a proposal that was confirmed already": (
        lambda f: append(f, What.CONFIRMED, ("confirmation_event", event(f, id="J1-E90")),
                         ("record", record(f, id="J1-R90", confirmation_id="J1-E90"))),
        "was confirmed already",
    ),
    "event about another proposal": (lambda f: confirmed_anew(f, {}, {"proposal_id": "J1-P1"}), "is about J1-P1"),
    "event about another revision": (lambda f: confirmed_anew(f, {}, {"revision": 9}), "revision 9 was confirmed"),
    **{
        f"record with another {name}": (
            lambda f, name=name, value=value: confirmed_anew(f, {name: value}, {}), f"{name} is {value!r}"  # type: ignore[misc]
        )
        for name, value in (
            ("value", "9.99"), ("unit", "kOhm"), ("qualifier", ">"), ("kind", "continuity"), ("axis", "Y"),
            ("section", "motor_alone"), ("terminals", "A1-PE"), ("photo_sha256", None), ("instrument_id", "J1-IT-03"),
            ("captured_at", "2026-11-24T00:00:00+00:00"), ("confirmed_by", "Technician 8"), ("confirmed_how", "typed"),
        )
    },
    **{
        f"{table} named again": (
            lambda f, table=table: append(f, What.ASKED, (table, rows(f, table)[0])), f"names {table} "  # type: ignore[misc]
        )
        for table in ("record", "confirmation_event", "safety_answer", "grading_run", "report_file", "evidence", "job",
                      "axis", "instrument", "instrument_profile")
    },
    "record changed by a later entry": (
        lambda f: append(f, What.CORRECTED, ("record", record(f, value="9.99"))), "names record J1-R1 again",
    ),
    "trail written anew, reports left": (lambda f: rewritten(f, "Ground fault", "No fault"), "no longer on the chain"),
    "trail written anew, report row too": (
        lambda f: rewritten(f, "Ground fault", "No fault", follow=True), "does not print the hash",
    ),
    "copy of the report edited": (edit_copy, "report copy report-J1.html"),
    "copy of a report added": (lambda f: _write(f / "report-J7.html", b"<p>All sound</p>"), "report-J7.html"),
    "findings with another verdict": (
        lambda f: append(f, What.GRADED, ("grading_run", run(f, id="J1-G9", findings_json=forged(f, '"X"', '"Z"')))),
        "grading run J1-G9: its findings do not follow",
    ),
    "findings with another hash": (
        lambda f: append(f, What.GRADED, ("grading_run", run(f, id="J1-G9", findings_sha256="0" * 64))),
        "its hash is not that of its findings",
    ),
    "findings that leave a record out": (
        lambda f: append(f, What.GRADED, ("grading_run", run(f, id="J1-G9", record_ids_json="[]"))),
        "it names the records []",
    ),
    "findings that are none": (
        lambda f: append(f, What.GRADED, ("grading_run", run(f, id="J1-G9", findings_json="{}"))), "cannot be computed",
    ),
    "findings by a shop profile under another hash": (
        lambda f: append(f, What.GRADED, ("grading_run", run(f, id="J1-G9", findings_json=forged(
            f, '"profile":null', '"profile":{"content":{},"sha256":"00"}')))),
        "cannot be computed",
    ),
}  # fmt: skip
"""Each with the sentence that finds it; every hash and the head file are right in all of them."""


def _follow(folder: Path) -> None:
    """Let the report's row name the new hash of its entry, in the trail written anew as well."""
    row = rows(folder, "report_file")[0]
    new = entries(folder)[row["trail_seq"] - 1]["hash"]
    changed = entries(folder)
    for entry in changed:
        entry["body"] = entry["body"].replace(row["trail_hash"], new)
    rewrite(folder, changed)
    alter(folder, ("UPDATE report_file SET trail_hash = ?", (new,)))


@pytest.mark.parametrize("kind", TAMPERS)
def test_what_is_forged_with_every_hash_right_is_found(folder: Path, kind: str) -> None:
    tamper, sentence = TAMPERS[kind]
    assert verify_all(folder).intact
    tamper(folder)
    found = verify_all(folder)
    assert any(sentence in problem for problem in found.problems), found.problems


def test_an_honest_confirmation_made_the_same_way_is_found_sound(folder: Path) -> None:
    """Show that the forgeries above are found for what is wrong with them, and for nothing else."""
    confirmed_anew(folder, {}, {})
    found = verify_all(folder)
    assert found.problems == []


def test_an_untouched_copy_of_a_report_is_none(folder: Path) -> None:
    report = rows(folder, "report_file")[0]
    data = (folder / "reports" / report["sha256"][:2] / report["sha256"][2:]).read_bytes()
    (folder / report["name"]).write_bytes(data)
    assert verify_all(folder).intact


def test_findings_by_other_rules_are_said_to_be_so(folder: Path) -> None:
    for number, rules in enumerate(("0.1.0+0123456789abcdef", ""), 8):
        other = run(folder, id=f"J1-G{number}", findings_json=forged(folder, '"X"', '"Z"'), rules=rules)
        append(folder, What.GRADED, ("grading_run", other))
    found = verify_all(folder)
    assert found.intact
    assert any("J1-G8: computed by other rules (0.1.0+0123456789abcdef)" in note for note in found.notes)
    assert any("J1-G9: computed by a program that did not say its rules" in note for note in found.notes)


def test_every_run_names_the_rules_that_computed_it(sealed: Path) -> None:
    assert {row["rules"] for row in rows(sealed, "grading_run")} == {rules_in_force()}


def test_entries_behind_an_old_head_are_counted(folder: Path) -> None:
    for _ in range(3):
        append(folder, What.ASKED, head=False)
    found = verify_all(folder)
    assert (found.problems, found.lag) == ([], 3)
    assert "lags by 3 entries" in found.summary
    assert json.loads(canonical(found.to_json()))["lag"] == 3


@pytest.mark.parametrize("with_key", [False, True])
def test_a_trail_written_anew_passes_only_with_the_key(folder: Path, with_key: bool) -> None:
    """Be open about it: with the reports gone too, who has the key writes a trail anew that only a witness finds."""
    changed = [entry for entry in entries(folder) if entry["what"] not in ("report made",)]
    rewrite(folder, changed, with_key=with_key)
    alter(folder, ("DELETE FROM report_file", ()))
    for path in (folder / "reports").rglob("*"):
        if path.is_file():
            path.unlink()
    found = verify_all(folder)
    assert found.intact is with_key
    assert with_key or any("bears no signature" in problem for problem in found.problems)
