"""Files dropped on the page: kept until all have come, then taken in as the command takes a folder in."""

from __future__ import annotations

import logging
import secrets
import shutil
import threading
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

from anyio import open_file

from api.day.batch import DayOutcome, DayWishes, take_day
from api.day.clocks import said_clocks
from api.day.errors import DayFileTooLarge, DayRunning
from api.day.sources import MOST_MEMO_BYTES
from api.day.times import zone_of
from api.errors import OhmtrailError
from api.ledger.canonical import JsonObject
from api.ledger.store import make_private
from api.workspace import Workspace

log = logging.getLogger(__name__)

_LONGEST_NAME = 200  # bytes; the end is kept, where the type stands

FOLDER = "day-inbox"
"""Folder in the data folder for what was dropped and is not stored yet."""


def plain_name(name: str) -> str:
    """Give the last part of a name that was sent, so that it can name a file here and leads nowhere else.

    >>> plain_name("../../etc/.memo 20261125-1405.m4a"), plain_name("..")
    ('memo 20261125-1405.m4a', 'file')
    """
    last = name.replace("\\", "/").rpartition("/")[2].lstrip(".")
    return last.encode("utf-8", "ignore")[-_LONGEST_NAME:].decode("utf-8", "ignore").strip() or "file"


@dataclass
class _Run:
    """One batch as the page is told of it."""

    state: str = "idle"
    stretch: str = ""
    total: float = 0.0
    done: float = 0.0
    begun: float = field(default_factory=time.monotonic)
    outcome: DayOutcome | None = None
    problem: OhmtrailError | None = None
    failed: str = ""


class DayInbox:
    """Takes dropped files, one batch at a time."""

    def __init__(self, workspace: Workspace, workers: int) -> None:
        """Begin; `workers` pieces and photos are worked on at the same time."""
        self._workspace, self._workers = workspace, workers
        self._folder = workspace.folder / FOLDER
        self._guard = threading.Lock()
        self._run = _Run()

    async def keep(self, name: str, body: AsyncIterator[bytes]) -> JsonObject:
        """Write a file as it arrives; what is cut off is not kept.

        Raises:
            DayFileTooLarge: It is over the limit.
        """
        place = self._folder / secrets.token_hex(8)
        make_private(place)
        path = place / plain_name(name)
        size = 0
        try:
            async with await open_file(path, "wb") as file:
                async for block in body:
                    size += len(block)
                    if size > MOST_MEMO_BYTES:
                        raise DayFileTooLarge(megabytes=size / 1e6, most=MOST_MEMO_BYTES / 1e6)
                    await file.write(block)
        except BaseException:
            shutil.rmtree(place, ignore_errors=True)
            raise
        return {"name": path.name, "size": size, "waiting": len(list(self._folder.iterdir()))}

    def start(self, wishes: DayWishes) -> JsonObject:
        """Begin to take in what came, in the background; returns the status.

        Raises:
            DayRunning: Another batch is being read.
            BadClock, BadZone: What was said of the batch cannot be understood.
        """
        if wishes.clock is not None:
            said_clocks(wishes.clock)
        zone_of(wishes.zone)
        with self._guard:
            if self._run.state == "running":
                raise DayRunning()
            self._run = _Run("running")
        threading.Thread(target=self._work, args=(self._run, wishes), name="day", daemon=True).start()
        return self.status()

    def _work(self, run: _Run, wishes: DayWishes) -> None:
        try:
            make_private(self._folder)
            run.outcome = take_day(self._workspace, [self._folder], wishes, workers=self._workers, progress=_Told(run))
            shutil.rmtree(self._folder, ignore_errors=True)
            run.state = "done"
        except OhmtrailError as problem:
            run.problem, run.state = problem, "refused"
        except Exception as error:  # told on the page; what was dropped stays and can be started again
            log.exception("A day's files could not be taken in")
            run.failed, run.state = type(error).__name__, "refused"

    def status(self) -> JsonObject:
        """Tell how far the batch is, and what became of it."""
        run = self._run
        passed = time.monotonic() - run.begun
        left = round(passed * (run.total - run.done) / run.done) if run.done > 0 and run.total > run.done else None
        told: JsonObject = {
            "state": run.state,
            "stretch": run.stretch,
            "percent": round(100 * min(1.0, run.done / run.total)) if run.total else 0,
            "left_s": left if run.state == "running" else None,
            "problem": None,
            "outcome": None if run.outcome is None else outcome_json(run.outcome),
        }
        if run.problem is not None:
            told["problem"] = {**run.problem.to_json()}
        elif run.failed:
            what = "Start it again; what was dropped is kept."
            told["problem"] = {"code": "internal", "message": f"It failed ({run.failed}).", "what_to_do": what}
        return told


class _Told:
    """Notes how far a batch is."""

    def __init__(self, run: _Run) -> None:
        self._run = run

    def begin(self, what: str, total: float) -> None:
        """See `api.day.batch.DayProgress.begin`."""
        self._run.stretch, self._run.total, self._run.done, self._run.begun = what, total, 0.0, time.monotonic()

    def advance(self, by: float) -> None:
        """See `api.day.batch.DayProgress.advance`."""
        self._run.done += by


def outcome_json(outcome: DayOutcome) -> JsonObject:
    """Give what became of a day's files as plain data."""
    return {
        "counts": {name: int(number) for name, number in outcome.counts.items()},
        "clocks": outcome.clocks.sentence(),
        "proposals": {job_id: [*ids] for job_id, ids in outcome.proposals.items()},
        "before": [{"file": one.path.name, "captures": [*one.before]} for one in outcome.before],
        "doubles": [{"file": path.name, "same": same} for path, same in outcome.doubles],
        "untaken": [{"file": one.path.name, **one.problem.to_json()} for one in outcome.untaken],
    }
