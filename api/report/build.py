"""Build the report of a job from its rows, its findings and its evidence.

The same rows, findings, files and time of issue give the same bytes; nothing is read from a clock, and nothing is
typed by hand between the records and the page.
"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from sqlmodel import Session

from api.assessment.grade_job import job_verdict
from api.assessment.next_point import job_plans
from api.assessment.shop_limits import Shop
from api.errors import NotFound
from api.ledger.signing import SigningKey
from api.ledger.store import Store
from api.ledger.tables import ProposalRow
from api.proof.provenance import ValueProvenance, provenance_of
from api.report import fields, media, wording
from api.report.axes import axis_of_report
from api.report.content import (
    EmbeddedPicture,
    Exhibit,
    OpenProposal,
    Report,
    ReportedAxis,
    ReportedSource,
    VerdictMark,
    VerdictText,
)
from api.report.corrections import corrections
from api.report.exhibits import MISSING, Album, ReadFile
from api.report.identity import Issue, Proof
from api.report.issue import issue_of
from api.report.progress import Progress, quiet
from api.report.proof import read_proof
from api.report.render import LONG, clock, render
from api.report.rows import Rows, loads, read_rows
from api.report.values import ValueRows, seriousness, worst
from api.visit.pictures import LOGO
from api.visit.readings import reading_of
from api.visit.safety_steps import STEPS
from grading.notices import NoticeKind
from grading.outcome import JobVerdict
from grading.plan import PlanState
from grading.prose.notices import notice_text
from grading.sources import sources_of

STATES = {"open": "waits for an answer", "rejected": "rejected by a person"}
ATTACHED_BYTES = 7_000_000
"""How much evidence a PDF holds as attachments, so that it stays under 10 MB; the rest is handed on beside it."""
PLAYED_BYTES = 24_000_000
"""How much sound an HTML file holds."""


@dataclass(frozen=True)
class Sources:
    """What a report is made of.

    Attributes:
        rows: The job's rows from one snapshot.
        graded: Verdicts computed from exactly the records in force in `rows`.
        read_file: Gives the bytes of stored evidence.
        proof: State of the audit trail.
        issue: Number and time of issue.
        questions: Safety questions by step.
        ways: The way of each record of the job.
        plans: Where each axis stands in its plan, by name.
        logo: The issuer's logo, a PNG or JPEG file, or None.
        pictures: Whether photos are shown; without, none is decoded.
        reduced: Clips and photos are copies that hold less.
    """

    rows: Rows
    graded: JobVerdict
    read_file: ReadFile
    proof: Proof
    issue: Issue
    questions: Mapping[str, str]
    ways: Sequence[ValueProvenance]
    plans: Mapping[str, PlanState]
    logo: bytes | None = None
    pictures: bool = True
    reduced: bool = False


def content_of(made_of: Sources, progress: Progress = quiet) -> Report:
    """Collect everything the report shows."""
    rows, graded = made_of.rows, made_of.graded
    issue = replace(made_of.issue, zone=_zone(rows))
    album = Album(rows, made_of.read_file, progress, made_of.pictures)
    verdicts = {v.axis: v for v in graded.axes}
    sources = _sources(graded)
    marks = {source.document: source.mark for source in sources}
    maker = ValueRows(rows, album, [f for v in graded.axes for f in v.findings], marks)
    axes = []
    for done, axis in enumerate(rows.axes):
        progress("Axes", done, len(rows.axes))
        graded_axis, plan = verdicts.get(axis.name), made_of.plans[axis.name]
        axes.append(axis_of_report(axis, rows, maker, graded_axis, dict(made_of.questions), marks, plan, issue.zone))
    ordered = tuple(sorted(axes, key=lambda axis: seriousness(axis.verdict)))
    return Report(
        issue=issue,
        title=wording.TITLE,
        letterhead=fields.letterhead(rows, _logo(made_of)),
        identity=fields.identity(rows),
        conditions=fields.conditions(rows),
        mapping=fields.mapping(rows, issue, ordered),
        verdict=_overall(ordered),
        opening=_opening(ordered),
        axes=ordered,
        open_proposals=tuple(_open(p) for p in rows.proposals if p.state != "confirmed"),
        instruments=fields.instruments(rows),
        exhibits=_attached(_copies(album.exhibits()) if made_of.reduced else album.exhibits(), rows),
        reduced=made_of.reduced,
        deviations=fields.deviations(rows, _notices(graded)),
        decision_rule=wording.DECISION_RULE,
        cautions=wording.CAUTIONS,
        proof=made_of.proof,
        people=fields.people(rows),
        others=tuple(maker.row(r) for r in rows.records if r.axis not in {a.name for a in rows.axes}),
        sources=sources,
        corrections=corrections(rows, issue.zone),
        ways=tuple((way.record.id, way.line(lambda text: clock(text, issue.zone))) for way in made_of.ways),
    )


def _logo(made_of: Sources) -> EmbeddedPicture | None:
    """Give the logo that was asked for, else the one that was given with the job, as it was encoded anew."""
    given = next((row.shown_sha256 for row in made_of.rows.pictures if row.use == LOGO), None)
    content = made_of.logo
    if content is None and given is not None:
        try:
            content = made_of.read_file(given)
        except NotFound:
            return None
    return None if content is None else media.logo(content)


def _zone(rows: Rows) -> str:
    """Give a time whose offset is that of the place: the newest capture of a device that states one."""
    times = [r.captured_at for r in rows.standing] + [c.captured_at for c in rows.captures]
    return next((t for t in times if not t.endswith("Z")), times[0] if times else "")


def _attached(exhibits: Sequence[Exhibit], rows: Rows) -> tuple[Exhibit, ...]:
    """Choose the evidence that is held whole in the files: clips and photos of records in force first."""
    rank: dict[str, int] = {}
    for record in rows.standing:
        for sha in (record.clip_sha256, record.photo_sha256):
            if sha:
                rank.setdefault(sha, len(rank))
    order = sorted(exhibits, key=lambda e: (rank.get(e.sha256, len(rank)), e.kind != "clip"))
    attached = _within(order, ATTACHED_BYTES)
    played = _within([e for e in order if e.plays], PLAYED_BYTES)
    return tuple(replace(e, attached=e.sha256 in attached, plays=e.sha256 in played) for e in exhibits)


def _copies(exhibits: Sequence[Exhibit]) -> tuple[Exhibit, ...]:
    """Say of clips what their copies are: WAV (`api.exchange.reduce`)."""
    return tuple(
        replace(e, media_type="audio/wav", plays=e.problem != MISSING) if e.kind == "clip" else e for e in exhibits
    )


def _within(order: Sequence[Exhibit], room: int) -> set[str]:
    """Give the hashes of those that fit, in order; one that is too large is left out, and the next is tried."""
    found = set()
    for exhibit in order:
        if exhibit.size <= room and exhibit.problem != MISSING:
            room -= exhibit.size
            found.add(exhibit.sha256)
    return found


def _notices(graded: JobVerdict) -> tuple[str, ...]:
    """Write what every report must say; the decision rule has a place of its own."""
    return tuple(notice_text(n) for n in graded.notices if n.kind is not NoticeKind.DECISION_RULE)


def _sources(graded: JobVerdict) -> tuple[ReportedSource, ...]:
    """List the sources of all limits that were applied, each document with a letter."""
    marks: dict[str, str] = {}
    out = []
    for source in sources_of(graded):
        mark = marks.setdefault(source.document, _letter(len(marks)))
        watched = {f.limit.id for v in graded.axes for f in v.findings if f.limit and f.fact in wording.WATCH_LEVELS}
        limits = tuple(f"{limit.quantity}: {wording.limit_text(limit, limit.id in watched)}" for limit in source.limits)
        out.append(ReportedSource(source.document, source.origin.value, source.remark, limits, mark))
    return tuple(out)


def _letter(index: int) -> str:
    """Give a, b, ... z, aa, ab, ..."""
    letters = string.ascii_lowercase
    return (
        letters[index] if index < len(letters) else _letter(index // len(letters) - 1) + letters[index % len(letters)]
    )


def _overall(axes: tuple[ReportedAxis, ...]) -> VerdictText:
    tested = [a.verdict for a in axes if a.verdict != wording.NOT_TESTED]
    return worst(tested) if tested else wording.NOT_TESTED


def _opening(axes: tuple[ReportedAxis, ...]) -> str:
    """Write the first sentence a customer reads: which axes need something, which do not, which were not tested."""
    groups: dict[VerdictMark, list[str]] = {}
    for axis in axes:
        groups.setdefault(axis.verdict.mark, []).append(axis.name)
    words = (
        (
            VerdictMark.FAIL,
            "failed and should not run as it is",
            "failed and should not run as they are",
        ),
        (VerdictMark.UNSURE, "cannot be judged from these readings", "cannot be judged from these readings"),
        (VerdictMark.WATCH, "is within limits, to be watched", "are within limits, to be watched"),
        (VerdictMark.PASS, "is within limits at the time of test", "are within limits at the time of test"),
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


def read_content(
    session: Session,
    read_file: ReadFile,
    job_id: str,
    *,
    issued: str | None = None,
    shop: Shop | None = None,
    key: SigningKey | None = None,
    logo: bytes | None = None,
    pictures: bool | None = None,
    progress: Progress = quiet,
    reduced: bool = False,
) -> Report:
    """Grade a job's records in force and collect what its report shows.

    Args:
        session: One consistent snapshot.
        read_file: Gives the bytes of stored evidence.
        job_id: The job.
        issued: Time of issue, ISO 8601 with offset; None takes the time of the job's newest trail entry, so that the
            same records always give the same bytes.
        shop: The shop's own limits.
        key: Signs the head of the trail; None leaves it unsigned, and the report says so.
        logo: The issuer's logo.
        pictures: Whether photos are shown; None where they are unless the visit is long (see `api.report.render.LONG`).
        progress: Is told how far it is.
        reduced: What `read_file` gives of clips and photos are copies that hold less.

    Raises:
        NotFound: There is no such job.
    """
    rows = read_rows(session, job_id)
    progress("Grading", 0, 0)
    issue = issue_of(session, job_id, profile_sha256="" if shop is None else shop.sha256, issued=issued)
    made_of = Sources(
        rows,
        job_verdict(session, job_id, shop),
        read_file,
        read_proof(session, rows.head, key),
        issue if issue.issued else replace(issue, issued=rows.job.created_at),
        {step.id: step.question for step in STEPS},
        provenance_of(session, job_id),
        job_plans(session, job_id, None if shop is None else shop.profile),
        logo,
        len(rows.records) <= LONG if pictures is None else pictures,
        reduced,
    )
    return content_of(made_of, progress)


def build_report(
    session: Session,
    store: Store,
    job_id: str,
    *,
    issued: str | None = None,
    shop: Shop | None = None,
    key: SigningKey | None = None,
) -> bytes:
    """Write a job's report as one HTML file (see `read_content`)."""
    content = read_content(session, store.read, job_id, issued=issued, shop=shop, key=key, pictures=True)
    return render(content, store.read)
