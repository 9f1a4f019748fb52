"""A day on record: captures, clips cut from recordings, proposals; all of it in one transaction, or nothing.

What is proposed waits for its yes like any other proposal. It does not join the questions of the dialogue: who comes
to the machine next morning is not asked about yesterday evening's list, which has its own place for that.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from api.day.clocks import Clocks
from api.day.jobs import JobAxes
from api.day.joining import Joined, PhotoAt
from api.day.sources import DayFile
from api.day.times import MadeAt
from api.day.values import DayValue, Passage
from api.dialogue.proposal_updates import join_to, noted_beside, propose
from api.dialogue.turn import Turn, begin_turn
from api.intake.recognition import seen_json
from api.ledger.canonical import JsonObject, canonical
from api.ledger.database import Transaction
from api.ledger.evidence import Stored, put_evidence
from api.ledger.tables import CaptureRow
from api.ledger.trail import What
from api.visit.proposals import Proposal, ProposedReading, Source, find_partner
from capture.completeness import fits
from capture.display.placed import reading_seen
from capture.reading import Context, DisplayReading, Reading, Seen
from grading.shop import ShopProfile


@dataclass(frozen=True)
class TakenFile:
    """A file of the day with what is known of it.

    Attributes:
        file: The file.
        made: When it says that it was made.
        instant: The same by the day's common clock.
        seen: What was seen in a photo; None for a recording, or where nothing was.
        crops: Cut-outs of a photo's displays on disk, by their place.
        problem: Why a photo was not read; empty where it was.
    """

    file: DayFile
    made: MadeAt
    instant: dt.datetime
    seen: Seen | None = None
    crops: Mapping[int, Stored] = field(default_factory=dict)
    problem: str = ""


@dataclass(frozen=True)
class DayFound:
    """Everything that goes on record.

    Attributes:
        memos: In order of time.
        photos: In order of time; `shown` says which display of each counts.
        shown: Beside `photos`.
        values: In order of time, each with a job.
        clips: The sound of each value on disk, beside `values`.
        joined: Which photo belongs to which value.
        again: Photos that repeat the value of another one: value by photo.
        photo_jobs: The job of each photo, beside `photos`.
        passages: Where the work stood.
        clocks: By how much the clocks were moved.
        engines: What heard and what saw, for the trail.
    """

    memos: Sequence[TakenFile]
    photos: Sequence[TakenFile]
    shown: Sequence[PhotoAt]
    values: Sequence[DayValue]
    clips: Sequence[Stored]
    joined: Sequence[Joined]
    again: Mapping[int, int]
    photo_jobs: Sequence[JobAxes | None]
    passages: Sequence[Passage]
    clocks: Clocks
    engines: tuple[JsonObject, JsonObject]


def conclude(transaction: Transaction, found: DayFound, profile: ShopProfile | None) -> dict[str, list[str]]:
    """Write a day.

    Args:
        transaction: The writing transaction.
        found: What was found; every value has a job.
        profile: The shop's own limits.

    Returns:
        The ids of the proposals, by job, in order of time.
    """
    jobs = {job.id for job in found.photo_jobs if job is not None}
    jobs |= {value.job.id for value in found.values if value.job is not None}
    return {job_id: _JobDay(transaction, found, job_id, profile).write() for job_id in sorted(jobs, key=_number)}


def _number(job_id: str) -> int:
    return int(job_id[1:])


class _JobDay:
    """One job's part of a day being written."""

    def __init__(self, transaction: Transaction, found: DayFound, job_id: str, profile: ShopProfile | None) -> None:
        self._transaction, self._found, self._job_id = transaction, found, job_id
        self._turn: Turn = begin_turn(transaction, job_id, profile)
        self._before = list(self._turn.waiting)
        self._made: dict[int, Proposal] = {}
        self._photo_of = {one.value: one for one in found.joined}
        self._joined = {one.photo for one in found.joined}

    def write(self) -> list[str]:
        """Write captures, then proposals in order of time."""
        found = self._found
        mine = [i for i, value in enumerate(found.values) if value.job is not None and value.job.id == self._job_id]
        photos = [i for i, job in enumerate(found.photo_jobs) if job is not None and job.id == self._job_id]
        memos = {found.values[i].spoken.memo for i in mine}
        for memo in found.memos:
            if memo.file.sha256 in memos:
                self._capture(memo, found.engines[0])
        for i in photos:
            self._capture(found.photos[i], found.engines[1])
        events = [(found.values[i].instant, 0, i) for i in mine]
        events += [(found.photos[i].instant, 1, i) for i in photos if i not in self._joined and i not in found.again]
        for _, kind, i in sorted(events):
            self._photo_alone(i) if kind else self._value(i)
        return [proposal.id for proposal in dict.fromkeys(self._turn.proposals)]

    def _capture(self, taken: TakenFile, engine: JsonObject) -> None:
        """Put a file on record in the job."""
        transaction = self._transaction
        moved = (taken.instant - taken.made.instant).total_seconds()
        day: JsonObject = {
            "file": taken.file.path.name,
            "made": taken.made.instant.isoformat(),
            "by": taken.made.source,
            "moved_s": f"{moved:.0f}",
            "clocks": self._found.clocks.how,
        }
        outcome: JsonObject = {"day": day, "message": "Taken in with the day's files."}
        if taken.seen is not None:
            outcome["seen"] = seen_json(taken.seen)
        if taken.problem:
            outcome["problem"] = {"code": "photo_not_read", "message": taken.problem, "what_to_do": "Type its value."}
        row = CaptureRow(
            id=transaction.next_id(CaptureRow, self._job_id),
            job_id=self._job_id,
            sha256=taken.file.sha256,
            client_id=f"day-{taken.file.sha256[:40]}",
            state="failed" if taken.problem else "recognised",
            outcome_json=canonical(outcome),
            captured_at=taken.instant.isoformat(),
            received_at=transaction.now,
        )
        for index, stored in taken.crops.items():
            self._put_crop(taken, index, stored)
        transaction.put(row)
        what = What.NOT_RECOGNISED if taken.problem else What.RECOGNISED
        note = {"capture": row.id, "day": day, **({"recogniser": engine} if engine else {})}
        if taken.seen is not None:
            note["seen"] = seen_json(taken.seen)
        transaction.entry(what, self._job_id, note=note)

    def _put_crop(self, taken: TakenFile, index: int, stored: Stored) -> None:
        assert taken.seen is not None
        corners = " ".join(f"({x:.1f} {y:.1f})" for x, y in taken.seen.displays[index].quad)
        derivation = f"display {index}, rectified from corners {corners} px"
        put_evidence(self._transaction, stored, kind="crop", parent=taken.file.sha256, derivation=derivation)

    def _value(self, index: int) -> None:
        """Propose a spoken value, joined to its photo."""
        value, clip = self._found.values[index], self._found.clips[index]
        span = value.spoken.span
        derivation = f"seconds {span.start_s:.2f} to {span.end_s:.2f} of the recording, 16 kHz, one channel, lossless"
        put_evidence(self._transaction, clip, kind="clip", parent=value.spoken.memo, derivation=derivation)
        source = Source("speech", value.instant.isoformat(), clip.sha256, value.text)
        one = self._photo_of.get(index)
        partner = None if one is not None else find_partner(self._before, value.reading, source)
        if partner is not None:
            join_to(self._turn, partner, noted_beside(partner, value.given), source)
            return
        proposal = propose(self._turn, value.given, source)
        self._made[index] = proposal
        if one is None:
            return
        taken, display = self._found.photos[one.photo], self._found.shown[one.photo].shown
        if display is None:
            proposal.row.photo_sha256, proposal.row.agreement = taken.file.sha256, "photo_not_read"
            note = {"agree": False, "source": "photo", "not_read": taken.problem}
            self._turn.keep(What.JOINED, proposal, note=note)
            return
        read = proposal.reading
        place = Context(read.kind, read.axis, read.section, read.terminals, read.test_voltage_set)
        join_to(self._turn, proposal, _as_given(display, place), self._photo_source(one.photo, display))

    def _photo_source(self, index: int, display: DisplayReading) -> Source:
        taken = self._found.photos[index]
        place = list(taken.seen.displays).index(display) if taken.seen is not None else 0
        crop = taken.crops.get(place)
        at = taken.instant.isoformat()
        return Source("photo", at, taken.file.sha256, display.text, None if crop is None else crop.sha256)

    def _photo_alone(self, index: int) -> None:
        """Propose what a photo shows that no word was said for: where it belongs is asked."""
        display = self._found.shown[index].shown
        if display is None:
            return
        source = self._photo_source(index, display)
        context = self._context_at(self._found.photos[index].instant)
        given = _as_given(display, context)
        partner = find_partner(self._before, given.reading, source)
        if partner is not None:
            join_to(self._turn, partner, given, source)
            return
        nowhere = replace(given.reading, axis=None, section=None, terminals=None)
        placed: tuple[Reading, ...] = () if given.reading.axis is None else (given.reading,)
        propose(self._turn, replace(given, reading=nowhere, alternatives=(*placed, *given.alternatives)), source)

    def _context_at(self, instant: dt.datetime) -> Context:
        """Give where the work of this job stood, without the test point, by its axes' own names."""
        mine = [one for one in self._found.passages if one.job is not None and one.job.id == self._job_id]
        last = next((one for one in reversed(mine) if one.instant <= instant), None)
        if last is None or last.job is None:
            return Context()
        context = last.context
        axis = last.job.said.get(context.axis or "", context.axis)
        return Context(context.kind, axis, context.section, None, context.test_voltage_set)


def _as_given(display: DisplayReading, place: Context) -> ProposedReading:
    reading = reading_seen(display, place)
    if not fits(reading):
        reading = replace(reading, kind=None)
    return ProposedReading(reading, display.doubts, (), min(display.confidence.values(), default=0.0))
