"""The laws that a folder must hold after a fault, however it was left.

kept      what was acknowledged is there, with the same digits, rows and files
whole     what was not acknowledged is absent or whole: nothing half, nothing twice, no digit that nobody gave
verify    `verify` speaks of no change where there was none, and is not "intact" where something is lost
start     the next start opens, resumes, takes what is sent again and one capture more, and verifies intact
answer    an error is answered only where nothing was kept, in words of ours
goes on   the running process works again when the fault is over
stored    no law but a count: a clip or photo was answered as stored and not read yet, since the disk did not take what
was read in it; the running process reads it when the fault is over, or the next start does, and it is never there twice
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from api.ledger.canonical import sha256_hex
from api.ledger.trail import What
from api.ledger.verify import verify_folder
from tests.faults.visit import GIVEN, SCENARIOS, Hand, Told, clock_from, close, do_step, say, tap

LAWS = ("kept", "whole", "verify", "start", "answer", "goes on")
COUNTED = ("stored",)
MOST_TOLD = 3
"""Violations of one law told for one point; one cause breaks a law for everything that came before it."""


@dataclass(frozen=True)
class Violation:
    """One law that did not hold.

    Attributes:
        law: One of `LAWS`.
        what: What was found.
    """

    law: str
    what: str


@dataclass(frozen=True)
class Truth:
    """What an undisturbed visit came to.

    Attributes:
        values: Value, unit and qualifier of every record and proposal, and of all that was given on the way.
        originals: Hashes of the clips and photos sent.
        crops: Hashes of what was cut from them.
    """

    values: frozenset[tuple[str, ...]]
    originals: frozenset[str]
    crops: frozenset[str]


def _values(connection: sqlite3.Connection) -> set[tuple[str, ...]]:
    columns = "coalesce(value, ''), coalesce(unit, ''), qualifier"
    read = f"SELECT {columns} FROM record UNION SELECT {columns} FROM proposal"
    return {tuple(map(str, row)) for row in connection.execute(read)}


def shortened(found: Iterable[Violation]) -> list[Violation]:
    """Drop what is told of a law beyond `MOST_TOLD`."""
    told: dict[str, list[Violation]] = {}
    for one in found:
        told.setdefault(one.law, []).append(one)
    return [one for of_law in told.values() for one in of_law[:MOST_TOLD]]


def truth_of(folder: Path) -> Truth:
    """Read what there is in the folder of an undisturbed visit."""
    connection = sqlite3.connect(folder / "ohmtrail.db")
    kinds = [(str(sha256), str(kind)) for sha256, kind in connection.execute("SELECT sha256, kind FROM evidence")]
    values = _values(connection)
    connection.close()
    crops = frozenset(sha256 for sha256, kind in kinds if kind == "crop")
    return Truth(frozenset(values | GIVEN), frozenset(sha256 for sha256, _ in kinds) - crops, crops)


def check_answers(told: Iterable[Told]) -> Iterator[Violation]:
    """Check what the process said while it ran."""
    harmless = {What.HEAD_CAUGHT_UP.value, What.CONFIRM_REFUSED.value}
    for one in told:
        kept = [what for what in one.kept if what not in harmless]
        if one.unread:
            yield Violation("stored", f"{one.step}: answered as stored")
        if one.refused and kept:
            yield Violation("answer", f"{one.step}: answered {one.error} ({one.what}), yet kept: {', '.join(kept)}")
        if one.error.startswith("raw"):
            yield Violation("answer", f"{one.step}: {one.error}: {one.what}")
        if one.refused and one.over:
            yield Violation("goes on", f"{one.step}: {one.error}: {one.what}")


def _promises(folder: Path, connection: sqlite3.Connection, told: Iterable[Told]) -> Iterator[Violation]:
    for one in told:
        for table, columns in one.promises:
            where = " AND ".join(f"{name} IS ?" for name in columns)
            found = connection.execute(f"SELECT count(*) FROM {table} WHERE {where}", [*columns.values()]).fetchone()
            if not found[0]:
                yield Violation("kept", f"{one.step}: no {table} with {columns}")
            if table in ("evidence", "report_file"):
                sha256 = columns["sha256"]
                path = folder / ("evidence" if table == "evidence" else "reports") / sha256[:2] / sha256[2:]
                if not path.is_file() or sha256_hex(path.read_bytes()) != sha256:
                    yield Violation("kept", f"{one.step}: the file of {table} {sha256:.12} is not there or another")


def _whole(connection: sqlite3.Connection, truth: Truth) -> Iterator[Violation]:
    for what, read in {
        "a client's id on two captures": "SELECT client_id FROM capture WHERE client_id != '' GROUP BY 1 "
        "HAVING count(*) > 1",
        "a capture without evidence": "SELECT id FROM capture WHERE sha256 NOT IN (SELECT sha256 FROM evidence)",
        "two records of one proposal": "SELECT proposal_id FROM record GROUP BY 1 HAVING count(*) > 1",
        "a record without its confirmation": "SELECT id FROM record WHERE confirmation_id NOT IN "
        "(SELECT id FROM confirmation_event WHERE action = 'confirm')",
        "a capture never read": "SELECT id FROM capture WHERE state = 'stored'",
    }.items():
        for (found,) in connection.execute(read):
            yield Violation("whole", f"{what}: {found}")
    for value in _values(connection) - truth.values:
        yield Violation("whole", f"a value that nobody gave: {value}")
    for sha256, kind, parent in connection.execute("SELECT sha256, kind, parent_sha256 FROM evidence"):
        if sha256 in truth.crops and (kind != "crop" or not parent):
            yield Violation("whole", f"a cut-out became an original: {sha256:.12}")
        elif sha256 not in truth.crops | truth.originals:
            yield Violation("whole", f"evidence that nobody sent: {sha256:.12} ({kind})")


def _verified(folder: Path, when: str, *, lost: bool = False, empty: bool = False) -> Iterator[Violation]:
    """Check that verification is not wrong.

    Args:
        folder: The data folder.
        when: At which moment, for the sentence.
        lost: Something acknowledged is not there, which it must find.
        empty: Nothing was acknowledged, so there may be nothing to verify.
    """
    found = verify_folder(folder)
    if lost:
        if found.intact:
            yield Violation("verify", f"{when}: intact, though something acknowledged is lost")
    elif not found.intact and not (empty and "missing" in " ".join(found.problems)):
        yield Violation("verify", f"{when}: {' | '.join(found.problems[:3]) or found.summary}")


def _start(folder: Path, scenario: str, interrupted: str) -> Iterator[Violation]:
    """Open, resume, send again what was not answered, go on working, close."""
    hand = Hand(folder, clock_from(10))
    steps = SCENARIOS[scenario]
    todo = [("open again", steps[0][1])]
    todo += [(name, step) for name, step in steps if name in (interrupted, *(["1 job"] * (interrupted == "0 open")))]
    todo += [("50 more", say("x ray axis through the cable f one to f two seven ohms")), ("51 tap", tap)]
    told = [do_step(hand, name, step) for name, step in todo]
    for one in told:
        if one.refused:
            yield Violation("start", f"{one.step}: {one.error}: {one.what}")
    if hand.workspace is not None and not any(table == "record" for table, _ in told[-1].promises):
        yield Violation("start", f"a value said and confirmed after it gave no record: {told[-2:]}")
    closed = do_step(hand, "close", close)
    if closed.error:
        yield Violation("start", f"close: {closed.error}: {closed.what}")


def check_folder(folder: Path, scenario: str, told: list[Told], interrupted: str, truth: Truth) -> list[Violation]:
    """Check a folder as it was left, then start again on it and check what that made.

    Args:
        folder: The data folder.
        scenario: What was done on it.
        told: What was told until the process ended.
        interrupted: The step that it ended in; empty where it came to its end.
        truth: What the undisturbed visit came to.
    """
    empty = not any(one.promises for one in told)
    found = [*_verified(folder, "as left", empty=empty)]
    found += _start(folder, scenario, interrupted)
    if not (folder / "ohmtrail.db").exists():
        return [*found, Violation("kept", "there is no database")]
    connection = sqlite3.connect(folder / "ohmtrail.db")
    try:
        lost = [*_promises(folder, connection, told)]
        found += lost
        found += _whole(connection, truth)
    finally:
        connection.close()
    found += _verified(folder, "after the next start", lost=bool(lost))
    left = [path.name for path in folder.rglob(".tmp-*")]
    if left:
        found.append(Violation("start", f"left-overs were not cleared: {left[:3]}"))
    return found
