"""The tables of what is changed of a job after it was made, and of the pictures that belong to it; both append-only."""

from __future__ import annotations

from typing import ClassVar

from sqlmodel import Field, SQLModel


class JobChangeRow(SQLModel, table=True):
    """One change of a job, of one of its axes or instruments, or of the job's state; the rows of before stay as made.

    Attributes:
        id: "J1-H1", ... in order.
        subject: "job", "axis" or "instrument".
        subject_id: Key of the row that is changed.
        action: "edited", "added", "closed", "reopened", "archived" or "restored"; of an axis "withdrawn", "reinstated".
        before_json: The fields of the description that changed, as they were; an empty object for a change of state.
        after_json: The same fields as they are from now on.
        reason: Why, in the words of who changed it; may be empty.
        by: Who.
        at: UTC instant.
    """

    __tablename__: ClassVar[str] = "job_change"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    subject: str
    subject_id: str
    action: str
    before_json: str
    after_json: str
    reason: str
    by: str
    at: str


class PictureRow(SQLModel, table=True):
    """One picture that belongs to a job and is no reading: a nameplate, an instrument's plate, a logo.

    Of one use and subject the newest counts; those before stay on record.

    Attributes:
        id: "J1-N1", ...
        use: "motor_plate", "machine_plate", "instrument_plate" or "logo".
        subject_id: Key of the axis, instrument or job that it shows.
        sha256: The file as it was sent; None where the picture before it was taken away.
        shown_sha256: The file as it is shown, where it was made anew from what was sent; else None.
        by: Who sent it.
        captured_at: The device's time.
        at: UTC instant.
    """

    __tablename__: ClassVar[str] = "picture"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    use: str
    subject_id: str
    sha256: str | None = Field(foreign_key="evidence.sha256", index=True)
    shown_sha256: str | None = Field(foreign_key="evidence.sha256")
    by: str
    captured_at: str
    at: str
