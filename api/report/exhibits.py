"""Evidence as a report shows it: previews, crops and clips, each with the hash of its original."""

from __future__ import annotations

from collections.abc import Callable

from PIL import Image
from sqlmodel import Session

from api.errors import NotFound
from api.ledger.canonical import PlainData
from api.ledger.job_tables import PictureRow
from api.ledger.tables import CaptureRow, EvidenceRow, ProposalRow, RecordRow
from api.report import media
from api.report.content import EmbeddedPicture, Exhibit
from api.report.progress import Progress, quiet
from api.report.rows import Rows, loads, read_rows
from api.visit.pictures import INSTRUMENT_PLATE, LOGO, MACHINE_PLATE, MOTOR_PLATE

ReadFile = Callable[[str], bytes]
"""Gives the bytes of a stored file by its SHA-256; raises NotFound where it is missing."""

CUT = "The connection was lost while it was sent; what arrived is kept."
MISSING = "The stored file is missing. Run “ohmtrail verify”."


class Album:
    """Pictures and clips of one job; a decoded photo is let go at once, so that a long report needs no more memory."""

    def __init__(self, rows: Rows, read_file: ReadFile, progress: Progress = quiet, pictures: bool = True) -> None:
        """Remember where to read; nothing is read yet. Without `pictures`, none is decoded."""
        self._rows = rows
        self._pictures = pictures
        self._read = read_file
        self._progress = progress

    def _bytes(self, sha256: str) -> bytes | None:
        try:
            return self._read(sha256)
        except NotFound:
            return None

    def _photo(self, sha256: str) -> Image.Image | None:
        content = self._bytes(sha256)
        return None if content is None else media.upright(content)

    def crop(self, record: RecordRow) -> EmbeddedPicture | None:
        """Give the display beside a value: the crop cut when it was read, else the whole photo, else None."""
        shown = f"“{record.seen_text}”" if record.seen_text else "not read by the tool"
        if not self._pictures:
            return None
        for sha, what in ((record.crop_sha256, "Display cut from the photo"), (record.photo_sha256, "Photo")):
            picture = self._photo(sha) if sha else None
            if picture is not None:
                return media.crop(picture, (), f"{what} of record {record.id}: {shown}")
        return None

    def exhibits(self) -> tuple[Exhibit, ...]:
        """List every file that arrived for this job, once, in order of arrival."""
        words = self._words()
        first: dict[str, CaptureRow] = {}
        for capture in self._rows.captures:
            first.setdefault(capture.sha256, capture)
        out = []
        for done, (sha, capture) in enumerate(first.items()):
            self._progress("Evidence", done, len(first))
            out.append(self._exhibit(capture, words.get(sha) or _understood(capture)))
        return (*out, *(self._plate(row) for row in self._rows.pictures if row.use != LOGO and row.sha256 not in first))

    def _plate(self, row: PictureRow) -> Exhibit:
        """Give the photo of a plate as a piece of evidence; nothing was read in it."""
        evidence, shows = self._rows.evidence[row.sha256 or ""], plate_words(self._rows, row)
        content, label = self._bytes(evidence.sha256), row.id.rpartition("-")[2]
        picture = None if content is None or not self._pictures else media.upright(content)
        return Exhibit(
            sha256=evidence.sha256,
            kind="photo",
            media_type=evidence.media_type,
            size=evidence.size,
            received=row.at,
            captured="" if row.captured_at == row.at else row.captured_at,
            preview=None if picture is None else media.preview(picture, f"Photo {label}: {shows}"),
            problem=MISSING if content is None else "",
            label=label,
            file=_plate_name(row, evidence),
            shows=shows,
        )

    def _words(self) -> dict[str, str]:
        """Say what was understood from each file: words of a clip, the main string of a display."""
        found: dict[str, str] = {}
        rows: tuple[RecordRow | ProposalRow, ...] = (*self._rows.records, *self._rows.proposals)
        for row in rows:
            if row.clip_sha256 and row.heard_text:
                found.setdefault(row.clip_sha256, row.heard_text)
            if row.photo_sha256 and row.seen_text:
                found.setdefault(row.photo_sha256, row.seen_text)
        for event in self._rows.events:
            if event.clip_sha256 and event.words:
                found.setdefault(event.clip_sha256, event.words)
        return found

    def _exhibit(self, capture: CaptureRow, words: str) -> Exhibit:
        evidence = self._rows.evidence[capture.sha256]
        label = capture.id.rpartition("-")[2]
        preview, problem = None, _problem(capture)
        if evidence.kind == "photo":
            content = self._bytes(capture.sha256)
            problem = MISSING if content is None else problem
            picture = None if content is None or not self._pictures else media.upright(content)
            alt = f"Photo {label}: {words or 'not read by the tool'}"
            preview = None if picture is None else media.preview(picture, alt)
        elif self._bytes(capture.sha256) is None:
            problem = MISSING
        return Exhibit(
            sha256=capture.sha256,
            kind=evidence.kind,
            media_type=evidence.media_type,
            size=evidence.size,
            received=capture.received_at,
            captured="" if capture.captured_at == capture.received_at else capture.captured_at,
            preview=preview,
            plays=evidence.kind == "clip" and problem != MISSING and media.plays(evidence.media_type),
            heard=words,
            problem=problem,
            label=label,
            file=_file_name(capture, evidence),
        )


def plate_words(rows: Rows, row: PictureRow) -> str:
    """Say what the picture of a plate shows: "Nameplate of the motor, axis X"."""
    axes = {axis.id: axis.name for axis in (*rows.axes, *rows.withdrawn_axes)}
    labels = {one.id: one.label for one in rows.instruments}
    if row.use == MOTOR_PLATE:
        return f"Nameplate of the motor, axis {axes.get(row.subject_id, row.subject_id)}"
    if row.use == INSTRUMENT_PLATE:
        return f"Plate of the instrument {labels.get(row.subject_id, row.subject_id)}"
    return "Nameplate of the machine" if row.use == MACHINE_PLATE else "Logo"


def _plate_name(row: PictureRow, evidence: EvidenceRow) -> str:
    suffix = media.SUFFIXES.get(media.plain_type(evidence.media_type), "bin")
    return f"{row.id}-{evidence.sha256[:12]}.{suffix}"


def _file_name(capture: CaptureRow, evidence: EvidenceRow) -> str:
    suffix = media.SUFFIXES.get(media.plain_type(evidence.media_type), "bin")
    return f"{capture.id}-{capture.sha256[:12]}.{suffix}"


def files_of(session: Session, job_id: str) -> dict[str, str]:
    """Give the hash of every file that arrived for a job, by the name that its report gives it.

    Raises:
        NotFound: There is no such job.
    """
    rows = read_rows(session, job_id)
    first: dict[str, CaptureRow] = {}
    for capture in rows.captures:
        first.setdefault(capture.sha256, capture)
    plates = [row for row in rows.pictures if row.sha256 is not None and row.sha256 not in first]
    return {_file_name(capture, rows.evidence[sha]): sha for sha, capture in first.items()} | {
        _plate_name(row, rows.evidence[row.sha256]): row.sha256 for row in plates if row.sha256 is not None
    }


def _outcome(capture: CaptureRow) -> PlainData:
    found = loads(capture.outcome_json)
    return found if isinstance(found, dict) else {}


def _understood(capture: CaptureRow) -> str:
    """Give the words of a clip, or the strings of the displays in a photo, as recognised."""
    outcome = _outcome(capture)
    heard, seen = outcome.get("heard") or {}, outcome.get("seen") or {}
    displays = [str(d["text"]) for d in seen.get("displays", ()) if d.get("accepted")]
    return str(heard.get("text") or "") or ", ".join(displays)


def _problem(capture: CaptureRow) -> str:
    """Tell why a capture gave nothing; "" where it gave something."""
    if capture.state == "cut":
        return CUT
    if capture.state == "stored":
        return "It was stored and not read yet."
    outcome = _outcome(capture)
    problem, seen, heard = outcome.get("problem") or {}, outcome.get("seen"), outcome.get("heard")
    if capture.state == "failed":
        return str(problem.get("message") or "It could not be read.")
    if seen is not None and not any(d.get("accepted") for d in seen.get("displays", ())):
        reasons = [str(d["reason"]) for d in seen.get("displays", ()) if d.get("reason")]
        return str(seen.get("reason") or "") or " ".join(reasons) or "No display was found in it."
    if heard is not None and not heard.get("text"):
        return "No words were recognised in it."
    return ""
