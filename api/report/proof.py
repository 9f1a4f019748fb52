"""State of the audit trail at the moment of the report: its newest hash, and whether the chain holds up to it.

Only the chain is checked here, from the same snapshot as the report's content; `ohmtrail verify` also compares every
row and every file.
"""

from __future__ import annotations

from sqlmodel import Session, col, select

from api.ledger.canonical import parsed, sha256_hex
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import FIRST_PREV
from api.report.content import Proof


def _fault(entry: TrailEntryRow, seq: int, before: str) -> str:
    """Say what is wrong with one entry, or ""."""
    if entry.seq != seq:
        return f"entry {seq} is missing"
    if sha256_hex(entry.body) != entry.hash:
        return f"entry {seq} was changed"
    body = parsed(entry.body)  # unchanged since we wrote it, so it parses
    if entry.prev != before or body["prev"] != before or body["seq"] != seq:
        return f"entry {seq} does not follow the one before"
    return ""


def read_proof(session: Session) -> Proof:
    """Recompute the hash of every entry and its link to the one before."""
    head, count, problem = FIRST_PREV, 0, ""
    for entry in session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq))):
        count += 1
        problem = problem or _fault(entry, count, head)
        head = entry.hash
    return Proof(head=head, entries=count, intact=not problem, problem=problem)
