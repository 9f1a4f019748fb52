"""From records to findings: grades a job over its machine's earlier visits, and keeps what came out."""

from __future__ import annotations

from sqlmodel import Session, select

from api.canonical import canonical, sha256_hex
from api.database import Transaction
from api.grading_inputs import read_inputs
from api.jobs import job_of
from api.tables import GradingRun
from api.trail import What
from grading.finding import JobVerdict
from grading.shop import ShopProfile
from grading.verdict import grade_job


def job_verdict(session: Session, job_id: str, profile: ShopProfile | None = None) -> JobVerdict:
    """Grade a job's records in force; nothing is written.

    Raises:
        NotFound: There is no such job.
    """
    given = read_inputs(session, job_id)
    return grade_job(given.measurements, given.contexts, given.meters, profile=profile)


def put_grading(transaction: Transaction, job_id: str, profile: ShopProfile | None = None) -> GradingRun:
    """Grade a job and keep the findings with their hash in the trail."""
    session = transaction.session
    job = job_of(session, job_id)
    given = read_inputs(session, job_id)
    findings = canonical(job_verdict(session, job_id, profile).to_dict())
    run = GradingRun(
        id=f"{job_id}-G{transaction.count(GradingRun, job_id) + 1}",
        job_id=job_id,
        record_ids_json=canonical([record.id for record in given.records]),
        findings_json=findings,
        findings_sha256=sha256_hex(findings),
        graded_at=transaction.now,
    )
    transaction.put(run)
    transaction.entry(What.GRADED, job_id, by=job.technician, note={"sha256": run.findings_sha256})
    return run


def newest_grading(session: Session, job_id: str) -> GradingRun | None:
    """The last grading of a job, if it was graded."""
    runs = session.exec(select(GradingRun).where(GradingRun.job_id == job_id)).all()
    return max(runs, key=lambda run: int(run.id.rpartition("G")[2]), default=None)
