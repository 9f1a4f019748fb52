"""What can be wrong with jobs, readings, proposals, records and safety steps."""

from __future__ import annotations

from api.errors import BadInput, NotFound, Refused
from api.ledger.canonical import PlainData
from capture.display.errors import InstrumentProfileInvalid, NoSuchProfile
from capture.errors import InstrumentProfileError


class BadJobDescription(BadInput):
    """Refuse a description with something missing, misspelt or out of range; `fields` are the places, each with words.

    The sentence names every place for who reads no fields (a file, the command line).
    """

    code = "bad_job"
    message = "{problems}"
    remedy = "Correct the description and send it again."
    problems: str
    fields: tuple[str, ...] = ()

    def to_json(self) -> PlainData:
        """Give the error with each field that is wrong: its place, "axes.0.name", and what to do."""
        places = dict(zip(self.fields[::2], self.fields[1::2], strict=True))
        return {**super().to_json(), "fields": places} if places else super().to_json()


class JobNotOpen(Refused):
    """Refuse what would change a job that is closed or archived."""

    code = "job_not_open"
    message = "Job {job_id} is {state}: it takes no readings, answers or changes."
    remedy = "Reopen it on its page (an archived job is brought back first), then do it again."
    job_id: str
    state: str


class BadMove(Refused):
    """Refuse to close, reopen, archive or restore a job that is in another state."""

    code = "bad_move"
    message = "Job {job_id} is {state}, so it cannot be {wanted}."
    remedy = "Only an open job is closed, only a closed one reopened or archived, only an archived one brought back."
    job_id: str
    state: str
    wanted: str


class JobStillWaits(Refused):
    """Refuse to close a job in which something waits for a person or for the recogniser."""

    code = "job_still_waits"
    message = "Job {job_id} is not done: {proposals} values wait for your yes, {captures} files are still to be read."
    remedy = "Confirm or reject what waits, and let the files be read; then close it."
    job_id: str
    proposals: int
    captures: int


class AxisHasReadings(Refused):
    """Refuse to withdraw an axis of which something was measured."""

    code = "axis_has_readings"
    message = "Axis {axis} has {records} readings on record and {proposals} that wait for your yes, so it stays."
    remedy = (
        "Readings are never lost: rename the axis to what was measured, and withdraw each reading that is wrong. "
        "Confirm or reject what waits."
    )
    axis: str
    records: int
    proposals: int


class AxisIsAskedAbout(Refused):
    """Refuse to withdraw an axis of which a question is open."""

    code = "axis_is_asked_about"
    message = "A safety question about axis {axis} is open, so it stays for now."
    remedy = "Answer the question, or put it off by “Not now”; then withdraw the axis."
    axis: str


class OnlyAxis(Refused):
    """Refuse to withdraw the only axis of a job."""

    code = "only_axis"
    message = "Axis {axis} is the only one of this job."
    remedy = "Rename it, or add the right axis first."
    axis: str


class JobChangedMeanwhile(Refused):
    """Refuse an edit that was made from an older state of the job."""

    code = "job_changed"
    message = "Job {job_id} was changed by somebody else since you opened it."
    remedy = "Reload the page, look at the changes, and make yours again."
    job_id: str


class NothingEdited(BadInput):
    """Refuse an edit that changes nothing."""

    code = "nothing_edited"
    message = "Nothing is different from what is on record."
    remedy = "Change a field, or leave it as it is."


class PartLeftOut(BadInput):
    """Refuse an edit that leaves out an axis or instrument of the job, or names one that it does not have."""

    code = "part_left_out"
    message = "The edit does not name the {kind} {missing} of this job."
    remedy = "What is on record stays: rename it or correct it, but do not leave it out."
    kind: str
    missing: str


class PictureNotSuitable(BadInput):
    """Refuse a picture that cannot be shown or kept for its use."""

    code = "picture_not_suitable"
    message = "{problem}"
    remedy = "Send a PNG or JPEG picture; for a plate, any photo that the camera makes."
    problem: str


class BadPictureUse(BadInput):
    """Refuse a picture for a use or part that the job does not have."""

    code = "bad_picture_use"
    message = "There is no {use!r} of {subject!r} in this job."
    remedy = "Name an axis for a motor's plate, an instrument for its own, nothing for the machine's and the logo."
    use: str
    subject: str


class NoSuchJob(NotFound):
    """There is no job of this id."""

    code = "no_such_job"
    message = "There is no job {job_id!r}."
    remedy = "List the jobs to see their numbers."
    job_id: str


class NoSuchAxis(NotFound):
    """The job has no axis of this name."""

    code = "no_such_axis"
    message = "There is no axis {axis!r} in this job."
    remedy = "Its axes are: {axes}."
    axis: str
    axes: tuple[str, ...]


class NoSuchInstrument(NotFound):
    """The job has no instrument of this label."""

    code = "no_such_instrument"
    message = "Job {job_id} has no instrument {label!r}."
    remedy = "It has: {labels}."
    job_id: str
    label: str
    labels: tuple[str, ...]


class UnknownInstrumentProfile(BadInput):
    """Refuse the name of a profile that does not ship."""

    code = NoSuchProfile.code
    message = "There is no profile {given!r}."
    remedy = "Use one of {shipped}."
    given: object
    shipped: tuple[str, ...]


class InstrumentProfileRefused(BadInput):
    """Refuse a profile that cannot be understood."""

    code = InstrumentProfileInvalid.code
    message = "{problem}"
    remedy = "Correct the profile and send it again."
    problem: InstrumentProfileError


class BadNumber(BadInput):
    """Refuse what is no number in its range."""

    code = "bad_number"
    message = "{name} is {value!r}."
    remedy = "Give a plain number from 0 to {top}."
    name: str
    value: object
    top: int


class BadWord(BadInput):
    """Refuse a word that its field does not know; the code names the field."""

    code = "bad_{field}"
    message = "{value!r} is no {field}."
    remedy = "Use one of {known}."
    field: str
    value: object
    known: tuple[str, ...]


class BadField(BadInput):
    """Refuse a field that a reading does not have."""

    code = "bad_field"
    message = "Unknown field {field!r}."
    remedy = "Remove it."
    field: str


class BadValue(BadInput):
    """Refuse a value or unit that cannot be read."""

    code = "bad_value"
    message = "{cause}"
    remedy = "Give the digits as the display shows them, and the unit."
    cause: str


class UnitDoesNotFit(BadInput):
    """Refuse a unit that cannot belong to the quantity."""

    code = "unit_does_not_fit"
    message = "{problem}"
    remedy = "Say or type the reading again with its unit."
    problem: str


class BadPosition(BadInput):
    """Refuse a position that is no text, or too long, in characters."""

    code = "bad_position"
    message = "The position is {value!r}."
    remedy = "Give a text of at most {most} characters."
    value: object
    most: int


class BadCircumstance(BadInput):
    """Refuse a circumstance that is not known."""

    code = "bad_circumstance"
    message = "{value!r} is no circumstance."
    remedy = "Use a list of {known}."
    value: object
    known: tuple[str, ...]


class NoSuchProposal(NotFound):
    """There is no proposal of this id."""

    code = "no_such_proposal"
    message = "There is no proposal {proposal_id!r}."
    remedy = "Reload the page."
    proposal_id: str


class ProposalSettled(Refused):
    """Refuse to touch a proposal that is confirmed or rejected."""

    code = "not_open"
    message = "This proposal is {state} already."
    remedy = "Correct the record instead, or go on."
    state: str


class ProposalChanged(Refused):
    """Refuse to confirm another value than the one seen."""

    code = "changed"
    message = "This value changed since you looked."
    remedy = "Read it again, then confirm."


class SaidBefore(Refused):
    """Refuse a word that was spoken before the value was known."""

    code = "said_before"
    message = "That word came before the value did."
    remedy = "Listen to the read-back, then confirm."


class InDoubt(Refused):
    """Refuse to confirm while a doubt is open; the message is the question."""

    code = "in_doubt"
    message = "{question}"
    remedy = "Correct it, choose among the alternatives, or say it again."
    question: str


class AuxiliaryLead(Refused):
    """Refuse an insulation reading of a lead that no test voltage may reach."""

    code = "auxiliary_lead"
    message = "{lead} is an auxiliary lead and never belongs under test voltage."
    remedy = "Take it out first."
    lead: str


class SafetyOpen(Refused):
    """Refuse an insulation reading while safety steps of its axis are open; `question` is that of the first."""

    code = "safety_open"
    message = "{count} safety steps of axis {axis} are not answered: {question}"
    remedy = "Answer the safety steps of this axis, then confirm. The reading is kept until then."
    count: int
    axis: str | None
    question: str


class NoSuchRecord(NotFound):
    """There is no record of this id."""

    code = "no_such_record"
    message = "There is no record {record_id!r}."
    remedy = "Reload the page."
    record_id: str


class RecordNotCurrent(Refused):
    """Refuse to correct a record that is superseded or withdrawn."""

    code = "not_current"
    message = "Record {record_id} is {state}."
    remedy = "Correct the record that is in force."
    record_id: str
    state: str


class RecordWithdrawn(Refused):
    """Refuse to withdraw a record twice."""

    code = "withdrawn"
    message = "Record {record_id} is withdrawn already."
    remedy = "There is nothing to do."
    record_id: str


class NoSuchStep(BadInput):
    """There is no safety step of this id."""

    code = "no_such_step"
    message = "There is no safety step {step_id!r}."
    remedy = "Steps are: {steps}."
    step_id: str
    steps: tuple[str, ...]


class BadAnswer(BadInput):
    """Refuse an answer that the step does not take."""

    code = "bad_answer"
    message = "{answer!r} is no answer to this step."
    remedy = "Answer {allowed}."
    answer: str
    allowed: str


class ValueMissing(BadInput):
    """Refuse an answer without the measured value that the step needs."""

    code = "value_missing"
    message = "This step needs a measured value in {unit}."
    remedy = "Measure it and give the number."
    unit: str


class NoAnswer(BadInput):
    """Refuse a message that answers no safety step."""

    code = "no_answer"
    message = "No answer was given."
    remedy = "Answer at least one step."


class AnsweredBeforeBreak(Refused):
    """Refuse safety answers that waited in a device while the lock-out, or its person, ended."""

    code = "answered_before_break"
    message = "The lock-out ended, or somebody else went on, after this answer was given and before it came in."
    remedy = "Look at the machine as it is now, and answer again."
