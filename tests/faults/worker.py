"""A process under the layer that makes one point after the other: `python -m tests.faults.worker` with LD_PRELOAD.

Importing takes seconds and a visit tenths of one, so each visit is a fork of this process; each check is another one,
so that nothing of a visit's memory can help it. Points come as lines of JSON, results go out as such.
"""

from __future__ import annotations

import contextlib
import functools
import gc
import json
import os
import random
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from api.ledger import database
from tests.faults.laws import Truth, Violation, check_answers, check_folder, shortened, truth_of
from tests.faults.layer import Kind, Layer
from tests.faults.powercut import Call, Event, already_there, calls_of, cut_at, read_log
from tests.faults.visit import SCENARIOS, Patience, Told, drive, prepare, told_from

LONGEST_S = 120
"""A visit or check that takes longer is taken to hang, s."""
POWER = "POWER_CUT"


@dataclass(frozen=True)
class Point:
    """One fault.

    Attributes:
        scenario: One of `SCENARIOS`.
        kind: Name of a `Kind`, or `POWER`.
        at: At which call, from 1; the power is cut after it.
        seed: For a loss of power, which of the folders that it could leave.
    """

    scenario: str
    kind: str
    at: int
    seed: int = 0


@dataclass
class Result:
    """What came of a point.

    Attributes:
        point: The point.
        op: The call's operation.
        path: What it was made on, below the watched folder.
        told: How many steps were answered.
        violations: Laws that did not hold.
    """

    point: Point
    op: str
    path: str
    told: int
    violations: list[Violation] = field(default_factory=list)

    def line(self) -> str:
        """Write it as one line of JSON."""
        return json.dumps(asdict(self))


def result_from(line: str) -> Result:
    """Read what `Result.line` wrote."""
    data = json.loads(line)
    violations = [Violation(**one) for one in data.pop("violations")]
    return Result(point=Point(**data.pop("point")), violations=violations, **data)


@dataclass(frozen=True)
class Reference:
    """An undisturbed visit.

    Attributes:
        events: Every call with its data, and what was told in between.
        calls: The calls that count.
        truth: What it came to.
        violations: What the laws say of it; there should be nothing.
    """

    events: list[Event]
    calls: list[Call]
    truth: Truth
    violations: list[Violation]


def in_child(work: Callable[[int], None]) -> tuple[int, str]:
    """Do some work in a fork; returns its exit status (negative: the signal that ended it) and what it wrote."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            signal.alarm(LONGEST_S)
            gc.disable()
            work(writing)
        except BaseException as error:
            os.write(2, f"{type(error).__name__}: {error}\n".encode())
            os._exit(3)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        text = pipe.read().decode()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), text


def keep_engines() -> None:
    """Keep SQLAlchemy's engines from one opening of the folder to the next, with the statements that they compiled.

    Every visit opens the same path, and compiling again took a third of its time. Connections are none of that: closing
    the database disposes of them, and each fork makes its own.
    """
    for name in ("engine_of", "new_database"):  # as the database calls them
        setattr(database, name, functools.cache(getattr(database, name)))


class Worker:
    """Makes points, each in a folder of its own."""

    def __init__(self, work: Path, layer: Layer) -> None:
        """Begin.

        Args:
            work: A folder outside of what is watched.
            layer: The layer of this process.
        """
        self._work, self._layer = work, layer
        self._references: dict[str, Reference] = {}

    def reference(self, scenario: str) -> Reference:
        """Give the undisturbed visit, made once."""
        if scenario not in self._references:
            # Once here: what is compiled and loaded by that, every fork has already.
            folder, told = self._fresh(scenario) / "data", list[Told]()
            drive(scenario, folder, Patience(self._layer, Kind.NONE, 0), told.append)
            check_folder(folder, scenario, told, "", Truth(frozenset(), frozenset(), frozenset()))
            gc.collect()
            gc.freeze()  # all of that is shared by the forks
            self._references[scenario] = self._make_reference(scenario)
        return self._references[scenario]

    def _fresh(self, scenario: str) -> Path:
        root = self._work / "root"
        shutil.rmtree(root, ignore_errors=True)
        root.mkdir()
        prepare(scenario, root / "data")
        return root

    def _make_reference(self, scenario: str) -> Reference:
        root = self._fresh(scenario)
        before = already_there(root)
        log = self._work / "log"
        with log.open("wb") as handle:
            status, text = self._visit(Point(scenario, Kind.NONE.name, 0), root, log=handle.fileno())
        if status:
            raise RuntimeError(f"The undisturbed visit ended with {status}: {text[-500:]}")
        told = _told(text)
        found = [Violation("answer", f"{one.step}: {one.error}: {one.what}") for one in told if one.error]
        events = read_log(log.read_bytes(), root)
        nothing = Truth(frozenset(), frozenset(), frozenset())
        checked = self._check(root, Point(scenario, Kind.NONE.name, 0), told, nothing)
        found += [one for one in checked if one.law != "whole"]  # which compares with this very visit
        return Reference(before + events, calls_of(events), truth_of(root / "data"), found)

    def _visit(self, point: Point, root: Path, log: int = -1) -> tuple[int, str]:
        def work(pipe: int) -> None:
            kind = Kind[point.kind]
            self._layer.arm(root, kind, point.at, log, pipe)

            def tell(told: Told) -> None:
                os.write(pipe, f"{told.line()}\n".encode())
                self._layer.mark(told.line())

            drive(point.scenario, root / "data", Patience(self._layer, kind, point.at), tell)
            self._layer.sleep()

        return in_child(work)

    def _check(self, root: Path, point: Point, told: list[Told], truth: Truth) -> list[Violation]:
        steps = [name for name, _ in SCENARIOS[point.scenario]]
        killed = point.kind == POWER or Kind[point.kind].kills
        interrupted = steps[len(told)] if killed and len(told) < len(steps) else ""

        def work(pipe: int) -> None:
            found = check_folder(root / "data", point.scenario, told, interrupted, truth)
            text = json.dumps([asdict(one) for one in shortened(found)])
            with os.fdopen(pipe, "w") as out:
                out.write(text)

        status, text = in_child(work)
        if status:
            return [Violation("start", f"the check ended with {status}")]
        return [Violation(**one) for one in json.loads(text)]

    def make(self, point: Point) -> Result:
        """Make one point."""
        reference = self.reference(point.scenario)
        op, path, _ = reference.calls[point.at - 1]
        if point.kind == POWER:
            root = self._work / "root"
            shutil.rmtree(root, ignore_errors=True)
            root.mkdir()
            told = [told_from(mark) for mark in cut_at(reference.events, point.at, point.seed, root)]
            return Result(point, op, path, len(told), self._check(root, point, told, reference.truth))
        kind = Kind[point.kind]
        root = self._fresh(point.scenario)
        status, text = self._visit(point, root)
        told = _told(text)
        result = Result(point, op, path, len(told))
        hit = next((line for line in text.splitlines() if not line.startswith("{")), "")
        if hit.split("\t")[0] != op:
            raise RuntimeError(f"{point}: call {point.at} was {hit!r}, in the undisturbed visit {op} {path}")
        if status != (-signal.SIGKILL if kind.kills else 0):
            result.violations.append(Violation("goes on", f"the process ended with {status}"))
        result.violations += check_answers(told)
        result.violations += self._check(root, point, told, reference.truth)
        return result


def _told(text: str) -> list[Told]:
    return [told_from(line) for line in text.splitlines() if line.startswith("{")]


def main() -> None:
    """Read points from the standard input until it ends."""
    out = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # nobody else writes among the results
    memory = Path("/dev/shm")
    folder = tempfile.mkdtemp(prefix="faults-", dir=memory if os.access(memory, os.W_OK) else None)
    keep_engines()
    try:
        worker = Worker(Path(folder), Layer())
        for line in sys.stdin:
            asked: dict[str, Any] = json.loads(line)
            if "point" not in asked:
                reference = worker.reference(asked["scenario"])
                answer = json.dumps({"calls": reference.calls, "violations": [asdict(v) for v in reference.violations]})
            else:
                answer = worker.make(Point(**asked["point"])).line()
            print(answer, file=out, flush=True)
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(folder)


if __name__ == "__main__":
    random.seed(1)
    main()
