"""Exports of other data folders, kept whole and read-only as evidence: to look at, to give back, and for the trend.

What the trend needs of the visit (its rows, with the records in force) stands in the row of the file, so that
grading reads it from the database like everything else, and a verification computes findings again from it.
"""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlmodel import Session, select

from api.assessment.imported_visits import BAG_KIND
from api.exchange.bag import Bag, contents, open_bag, write_zip
from api.exchange.errors import BagChanged, ExportExists, NoSuchImport
from api.exchange.verify_bag import BagVerification, verify_bag
from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.database import Database
from api.ledger.ids import number_of
from api.ledger.schema import Row
from api.ledger.store import Store
from api.ledger.tables import EvidenceRow
from api.ledger.trail import What

MEDIA_TYPE = "application/zip"


@dataclass(frozen=True)
class ImportedBag:
    """An export that was imported.

    Attributes:
        sha256: Hash of the file that is kept.
        found: What its verification found.
        new: It was not there before.
    """

    sha256: str
    found: BagVerification
    new: bool


def look_at(place: Path) -> BagVerification:
    """Verify an export and read what it says; nothing is kept.

    Raises:
        BagUnusable: It is none, or made to do harm.
    """
    with open_bag(place) as bag:
        return verify_bag(bag)


def import_bag(database: Database, evidence: Store, place: Path, by: str = "") -> ImportedBag:
    """Take an export in: a ZIP file as it is, a folder as a ZIP file of the same files.

    Args:
        database: Where it is noted.
        evidence: Where it is kept.
        place: The export.
        by: Who imports it.

    Raises:
        BagUnusable: It is none, or made to do harm.
        BagChanged: It does not verify.
        FileNotWritten, EntryNotWritten: The disk is full or refuses; nothing was kept.
    """
    with open_bag(place) as bag:
        found = verify_bag(bag)
        if found.problems:
            raise BagChanged(place=str(place), cause=found.problems[0].rstrip("."), count=len(found.problems))
        data = _packed(bag) if place.is_dir() else place.read_bytes()
    sha256 = evidence.put(data)
    with database.write() as transaction:
        known = transaction.session.get(EvidenceRow, sha256) is not None
        if not known:
            transaction.put(
                EvidenceRow(
                    sha256=sha256, media_type=MEDIA_TYPE, kind=BAG_KIND, size=len(data), parent_sha256=None,
                    derivation="", metadata_json=canonical({"visit": _visit(found)}), stored_at=transaction.now,
                )
            )  # fmt: skip
            head = None if found.head is None else found.head.to_json()
            note = {"job": found.job, "records": found.records, "of": head}
            transaction.entry(What.BAG_IMPORTED, by=by, note=note)
    return ImportedBag(sha256, found, not known)


def _packed(bag: Bag) -> bytes:
    out = io.BytesIO()
    write_zip(contents(bag), out)
    return out.getvalue()


def _visit(found: BagVerification) -> JsonObject:
    """Give what the trend needs: the rows of the job, and its records in force."""

    def rows(table: str) -> list[Row]:
        mine = [row for (name, _), row in found.rows.items() if name == table]
        return [row for row in mine if row.get("job_id", row.get("id")) == found.job]

    events = rows("confirmation_event")
    withdrawn = {event["record_id"] for event in events if event["action"] == "withdraw"}
    records = sorted(rows("record"), key=lambda row: number_of(row["id"]))
    superseded = {row["supersedes"] for row in records if row["id"] not in withdrawn}
    current = [row for row in records if row["id"] not in withdrawn | superseded]
    return {
        "job": rows("job")[0],
        "axes": [*rows("axis")],
        "instruments": [*rows("instrument")],
        "changes": [*sorted(rows("job_change"), key=lambda row: number_of(str(row["id"])))],
        "records": [*current],
        "safety": [*rows("safety_answer")],
    }


def imports_of(session: Session) -> Sequence[EvidenceRow]:
    """Read what was imported, oldest first."""
    return sorted(
        session.exec(select(EvidenceRow).where(EvidenceRow.kind == BAG_KIND)).all(), key=lambda row: row.stored_at
    )


def title_of(row: EvidenceRow) -> str:
    """Give an imported visit in a few words."""
    job = parsed(row.metadata_json)["visit"]["job"]
    return f"{job['id']}, {job['title']}; {job['machine']}; {job['customer']}"


def write_imported(database: Database, evidence: Store, sha256: str, to: Path) -> None:
    """Give an imported export back: its bytes, or, where the place does not end in ".zip", its files.

    Args:
        database: Where it is noted.
        evidence: Where it is kept.
        sha256: Its hash, or the first digits of it, at least eight.
        to: Where; nothing may lie there.

    Raises:
        NoSuchImport: There is none.
        ExportExists: Something lies there.
    """
    if os.path.lexists(to):
        raise ExportExists(place=str(to))
    with database.read() as session:
        found = [row.sha256 for row in imports_of(session) if len(sha256) >= 8 and row.sha256.startswith(sha256)]
    if len(found) != 1:
        raise NoSuchImport(sha256=sha256)
    path = evidence.path(found[0])
    if to.suffix == ".zip":
        shutil.copyfile(path, to)
        return
    from api.exchange.bag import write_folder

    with open_bag(path) as bag:
        write_folder(contents(bag), to)
