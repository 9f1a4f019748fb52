"""Step (9) of the verification: findings follow from the records that they name.

Each grading run is computed again from the rows that the trail had when it was made, replayed into a scratch database,
so that the same functions compute it as did then. Where the rules have changed since, other findings are no tampering,
and are said to be computed by other rules.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, create_engine

from api.assessment.grade_job import findings_of
from api.assessment.imported_visits import BAG_KIND
from api.assessment.rules import rules_in_force
from api.assessment.shop_limits import Shop, shop_of
from api.ledger.canonical import CanonicalError, canonical, parsed, sha256_hex
from api.ledger.job_tables import JobChangeRow
from api.ledger.schema import Row, primary_key
from api.ledger.tables import AxisRow, ConfirmationEventRow, EvidenceRow, InstrumentRow, JobRow, RecordRow
from api.ledger.verification.witnesses import NOTHING, Outside
from api.ledger.verify import Progress, Verification, Verified, verify_folder
from api.visit.records import current_records

_TABLES: tuple[type[SQLModel], ...] = (
    JobRow, AxisRow, InstrumentRow, JobChangeRow, ConfirmationEventRow, RecordRow,
)  # fmt: skip
"""What findings are computed from; all append-only."""


def verify_all(folder: Path, progress: Progress | None = None, outside: Outside = NOTHING) -> Verification:
    """Verify a data folder with all steps: those of `api.ledger.verify`, and findings against their records."""
    if progress is None:
        return verify_folder(folder, checks=[check_findings], outside=outside)
    return verify_folder(folder, progress, [check_findings], outside)


def check_findings(verified: Verified) -> None:
    """(9) Compute every grading run again from the rows of its day."""
    runs = list(_noted(verified, "grading_run"))
    if not runs:
        return
    # Stable: rows of one entry stay in the order of storage, which is that in which axes were described.
    waiting = deque(sorted(_sources(verified), key=lambda one: one[0]))
    engine = create_engine("sqlite://")
    SQLModel.metadata.create_all(engine)
    try:
        with Session(engine) as session:
            for seq, run in sorted(runs, key=lambda one: one[0]):
                while waiting and waiting[0][0] < seq:
                    _, kind, row = waiting.popleft()
                    session.add(kind(**row))
                    session.flush()  # in this order
                _check_run(session, run, verified.found)
    finally:
        engine.dispose()


def _noted(verified: Verified, table: str) -> Iterator[tuple[int, Row]]:
    """Read the rows of a table with the entry that wrote each; those that no entry knows are told elsewhere."""
    key = primary_key(table)
    for row in verified.rows(table):
        seq = verified.noted.seq_of(table, str(row[key]))
        if seq is not None:
            yield seq, row


def _sources(verified: Verified) -> Iterator[tuple[int, type[SQLModel], Row]]:
    for seq, row in _noted(verified, "evidence"):
        if row["kind"] == BAG_KIND:  # an imported visit
            yield seq, EvidenceRow, row
    for kind in _TABLES:
        for seq, row in _noted(verified, str(kind.__tablename__)):
            yield seq, kind, row


def _check_run(session: Session, run: Row, found: Verification) -> None:
    name, rules = f"grading run {run['id']}", str(run["rules"])
    if sha256_hex(str(run["findings_json"])) != run["findings_sha256"]:
        found.problems.append(f"{name}: its hash is not that of its findings.")
    same_rules = rules == rules_in_force()
    fault = _fault(session, run)
    if fault and same_rules:
        found.problems.append(f"{name}: {fault}")
    elif fault:
        by = f"by other rules ({rules})" if rules else "by a program that did not say its rules"
        found.notes.append(f"{name}: computed {by}; by those of this program its findings would be others.")


def _fault(session: Session, run: Row) -> str:
    """Say how a run differs from what its records give; empty where it does not."""
    job_id = str(run["job_id"])
    try:
        in_force = canonical([record.id for record in current_records(session, job_id)])
        if in_force != run["record_ids_json"]:
            return f"it names the records {run['record_ids_json']}, in force were {in_force}."
        findings = canonical(findings_of(session, job_id, _shop(parsed(run["findings_json"]))))
    except Exception as error:  # rows that somebody forged can be anything; a check never falls over them
        return f"its findings cannot be computed from its records: {type(error).__name__}: {error}."
    return "" if findings == run["findings_json"] else "its findings do not follow from its records."


def _shop(findings: Any) -> Shop | None:
    """Give the shop profile that a run says it was graded by.

    Raises:
        CanonicalError: Its content is not what its hash says.
    """
    given = findings["profile"]
    if given is None:
        return None
    shop = shop_of(given["content"])
    if shop.sha256 != given["sha256"]:
        raise CanonicalError("The shop profile is not the one that its hash names.")
    return shop
