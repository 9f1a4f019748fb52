"""Evidence as a report shows it: previews, crops and clips, each with the hash of its original."""

from __future__ import annotations

from collections.abc import Callable

from PIL import Image

from api.errors import NotFound
from api.ledger.canonical import PlainData
from api.ledger.tables import CaptureRow, ProposalRow, RecordRow
from api.report import media
from api.report.content import EmbeddedPicture, Exhibit
from api.report.rows import Rows, loads

ReadFile = Callable[[str], bytes]
"""Gives the bytes of a stored file by its SHA-256; raises NotFound where it is missing."""

CUT = "The connection was lost while it was sent; what arrived is kept."
MISSING = "The stored file is missing. Run “ohmtrail verify”."


class Album:
    """Pictures and clips of one job, each read from the store once."""

    def __init__(self, rows: Rows, read_file: ReadFile) -> None:
        """Remember where to read; nothing is read yet."""
        self._rows = rows
        self._read = read_file
        self._photos: dict[str, Image.Image | None] = {}

    def _bytes(self, sha256: str) -> bytes | None:
        try:
            return self._read(sha256)
        except NotFound:
            return None

    def _photo(self, sha256: str) -> Image.Image | None:
        if sha256 not in self._photos:
            content = self._bytes(sha256)
            self._photos[sha256] = None if content is None else media.upright(content)
        return self._photos[sha256]

    def crop(self, record: RecordRow) -> EmbeddedPicture | None:
        """Give the display beside a value: the crop cut when it was read, else the whole photo, else None."""
        shown = f"“{record.seen_text}”" if record.seen_text else "not read by the tool"
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
        return tuple(self._exhibit(capture, words.get(sha) or _understood(capture)) for sha, capture in first.items())

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
        content = self._bytes(capture.sha256)
        preview, audio, problem = None, "", _problem(capture)
        if content is None:
            problem = MISSING
        elif evidence.kind == "photo":
            picture = self._photo(capture.sha256)
            preview = None if picture is None else media.preview(picture, f"Photo: {words or 'not read by the tool'}")
        elif evidence.kind == "clip":
            audio = media.audio_uri(evidence.media_type, content)
        return Exhibit(
            sha256=capture.sha256,
            kind=evidence.kind,
            media_type=evidence.media_type,
            size=evidence.size,
            received=capture.received_at,
            captured="" if capture.captured_at == capture.received_at else capture.captured_at,
            preview=preview,
            audio=audio,
            heard=words,
            problem=problem,
        )


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
