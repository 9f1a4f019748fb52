"""What the job's instruments can show, and photos held against it.

The profile of an instrument is the one set last for it, else the one in the
job's description, else what confirmed photos of the same instrument have shown, in this and other jobs. A learnt one
only asks; it refuses nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from sqlmodel import Session, select, text

from api.ledger.acting import acting_person
from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import InstrumentProfileRow, InstrumentRow, JobRow
from api.ledger.trail import What
from api.visit.errors import InstrumentProfileRefused, NoSuchInstrument, UnknownInstrumentProfile
from api.visit.instruments import usual_instrument
from api.visit.jobs import instruments_of
from api.visit.records import current_records
from capture.display.check import checked, number_expected
from capture.display.errors import NoSuchProfile
from capture.display.placed import reading_seen
from capture.display.profile import Profile, learnt
from capture.display.profile_files import profile_from, read_profile
from capture.display.strings import parse_main
from capture.errors import InstrumentProfileError
from capture.reading import Context, DisplayReading, Seen
from grading.terms.quantity import QuantityKind

LEARNT_FROM = 10
"""Newest jobs with an instrument that its learnt profile is gathered from; older ones teach nothing new."""


def instrument_of(session: Session, job_id: str, label: str) -> InstrumentRow:
    """Read an instrument of a job by its own label.

    Raises:
        NoSuchInstrument: The job has no such instrument.
    """
    rows = instruments_of(session, job_id)
    for row in rows:
        if row.label == label:
            return row
    raise NoSuchInstrument(job_id=job_id, label=label, labels=tuple(row.label for row in rows))


def set_profile(transaction: Transaction, job: JobRow, label: str, given: object) -> Profile:
    """Say what an instrument can show from now on; the whole profile is kept.

    Args:
        transaction: The writing transaction.
        job: The job.
        label: The instrument's own label.
        given: Name of a generic profile, or a profile as plain data (`capture.display.profile_files`).

    Raises:
        BadInput: It is no profile; the message names the place.
        NoSuchInstrument: There is no such instrument.
    """
    instrument = instrument_of(transaction.session, job.id, label)
    try:
        profile = profile_from(given)
    except NoSuchProfile as unknown:
        raise UnknownInstrumentProfile(given=given, shipped=unknown.shipped) from None
    except InstrumentProfileError as error:
        raise InstrumentProfileRefused(problem=error) from None
    by = acting_person(job.technician)
    row = InstrumentProfileRow(
        id=transaction.next_id(InstrumentProfileRow, job.id),
        job_id=job.id,
        instrument_id=instrument.id,
        profile_json=canonical(profile.to_json()),
        by=by,
        at=transaction.now,
    )
    transaction.put(row)
    transaction.entry(What.PROFILE_SET, job.id, by=by, note={"instrument": instrument.id})
    return profile


def profile_of(session: Session, instrument: InstrumentRow) -> tuple[Profile | None, str]:
    """Give an instrument's profile, and its origin: "set", "described", "learnt", or "" where there is none."""
    rows = select(InstrumentProfileRow).where(InstrumentProfileRow.instrument_id == instrument.id)
    given = in_order(session.exec(rows).all())
    if given:
        return read_profile(parsed(given[-1].profile_json)), "set"
    described = parsed(instrument.description_json).get("display_profile")
    if described is not None:
        return read_profile(described), "described"
    found = _learnt(session, instrument)
    return found, "" if found is None else "learnt"


def _learnt(session: Session, instrument: InstrumentRow) -> Profile | None:
    """Learn a profile from what confirmed photos show of the same instrument in any job."""
    serial = parsed(instrument.description_json).get("serial")
    alike = [
        row
        for row in session.exec(
            select(InstrumentRow).where(InstrumentRow.label == instrument.label).order_by(text("rowid"))
        )
        if row.kind == instrument.kind and parsed(row.description_json).get("serial") == serial
    ]
    confirmed: list[tuple[str, str]] = []
    for row in alike[-LEARNT_FROM:]:
        for record in current_records(session, row.job_id):
            quantity, seen_text = record.reading.quantity, record.row.seen_text
            if record.row.instrument_id != row.id or not seen_text or quantity.unit is None:
                continue
            if parse_main(seen_text, quantity.unit) == quantity:  # a person left it as it was seen
                confirmed.append((seen_text, quantity.unit))
    return learnt(instrument.label, instrument.label, confirmed)


def profile_for_page(session: Session, instrument: InstrumentRow) -> JsonObject:
    """Give what an instrument can show, as plain data."""
    profile, origin = profile_of(session, instrument)
    data = None if profile is None else profile.to_json()
    return {"instrument": instrument.label, "kind": instrument.kind, "origin": origin, "profile": data}


def display_check(session: Session, job_id: str, context: Context) -> Callable[[Seen], Seen]:
    """Hold what was seen against what the job's instruments can show.

    The instrument is the job's one of the usual kind for what the display shows; where that cannot be determined, a
    reading is refused only if none of the job's instruments can show it.
    """
    instruments = instruments_of(session, job_id)
    profiles = {row.id: profile_of(session, row)[0] for row in instruments}

    def check(seen: Seen) -> Seen:
        displays = [_checked(display, context, instruments, profiles) for display in seen.displays]
        displays.sort(key=lambda display: not display.accepted)
        if not displays:
            return seen
        return Seen(tuple(displays), "" if displays[0].accepted else displays[0].reason)

    return check


def _checked(
    display: DisplayReading, context: Context, instruments: Sequence[InstrumentRow], profiles: dict[str, Profile | None]
) -> DisplayReading:
    # Where several numbers are shown, what was expected tells which counts, not the unit of one of them.
    if display.accepted:
        display = replace(number_expected(display, context.kind), alternatives=())
    shown = replace(display, quantity=replace(display.quantity, unit=None)) if display.alternatives else display
    reading = reading_seen(shown, context)
    one = usual_instrument(instruments, reading)
    found = [profiles[one.id]] if one is not None else list(profiles.values())
    known = [profile for profile in found if profile is not None]
    # An instrument without a profile might show anything, so that nothing can be refused for it.
    if not known or len(known) < len(found):
        return display if display.accepted else number_expected(display, reading.kind)
    insulation = reading.kind is QuantityKind.INSULATION_RESISTANCE and "set_voltage" not in display.secondary
    voltage = context.test_voltage_set if insulation else None
    # Only of the instrument that is usual for what is measured may the profile settle what was not seen.
    kind = reading.kind if one is not None else None
    results = [checked(display, profile, voltage, kind) for profile in known]
    if display.alternatives and not any(result.accepted for result in results):
        chosen = number_expected(display, kind)
        results = [checked(chosen, profile, voltage, kind) for profile in known]
    if len(results) > 1 and display in results:
        return display
    return min(results, key=lambda result: (not result.accepted, len(result.doubts)))
