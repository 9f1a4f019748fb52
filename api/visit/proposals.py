"""Proposals: one reading that waits for a person, made from voice, photo or typing, joined where both saw the same.

Every change of value raises the proposal's revision, so that a confirmation can only ever be for what was read back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session, select

from api.ledger.canonical import canonical, parsed
from api.ledger.clock import seconds_between
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import ProposalRow
from api.visit.errors import NoSuchProposal, ProposalChanged, ProposalSettled
from api.visit.instruments import has_range_end, usual_instrument
from api.visit.jobs import axes_of
from api.visit.notes import Notes, notes_of
from api.visit.readings import columns_of, reading_from_json, reading_of
from capture.comparison import combine, finer_quantity, same_dimension, same_place, same_value, says_same
from capture.completeness import STRUCTURAL, missing, needs_range_end, with_default_terminals
from capture.language.kinds import plausible
from capture.language.prompts import question
from capture.reading import Doubt, Reading

JOIN_WINDOW_S = 120
"""Voice and photo of one reading lie at most this far apart, s by their capture times."""

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
class Belief:
    """A reading with what speaks against taking it as it is.

    Attributes:
        reading: The reading.
        doubts: Why it must be asked about.
        alternatives: Other readings it could be, best first.
        confidence: 0..1.
        notes: What is noted beside it; None where nothing was said of that, so that what was noted stays.
        sure: A person chose exactly this value, so it is not asked about for being unlikely.
    """

    reading: Reading
    doubts: tuple[Doubt, ...] = ()
    alternatives: tuple[Reading, ...] = ()
    confidence: float = 1.0
    sure: bool = False
    notes: Notes | None = None


def proposal_of(session: Session, proposal_id: str) -> ProposalRow:
    """A proposal by its id.

    Raises:
        NoSuchProposal: There is no such proposal.
    """
    row = session.get(ProposalRow, proposal_id)
    if row is None:
        raise NoSuchProposal(proposal_id=proposal_id)
    return row


def proposals_of(session: Session, job_id: str, state: str | None = None) -> list[ProposalRow]:
    """A job's proposals, oldest first, all or those in one state."""
    statement = select(ProposalRow).where(ProposalRow.job_id == job_id)
    if state is not None:
        statement = statement.where(ProposalRow.state == state)
    return in_order(session.exec(statement).all())


def doubts_of(row: ProposalRow) -> tuple[Doubt, ...]:
    """What blocks a bare confirmation."""
    return tuple(Doubt(name) for name in parsed(row.doubts_json))


def alternatives_of(row: ProposalRow) -> tuple[Reading, ...]:
    """The other readings it could be, best first."""
    return tuple(reading_from_json(data) for data in parsed(row.alternatives_json))


def part_of(row: ProposalRow, which: str) -> Reading | None:
    """The reading as heard ("voice") or seen ("photo") alone."""
    data = parsed(row.voice_json if which == "voice" else row.photo_json)
    return None if data is None else reading_from_json(data)


def _given(doubt: Doubt, reading: Reading, range_end_known: bool) -> bool:
    """Whether what a doubt asked for is there by now."""
    if doubt is Doubt.RANGE_END_UNKNOWN:
        return range_end_known or not needs_range_end(reading) or reading.quantity.digits is not None
    if doubt is Doubt.BUILT_VOLTAGE_UNKNOWN:
        return reading.test_voltage_built is not None
    if doubt is Doubt.VALUE_MISSING:
        return reading.quantity.digits is not None
    return doubt in STRUCTURAL


def _standing(session: Session, row: ProposalRow, belief: Belief, reading: Reading) -> list[Doubt]:
    """The doubts that stand for a value: what is missing now, and what was doubted and is not given."""
    names = [axis.name for axis in axes_of(session, row.job_id)]
    range_end_known = has_range_end(session, row.instrument_id, reading)
    found = [doubt for doubt in missing(reading, names) if doubt is not Doubt.RANGE_END_UNKNOWN or not range_end_known]
    if not belief.sure and not plausible(reading):
        found.append(Doubt.IMPLAUSIBLE)
    kept = [doubt for doubt in belief.doubts if not _given(doubt, reading, range_end_known)]
    return list(dict.fromkeys([*found, *(doubt for doubt in kept if doubt is not Doubt.IMPLAUSIBLE)]))


def set_value(transaction: Transaction, row: ProposalRow, belief: Belief, captured_at: str) -> None:
    """Give a proposal a value; anything that changes raises its revision.

    The caller puts the row and writes the trail entry.
    """
    reading = with_default_terminals(belief.reading)
    row.instrument_id = usual_instrument(transaction.session, row.job_id, reading)
    before = (reading_of(row), notes_of(row), row.doubts_json, row.alternatives_json) if row.revision else None
    notes = notes_of(row) if belief.notes is None else belief.notes
    notes.put_into(row)
    for name, value in columns_of(reading).items():
        setattr(row, name, value)
    row.doubts_json = canonical([doubt.value for doubt in _standing(transaction.session, row, belief, reading)])
    row.alternatives_json = canonical([choice.to_json() for choice in belief.alternatives])
    row.confidence = f"{min(max(belief.confidence, 0.0), 1.0):.3f}"
    if before != (reading, notes, row.doubts_json, row.alternatives_json):
        row.revision += 1
        row.changed_at = transaction.now
        row.changed_captured = captured_at


def new_proposal(
    transaction: Transaction, job_id: str, belief: Belief, source: Source, supersedes: str | None = None
) -> ProposalRow:
    """Make a proposal from one reading; the caller writes the trail entry."""
    own = canonical(belief.reading.to_json())
    reading_columns: dict[str, Any] = columns_of(belief.reading)
    row = ProposalRow(
        **reading_columns,
        id=transaction.next_id(ProposalRow, job_id),
        job_id=job_id,
        state="open",
        revision=0,
        supersedes=supersedes,
        confidence="0",
        doubts_json="[]",
        alternatives_json="[]",
        voice_json="null" if source.kind == "photo" else own,
        photo_json=own if source.kind == "photo" else "null",
        created_at=transaction.now,
        changed_at=transaction.now,
        changed_captured=source.captured_at,
        source=source.kind,
        clip_sha256=source.sha256 if source.kind == "speech" else None,
        photo_sha256=source.sha256 if source.kind == "photo" else None,
        crop_sha256=source.crop,
        heard_text=source.text if source.kind == "speech" else "",
        seen_text=source.text if source.kind == "photo" else "",
        agreement="",
        instrument_id=None,
        captured_at=source.captured_at,
    )
    set_value(transaction, row, belief, source.captured_at)
    transaction.put(row)
    return row


def find_partner(session: Session, job_id: str, reading: Reading, source: Source) -> ProposalRow | None:
    """The open proposal that saw or heard the same reading: the newest within the window, of the other sense."""
    for row in reversed(proposals_of(session, job_id, "open")):
        if abs(seconds_between(row.captured_at, source.captured_at)) > JOIN_WINDOW_S:
            continue
        own = reading_of(row)
        if not (same_place(own, reading) and same_dimension(own.quantity, reading.quantity)):
            continue
        heard, seen = row.voice_json != "null", row.photo_json != "null"
        retake = seen and (row.agreement == "conflict" or same_value(own.quantity, reading.quantity))
        if source.kind == "photo" and ((heard and not seen) or retake):
            return row
        if source.kind == "speech" and seen and not heard:
            return row
    return None


def join(transaction: Transaction, row: ProposalRow, belief: Belief, source: Source) -> bool:
    """Join a photo to a spoken proposal, or words to a seen one.

    Returns:
        Whether both agree. The caller puts the row and writes the trail entry.
    """
    own = canonical(belief.reading.to_json())
    if source.kind == "photo":
        row.photo_json, row.photo_sha256, row.crop_sha256, row.seen_text = own, source.sha256, source.crop, source.text
    else:
        row.voice_json, row.clip_sha256, row.heard_text = own, source.sha256, source.text
    voice, photo = part_of(row, "voice"), part_of(row, "photo")
    if voice is None or photo is None:
        row.source = source.kind if source.kind == "photo" else row.source
        set_value(transaction, row, belief, source.captured_at)
        return True
    row.source = "speech+photo"
    reading, agree = combine(voice, photo)
    row.agreement = "agree" if agree else "conflict"
    doubts = (*doubts_of(row), *belief.doubts)
    if agree:
        belief = Belief(
            reading, tuple(doubt for doubt in doubts if doubt not in _SETTLED_BY_AGREEMENT), (), belief.confidence
        )
    else:
        other = replace(
            reading, quantity=photo.quantity, test_voltage_built=photo.test_voltage_built or reading.test_voltage_built
        )
        belief = Belief(reading, (*doubts, Doubt.CONFLICT), (other,), belief.confidence)
    set_value(transaction, row, belief, source.captured_at)
    return agree


def correct(transaction: Transaction, row: ProposalRow, belief: Belief, source: Source) -> None:
    """Replace a proposal's value by what a person said or typed; a photo that shows otherwise stays beside it.

    The caller puts the row and writes event and trail entry.
    """
    row.voice_json = canonical(belief.reading.to_json())
    if source.kind == "speech":
        row.clip_sha256, row.heard_text = source.sha256, source.text
    photo = part_of(row, "photo")
    if photo is not None:
        agree = says_same(photo.quantity, belief.reading.quantity)
        row.agreement = "agree" if agree else "chosen"
        if agree:
            finer = replace(belief.reading, quantity=finer_quantity(photo.quantity, belief.reading.quantity))
            belief = replace(belief, reading=finer)
        row.source = "speech+photo" if row.clip_sha256 is not None else row.source
    set_value(transaction, row, belief, source.captured_at)


def choices_of(row: ProposalRow) -> tuple[Reading, ...]:
    """What a person can choose among: the value as it stands, then the alternatives."""
    return (reading_of(row), *alternatives_of(row))


def require_open(row: ProposalRow, revision: int | None = None) -> None:
    """Refuse to touch a proposal that is settled, or that changed since the person looked.

    Raises:
        ProposalSettled: It is confirmed or rejected.
        ProposalChanged: The revision is another one.
    """
    if row.state != "open":
        raise ProposalSettled(state=row.state)
    if revision is not None and revision != row.revision:
        raise ProposalChanged()


def proposal_for_page(row: ProposalRow) -> dict[str, Any]:
    """A proposal as the page shows it."""
    reading = reading_of(row)
    hidden = {"doubts_json", "alternatives_json", "voice_json", "photo_json", "circumstances_json"}
    return {
        **row.model_dump(exclude=hidden),
        **notes_of(row).to_json(),
        "display": reading.quantity.display(),
        "doubts": parsed(row.doubts_json),
        "alternatives": parsed(row.alternatives_json),
        "choices": [
            {"index": index, "display": choice.quantity.display(), "reading": choice.to_json()}
            for index, choice in enumerate(choices_of(row))
        ],
        "voice": parsed(row.voice_json),
        "photo": parsed(row.photo_json),
        "read_back": question(reading, doubts_of(row), alternatives_of(row)),
    }
