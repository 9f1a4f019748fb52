"""Records as rows of the report: the value as shown, what it was held against, and who confirmed it how."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from api.ledger.tables import RecordRow
from api.report import wording
from api.report.content import AppliedLimit, ReportedValue, VerdictMark, VerdictText
from api.report.exhibits import Album
from api.report.render import clock
from api.report.rows import Rows, loads
from api.visit.notes import notes_of
from api.visit.readings import reading_of
from grading.details import Located
from grading.finding import Finding
from grading.limit import Basis
from grading.prose.findings import advice_text, finding_caveat, finding_reason
from grading.terms.quantity import Qualifier, QuantityKind, UnitError
from grading.terms.terminals import measured_to_earth

_ORDER = (VerdictMark.FAIL, VerdictMark.UNSURE, VerdictMark.WATCH, VerdictMark.PASS, VerdictMark.NONE)
_BOUNDS = {Qualifier.ABOVE: ">", Qualifier.OPEN: ">", Qualifier.BELOW: "<", Qualifier.SHORT: "<"}


def worst(verdicts: Sequence[VerdictText]) -> VerdictText:
    """Give the most serious of some verdicts; the first of equals."""
    return min(verdicts, key=lambda v: _ORDER.index(v.mark), default=VerdictText(VerdictMark.NONE, "No limit applies"))


def seriousness(verdict: VerdictText) -> int:
    """Give the place of a verdict in a summary, the most serious first."""
    return _ORDER.index(verdict.mark)


def of_one_value(findings: Sequence[Finding]) -> dict[str, list[Finding]]:
    """Give the findings that rest on one record alone, by record."""
    found: dict[str, list[Finding]] = {}
    for finding in findings:
        if len(finding.record_ids) == 1:
            found.setdefault(finding.record_ids[0], []).append(finding)
    return found


def _volts(text: str) -> str:
    return f"{text} V"


def _voltage(record: RecordRow) -> str:
    parts = [
        f"{_volts(text)} {word}"
        for text, word in ((record.test_voltage_set, "asked"), (record.test_voltage_built, "built"))
        if text is not None
    ]
    if record.kind == QuantityKind.INSULATION_RESISTANCE.value and record.test_voltage_built is None:
        parts.append("voltage built not recorded")
    return ", ".join(parts)


def _corrected(findings: Sequence[Finding]) -> str:
    """Give the value corrected to 40 °C, with the rule by which it was; "" where none was needed."""
    for finding in findings:
        if finding.limit and finding.limit.basis is Basis.CORRECTED_40C and finding.margin:
            text = wording.compared(finding.margin)
            return f"{text} at 40 °C" if text else ""
    return ""


def _how(record: RecordRow) -> str:
    parts = [wording.SOURCES.get(record.source, record.source)]
    if record.agreement:
        parts.append(wording.AGREEMENTS.get(record.agreement, record.agreement))
    parts.append(wording.CONFIRMED.get(record.confirmed_how, record.confirmed_how))
    return ", ".join(parts)


def _note(record: RecordRow) -> str:
    """Say what was noted beside the value: position, circumstances, remarks."""
    notes = notes_of(record)
    parts = [f"Taken at position {notes.position}."] if notes.position else []
    if notes.circumstances:
        parts.append(f"Noted: {'; '.join(wording.CIRCUMSTANCES[one] for one in notes.circumstances)}.")
    return " ".join([*parts, record.note]).strip()


def _ohms(record: RecordRow) -> tuple[Decimal | None, str]:
    """Give the value in ohms for the plot, and how it bounds the true one."""
    quantity = reading_of(record).quantity
    try:
        ohms = quantity.in_unit("Ohm")
    except UnitError:
        return None, "="
    return ohms, _BOUNDS.get(quantity.qualifier, "=")


def is_watched(finding: Finding) -> bool:
    """Tell whether the limit of a finding is a level below which a value is watched, and no requirement."""
    return finding.fact in wording.WATCH_LEVELS


class ValueRows:
    """Makes the rows of one job."""

    def __init__(self, rows: Rows, album: Album, findings: Sequence[Finding], marks: Mapping[str, str]) -> None:
        """Remember the job's rows, pictures and findings, and the letter of each source by its document."""
        self._rows, self._album, self._marks = rows, album, marks
        self._findings = of_one_value(findings)
        self._instruments = {i.id: i for i in rows.instruments}
        self._decided = {e.id: e for e in rows.events}
        self._replaced_by = {r.supersedes: r for r in rows.records if r.supersedes}

    def row(self, record: RecordRow) -> ReportedValue:
        """Write one record as the report shows it; a record no longer in force is shown ungraded."""
        standing = self._rows.states[record.id] == "current"
        findings = self._findings.get(record.id, []) if standing else []
        limits = tuple(self._limit(f) for f in sorted(findings, key=is_watched) if f.limit is not None)
        ohms, bound = _ohms(record)
        instrument = self._instruments.get(record.instrument_id or "")
        decided = self._decided.get(record.confirmation_id)
        return ReportedValue(
            record_id=record.id,
            test=wording.KINDS.get(record.kind or "", record.kind or "Unknown quantity"),
            section=wording.SECTIONS.get(record.section or "", ""),
            point=wording.point(record.terminals),
            shown=reading_of(record).quantity.display(),
            voltage=_voltage(record),
            elapsed="" if record.elapsed_s is None else f"{record.elapsed_s} s",
            corrected=_corrected(findings),
            limits=limits,
            verdict=worst([one.verdict for one in limits] or [wording.without_limit(f) for f in findings]),
            confirmed_by=record.confirmed_by,
            # By the device's clock, as every time of the visit; the trail holds this computer's time besides.
            confirmed_at=decided.captured_at if decided is not None else record.confirmed_at,
            taken_at=record.captured_at,
            how=_how(record),
            instrument=instrument.label if instrument else "instrument not recorded",
            exhibits=tuple(sha for sha in (record.photo_sha256, record.clip_sha256) if sha),
            crop=self._album.crop(record),
            superseded_by=self._rows.superseded.get(record.id),
            withdrawn=self._withdrawn(record.id),
            supersedes=record.supersedes,
            reason=self._reason(record.id),
            note=_note(record),
            ohms=ohms,
            bound=bound,
            findings=tuple(
                finding_reason(f, caveat=not isinstance(f.detail, Located)) for f in findings if f.limit is None
            ),
        )

    def _reason(self, record_id: str) -> str:
        """Say what the person said when a record was replaced, where anything was said."""
        later = self._replaced_by.get(record_id)
        event = None if later is None else self._decided.get(later.confirmation_id)
        detail = loads(event.detail_json) if event else {}
        return str(detail.get("reason", "")) if isinstance(detail, dict) else ""

    def _withdrawn(self, record_id: str) -> str:
        event = self._rows.withdrawn.get(record_id)
        return f"withdrawn by {event.by}, {clock(event.captured_at)}" if event else ""

    def _limit(self, finding: Finding) -> AppliedLimit:
        limit = finding.limit
        assert limit is not None
        source = limit.document
        if limit.loosened_from is not None:
            was = wording.plain_amount(limit.loosened_from, limit.unit)
            source += f"; loosened from {was}"
        return AppliedLimit(
            text=wording.limit_text(limit, is_watched(finding)),
            source=source,
            status=limit.origin.value,
            compared=wording.compared(finding.margin) if finding.margin else "",
            verdict=wording.against(finding),
            mark=self._marks.get(limit.document, ""),
            margin=wording.margin_text(finding.margin) if finding.margin and not is_watched(finding) else "",
            why=finding_caveat(finding) if finding.fact in wording.PLAIN else finding_reason(finding),
            advice=advice_text(finding.advice),
        )


def plotted(value: ReportedValue, record: RecordRow) -> bool:
    """Tell whether a row belongs into the plot: a resistance to earth in force, with digits."""
    if value.replaced or value.ohms is None or value.ohms <= 0 or not record.kind:
        return False
    return measured_to_earth(QuantityKind(record.kind), record.terminals or "")
