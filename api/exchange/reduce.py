"""Derived files for a reduced export: clips trimmed to the words used, pictures without what they say of their place.

A derived file is kept as evidence of its own, with its hash and the original's in one entry of the trail, so that the
original stays what was heard and seen, and the derived one is known for what it is.
"""

from __future__ import annotations

import io
import struct
import wave
from dataclasses import dataclass

from PIL import Image
from sqlmodel import Session, col, select

from api.ledger.canonical import parsed, sha256_hex
from api.ledger.database import Database
from api.ledger.evidence import Stored, captures_of, put_evidence, store_file
from api.ledger.store import Store
from api.ledger.tables import EvidenceRow
from api.ledger.trail import What
from api.report.issued import Wanted, make_report, reports_of
from api.visit.pictures import picture_files
from capture.display.picture import open_picture
from capture.errors import MediaError
from capture.speech.audio import RATE, load_clip

MARGIN_S = 0.25
"""Sound kept before the first word and after the last, s."""

REDUCED = "reduced"
"""How the derivation of a derived file begins; its rest says what was done."""

_QUALITY = 92


@dataclass(frozen=True)
class Derived:
    """A file made of an original: its bytes, and what was done."""

    data: bytes
    derivation: str


def _span(session: Session, job_id: str, sha256: str) -> tuple[float, float] | None:
    """Give from when to when words were heard in a clip, s, over all its readings; None where no times are known."""
    found: list[tuple[float, float]] = []
    for capture in captures_of(session, job_id, sha256):
        outcome = parsed(capture.outcome_json) if capture.outcome_json else {}
        heard = outcome.get("heard") if isinstance(outcome, dict) else None
        words = heard.get("words", []) if isinstance(heard, dict) else []
        found += [(float(word["start"]), float(word["end"])) for word in words]
    return (min(begin for begin, _ in found), max(end for _, end in found)) if found else None


def _commented(data: bytes, comment: bytes) -> bytes:
    """Put a comment behind the samples of a WAV file: a LIST chunk with ICMT, as of RIFF (1991), section 2-14."""
    padded = comment + bytes(2 - len(comment) % 2)
    inner = b"INFO" + b"ICMT" + struct.pack("<I", len(padded)) + padded
    whole = data + b"LIST" + struct.pack("<I", len(inner)) + inner
    return whole[:4] + struct.pack("<I", len(whole) - 8) + whole[8:]


def _origin(data: bytes) -> bytes:
    """Name the original in the derived file, so that no two originals give the same one."""
    return b"Ohmtrail reduced " + sha256_hex(data).encode()


def trimmed(data: bytes, span: tuple[float, float] | None) -> Derived:
    """Trim a clip to its words; 16 kHz mono WAV. Without times the whole is kept, but nothing else of the file.

    Raises:
        MediaError: It cannot be decoded.
    """
    pcm, said = load_clip(data).pcm, "whole, without what the file says besides"
    if span is not None:
        begin, end = max(0.0, span[0] - MARGIN_S), span[1] + MARGIN_S
        pcm = pcm[2 * int(begin * RATE) : 2 * int(end * RATE)]
        said = f"from {begin:.2f} s, {len(pcm) / 2 / RATE:.2f} s long"
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(pcm)
    return Derived(_commented(out.getvalue(), _origin(data)), f"{REDUCED}: {said}; 16 kHz mono WAV")


def without_metadata(data: bytes) -> Derived:
    """Write a picture again, turned upright, with its pixels alone: no position, time, maker or thumbnail.

    Raises:
        MediaError: It cannot be decoded.
    """
    out = io.BytesIO()
    Image.fromarray(open_picture(data).pixels).save(out, "JPEG", quality=_QUALITY, comment=_origin(data))
    return Derived(out.getvalue(), f"{REDUCED}: pixels alone, JPEG quality {_QUALITY}")


def derive_all(database: Database, evidence: Store, job_id: str) -> list[str]:
    """Make a derived file of every clip and photo of a job that has none yet; one entry names each with its original.

    Returns:
        Hashes of those that cannot be derived, since they cannot be decoded: their originals stay out.

    Raises:
        FileNotWritten, EntryNotWritten: The disk is full or refuses.
    """
    made: list[tuple[Stored, str, str]] = []
    left_out = []
    with database.read() as session:
        derived = select(EvidenceRow.parent_sha256).where(col(EvidenceRow.derivation).startswith(REDUCED))
        done = set(session.exec(derived).all())
        arrived = [capture.sha256 for capture in captures_of(session, job_id)]
        for sha256 in dict.fromkeys([*arrived, *picture_files(session, job_id)]):
            row = session.get_one(EvidenceRow, sha256)
            if sha256 in done:
                continue
            try:
                data = evidence.read(sha256)
                found = without_metadata(data) if row.kind == "photo" else trimmed(data, _span(session, job_id, sha256))
            except MediaError:
                left_out.append(sha256)
                continue
            made.append((store_file(evidence, found.data), sha256, found.derivation))
    if made:
        with database.write() as transaction:
            for stored, parent, derivation in made:
                kind = "clip" if stored.found.kind == "clip" else "photo"
                put_evidence(transaction, stored, kind=kind, parent=parent, derivation=derivation)
            transaction.entry(What.DERIVED, job_id, note={"for": "a reduced export"})
    return left_out


def make_reduced_report(database: Database, evidence: Store, reports: Store, job_id: str) -> str:
    """Make the report of a job from its derived files; returns why there is none, one sentence, or "".

    Raises:
        FileNotWritten, EntryNotWritten: The disk is full or refuses.
    """
    with database.read() as session:
        made = reports_of(session, job_id)
        derived = session.exec(select(EvidenceRow).where(col(EvidenceRow.derivation).startswith(REDUCED))).all()
        copies = {row.parent_sha256: row.sha256 for row in derived if row.parent_sha256 is not None}
    if made and made[-1].profile_sha256:
        return "the report: it is graded by the shop's own limits, with which an export makes none."
    make_report(database, evidence, reports, job_id, wanted=Wanted(reduced=copies))
    return ""
