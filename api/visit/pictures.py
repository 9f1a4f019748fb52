"""Pictures that belong to a job and are no readings: nameplates of machine and motors, plates of instruments, a logo.

They are evidence like any other, on disk and hashed before anything looks at them, and entries of the trail. No display
is looked for in them. A logo is shown as it was encoded anew, never as the file that was sent.
"""

from __future__ import annotations

import io

from PIL import Image
from sqlmodel import Session, select

from api.ledger.acting import acting_person
from api.ledger.canonical import JsonObject
from api.ledger.database import Transaction
from api.ledger.evidence import Stored, put_evidence
from api.ledger.ids import in_order
from api.ledger.job_tables import PictureRow
from api.ledger.media_types import media_type
from api.ledger.trail import What
from api.visit.changes import require_open
from api.visit.errors import BadPictureUse, NoSuchAxis, NoSuchInstrument, PictureNotSuitable
from api.visit.jobs import axis_of, instruments_of, job_of
from capture.display.picture import open_picture
from capture.errors import MediaError

MACHINE_PLATE, MOTOR_PLATE, INSTRUMENT_PLATE, LOGO = "machine_plate", "motor_plate", "instrument_plate", "logo"
LOGO_BYTES = 2_000_000
"""Largest file taken for a logo, bytes (program's rule, no source)."""
LOGO_SIDE = 480
"""Longest side of a logo as it is shown, px."""
LOGO_TYPES = ("image/png", "image/jpeg")
LOGO_DERIVATION = "logo: upright, on white, encoded anew as JPEG"
_QUALITY = 90


def check_picture(use: str, data: bytes) -> None:
    """Look at a picture before it is kept.

    Args:
        use: What it is for.
        data: The file.

    Raises:
        PictureNotSuitable: It is no picture that can be shown, or too large or of the wrong type for a logo.
    """
    found = media_type(data)
    if use == LOGO:
        if found.name not in LOGO_TYPES:
            raise PictureNotSuitable(problem="A logo is a PNG or JPEG file.")
        if len(data) > LOGO_BYTES:
            problem = f"This logo has {len(data) / 1e6:.1f} MB; at most {LOGO_BYTES / 1e6:.0f} MB are taken."
            raise PictureNotSuitable(problem=problem)
    elif found.kind != "photo":
        raise PictureNotSuitable(problem="This file is no photo.")
    try:
        open_picture(data)
    except MediaError as error:
        raise PictureNotSuitable(problem=str(error)) from None


def logo_as_shown(data: bytes) -> bytes:
    """Encode a logo anew, at most `LOGO_SIDE` wide and high: JPEG, so that nothing else in the file travels on.

    Raises:
        PictureNotSuitable: It cannot be decoded.
    """
    try:
        picture = Image.fromarray(open_picture(data).pixels)
        if media_type(data).name == "image/png":
            # Whole and within limits, as was found above; what is see-through in it lies on white, as on paper.
            drawn = Image.open(io.BytesIO(data)).convert("RGBA")
            picture = Image.alpha_composite(Image.new("RGBA", drawn.size, "white"), drawn).convert("RGB")
    except (MediaError, OSError) as error:
        raise PictureNotSuitable(problem=str(error)) from None
    picture.thumbnail((LOGO_SIDE, LOGO_SIDE), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def subject_of(session: Session, job_id: str, use: str, name: str) -> str:
    """Give the id of what a picture shows: an axis or instrument by its name, or the job itself.

    Raises:
        NoSuchJob: There is no such job.
        BadPictureUse: The job has no such part, or there is no such use.
    """
    job = job_of(session, job_id)
    try:
        if use == MOTOR_PLATE:
            return axis_of(session, job_id, name).id
        if use == INSTRUMENT_PLATE:
            return next(row.id for row in instruments_of(session, job_id) if row.label == name)
    except (NoSuchAxis, NoSuchInstrument, StopIteration):
        raise BadPictureUse(use=use, subject=name) from None
    if use not in (MACHINE_PLATE, LOGO) or name:
        raise BadPictureUse(use=use, subject=name)
    return job.id


def put_picture(
    transaction: Transaction,
    job_id: str,
    use: str,
    name: str,
    stored: Stored | None,
    captured_at: str,
    shown: Stored | None = None,
) -> PictureRow:
    """Put a picture in the place of the one before, or take that away.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        use: What it is for.
        name: The axis or instrument; empty for the job itself.
        stored: The file as it was sent; None to take the picture away.
        captured_at: The device's time.
        shown: The file as it is shown, where that is another.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is closed or archived.
        BadPictureUse: See `subject_of`.
    """
    session = transaction.session
    subject, job = subject_of(session, job_id, use, name), job_of(session, job_id)
    require_open(session, job_id)
    by = acting_person(job.technician)
    if stored is not None:
        put_evidence(transaction, stored)
    if stored is not None and shown is not None:
        put_evidence(transaction, shown, kind="photo", parent=stored.sha256, derivation=LOGO_DERIVATION)
    row = PictureRow(
        id=transaction.next_id(PictureRow, job_id),
        job_id=job_id,
        use=use,
        subject_id=subject,
        sha256=None if stored is None else stored.sha256,
        shown_sha256=None if shown is None else shown.sha256,
        by=by,
        captured_at=captured_at,
        at=transaction.now,
    )
    transaction.put(row)
    transaction.entry(What.PICTURE_SET, job_id, by=by, note={"use": use, "subject": subject})
    return row


def all_pictures(session: Session, job_id: str) -> list[PictureRow]:
    """Read every picture that a job ever had, oldest first, and where one was taken away."""
    return in_order(session.exec(select(PictureRow).where(PictureRow.job_id == job_id)).all())


def pictures_of(session: Session, job_id: str) -> list[PictureRow]:
    """Read the pictures of a job that count: the newest of each use and subject, unless it was taken away."""
    newest = {(row.use, row.subject_id): row for row in all_pictures(session, job_id)}
    return [row for row in newest.values() if row.sha256 is not None]


def picture_files(session: Session, job_id: str) -> list[str]:
    """Give the hashes of all files that were ever sent as pictures of a job, each once."""
    return list(dict.fromkeys(row.sha256 for row in all_pictures(session, job_id) if row.sha256 is not None))


def picture_for_page(row: PictureRow) -> JsonObject:
    """Give a picture as the page shows it."""
    return row.model_dump()
