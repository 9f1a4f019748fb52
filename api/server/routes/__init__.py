"""The JSON routes, one noun per file; each is a thin wrapper around `api.workspace.Workspace`."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Annotated, TypeVar

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from fastapi import Depends
from starlette.requests import HTTPConnection

from api.server.errors import ServerFull
from api.server.reading_queue import ReadingQueue
from api.server.voice import Voice
from api.settings import Limits
from api.workspace import Workspace

__all__ = ["HeavyDep", "HeavyWork", "LimitsDep", "QueueDep", "VoiceDep", "WorkspaceDep"]

T = TypeVar("T")

MOST_WAITING = 8
"""How many requests that keep a core busy may wait for their turn."""

RETRY_HEAVY_S = 10
"""When to come again where too many wait, s."""


def _workspace(connection: HTTPConnection) -> Workspace:
    workspace = connection.app.state.workspace
    assert isinstance(workspace, Workspace)
    return workspace


WorkspaceDep = Annotated[Workspace, Depends(_workspace)]
"""The open workspace."""


def _queue(connection: HTTPConnection) -> ReadingQueue:
    queue = connection.app.state.queue
    assert isinstance(queue, ReadingQueue)
    return queue


QueueDep = Annotated[ReadingQueue, Depends(_queue)]
"""The captures that wait to be read."""


def _voice(connection: HTTPConnection) -> Voice:
    voice = connection.app.state.voice
    assert isinstance(voice, Voice)
    return voice


VoiceDep = Annotated[Voice, Depends(_voice)]
"""The voice of this machine."""


def _limits(connection: HTTPConnection) -> Limits:
    limits = connection.app.state.limits
    assert isinstance(limits, Limits)
    return limits


LimitsDep = Annotated[Limits, Depends(_limits)]
"""What clients may take."""


class HeavyWork:
    """Runs what keeps a core busy for long, a few at a time, so that threads are left for the pages."""

    def __init__(self, limiter: CapacityLimiter) -> None:
        """Share this limiter among all requests."""
        self._limiter = limiter

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """Wait for one's turn.

        Raises:
            ServerFull: Too many wait already.
        """
        if self._limiter.statistics().tasks_waiting >= MOST_WAITING:
            raise ServerFull(what="work of this kind", retry_s=RETRY_HEAVY_S)
        async with self._limiter:
            yield

    async def run(self, work: Callable[[], T]) -> T:
        """Do some work in a thread when it is its turn.

        Raises:
            ServerFull: Too many wait already.
        """
        async with self.turn():
            return await run_sync(work)


def _heavy(connection: HTTPConnection) -> HeavyWork:
    return HeavyWork(connection.app.state.heavy)


HeavyDep = Annotated[HeavyWork, Depends(_heavy)]
"""The way to run heavy work."""
