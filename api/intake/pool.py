"""Recognition in processes of its own, watched from the server: their time, their memory, their death.

A process that takes too long or too much is killed and replaced; whoever waits for it is told that the recognition
was stopped, and the file is kept and can be read again. One process answers one request at a time; live streams stay
with the process that they began in.
"""

from __future__ import annotations

import itertools
import logging
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from api.intake.errors import RecognisersBusy, RecognitionStopped
from api.intake.recognisers import Engines
from api.intake.worker import Done, Failed, Reply, Request, processor_s, resident_bytes, work

log = logging.getLogger(__name__)

MOST_BYTES = 750_000_000
"""Memory that one process may have resident."""

MOST_STREAMS = 8
"""Live streams in one process; who comes later is heard from the file at the end."""

START_S = 120.0
"""Longest start of a process, s: a large speech model on a slow disk."""

PATIENCE = 4
"""By how much a request may take longer than its processor time: others may need the processor as well."""

_WATCH_S = 0.02  # between two looks at a process that works
_GOOD_FOR_MORE = 0.8  # of the memory: a process that keeps more after a request is replaced


def processes_for(cores: int, free_bytes: int) -> int:
    """Tell how many processes to run: one for each core, in half of the memory that is free, at least one."""
    return max(1, min(cores, free_bytes // 2 // MOST_BYTES))


def free_memory() -> int:
    """Tell how much memory the system can give, bytes."""
    for line in Path("/proc/meminfo").read_text("ascii").splitlines():
        name, _, amount = line.partition(":")
        if name == "MemAvailable":
            return int(amount.split()[0]) * 1024
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") // 2


class Worker:
    """One recognising process, started anew whenever it ends.

    Attributes:
        busy: It works on a request.
        streams: Live streams that began in it, by number.
        generation: How often it was started; a stream of an older one is lost.
    """

    def __init__(self, make: Callable[[], Engines], warm: Callable[[Engines], None], most: int) -> None:
        """Start it; `ask` waits until it is ready."""
        self._make, self._warm, self._most = make, warm, most
        self.busy = False
        self.streams: set[int] = set()
        self.dropped: list[int] = []
        self.generation = 0
        self._stopped = False
        self._process: SpawnProcess
        self._pipe: Connection
        self._ready = False
        self._start()

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid or 0

    def _start(self) -> None:
        context = get_context("spawn")
        self._pipe, other = context.Pipe()
        self._process = context.Process(
            target=work, args=(other, self._make, self._warm, self._most), name="recogniser", daemon=True
        )
        self._process.start()
        other.close()
        self._ready = False
        self.generation += 1
        self.streams.clear()
        self.dropped.clear()

    def is_ready(self) -> bool:
        """Tell whether it has loaded what it loads and lives, without waiting; only for who holds it."""
        try:
            if not self._ready and self._pipe.poll():
                self._pipe.recv()
                self._ready = True
        except (EOFError, OSError):  # whoever may wait has it replaced
            return False
        return self._ready and self._process.is_alive()

    def ask(self, request: Request, seconds: float) -> object:
        """Put a request to it and wait for the answer.

        Args:
            request: What to do.
            seconds: How much processor time it may take.

        Raises:
            CaptureError: What the engine said, or that it was stopped.
        """
        if not self._process.is_alive() and not self._stopped:
            self._replace()  # it ended while nobody used it
        try:
            if not self._ready:
                self._wait(START_S, START_S)
                self._ready = True
            self._pipe.send(request)
            reply = self._wait(seconds, PATIENCE * seconds)
        except (EOFError, OSError):
            self._replace()
            raise RecognitionStopped(cause="its process ended") from None
        except RecognitionStopped:
            self._replace()
            raise
        if not self.streams and resident_bytes(self.pid) > _GOOD_FOR_MORE * self._most:
            self._replace()
        if isinstance(reply, Failed):
            raise reply.problem
        assert isinstance(reply, Done)
        return reply.value

    def _wait(self, processor: float, wall: float) -> Reply:
        """Wait for a reply within so much processor time, s, which is the same however busy the machine is."""
        begin, used = time.monotonic(), processor_s(self.pid)
        while not self._pipe.poll(_WATCH_S):
            if processor_s(self.pid) - used > processor:
                raise RecognitionStopped(cause=f"it needed more than {processor:.0f} s of processor time")
            if time.monotonic() - begin > wall:
                raise RecognitionStopped(cause=f"it took longer than {wall:.0f} s")
            if resident_bytes(self.pid) > self._most:
                raise RecognitionStopped(cause=f"it needed more than {self._most // 10**6} MB")
        reply: Reply = self._pipe.recv()
        return reply

    def _replace(self) -> None:
        """Kill it and start another one in its place, unless the server is stopping."""
        self._end()
        if not self._stopped:
            log.warning("A recognising process was replaced")
            self._start()

    def _end(self) -> None:
        self._process.kill()
        self._process.join()
        self._pipe.close()

    def stop(self) -> None:
        """Kill it for good; who waits for it is told that it ended."""
        self._stopped = True
        self._process.kill()
        self._process.join()


class WorkerPool:
    """Some recognising processes, and who may use which."""

    def __init__(
        self,
        make: Callable[[], Engines],
        warm: Callable[[Engines], None],
        *,
        count: int | None = None,
        most: int = MOST_BYTES,
    ) -> None:
        """Start them.

        Args:
            make: Makes the engines, in the process; a function of a module or a `partial` of one.
            warm: Makes the engines load what they load at first use.
            count: How many; None for as many as cores and memory allow.
            most: Memory that each may have resident, bytes.
        """
        count = count or processes_for(len(os.sched_getaffinity(0)), free_memory())
        self._change = threading.Condition()
        self._numbers = itertools.count(1)
        self._queue: list[int] = []
        self.workers = [Worker(make, warm, most) for _ in range(count)]

    @property
    def waiting(self) -> int:
        """How many requests wait for a process."""
        return len(self._queue)

    @contextmanager
    def _free(self, only: Worker | None = None) -> Iterator[Worker]:
        """Hold a worker, in the order of asking: that one, or the free one with the fewest streams."""
        with self._change:
            ticket = next(self._numbers)
            if only is None:
                self._queue.append(ticket)
            while (worker := self._choice(ticket, only)) is None:
                self._change.wait()
            if only is None:
                self._queue.remove(ticket)
            worker.busy = True
        try:
            yield worker
        finally:
            with self._change:
                worker.busy = False
                self._change.notify_all()

    def _choice(self, ticket: int, only: Worker | None) -> Worker | None:
        if only is not None:
            return None if only.busy else only
        free = [worker for worker in self.workers if not worker.busy]
        return min(free, key=lambda one: len(one.streams)) if free and self._queue[0] == ticket else None

    def ask(self, request: Request, seconds: float) -> object:
        """Put a request to any process; see `Worker.ask`."""
        with self._free() as worker:
            return worker.ask(request, seconds)

    def ask_idle(self, request: Request, seconds: float) -> object:
        """Put a request that is of no use later to a process that nobody needs; see `Worker.ask`.

        Raises:
            RecognisersBusy: Somebody waits, or no process would be left for who comes next (where there is but one:
                it works).
        """
        with self._change:
            free = [worker for worker in self.workers if not worker.busy]
            if self._queue or len(free) < min(2, len(self.workers)):
                raise RecognisersBusy()
            worker = min(free, key=lambda one: len(one.streams))
            worker.busy = True
        try:
            if not worker.is_ready():
                raise RecognisersBusy()
            return worker.ask(request, seconds)
        finally:
            with self._change:
                worker.busy = False
                self._change.notify_all()

    def ask_one(self, worker: Worker, generation: int, request: Request, seconds: float) -> object:
        """Put a request to the process in which a stream began.

        Raises:
            RecognitionStopped: That process ended.
        """
        with self._free(worker):
            if worker.generation != generation:
                raise RecognitionStopped(cause="its process ended")
            return worker.ask(request, seconds)

    def open_stream(self) -> tuple[Worker, int, int]:
        """Choose a process for a stream; returns it, its generation, and the stream's number.

        Raises:
            RecognitionStopped: There are too many streams.
        """
        with self._change:
            worker = min(self.workers, key=lambda one: len(one.streams))
            if len(worker.streams) >= MOST_STREAMS:
                raise RecognitionStopped(cause="too many listen at once")
            number = next(self._numbers)
            worker.streams.add(number)
            return worker, worker.generation, number

    def close_stream(self, worker: Worker, generation: int, number: int, *, finished: bool) -> None:
        """Forget a stream; its process forgets it with the next samples of another one."""
        with self._change:
            if worker.generation == generation and number in worker.streams:
                worker.streams.discard(number)
                if not finished:
                    worker.dropped.append(number)

    def dropped(self, worker: Worker) -> tuple[int, ...]:
        """Take the numbers of streams that a process may forget."""
        with self._change:
            numbers = tuple(worker.dropped)
            worker.dropped.clear()
            return numbers

    def stop(self) -> None:
        """Kill all processes."""
        for worker in self.workers:
            worker.stop()
