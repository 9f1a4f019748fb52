"""Captures that are stored and wait to be read: one after the other for each job, jobs beside each other.

What waits is on disk already; here are only ids. Reading happens in threads of this queue alone, never in those that
serve pages, and at the end of the process it is simply left: what was not read then is read at the next start.
"""

from __future__ import annotations

import statistics
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field

from api.ledger.canonical import JsonObject, PlainData
from api.server.errors import ServerFull

REMEMBERED = 50
"""How many of the last captures the times are given of."""

YIELD_S = 2.0
"""How long a reading gives way to arrivals at most, s: an acknowledgement must come soon, a reading can wait."""

LOOK_S = 0.05
"""How often is looked whether arrivals still press, s."""

AGAIN_S = 10.0
"""When a capture is read again whose reading the disk did not take, s."""

PATIENCE_S = 1.0
"""How long `stop` waits for what is being read, s."""


@dataclass
class Waiting:
    """One capture on its way.

    Attributes:
        capture_id: The capture.
        again: It was read before, and the disk did not take that: commands in it are not obeyed any more.
        answer: What was made of it, once it is read.
        arrived: When it was stored; monotonic, s.
        began: When its reading began, s.
        ended: When its reading ended, s.
    """

    capture_id: str
    again: bool = False
    answer: Future[PlainData] = field(default_factory=Future)
    arrived: float = field(default_factory=time.monotonic)
    began: float = 0.0
    ended: float = 0.0

    def timing(self) -> str:
        """Give its times as a Server-Timing header (W3C Server Timing), ms."""
        waited, read = 1000 * (self.began - self.arrived), 1000 * (self.ended - self.began)
        return f"waited;dur={waited:.0f}, read;dur={read:.0f}"


class ReadingQueue:
    """The queue and its threads."""

    def __init__(
        self,
        read: Callable[[str, bool], PlainData],
        *,
        workers: int,
        most: int,
        pressed: Callable[[], bool] = lambda: False,
    ) -> None:
        """Read captures by `read`, `workers` at a time; let at most `most` wait.

        Args:
            read: Reads one capture, obeying the commands in it or not, and gives what was made of it; "stored" as its
                state says that the disk did not take that, and it is read again later.
            workers: How many are read at a time.
            most: How many may wait.
            pressed: Tells whether so many arrive that storing them comes first.
        """
        self._read = read
        self._pressed = pressed
        self._most = most
        self._change = threading.Condition()
        self._jobs: dict[str, deque[Waiting]] = {}
        self._ready: deque[str] = deque()
        self._known: dict[str, Waiting] = {}
        self._later: deque[tuple[float, str, str]] = deque()
        self._reading = 0
        self._ended = False
        self._last: deque[Waiting] = deque(maxlen=REMEMBERED)
        self._threads = [
            threading.Thread(target=self._work, name=f"reader-{number}", daemon=True) for number in range(workers)
        ]
        for thread in self._threads:
            thread.start()

    def check(self) -> None:
        """See that there is room for one more.

        Raises:
            ServerFull: There is none; nothing may be stored that would have to wait.
        """
        with self._change:
            if len(self._known) >= self._most:
                raise ServerFull(what="captures", retry_s=self._wait_s())

    def put(self, job_id: str, capture_id: str) -> Waiting:
        """Let a stored capture be read when it is its turn; one that waits already is not read twice."""
        with self._change:
            return self._put(job_id, capture_id, again=False)

    def put_later(self, job_id: str, capture_id: str) -> None:
        """Let a capture be read again in a while, since the disk did not take what was read in it."""
        with self._change:
            self._later.append((time.monotonic() + AGAIN_S, job_id, capture_id))
            self._change.notify()

    def _put(self, job_id: str, capture_id: str, *, again: bool) -> Waiting:
        known = self._known.get(capture_id)
        if known is not None:
            return known
        waiting = self._known[capture_id] = Waiting(capture_id, again)
        self._jobs.setdefault(job_id, deque()).append(waiting)
        if len(self._jobs[job_id]) == 1:
            self._ready.append(job_id)
        self._change.notify()
        return waiting

    def _due(self) -> float | None:
        """Put in what is to be read again by now; returns how long the next one has, s, None where there is none."""
        while self._later and self._later[0][0] <= time.monotonic():
            _, job_id, capture_id = self._later.popleft()
            self._put(job_id, capture_id, again=True)
        return self._later[0][0] - time.monotonic() if self._later else None

    def ahead(self) -> int:
        """Give how many wait or are being read."""
        with self._change:
            return len(self._known)

    def status(self) -> JsonObject:
        """Give the length of the queue and the time from stored to read of the last captures."""
        with self._change:
            last = [one.ended - one.arrived for one in self._last]
            oldest = min((one.arrived for one in self._known.values()), default=time.monotonic())
            return {
                "waiting": len(self._known) - self._reading,
                "reading": self._reading,
                "oldest_s": f"{time.monotonic() - oldest:.1f}",
                "last": len(last),
                "last_median_s": f"{statistics.median(last):.1f}" if last else None,
                "last_longest_s": f"{max(last):.1f}" if last else None,
                "expected_s": self._wait_s(),
            }

    def _wait_s(self) -> int:
        """Estimate how long what waits will take, s: by the time that the last readings took."""
        took = [one.ended - one.began for one in self._last] or [1.0]
        return max(1, round(len(self._known) * statistics.fmean(took) / len(self._threads)))

    def _next(self) -> tuple[str, Waiting] | None:
        with self._change:
            while True:
                pause = self._due()
                if self._ended:
                    return None
                if self._ready:
                    break
                self._change.wait(pause)
            job_id = self._ready.popleft()
            self._reading += 1
            return job_id, self._jobs[job_id][0]

    def _give_way(self) -> None:
        end = time.monotonic() + YIELD_S
        while not self._ended and self._pressed() and time.monotonic() < end:
            time.sleep(LOOK_S)

    def _work(self) -> None:
        while (found := self._next()) is not None:
            self._give_way()
            job_id, waiting = found
            waiting.began = time.monotonic()
            answer: PlainData | None = None
            problem: BaseException | None = None
            try:
                answer = self._read(waiting.capture_id, not waiting.again)
            except BaseException as error:  # whoever waits for the answer is given it
                problem = error
            waiting.ended = time.monotonic()
            self._done(job_id, waiting)
            if answer is not None and answer.get("state") == "stored":
                self.put_later(job_id, waiting.capture_id)
            if not waiting.answer.set_running_or_notify_cancel():
                continue
            if problem is not None:
                waiting.answer.set_exception(problem)
            else:
                waiting.answer.set_result(answer or {})

    def _done(self, job_id: str, waiting: Waiting) -> None:
        with self._change:
            self._reading -= 1
            self._last.append(waiting)
            del self._known[waiting.capture_id]
            self._jobs[job_id].popleft()
            if self._jobs[job_id]:
                self._ready.append(job_id)
                self._change.notify()
            else:
                del self._jobs[job_id]
            self._change.notify_all()

    def stop(self) -> None:
        """End: nothing more is begun; what is being read is waited for a moment, then left."""
        with self._change:
            self._ended = True
            self._change.notify_all()
        end = time.monotonic() + PATIENCE_S
        for thread in self._threads:
            thread.join(max(0.0, end - time.monotonic()))


def workers_of(cores: int | None) -> int:
    """Give how many captures are read at a time on a machine of so many cores."""
    return max(2, cores or 1)
