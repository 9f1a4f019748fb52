"""Plans points, gives them to workers, and counts what came of them."""

from __future__ import annotations

import json
import queue
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from tests.faults.laws import COUNTED, LAWS
from tests.faults.layer import Kind, compile_layer, environment
from tests.faults.powercut import Call
from tests.faults.worker import POWER, Point, Result, result_from

ROOT = Path(__file__).parents[2]
KINDS = (*(kind.name for kind in Kind if kind is not Kind.NONE), POWER)
Calls = list[Call]


class WorkerFailed(RuntimeError):
    """A worker ended, which no fault of a visit may cause."""


class Workers:
    """Some processes under the layer."""

    def __init__(self, library: Path, count: int, before: str = "") -> None:
        """Start them.

        Args:
            library: The layer.
            count: How many.
            before: Python that they run first; with it the tests break the program to see whether that is found.
        """
        command = [sys.executable, "-c", f"{before}\nfrom tests.faults.worker import main\nmain()"]
        self._processes = [
            subprocess.Popen(
                command, cwd=ROOT, env=environment(library), text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
            )
            for _ in range(count)
        ]

    def _ask(self, process: subprocess.Popen[str], question: object) -> str:
        assert process.stdin is not None
        assert process.stdout is not None
        print(json.dumps(question), file=process.stdin, flush=True)
        answer = process.stdout.readline()
        if not answer:
            raise WorkerFailed(f"A worker ended at {question} with {process.wait()}.")
        return answer

    def calls(self, scenario: str) -> Calls:
        """List the calls of an undisturbed visit.

        Raises:
            WorkerFailed: The undisturbed visit broke a law by itself.
        """
        answer = json.loads(self._ask(self._processes[0], {"scenario": scenario}))
        if answer["violations"]:
            raise WorkerFailed(f"Without any fault: {answer['violations']}")
        return [Call(*call) for call in answer["calls"]]

    def make(self, points: Sequence[Point], seconds: float | None = None) -> Iterator[Result]:
        """Make points, in any order; after some seconds no more are begun."""
        waiting: queue.SimpleQueue[Point] = queue.SimpleQueue()
        done: queue.SimpleQueue[Result | Exception | None] = queue.SimpleQueue()
        end = float("inf") if seconds is None else time.monotonic() + seconds
        for point in points:
            waiting.put(point)

        def work(process: subprocess.Popen[str]) -> None:
            try:
                while time.monotonic() < end:
                    done.put(result_from(self._ask(process, {"point": waiting.get_nowait().__dict__})))
            except queue.Empty:
                pass
            except Exception as error:
                done.put(error)
            done.put(None)

        for process in self._processes:
            threading.Thread(target=work, args=(process,), daemon=True).start()
        working = len(self._processes)
        while working:
            result = done.get()
            if isinstance(result, Exception):
                raise result
            if result is None:
                working -= 1
            else:
                yield result

    def close(self) -> None:
        """End them."""
        for process in self._processes:
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdin.close()
            process.wait()
            process.stdout.close()


@contextmanager
def workers(count: int, before: str = "", library: Path | None = None) -> Iterator[Workers]:
    """Compile the layer and start some workers for the time of a block.

    Args:
        count: How many.
        before: As `Workers` takes it.
        library: The layer, compiled before; None to compile it here.

    Raises:
        NoCompiler: There is no C compiler.
    """
    with tempfile.TemporaryDirectory() as folder:
        started = Workers(library or compile_layer(Path(folder)), count, before)
        try:
            yield started
        finally:
            started.close()


def all_points(scenario: str, calls: Calls, kinds: Sequence[str], cuts: int) -> list[Point]:
    """List every point of a scenario.

    Args:
        scenario: One of `SCENARIOS`.
        calls: Its calls.
        kinds: Which kinds of fault.
        cuts: How many of the folders that a loss of power can leave, for each call.
    """
    points = []
    for at, (op, _, _) in enumerate(calls, 1):
        for kind in kinds:
            if kind == POWER:
                points += [Point(scenario, kind, at, seed) for seed in range(cuts)]
            elif Kind[kind].concerns(op):
                points.append(Point(scenario, kind, at))
    return points


def plan(calls: dict[str, Calls], kinds: Sequence[str], *, cuts: int, most: int | None, seed: int) -> list[Point]:
    """List the points to make, shuffled, so that a part of them is a sample.

    Args:
        calls: The calls of each scenario.
        kinds: Which kinds of fault.
        cuts: As `all_points` takes them.
        most: How many; None for all.
        seed: Of the order.
    """
    points = [point for name in calls for point in all_points(name, calls[name], kinds, cuts)]
    random.Random(seed).shuffle(points)
    return points[:most]


def broken(result: Result) -> list[str]:
    """Say which laws a point broke, one line for each violation."""
    point = result.point
    name = f"{point.scenario} {point.kind} at call {point.at} ({result.op} {result.path}) seed {point.seed}"
    return [f"{name}: {one.law}: {one.what}" for one in result.violations if one.law in LAWS]


def table(results: Sequence[Result]) -> str:
    """Print kind and call: points made, and points that broke each law."""
    rows: dict[tuple[str, str], Counter[str]] = {}
    for result in results:
        for key in ((result.point.kind, result.op), (result.point.kind, "all"), ("all", "all")):
            count = rows.setdefault(key, Counter())
            count["points"] += 1
            count.update({one.law for one in result.violations})
    columns = ("points", *LAWS, *COUNTED)
    lines = [f"{'kind':14}{'call':8}" + "".join(f"{name:>9}" for name in columns)]
    order = {name: place for place, name in enumerate((*KINDS, "all"))}
    for kind, op in sorted(rows, key=lambda key: (order[key[0]], key[1] == "all", key[1])):
        lines.append(f"{kind:14}{op:8}" + "".join(f"{rows[kind, op][name]:9d}" for name in columns))
    return "\n".join(lines)
