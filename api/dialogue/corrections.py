"""Corrections by voice: of the value that is asked about, of one that waits, or of any record, named by its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from api.dialogue.beside import note_beside
from api.dialogue.proposal_updates import change, merged, propose, refuse_unit, said_anew
from api.dialogue.standing import BesideLast
from api.dialogue.turn import Turn
from api.visit.notes import notes_with
from api.visit.proposals import Proposal, ProposedReading, Source
from api.visit.records import Decision, Record, current_records
from capture.completeness import fits
from capture.language.axis_names import spoken_names
from capture.language.parse import parse
from capture.language.readback import axis_words
from capture.reading import Context, Reading, Utterance
from grading.terms.section import SECTION_WORDS, Section


@dataclass(frozen=True)
class _PlaceNamed:
    """What a correction itself names, without anything that was said before."""

    axis: str | None
    section: Section | None
    terminals: str | None
    denied: tuple[str, ...]

    @property
    def anything(self) -> bool:
        return bool(self.axis or self.section or self.terminals or self.denied)

    def fits(self, reading: Reading) -> bool:
        """Tell whether a reading can be meant."""
        return (
            self.axis in (None, reading.axis)
            and self.section in (None, reading.section)
            and (self.terminals is None or _same_lead(self.terminals, reading.terminals))
            and (not self.denied or reading.quantity.digits in self.denied)
        )


def _same_lead(said: str, stored: str | None) -> bool:
    """Compare test points; a lead named without its partner ("U") is any point of it."""
    if stored is None:
        return False
    first = said.split("-", maxsplit=1)[0]
    return said == stored or (said in (f"{first}-", first, f"{first}-PE") and stored.split("-")[0] == first)


def _named(turn: Turn, utterance: Utterance) -> _PlaceNamed:
    alone = parse(utterance.heard.text, Context(axes=turn.job.axis_names))
    reading = alone.readings[0] if alone.readings else None
    place: Reading | Context = alone.context if reading is None else reading
    denied = tuple(old.quantity.digits for old in alone.superseded if old.quantity.digits is not None)
    names = {said: name for name, said in spoken_names(turn.job.axis_names).items()}
    return _PlaceNamed(names.get(place.axis or "", place.axis), place.section, place.terminals, denied)


def _target(turn: Turn, named: _PlaceNamed) -> Proposal | Record | None:
    """Find what is to be corrected: what is asked about if it can be meant, then what waits, then the newest record."""
    asked = turn.asked()
    if not named.anything:
        records = current_records(turn.session, turn.job.id)
        return asked[-1] if asked else (records[-1] if records else None)
    open_ones = [*asked, *(one for one in reversed(turn.waiting) if one.is_open and one not in asked)]
    found: Sequence[Proposal | Record] = [*open_ones, *reversed(current_records(turn.session, turn.job.id))]
    return next((one for one in found if named.fits(one.reading)), None)


def corrected(turn: Turn, utterance: Utterance, given: ProposedReading, source: Source, decision: Decision) -> None:
    """Replace a value, or propose to replace a record; with nothing that could be meant, a new reading is proposed."""
    named = _named(turn, utterance)
    target = _target(turn, named)
    if target is None and named.anything and turn.asked():
        # What is asked about may have got its axis or part wrong, and exactly that is corrected.
        target = None if named.denied else turn.asked()[-1]
    if target is None:
        if named.denied:
            turn.say("I find no such value to correct.")
            turn.asks = True
            return
        turn.ask([propose(turn, given, source)])
        return
    # Only what was said now: the place carried forward may be another one than that of the value corrected.
    new = said_anew(given.reading, named.axis, named.section, named.terminals)
    given = replace(given, reading=merged(new, target.reading), notes=notes_with(target.notes, utterance.beside))
    if not fits(given.reading):
        refuse_unit(turn, given.reading)
    elif isinstance(target, Proposal):
        change(turn, target, given, source, decision)
        turn.ask([target])
    else:
        turn.ask([propose(turn, given, source, supersedes=target.id)])


def fields_corrected(turn: Turn, utterance: Utterance, decision: Decision) -> None:
    """Correct where a value was measured, or at which voltage: "correction motor alone"."""
    asked = turn.asked()
    records = current_records(turn.session, turn.job.id)
    target: Proposal | Record | None = asked[-1] if asked else (records[-1] if records else None)
    if utterance.beside.anything:
        _beside_corrected(turn, utterance, decision)
        return
    if target is None:
        turn.say("There is nothing yet to correct.")
        return
    alone = parse(utterance.heard.text, Context(axes=turn.job.axis_names)).context
    names = ("kind", "axis", "section", "terminals", "test_voltage_set")
    fields = {name: getattr(alone, name) for name in names if getattr(alone, name) is not None}
    reading = replace(target.reading, **fields)
    if reading == target.reading or not fits(reading):
        turn.say(f"Nothing was changed. {_where(target.reading)}")
        turn.asks = True
        return
    source = Source("typed", decision.captured_at)
    if isinstance(target, Proposal):
        kept = ProposedReading(reading, target.doubts, target.alternatives, float(target.row.confidence))
        change(turn, target, kept, source, decision)
        turn.ask([target])
    else:
        turn.ask([propose(turn, ProposedReading(reading), source, supersedes=target.id)])


def _beside_corrected(turn: Turn, utterance: Utterance, decision: Decision) -> None:
    """Correct what is noted beside a value: "correction, not after cleaning", of any record that is named by its place.

    A place that is said here finds the value and changes nothing of it.
    """
    target = _target(turn, _named(turn, utterance))
    if target is None:
        turn.say("I find no such value to correct.")
        turn.asks = True
        return
    notes = notes_with(target.notes, utterance.beside)
    if notes == target.notes:
        turn.say(f"Nothing was changed. Noted there: {notes.words or 'nothing'}.")
        turn.asks = True
    elif isinstance(target, Proposal):
        turn.standing.beside_last = (BesideLast(target.id, target.revision + 1, target.notes),)
        note_beside(turn, target, notes, decision)
        turn.ask([target])
    else:
        proposal = propose(
            turn, ProposedReading(target.reading, notes=notes), Source("typed", decision.captured_at), target.id
        )
        turn.standing.beside_last = (BesideLast(proposal.id, proposal.revision, target.notes),)
        turn.ask([proposal])


def _where(reading: Reading) -> str:
    section = "" if reading.section is None else f", {SECTION_WORDS[reading.section]}"
    return f"It stands for {axis_words(reading.axis or '')}{section}." if reading.axis else ""
