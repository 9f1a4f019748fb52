"""Runs engines over clips, spread over processes: each process loads an engine once and hears a handful at a time."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from fixtures.training.speech_model.clips import FOLDER, Clip, clips
from fixtures.training.speech_model.conditions import condition
from tests.benchmarks.speech.engines import OURS, Engine, make
from tests.benchmarks.speech.score import Score, score

HANDFUL = 13
_SEED = 7
_Task = TypeVar("_Task")
_Result = TypeVar("_Result")


@dataclass(frozen=True)
class Batch:
    """Clips of one set that one engine hears under one condition."""

    engine: str
    condition: str
    source: str
    numbers: tuple[int, ...]
    model: Path | None = None


@cache
def engine(name: str, model: Path | None) -> Engine:
    """Start this process's engine."""
    return make(name, model)


@cache
def loaded(source: str) -> tuple[Clip, ...]:
    """Load this process's clips of a set."""
    return tuple(clips(FOLDER / source))


def hear(batch: Batch) -> list[Score]:
    """Hear and score one batch. The second talker is the set's seventh clip further on, which another voice says."""
    hearer, told = engine(batch.engine, batch.model), loaded(batch.source)
    made = []
    for number in batch.numbers:
        clip = told[number]
        other = told[(number + 7) % len(told)]
        sound = condition(batch.condition, clip.samples, other.samples, _SEED + number)
        made.append(score(batch.engine, batch.condition, clip, hearer.hear(sound)))
    return made


def spread(
    title: str, work: Callable[[_Task], _Result], tasks: Sequence[_Task], jobs: int, weigh: Callable[[_Task], int]
) -> Iterable[_Result]:
    """Do tasks in processes with a progress bar; results in the order of completion.

    Args:
        title: What the bar says.
        work: A function of a module, given one task.
        tasks: The tasks.
        jobs: Processes.
        weigh: How many steps of the bar a task is.
    """
    from rich.progress import Progress

    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with Progress() as bar, ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        steps = bar.add_task(title, total=sum(weigh(task) for task in tasks))
        waiting = {pool.submit(work, task): task for task in tasks}
        for done in as_completed(waiting):
            bar.advance(steps, weigh(waiting[done]))
            yield done.result()


def batches(name: str, heard: str, source: str, numbers: Sequence[int], model: Path | None) -> list[Batch]:
    """List all batches of one engine and condition over clips of a set, by number."""
    return [
        Batch(name, heard, source, tuple(numbers[at : at + HANDFUL]), model) for at in range(0, len(numbers), HANDFUL)
    ]


@dataclass(frozen=True)
class Footprint:
    """What an engine costs before it hears anything.

    Attributes:
        size: Model files, bytes.
        load_s: Time until it can hear, its packages' import included, s.
        memory: Resident memory that it adds once it has heard a clip, bytes.
    """

    size: int
    load_s: float
    memory: int


def footprint(task: tuple[str, Path | None]) -> Footprint:
    """Load an engine in a fresh process, hear one clip of silence, and look at the memory."""
    import psutil

    name, model = task
    process, silence = psutil.Process(), bytes(64_000)
    before, begin = process.memory_info().rss, time.perf_counter()
    if name in OURS:
        ours = make(name, model)
        load = time.perf_counter() - begin
        ours.hear(silence)
        return Footprint(ours.size, load, process.memory_info().rss - before)
    from tests.benchmarks.speech.peers import fresh

    peer = fresh(name)
    load = time.perf_counter() - begin
    peer.write(silence)
    return Footprint(peer.size, load, process.memory_info().rss - before)


def alone(work: Callable[[_Task], _Result], task: _Task) -> _Result:
    """Do one task in a fresh process of its own."""
    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        return pool.submit(work, task).result()
