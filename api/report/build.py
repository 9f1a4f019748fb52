"""Build the report of a job from its rows, its findings and its evidence.

The same rows, findings, files and time of issue give the same bytes; nothing is read from a clock, and nothing is
typed by hand between the records and the page.
"""

from __future__ import annotations

from collections.abc import Mapping

from sqlmodel import Session

from api.assessment.grade_job import job_verdict
from api.assessment.shop_limits import Shop
from api.ledger.store import Store
from api.ledger.tables import ProposalRow
from api.report import fields, wording
from api.report.axes import axis_of_report
from api.report.content import OpenProposal, Proof, Report, ReportedAxis, ReportedSource, VerdictMark, VerdictText
from api.report.exhibits import Album, ReadFile
from api.report.proof import read_proof
from api.report.render import render
from api.report.rows import Rows, loads, read_rows
from api.report.values import ValueRows, worst
from api.visit.readings import reading_of
from api.visit.safety_steps import STEPS
from grading.notices import NoticeKind
from grading.outcome import JobVerdict
from grading.prose.notices import DECISION_RULE, notice_text
from grading.sources import LimitSource, sources_of

STATES = {"open": "waits for an answer", "rejected": "rejected by a person"}


def content_of(
    rows: Rows,
    graded: JobVerdict,
    read_file: ReadFile,
    proof: Proof,
    *,
    issued: str,
    questions: Mapping[str, str],
) -> Report:
    """Collect everything the report shows.

    Args:
        rows: The job's rows from one snapshot.
        graded: Verdicts computed from exactly the records in force in `rows`.
        read_file: Gives the bytes of stored evidence.
        proof: State of the audit trail.
        issued: Time of issue, ISO 8601 with offset.
        questions: Safety questions by step.
    """
    album = Album(rows, read_file)
    verdicts = {v.axis: v for v in graded.axes}
    maker = ValueRows(rows, album, [f for v in graded.axes for f in v.findings])
    axes = tuple(axis_of_report(a, rows, maker, verdicts.get(a.name), dict(questions)) for a in rows.axes)
    number = report_number(rows, proof)
    return Report(
        number=number,
        title=wording.TITLE,
        identity=fields.identity(rows, number, issued),
        conditions=fields.conditions(rows),
        mapping=fields.mapping(rows, number, issued, axes, rows.job.technician),
        verdict=_overall(axes),
        opening=_opening(axes),
        axes=axes,
        open_proposals=tuple(_open(p) for p in rows.proposals if p.state != "confirmed"),
        instruments=fields.instruments(rows),
        exhibits=album.exhibits(),
        deviations=fields.deviations(rows, axes, _notices(graded)),
        decision_rule=(DECISION_RULE, *wording.DECISION_RULE),
        cautions=wording.CAUTIONS,
        proof=proof,
        issued=issued,
        others=tuple(maker.row(r) for r in rows.records if r.axis not in {a.name for a in rows.axes}),
        sources=tuple(_source(source) for source in sources_of(graded)),
    )


def _notices(graded: JobVerdict) -> tuple[str, ...]:
    """Write what every report must say; the decision rule has a place of its own."""
    return tuple(notice_text(n) for n in graded.notices if n.kind is not NoticeKind.DECISION_RULE)


def _source(source: LimitSource) -> ReportedSource:
    limits = tuple(f"{limit.quantity}: {wording.limit_text(limit)}" for limit in source.limits)
    return ReportedSource(source.document, source.origin.value, source.remark, limits)


def report_number(rows: Rows, proof: Proof) -> str:
    """Give a number that names one state of one job: job and number of the newest trail entry, "OT-J1-0057"."""
    return f"OT-{rows.job.id}-{proof.entries:04d}"


def _overall(axes: tuple[ReportedAxis, ...]) -> VerdictText:
    tested = [a.verdict for a in axes if a.verdict != wording.NOT_TESTED]
    mark = worst(tested).mark if tested else VerdictMark.NONE
    return VerdictText(mark, wording.OVERALL[mark])


def _opening(axes: tuple[ReportedAxis, ...]) -> str:
    """Write the first sentence a customer reads: which axes need something, which do not, which were not tested."""
    groups: dict[VerdictMark, list[str]] = {}
    for axis in axes:
        groups.setdefault(axis.verdict.mark, []).append(axis.name)
    words = (
        (
            VerdictMark.FAIL,
            "measured outside a limit and should not run as it is",
            "measured outside a limit and should not run as they are",
        ),
        (VerdictMark.UNSURE, "cannot be judged from these readings", "cannot be judged from these readings"),
        (VerdictMark.WATCH, "is within limits but should be watched", "are within limits but should be watched"),
        (VerdictMark.PASS, "measured within limits at the time of test", "measured within limits at the time of test"),
        (VerdictMark.NONE, "was not tested", "were not tested"),
    )
    sentences = []
    for mark, one, many in words:
        names = groups.get(mark, [])
        if names:
            subject = f"Axis {names[0]}" if len(names) == 1 else f"Axes {wording.listed(names)}"
            sentences.append(f"{subject} {one if len(names) == 1 else many}.")
    return " ".join(sentences) or "This job has no axis."


def _place(proposal: ProposalRow) -> str:
    reading = reading_of(proposal)
    parts = [
        f"Axis {reading.axis}" if reading.axis else "axis unknown",
        wording.SECTIONS.get(proposal.section or "", ""),
        wording.KINDS.get(proposal.kind or "", "").lower(),
        wording.point(proposal.terminals),
    ]
    return ", ".join(p for p in parts if p)


def _open(proposal: ProposalRow) -> OpenProposal:
    doubts = loads(proposal.doubts_json)
    names = doubts if isinstance(doubts, list) else []
    return OpenProposal(
        proposal_id=proposal.id,
        text=f"{_place(proposal)}: {reading_of(proposal).quantity.display()}",
        state=STATES.get(proposal.state, proposal.state),
        doubts="; ".join(wording.DOUBTS.get(str(n), str(n)) for n in names) or "every value is asked about",
        exhibits=tuple(s for s in (proposal.photo_sha256, proposal.clip_sha256) if s),
    )


def build_report(
    session: Session, store: Store, job_id: str, *, issued: str | None = None, shop: Shop | None = None
) -> bytes:
    """Grade a job's records in force and write its report as one HTML file.

    Args:
        session: One consistent snapshot.
        store: Where the evidence lies.
        job_id: The job.
        issued: Time of issue, ISO 8601 with offset; None takes the time of the newest trail entry, so that the same
            records always give the same bytes.
        shop: The shop's own limits.

    Raises:
        NotFound: There is no such job.
    """
    rows = read_rows(session, job_id)
    content = content_of(
        rows,
        job_verdict(session, job_id, shop),
        store.read,
        read_proof(session),
        issued=issued or (rows.head.at if rows.head else rows.job.created_at),
        questions={step.id: step.question for step in STEPS},
    )
    return render(content)
