"""What can be wrong with a turn of the conversation."""

from __future__ import annotations

from api.errors import BadInput, Refused
from api.visit.errors import NoSuchInstrument


class NoDialogue(Refused):
    """Refuse to go on with a job whose conversation is missing."""

    code = "no_dialogue"
    message = "Job {job_id} has no conversation."
    remedy = "Run the verification."
    job_id: str


class RevisionMissing(BadInput):
    """Refuse a confirmation that does not say what was seen."""

    code = "revision_missing"
    message = "A confirmation names the revision it saw."
    remedy = "Send the revision along."


class NothingChanged(BadInput):
    """Refuse a correction of nothing."""

    code = "nothing_changed"
    message = "No field was given."
    remedy = "Give the field that is wrong, e.g. the value."


class InstrumentNotOfJob(BadInput):
    """Refuse an instrument that the job does not have."""

    code = NoSuchInstrument.code
    message = "There is no instrument {instrument_id!r}."
    remedy = "Choose one of the job's."
    instrument_id: str


class BadChoice(BadInput):
    """The proposal has no choice of this number."""

    code = "bad_choice"
    message = "There is no choice {index!r}."
    remedy = "Choose a number from 0 to {last}."
    index: object
    last: int


class AlreadyUnderJob(BadInput):
    """Refuse to move a value to the job that it waits under."""

    code = "already_under_job"
    message = "It waits under job {job_id} already."
    remedy = "Name the job that it belongs to."
    job_id: str
