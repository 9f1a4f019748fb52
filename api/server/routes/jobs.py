"""Jobs: list, make, show; their findings, trail and report."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Query, Response
from sqlmodel import col, select

from api.assessment.grade_job import findings_of
from api.assessment.job_list import list_jobs
from api.assessment.next_point import next_point, plan_for_page
from api.dialogue.turn import context_of
from api.ledger.canonical import JsonObject
from api.ledger.database import last_head
from api.ledger.tables import TrailEntryRow
from api.ledger.trail import entry_for_page
from api.report.issued import Form, Paper, Wanted, reports_of
from api.server.errors import NoReportYet
from api.server.report_process import make_apart
from api.server.routes import HeavyDep, WorkspaceDep
from api.server.routes.sent import SentDep
from api.visit.jobs import job_for_page, job_of
from api.visit.plain_text import MOST_INTEGER, PlainJson, PlainText
from capture.language.prompts import heard_context

router = APIRouter(prefix="/api/jobs", tags=["jobs"])

REPORT_POLICY = (
    "default-src 'none'; img-src data:; media-src data:; style-src 'unsafe-inline'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; sandbox allow-popups"
)
"""A report is one self-contained file; nothing in it may run or load anything."""


@router.get("")
def show_jobs(
    workspace: WorkspaceDep,
    q: Annotated[PlainText, Query(max_length=200, description="Words, each of which a job must hold.")] = "",
    archived: Annotated[bool, Query(description="Whether archived jobs are listed too.")] = False,
) -> list[JsonObject]:
    """List jobs, open ones first and each group newest first, with their state and what is left in them."""
    with workspace.database.read() as session:
        return list_jobs(session, q, archived=archived, profile=workspace.profile)


@router.post("", status_code=201)
def make_job(workspace: WorkspaceDep, sent: SentDep, description: Annotated[PlainJson, Body()]) -> JsonObject:
    """Make a job from its description: customer, machine, technician, axes, what else is known; once for each id."""
    return workspace.desk.make(description, sent)


@router.get("/{job_id}")
def show_job(workspace: WorkspaceDep, job_id: str) -> JsonObject:
    """Show a job with its axes and instruments, where the work is, and which test point comes next."""
    with workspace.database.read() as session:
        job = job_of(session, job_id)
        context = context_of(session, job_id)
        coming = next_point(session, job_id, context, workspace.profile)
        return {
            **job_for_page(session, job),
            "where": heard_context(context),
            "next": coming.sentence,
            "next_point": coming.written,
        }


@router.get("/{job_id}/plan")
def show_plan(workspace: WorkspaceDep, job_id: str) -> list[JsonObject]:
    """Show the test plan of every axis: which points are done, next, due, or left out and why."""
    with workspace.database.read() as session:
        return plan_for_page(session, job_id, workspace.profile)


@router.get("/{job_id}/findings")
def show_findings(workspace: WorkspaceDep, job_id: str) -> JsonObject:
    """Grade the job's records in force and show the findings; nothing is written."""
    with workspace.database.read() as session:
        return findings_of(session, job_id, workspace.shop)


@router.post("/{job_id}/findings", status_code=201)
def keep_findings(workspace: WorkspaceDep, job_id: str) -> JsonObject:
    """Grade the job's records in force and keep the findings with their hash in the trail."""
    return workspace.grade(job_id)


@router.get("/{job_id}/trail")
def show_trail(
    workspace: WorkspaceDep,
    job_id: str,
    after: Annotated[int, Query(ge=0, le=MOST_INTEGER)] = 0,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> JsonObject:
    """Show the job's entries in the audit trail, in order, and the head of the whole trail."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        statement = (
            select(TrailEntryRow)
            .where(TrailEntryRow.job_id == job_id, TrailEntryRow.seq > after)
            .order_by(col(TrailEntryRow.seq))
            .limit(limit)
        )
        head = last_head(session)
        return {
            "entries": [entry_for_page(entry) for entry in session.exec(statement).all()],
            "head": {"seq": head.seq, "hash": head.hash},
        }


FormQuery = Annotated[Form, Query(alias="as", description="html, pdf (PDF/A-3), short (text for a phone) or csv.")]
PaperQuery = Annotated[Paper, Query(description="Size of the paper, for html and pdf.")]


@router.post("/{job_id}/report", status_code=201)
async def make_report(
    workspace: WorkspaceDep, heavy: HeavyDep, job_id: str, form: FormQuery = Form.HTML, paper: PaperQuery = Paper.A4
) -> JsonObject:
    """Make the job's report and keep it; where nothing happened since the last one, that one stays the newest.

    A PDF is made in a process of its own, whose memory is not the server's.
    """
    wanted = Wanted(form, paper)
    if form is Form.PDF:
        row = await heavy.run(lambda: make_apart(workspace, job_id, wanted))
    else:
        row = await heavy.run(lambda: workspace.make_report(job_id, wanted))
    chosen = "" if wanted == Wanted() else f"?as={form.value}&paper={paper.value}"
    return {
        "id": row.id,
        "name": row.name,
        "sha256": row.sha256,
        "size": row.size,
        "made_at": row.made_at,
        "trail_seq": row.trail_seq,
        "trail_hash": row.trail_hash,
        "address": f"/api/jobs/{job_id}/report{chosen}",
    }


@router.get(
    "/{job_id}/report",
    response_class=Response,
    responses={200: {"content": {"text/html": {}, "application/pdf": {}, "text/plain": {}, "text/csv": {}}}},
)
def show_report(
    workspace: WorkspaceDep, job_id: str, form: FormQuery = Form.HTML, paper: PaperQuery = Paper.A4
) -> Response:
    """Show the newest report that was made of the job in a form; nothing is made or written.

    HTML and text are shown, PDF and table are given to be saved.

    Raises:
        NoReportYet: None has been made in it.
    """
    name = Wanted(form, paper).name(job_id)
    with workspace.database.read() as session:
        job_of(session, job_id)
        found = [row for row in reports_of(session, job_id) if row.name == name]
    if not found:
        raise NoReportYet(job_id=job_id)
    row = found[-1]
    shown = "inline" if form in (Form.HTML, Form.SHORT) else "attachment"
    headers = {
        "Content-Disposition": f'{shown}; filename="{row.name}"',
        "Content-Security-Policy": REPORT_POLICY,
        "X-Report-SHA256": row.sha256,
    }
    return Response(workspace.reports.read(row.sha256), media_type=row.media_type, headers=headers)
