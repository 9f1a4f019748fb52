"""What a report says of the audit trail: its newest hash for this job, the signed head, and whether the chain holds.

Only the chain is checked here, from the same snapshot as the report's content; `ohmtrail verify` also compares every
row and every file. The head is signed over the tree up to the job's newest entry and at that entry's time, so that the
same records under the same key give the same signature (Ed25519 draws nothing at random, RFC 8032, 5.1.6).
"""

from __future__ import annotations

import datetime as dt
import json

from markupsafe import Markup
from sqlmodel import Session, col, select

from api.ledger.chain import check_entry
from api.ledger.clock import parse_instant, utc_text
from api.ledger.merkle import Frontier
from api.ledger.signer import hash_bytes
from api.ledger.signing import SigningKey
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import Head, What
from api.proof.words import qr_svg, qr_text
from api.report.identity import Proof

NO_ENTRY = "Nothing of this job is in the trail yet, so there is nothing to sign."
NOT_INTACT = "It is not signed, since the trail does not hold."
NO_KEY = "It is not signed: the signing key is not there, or cannot be read."

NOT_OF_RECORDS = (What.REPORT_MADE.value, What.DERIVED.value)
"""Entries of a job that leave its records as they are."""

LOOKED_AT = 200
"""Newest entries of a job among which one with a capture time is looked for."""


def head_of_job(session: Session, job_id: str) -> TrailEntryRow | None:
    """Give the newest entry of a job, the making of reports and of copies for exports left out.

    So a report of the same records names the same entry whatever other jobs do, and however often it is made.
    """
    return session.exec(
        select(TrailEntryRow)
        .where(TrailEntryRow.job_id == job_id, col(TrailEntryRow.what).not_in(NOT_OF_RECORDS))
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


def read_proof(session: Session, head: TrailEntryRow | None, key: SigningKey | None = None) -> Proof:
    """Recompute the hash of every entry and its link to the one before, and sign the head up to the job's newest entry.

    Args:
        session: One consistent snapshot.
        head: The job's newest entry, which is named.
        key: What signs; None where there is none.
    """
    at, problem, tree = Head(), "", Frontier()
    for entry in session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq)).execution_options(yield_per=500)):
        checked = check_entry(entry.model_dump(), at)
        if checked.faults and not problem:
            problem = f"entry {entry.seq} was changed, or what stands before it: {checked.faults[0]}"
        at = checked.head
        if head is not None and entry.seq <= head.seq:
            tree.append(hash_bytes(entry.hash))
        session.expunge(entry)  # a long trail is not held in memory
    if head is None:
        return Proof(Head().hash, 0, not problem, problem, unsigned=NO_ENTRY)
    if problem or tree.size != head.seq:
        # A signature over what does not hold would lend it weight.
        return Proof(head.hash, head.seq, not problem, problem, unsigned=NOT_INTACT)
    if key is None:
        return Proof(head.hash, head.seq, True, unsigned=NO_KEY)
    return Proof(head.hash, head.seq, True, tree_head=key.sign_head(head.seq, tree.root(), head.hash, head.at))


def head_code(number: str, proof: Proof) -> Markup:
    """Draw a QR code (SVG) that a phone reads off the paper: the signed head, as `ohmtrail verify --head` takes it.

    Where nothing signed it, it holds "OHMTRAIL J1-2 420 <64 HEX DIGITS>": report, entry and hash. No address in either.
    """
    if proof.tree_head is not None:
        drawn, name = qr_svg(qr_text(proof.tree_head)), "the signed head of the trail"
    else:
        drawn, name = qr_svg(f"OHMTRAIL {number} {proof.entries} {proof.head}".upper()), "the hash"
    opening = '<svg role="img" aria-labelledby="qr-t" class="qr" '
    title = f'<title id="qr-t">QR code with {name}, entry {proof.entries}</title>'
    begin, _, rest = drawn.replace("<svg ", opening, 1).partition(">")
    return Markup(f"{begin}>{title}{rest}")  # noqa: S704 - drawn here, from hex digits, numbers and ids
