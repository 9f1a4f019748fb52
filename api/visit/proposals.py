"""Proposals: one reading that waits for a person, made from voice, photo or typing, joined where both saw the same.

A row is decoded once, into a `Proposal`; what changes it changes that object, and `stored` gives the row back to be
written. Every change of value raises the proposal's revision, so that a confirmation can only ever be for what was read
back. Nothing here asks the database for more than proposals: what a job is comes along as a `Job`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session, select

from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.clock import seconds_between
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import ProposalRow
from api.visit.errors import NoSuchProposal, ProposalChanged, ProposalSettled
from api.visit.instruments import instrument_for
from api.visit.jobs import Job
from api.visit.notes import Notes, notes_of
from api.visit.readings import reading_from_json, reading_of
from capture.comparison import combine, finer_quantity, same_dimension, same_place, same_value, says_same
from capture.completeness import completed
from capture.language.prompts import question
from capture.reading import Doubt, Reading

JOIN_WINDOW_S = 120
"""Voice and photo of one reading lie at most this far apart, s by their capture times (program's rule, no source).

It leaves room for a one-minute insulation test between the word and the photo. Capture times, since what waited in a
phone's outbox may arrive much later than it was taken.
"""

_SETTLED_BY_AGREEMENT = frozenset(
    {
        Doubt.DIGITS_AMBIGUOUS,
        Doubt.TEEN_OR_TY,
        Doubt.PREFIX_UNSURE,
        Doubt.DOT_UNSURE,
        Doubt.UNIT_UNSURE,
        Doubt.UNUSUAL,
        Doubt.LOW_CONFIDENCE,
        Doubt.UNKNOWN_WORDS,
        Doubt.CONFLICT,
    }
)
"""Doubts about what was recognised: they end where ear and eye, which fail in different ways, came to the same value.

What is missing, implausible or had not settled stays in doubt, however many say it.
"""


@dataclass(frozen=True)
class Source:
    """Where a reading came from.

    Attributes:
        kind: "speech", "photo" or "typed".
        captured_at: The device's time.
        sha256: The clip or photo; None when typed.
        text: Words heard or string seen.
        crop: The rectified display cut from the photo.
    """

    kind: str
    captured_at: str
    sha256: str | None = None
    text: str = ""
    crop: str | None = None


@dataclass(frozen=True)
class ProposedReading:
    """A reading with what speaks against taking it as it is.

    Attributes:
        reading: The reading.
        doubts: Why it must be asked about.
        alternatives: Other readings it could be, best first.
        confidence: 0..1.
        chosen: A person chose exactly this value, so it is not asked about for being unlikely.
        notes: What is noted beside it; None where nothing was said of that, so that what was noted stays.
    """

    reading: Reading
    doubts: tuple[Doubt, ...] = ()
    alternatives: tuple[Reading, ...] = ()
    confidence: float = 1.0
    chosen: bool = False
    notes: Notes | None = None


@dataclass(eq=False)
class Proposal:
    """A proposal as the conversation works on it.

    Attributes:
        row: Where it is stored; its columns that hold plain text are read and written there.
        reading: The value as it stands.
        notes: What is noted beside it.
        doubts: What blocks a bare confirmation.
        alternatives: The other readings it could be, best first.
        voice: The reading as a person said or typed it, or None.
        photo: The reading as seen alone, or None.
    """

    row: ProposalRow
    reading: Reading
    notes: Notes
    doubts: tuple[Doubt, ...]
    alternatives: tuple[Reading, ...]
    voice: Reading | None
    photo: Reading | None

    @property
    def id(self) -> str:
        """Its number, "J1-P3"."""
        return self.row.id

    @property
    def revision(self) -> int:
        """How often its value was set."""
        return self.row.revision

    @property
    def is_open(self) -> bool:
        """Whether it still waits for a person."""
        return self.row.state == "open"

    @property
    def heard_once(self) -> bool:
        """Whether nothing but one utterance says what its value is: no photo, no typing, not said again."""
        return self.row.source == "speech" and self.row.agreement in ("", "photo_not_read")

    @property
    def choices(self) -> tuple[Reading, ...]:
        """What a person can choose among: the value as it stands, then the alternatives."""
        return (self.reading, *self.alternatives)

    @property
    def question(self) -> str:
        """The read-back, and what is in doubt."""
        return question(self.reading, self.doubts, self.alternatives, noted=self.notes.words)

    def stored(self) -> ProposalRow:
        """Write what was decoded back into the row, ready to be put."""
        for name, value in self.reading.to_json().items():
            setattr(self.row, name, value)
        self.notes.put_into(self.row)
        self.row.doubts_json = canonical([doubt.value for doubt in self.doubts])
        self.row.alternatives_json = canonical([choice.to_json() for choice in self.alternatives])
        self.row.voice_json = canonical(None if self.voice is None else self.voice.to_json())
        self.row.photo_json = canonical(None if self.photo is None else self.photo.to_json())
        return self.row


def decoded(row: ProposalRow) -> Proposal:
    """Decode a row, once."""
    voice, photo = parsed(row.voice_json), parsed(row.photo_json)
    return Proposal(
        row=row,
        reading=reading_of(row),
        notes=notes_of(row),
        doubts=tuple(Doubt(name) for name in parsed(row.doubts_json)),
        alternatives=tuple(reading_from_json(data) for data in parsed(row.alternatives_json)),
        voice=None if voice is None else reading_from_json(voice),
        photo=None if photo is None else reading_from_json(photo),
    )


def proposal_of(session: Session, proposal_id: str) -> Proposal:
    """Read a proposal by its id.

    Raises:
        NoSuchProposal: There is no such proposal.
    """
    row = session.get(ProposalRow, proposal_id)
    if row is None:
        raise NoSuchProposal(proposal_id=proposal_id)
    return decoded(row)


def proposals_of(session: Session, job_id: str, state: str | None = None) -> list[Proposal]:
    """Read a job's proposals, oldest first, all or those in one state."""
    statement = select(ProposalRow).where(ProposalRow.job_id == job_id)
    if state is not None:
        statement = statement.where(ProposalRow.state == state)
    return [decoded(row) for row in in_order(session.exec(statement).all())]


def set_value(proposal: Proposal, given: ProposedReading, job: Job, captured_at: str, now: str) -> None:
    """Give a proposal a value; anything that changes raises its revision.

    Args:
        proposal: The proposal; the caller stores it and writes the trail entry.
        given: The value.
        job: Its axes and instruments, which determine what is missing.
        captured_at: The device's time of the input that sets the value.
        now: UTC instant.
    """
    instrument, range_end_known = instrument_for(job.instruments, given.reading, _named_instrument(proposal, job))
    reading, doubts = completed(
        given.reading, given.doubts, job.axis_names, range_end_known=range_end_known, chosen=given.chosen
    )
    notes = proposal.notes if given.notes is None else given.notes
    before = (proposal.reading, proposal.notes, proposal.doubts, proposal.alternatives)
    row = proposal.row
    row.instrument_id = instrument
    row.confidence = f"{min(max(given.confidence, 0.0), 1.0):.3f}"
    proposal.reading, proposal.notes = reading, notes
    proposal.doubts, proposal.alternatives = doubts, given.alternatives
    # A value that is said again as it was changes nothing: what was read back still holds, and can be confirmed.
    if row.revision == 0 or before != (reading, notes, doubts, given.alternatives):
        row.revision += 1
        row.changed_at = now
        row.changed_captured = captured_at


def _named_instrument(proposal: Proposal, job: Job) -> str | None:
    """Give the instrument that a person named: it is not the usual one for the value as it was, and stays."""
    present = proposal.row.instrument_id
    if present is None or present == instrument_for(job.instruments, proposal.reading)[0]:
        return None
    return present


def new_proposal(
    transaction: Transaction, job: Job, given: ProposedReading, source: Source, supersedes: str | None = None
) -> Proposal:
    """Make a proposal of one reading; the caller stores it and writes the trail entry."""
    photo = source.kind == "photo"
    columns: dict[str, Any] = {**given.reading.to_json()}
    row = ProposalRow(
        **columns,
        id=transaction.next_id(ProposalRow, job.id),
        job_id=job.id,
        state="open",
        revision=0,
        supersedes=supersedes,
        confidence="0",
        doubts_json="[]",
        alternatives_json="[]",
        voice_json="null",
        photo_json="null",
        created_at=transaction.now,
        changed_at=transaction.now,
        changed_captured=source.captured_at,
        source=source.kind,
        clip_sha256=source.sha256 if source.kind == "speech" else None,
        photo_sha256=source.sha256 if photo else None,
        crop_sha256=source.crop,
        heard_text=source.text if source.kind == "speech" else "",
        seen_text=source.text if photo else "",
        agreement="",
        instrument_id=None,
        captured_at=source.captured_at,
    )
    own = given.reading
    proposal = Proposal(row, own, Notes(), (), (), None if photo else own, own if photo else None)
    set_value(proposal, given, job, source.captured_at, transaction.now)
    return proposal


def find_partner(waiting: Sequence[Proposal], reading: Reading, source: Source) -> Proposal | None:
    """Find the open proposal that saw or heard the same reading: the newest within the window, of the other sense.

    Args:
        waiting: The job's open proposals, oldest first.
        reading: The reading.
        source: Where it came from.
    """
    for proposal in reversed(waiting):
        own, heard, seen = proposal.reading, proposal.voice is not None, proposal.photo is not None
        if abs(seconds_between(proposal.row.captured_at, source.captured_at)) > JOIN_WINDOW_S:
            continue
        # Close in time is not enough: two leads are measured within seconds of each other.
        if not (same_place(own, reading) and same_dimension(own.quantity, reading.quantity)):
            continue
        # A further photo belongs to a seen reading only where it repeats its value or may settle a conflict; one that
        # shows another value is another reading.
        retaken = seen and (proposal.row.agreement == "conflict" or same_value(own.quantity, reading.quantity))
        if source.kind == "photo" and ((heard and not seen) or retaken):
            return proposal
        if source.kind == "speech" and seen and not heard:
            return proposal
    return None


def join(proposal: Proposal, given: ProposedReading, source: Source, job: Job, now: str) -> bool:
    """Join a photo to a spoken proposal, or words to a seen one; the caller stores it and writes the trail entry.

    Returns:
        Whether both agree.
    """
    row = proposal.row
    if source.kind == "photo":
        proposal.photo = given.reading
        row.photo_sha256, row.crop_sha256, row.seen_text = source.sha256, source.crop, source.text
    else:
        proposal.voice = given.reading
        row.clip_sha256, row.heard_text = source.sha256, source.text
    voice, photo = proposal.voice, proposal.photo
    if voice is None or photo is None:  # the same photo again, with other corners
        row.source = source.kind if source.kind == "photo" else row.source
        set_value(proposal, given, job, source.captured_at, now)
        return True
    row.source = "speech+photo"
    reading, agree = combine(voice, photo)
    row.agreement = "agree" if agree else "conflict"
    doubts = (*proposal.doubts, *given.doubts)
    if agree:
        settled = tuple(doubt for doubt in doubts if doubt not in _SETTLED_BY_AGREEMENT)
        joined = ProposedReading(reading, settled, (), given.confidence, notes=given.notes)
    else:
        # What the photo shows, at the place that was said: a display does not show which lead it is connected to.
        built = photo.test_voltage_built or reading.test_voltage_built
        other = replace(reading, quantity=photo.quantity, test_voltage_built=built)
        joined = ProposedReading(reading, (*doubts, Doubt.CONFLICT), (other,), given.confidence, notes=given.notes)
    set_value(proposal, joined, job, source.captured_at, now)
    return agree


def correct(proposal: Proposal, given: ProposedReading, source: Source, job: Job, now: str) -> None:
    """Replace a proposal's value by what a person said or typed; a photo that shows otherwise stays beside it.

    The caller stores it and writes event and trail entry.
    """
    row = proposal.row
    proposal.voice = given.reading
    if source.kind == "speech":
        row.clip_sha256, row.heard_text = source.sha256, source.text
    if proposal.photo is not None:
        agree = says_same(proposal.photo.quantity, given.reading.quantity)
        row.agreement = "agree" if agree else "chosen"
        if agree:
            # People say "one point oh eight" of a display that shows 1.080. Where both say the same, its digits are
            # kept: the last one gives the resolution, which grading counts in.
            finer = finer_quantity(proposal.photo.quantity, given.reading.quantity)
            given = replace(given, reading=replace(given.reading, quantity=finer))
        row.source = "speech+photo" if row.clip_sha256 is not None else row.source
    elif source.kind == "speech":
        row.agreement = ""  # heard once: what was in doubt before is no first hearing
    set_value(proposal, given, job, source.captured_at, now)


def require_open(proposal: Proposal, revision: int | None = None) -> None:
    """Refuse to touch a proposal that is settled, or that changed since the person looked.

    Raises:
        ProposalSettled: It is confirmed or rejected.
        ProposalChanged: The revision is another one.
    """
    if not proposal.is_open:
        raise ProposalSettled(state=proposal.row.state)
    if revision is not None and revision != proposal.revision:
        raise ProposalChanged()


def proposal_for_page(proposal: Proposal) -> JsonObject:
    """Give a proposal as the page shows it."""
    hidden = {"doubts_json", "alternatives_json", "voice_json", "photo_json", "circumstances_json"}
    return {
        **proposal.row.model_dump(exclude=hidden),
        **proposal.notes.to_json(),
        "display": proposal.reading.quantity.display(),
        "doubts": [doubt.value for doubt in proposal.doubts],
        "alternatives": [choice.to_json() for choice in proposal.alternatives],
        "choices": [
            {"index": index, "display": choice.quantity.display(), "reading": choice.to_json()}
            for index, choice in enumerate(proposal.choices)
        ],
        "voice": None if proposal.voice is None else proposal.voice.to_json(),
        "photo": None if proposal.photo is None else proposal.photo.to_json(),
        "read_back": proposal.question,
    }
