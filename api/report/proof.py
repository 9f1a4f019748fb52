"""State of the audit trail at the moment of the report: its newest hash, and whether the chain holds up to it.

Only the chain is checked here, from the same snapshot as the report's content; `ohmtrail verify` also compares every
row and every file.
"""

from __future__ import annotations

from sqlmodel import Session, col, select

from api.ledger.chain import check_entry
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import Head
from api.report.content import Proof


def read_proof(session: Session) -> Proof:
    """Recompute the hash of every entry and its link to the one before."""
    head, count, problem = Head(), 0, ""
    for entry in session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq))):
        count += 1
        checked = check_entry(entry.model_dump(), head)
        if checked.faults and not problem:
            problem = f"entry {entry.seq} was changed, or what stands before it: {checked.faults[0]}"
        head = checked.head
    return Proof(head=head.hash, entries=count, intact=not problem, problem=problem)
