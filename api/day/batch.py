"""A day's files in one go: stored, recognised, understood, on record. Each step can be stopped and taken up again.

Steps: (1) every file that can be is on disk as evidence; (2) recordings are heard and photos seen, in any order, each
result kept; (3) clocks are compared; (4) what was said is understood in order of time, photos join; (5) all of it goes
on record in one transaction. A kill before (5) costs only the piece being worked on; after it a file is known.
"""

from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from api.day.announced import late_by, said_time, written
from api.day.clocks import Clocks, ClockSample, compared, said_clocks, told_clocks
from api.day.concluding import DayFound, TakenFile, conclude
from api.day.decoder import Decoder, DecodingEnded
from api.day.errors import DayFileWithoutTime, DayJobUnknown, LeftForAgain, MemoNotDecoded, PhotoNotRead
from api.day.jobs import JobAxes, JobPlan, job_plan
from api.day.joining import PhotoAt, joined, shows_again
from api.day.recognising import (
    FOLDER,
    PHOTO_S,
    DayEngines,
    DayRecogniser,
    MemoRead,
    PhotoRead,
    Results,
    sound_seconds,
)
from api.day.sources import DayFile, Untaken, files_in, store_day
from api.day.times import MadeAt, memo_time, photo_time, zone_of
from api.day.values import DaySpoken, SpokenAt, understood
from api.intake.identity import recogniser_of
from api.ledger.evidence import Stored, store_derived, store_file
from api.visit.profiles import display_check
from api.workspace import Workspace
from capture.reading import Context, DisplayReading, Seen
from capture.speech.confidence import ConfidenceModel, shipped_confidence_model


class DayProgress(Protocol):
    """Who is told how far a day is."""

    def begin(self, what: str, total: float) -> None:
        """Begin a stretch of work that counts for so much."""
        ...

    def advance(self, by: float) -> None:
        """Tell how much of it was done."""
        ...


class Silent:
    """Tells nobody."""

    def begin(self, what: str, total: float) -> None:
        """See `DayProgress.begin`."""

    def advance(self, by: float) -> None:
        """See `DayProgress.advance`."""


@dataclass(frozen=True)
class DayWishes:
    """What a person said of the batch, once.

    Attributes:
        clock: "recorder +58min"; None to compare the clocks.
        zone: Time zone of times that say none; None for this machine's.
        jobs: "J1", or "J1@13:00" and "J2@14:10"; empty to take the job from the axes that are named.
    """

    clock: str | None = None
    zone: str | None = None
    jobs: tuple[str, ...] = ()


@dataclass
class DayOutcome:
    """What became of a day's files.

    Attributes:
        proposals: Ids of proposals, by job.
        counts: "memos", "photos", "values", "joined", "photos that ask", "passed over",
            "circumstances unused" (said, and no value came).
        clocks: By how much the clocks were moved.
        untaken: Files, or parts of them, that were not taken.
        before: Files that were taken in before, with their captures.
        doubles: Files with the content of another one of the same folder, and its name.
    """

    proposals: dict[str, list[str]] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    clocks: Clocks = field(default_factory=Clocks)
    untaken: list[Untaken] = field(default_factory=list)
    before: list[DayFile] = field(default_factory=list)
    doubles: list[tuple[Path, str]] = field(default_factory=list)


@dataclass
class _Day:
    """Files on their way through the steps, by content hash where they were worked on."""

    files: list[DayFile]
    made: dict[str, MadeAt] = field(default_factory=dict)
    memos: dict[str, MemoRead] = field(default_factory=dict)
    photos: dict[str, PhotoRead] = field(default_factory=dict)


def take_day(
    workspace: Workspace,
    places: Sequence[Path],
    wishes: DayWishes,
    *,
    workers: int = 1,
    engines: DayEngines | None = None,
    progress: DayProgress | None = None,
    confidence: ConfidenceModel | None = None,
) -> DayOutcome:
    """Take a day's files in.

    Args:
        workspace: The data folder, opened as its owner.
        places: A folder, or files.
        wishes: What a person said of the batch.
        workers: How many pieces and photos are worked on at the same time.
        engines: What hears and sees; None for the workspace's own.
        progress: Who is told how far it is.
        confidence: Tells how sure what was heard is; None for the model that ships.

    Raises:
        NoSuchDayFolder: The folder is not there.
        BadClock, BadZone, BadDayJob, NoSuchJob: What was said of the batch cannot be understood.
        DayResultsGone: Somebody deleted what was worked out so far.
        DayJobUnknown: Nobody can tell which job some values belong to; everything is kept and worked out, and need only
            be asked for again with the job.
        WriteFailed: The disk refuses.
    """
    zone = zone_of(wishes.zone)
    said = None if wishes.clock is None else said_clocks(wishes.clock)
    with workspace.database.read() as session:
        plan = job_plan(session, wishes.jobs)
    told = progress or Silent()
    outcome = DayOutcome()
    day = _stored(workspace, places, outcome, told)
    decoder = Decoder()
    try:
        _timed(workspace, day, zone, outcome, decoder)
        results = _recognised(workspace, day, engines or workspace.engines, workers, told, outcome, decoder)
    finally:
        decoder.close()
    found = _put_together(workspace, day, results, plan, said, zone, outcome, confidence or shipped_confidence_model())
    with workspace.database.write() as transaction:
        outcome.proposals = conclude(transaction, found, workspace.profile)
    if not any(isinstance(one.problem, LeftForAgain) for one in outcome.untaken):
        shutil.rmtree(workspace.folder / FOLDER, ignore_errors=True)
    return outcome


def _stored(workspace: Workspace, places: Sequence[Path], outcome: DayOutcome, told: DayProgress) -> _Day:
    paths = [path for place in places for path in ([place] if place.is_file() else files_in(place))]
    told.begin("Storing", len(paths))
    files, outcome.untaken, outcome.doubles = store_day(
        workspace.database, workspace.evidence, paths, lambda _: told.advance(1)
    )
    outcome.before = [one for one in files if one.before]
    return _Day([one for one in files if not one.before])


def _timed(workspace: Workspace, day: _Day, zone: dt.tzinfo | None, outcome: DayOutcome, decoder: Decoder) -> None:
    """Tell of each file when it was made; one that nobody can place is left for another run."""
    kept = []
    for file in day.files:
        if file.is_photo:
            made = photo_time(file.metadata, file.path.name, zone)
        else:
            header = decoder.header(workspace.evidence.path(file.sha256))
            if isinstance(header, DecodingEnded):
                outcome.untaken.append(Untaken(file.path, MemoNotDecoded(cause=header.cause or "It holds no sound.")))
                continue
            made = memo_time(header.tags, file.path.name, zone)
            outcome.counts["seconds"] += int(sound_seconds([header]))
        if made is None:
            outcome.untaken.append(Untaken(file.path, DayFileWithoutTime(name=file.path.name)))
            continue
        day.made[file.sha256] = made
        kept.append(file)
    day.files = sorted(kept, key=lambda one: (day.made[one.sha256].instant, one.sha256))


def _recognised(
    workspace: Workspace,
    day: _Day,
    engines: DayEngines,
    workers: int,
    told: DayProgress,
    outcome: DayOutcome,
    decoder: Decoder,
) -> Results:
    """Have everything heard and seen; gives where the results lie."""
    results = Results(workspace.folder / FOLDER, workspace.engines)
    recogniser = DayRecogniser(engines, results, workspace.evidence, decoder, workers)
    photos = [one for one in day.files if one.is_photo]
    told.begin("Hearing and seeing", outcome.counts.pop("seconds", 0) + PHOTO_S * len(photos))
    try:
        memos = {one.sha256: recogniser.memo(one, told.advance) for one in day.files if not one.is_photo}
        waiting = {one.sha256: recogniser.start_photo(one, told.advance) for one in photos}
        day.memos = {sha256: finish() for sha256, finish in memos.items()}
        day.photos = {sha256: one.result() for sha256, one in waiting.items()}
    finally:
        recogniser.close()
    for file in day.files:
        problems = day.memos[file.sha256].problems if file.sha256 in day.memos else ()
        outcome.untaken += [Untaken(file.path, problem) for problem in problems]
    _leave_for_again(day, outcome)
    return results


def _leave_for_again(day: _Day, outcome: DayOutcome) -> None:
    """Leave out what the machine, not the file, is to blame for: the next run takes it up where it stands.

    Once on record a file counts as known; half of a recording must not.
    """
    for file in day.files:
        heard, seen = day.memos.get(file.sha256), day.photos.get(file.sha256)
        if heard is not None and heard.again:
            outcome.untaken.append(Untaken(file.path, LeftForAgain()))
        elif seen is not None and seen.again:
            outcome.untaken.append(Untaken(file.path, PhotoNotRead(cause=seen.problem)))
            outcome.untaken.append(Untaken(file.path, LeftForAgain()))
    left = {one for one, memo in day.memos.items() if memo.again}
    left |= {one for one, photo in day.photos.items() if photo.again}
    day.files = [file for file in day.files if file.sha256 not in left]
    day.memos = {one: read for one, read in day.memos.items() if one not in left}
    day.photos = {one: read for one, read in day.photos.items() if one not in left}


def _put_together(
    workspace: Workspace,
    day: _Day,
    results: Results,
    plan: JobPlan,
    said: Clocks | None,
    zone: dt.tzinfo | None,
    outcome: DayOutcome,
    model: ConfidenceModel,
) -> DayFound:
    """Compare the clocks, understand what was said, join the photos, and store what is cut out."""
    home = zone or _usual_zone(day)
    clocks = said or _compared(day, plan, model)
    if clocks.how == "unknown":
        clocks = _told(day, home)
    shift = {True: dt.timedelta(seconds=clocks.camera_s), False: dt.timedelta(seconds=clocks.recorder_s)}
    at = {f.sha256: (day.made[f.sha256].instant + shift[f.is_photo]).astimezone(home) for f in day.files}
    spoken = understood(_spoken(day, at), plan, model)
    memos = [TakenFile(f, day.made[f.sha256], at[f.sha256]) for f in day.files if not f.is_photo]
    photos = [_photo(workspace, f, day, at[f.sha256], plan, spoken) for f in day.files if f.is_photo]
    jobs = [_job_at(one.instant, plan, spoken) for one in photos]
    _check_jobs(photos, jobs, spoken)
    shown = [PhotoAt(one.instant, one.file.sha256, _accepted(one)) for one in photos]
    pairs = joined(shown, spoken.values)
    alone = set(range(len(shown))) - {one.photo for one in pairs}
    again = {i: index for i in alone if (index := shows_again(shown[i], spoken.values)) is not None}
    for pair in pairs:  # a photo stands where its value stands
        jobs[pair.photo] = spoken.values[pair.value].job
    cut = (results.clip(value.spoken.memo, value.spoken.span) for value in spoken.values)
    clips = [store_file(workspace.evidence, clip) for clip in cut]
    for one in photos:
        if one.problem:
            outcome.untaken.append(Untaken(one.file.path, PhotoNotRead(cause=one.problem)))
    outcome.clocks = clocks
    asks = sum(1 for i in alone if shown[i].shown is not None and i not in again)
    outcome.counts.update({
        "memos": len(memos), "photos": len(photos), "values": len(spoken.values), "joined": len(pairs),
        "photos that ask": asks, "passed over": spoken.passed_over,
        "circumstances unused": len(spoken.unused),
    })  # fmt: skip
    identities = (recogniser_of(workspace.engines, photo=False), recogniser_of(workspace.engines, photo=True))
    return DayFound(memos, photos, shown, spoken.values, clips, pairs, again, jobs, spoken.passages, clocks, identities)


def _usual_zone(day: _Day) -> dt.tzinfo | None:
    """Give the offset that most photos say; None, this machine's zone, where none says any."""
    said = Counter(made.instant.tzinfo for made in day.made.values() if made.source == "EXIF")
    return said.most_common(1)[0][0] if said else None


def _spoken(day: _Day, at: dict[str, dt.datetime]) -> list[SpokenAt]:
    found = [
        SpokenAt(at[sha256] + dt.timedelta(seconds=span.start_s), sha256, span)
        for sha256, memo in day.memos.items()
        for span in memo.spans
    ]
    return sorted(found, key=lambda one: (one.instant, one.memo))


def _compared(day: _Day, plan: JobPlan, model: ConfidenceModel) -> Clocks:
    """Compare the clocks by the values that were both spoken and photographed."""
    at = {sha256: made.instant for sha256, made in day.made.items()}
    loose = replace(plan, windows=()) if plan.windows else plan
    values = understood(_spoken(day, at), loose, model).values
    spoken = [ClockSample(value.instant, value.reading.quantity) for value in values]
    seen = [
        ClockSample(at[sha256], display.quantity)
        for sha256, photo in sorted(day.photos.items())
        for display in (photo.seen.displays[:1] if photo.seen is not None else ())
        if display.accepted
    ]
    return compared(spoken, seen)


def _told(day: _Day, home: dt.tzinfo | None) -> Clocks:
    """Go by the times of day that were told, where nothing was both said and photographed often enough."""
    at = {sha256: made.instant.astimezone(home) for sha256, made in day.made.items()}
    told = [(one.instant, said_time(written(one.span.heard))) for one in _spoken(day, at)]
    return told_clocks([late_by(time, instant) for instant, time in told if time is not None])


def _photo(
    workspace: Workspace, file: DayFile, day: _Day, instant: dt.datetime, plan: JobPlan, spoken: DaySpoken
) -> TakenFile:
    """Hold what was seen against the instruments of the job where the work stood."""
    read, made = day.photos[file.sha256], day.made[file.sha256]
    if read.seen is None:
        return TakenFile(file, made, instant, problem=read.problem)
    seen = read.seen
    job = _job_at(instant, plan, spoken)
    if job is not None:
        context = next((p.context for p in reversed(spoken.passages) if p.instant <= instant), Context())
        with workspace.database.read() as session:
            checked = display_check(session, job.id, context)(seen)
    else:
        checked = seen
    crops = _stored_crops(workspace, file, seen, checked, read)
    accepted = any(display.accepted for display in checked.displays)
    reasons = [checked.reason, *(display.reason for display in checked.displays)]
    reason = next((text for text in reasons if text), "No display was found in it.")
    return TakenFile(file, made, instant, checked, crops, "" if accepted else reason)


def _stored_crops(workspace: Workspace, file: DayFile, seen: Seen, checked: Seen, read: PhotoRead) -> dict[int, Stored]:
    """Put the cut-outs of displays that still count on disk, by their place after the check."""
    kept: dict[int, Stored] = {}
    for index, data in read.crops:
        quad = seen.displays[index].quad
        place = next((i for i, one in enumerate(checked.displays) if one.accepted and one.quad == quad), None)
        if place is not None:
            kept[place] = store_derived(workspace.evidence, data, file.sha256)
    return kept


def _accepted(taken: TakenFile) -> DisplayReading | None:
    return next((one for one in taken.seen.displays if one.accepted), None) if taken.seen is not None else None


def _job_at(instant: dt.datetime, plan: JobPlan, spoken: DaySpoken) -> JobAxes | None:
    """Give the job of an instant: as said, else where the work stood, else the next that is named; None if none is."""
    told = plan.at(instant)
    if told is not None:
        return told
    before = [one.job for one in spoken.passages if one.instant <= instant and one.job is not None]
    after = [one.job for one in spoken.passages if one.instant > instant and one.job is not None]
    return before[-1] if before else after[0] if after else None


def _check_jobs(photos: Sequence[TakenFile], jobs: Sequence[JobAxes | None], spoken: DaySpoken) -> None:
    """Refuse to guess a job.

    Raises:
        DayJobUnknown: Something has none.
    """
    lost = [f"what was said at {value.instant:%H:%M}" for value in spoken.values if value.job is None]
    lost += [one.file.path.name for one, job in zip(photos, jobs, strict=True) if job is None]
    if lost:
        more = f" and {len(lost) - 5} more" if len(lost) > 5 else ""
        raise DayJobUnknown(what=", ".join(dict.fromkeys(lost[:5])) + more)
