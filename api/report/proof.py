"""What a report says of the audit trail: its newest hash for this job, and whether the chain holds.

Only the chain is checked here, from the same snapshot as the report's content; `ohmtrail verify` also compares every
row and every file.
"""

from __future__ import annotations

import datetime as dt
import io
import json

import segno
from markupsafe import Markup
from sqlmodel import Session, col, select

from api.ledger.chain import check_entry
from api.ledger.clock import parse_instant, utc_text
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import Head, What
from api.report.identity import Proof

LOOKED_AT = 200
"""Newest entries of a job among which one with a capture time is looked for."""


def head_of_job(session: Session, job_id: str) -> TrailEntryRow | None:
    """Give the newest entry of a job, the making of reports left out.

    So a report of the same records names the same entry whatever other jobs do, and however often it is made.
    """
    return session.exec(
        select(TrailEntryRow)
        .where(TrailEntryRow.job_id == job_id, TrailEntryRow.what != What.REPORT_MADE.value)
        .order_by(col(TrailEntryRow.seq).desc())
        .limit(1)
    ).first()


def issued_at(session: Session, head: TrailEntryRow) -> str:
    """Give the time of a job's newest entry, by the clock of the devices that captured its readings (ISO 8601, UTC).

    A replayed visit states by how much its devices' clock is ahead of this computer's; its report is dated by the
    former, so that all its times are of one clock.
    """
    found = session.exec(
        select(TrailEntryRow.body)
        .where(TrailEntryRow.job_id == head.job_id, TrailEntryRow.seq <= head.seq)
        .order_by(col(TrailEntryRow.seq).desc())
        .limit(LOOKED_AT)
    )
    for body in found:
        entry = json.loads(body)
        if any("captured_at" in row["row"] for row in entry["rows"]):
            ahead = entry["note"].get("device_ahead_s", 0)
            return utc_text(parse_instant(head.at) + dt.timedelta(seconds=int(ahead)))
    return head.at


def read_proof(session: Session, head: TrailEntryRow | None) -> Proof:
    """Recompute the hash of every entry and its link to the one before.

    Args:
        session: One consistent snapshot.
        head: The job's newest entry, which is named.
    """
    at, problem = Head(), ""
    for entry in session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq)).execution_options(yield_per=500)):
        checked = check_entry(entry.model_dump(), at)
        if checked.faults and not problem:
            problem = f"entry {entry.seq} was changed, or what stands before it: {checked.faults[0]}"
        at = checked.head
        session.expunge(entry)  # a long trail is not held in memory
    named = Head() if head is None else Head(seq=head.seq, hash=head.hash)
    return Proof(named.hash, named.seq, not problem, problem)


def head_code(number: str, proof: Proof) -> Markup:
    """Draw report number, entry and head hash as a QR code (SVG), so that a phone reads them off the paper.

    It holds text only: "OHMTRAIL J1-2 420 <64 HEX DIGITS>", no address.
    """
    code = segno.make(f"OHMTRAIL {number} {proof.entries} {proof.head}".upper(), error="m", micro=False)
    out = io.BytesIO()
    title = f"QR code with the hash of trail entry {proof.entries}"
    code.save(
        out, kind="svg", xmldecl=False, svgns=False, border=2, title=title, dark="#000", light="#fff", omitsize=True,
        nl=False, svgclass=None, lineclass=None,
    )  # fmt: skip
    drawn = out.getvalue().decode("ascii")
    named = drawn.replace("<svg ", '<svg role="img" aria-labelledby="qr-t" class="qr" ', 1)
    return Markup(named.replace("<title>", '<title id="qr-t">', 1))  # noqa: S704 - drawn here, from hex digits and ids
