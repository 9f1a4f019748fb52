"""From records to findings: grades a job over its machine's earlier visits, and keeps what came out."""

from __future__ import annotations

from dataclasses import replace

from sqlmodel import Session, select

from api.assessment.grading_adapter import Inputs, read_inputs
from api.assessment.history import History, history_of
from api.assessment.rules import rules_in_force
from api.assessment.shop_limits import Shop
from api.ledger.acting import acting_person
from api.ledger.canonical import PlainData, canonical, sha256_hex
from api.ledger.database import Transaction
from api.ledger.ids import number_of
from api.ledger.tables import GradingRunRow
from api.ledger.trail import What
from api.visit.jobs import job_of
from grading.notices import Notice, NoticeKind
from grading.outcome import JobVerdict
from grading.verdict import grade_job


def _graded(session: Session, job_id: str, shop: Shop | None) -> tuple[JobVerdict, Inputs, History]:
    given = read_inputs(session, job_id)
    past = history_of(session, job_id, given)
    verdict = grade_job(
        given.measurements,
        given.contexts,
        {**past.meters, **given.meters},
        profile=None if shop is None else shop.profile,
        history=past.visits,
    )
    if shop is not None:
        profile = Notice(NoticeKind.SHOP_PROFILE, (shop.sha256,))
        verdict = replace(verdict, notices=(profile, *verdict.notices))
    return verdict, given, past


def job_verdict(session: Session, job_id: str, shop: Shop | None = None) -> JobVerdict:
    """Grade a job's records in force, over those of the same machine's earlier visits; nothing is written.

    Args:
        session: One consistent snapshot.
        job_id: The job.
        shop: The shop's own limits; None for the published ones.

    Raises:
        NotFound: There is no such job.
    """
    return _graded(session, job_id, shop)[0]


def findings_of(session: Session, job_id: str, shop: Shop | None = None) -> PlainData:
    """Give a job's findings as plain data, with all that they were computed from besides its own records.

    Returns:
        `JobVerdict.to_dict` and: `profile`, the shop profile's content with its hash, or None; `earlier_record_ids`,
        the records of other jobs that the trend was given.

    Raises:
        NotFound: There is no such job.
    """
    verdict, _, past = _graded(session, job_id, shop)
    return _plain(verdict, past, shop)


def _plain(verdict: JobVerdict, past: History, shop: Shop | None) -> PlainData:
    profile = None if shop is None else {"content": shop.content, "sha256": shop.sha256}
    return {**verdict.to_dict(), "profile": profile, "earlier_record_ids": past.record_ids}


def put_grading(transaction: Transaction, job_id: str, shop: Shop | None = None) -> GradingRunRow:
    """Grade a job and keep the findings with their hash in the trail."""
    job = job_of(transaction.session, job_id)
    verdict, given, past = _graded(transaction.session, job_id, shop)
    findings = canonical(_plain(verdict, past, shop))
    run = GradingRunRow(
        id=transaction.next_id(GradingRunRow, job_id),
        job_id=job_id,
        record_ids_json=canonical([record.id for record in given.records]),
        findings_json=findings,
        findings_sha256=sha256_hex(findings),
        graded_at=transaction.now,
        rules=rules_in_force(),
    )
    transaction.put(run)
    note = {"sha256": run.findings_sha256} | ({} if shop is None else {"profile_sha256": shop.sha256})
    transaction.entry(What.GRADED, job_id, by=acting_person(job.technician), note=note)
    return run


def newest_grading(session: Session, job_id: str) -> GradingRunRow | None:
    """Give the last grading of a job; None where it was never graded."""
    runs = session.exec(select(GradingRunRow).where(GradingRunRow.job_id == job_id)).all()
    return max(runs, key=lambda run: number_of(run.id), default=None)
