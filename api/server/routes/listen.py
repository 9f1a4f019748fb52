"""Listening live: sound in, words back while they are spoken, and at the end the same answer as for a clip.

The client sends {"type": "start", "captured_at": "...", "utterance": "..."} once, then binary frames of 16 kHz mono
samples (signed 16 bit, little endian), then {"type": "end"}. The server sends {"type": "partial", "text": "..."} while
words come, and {"type": "final", ...} with the answer of the evidence route. With "hands_free": true in the start
message, the end of the speech ends the utterance too, and the next one begins on the same connection; with "each": true
besides, every utterance begins with a start message, and what comes before it is the tail of the last one and dropped.
What was received is kept as a FLAC file whatever happens; when the connection is lost it is marked cut and is not acted
on.
"utterance" is the page's own id of what is spoken: sent once more as a clip, because the answer or the connection was
lost, it counts once.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Callable
from functools import cache
from typing import TypeVar

from anyio import CancelScope, CapacityLimiter
from anyio.to_thread import run_sync
from fastapi import APIRouter, WebSocket, WebSocketDisconnect

from api.dialogue.turn import context_of
from api.errors import OhmtrailError
from api.intake.recognisers import ListeningStream
from api.ledger.canonical import PlainData
from api.ledger.clock import parse_instant, utc_text
from api.server.errors import MessageUnreadable, NoSound, NoSuchMessage, UtteranceTooLong
from api.server.reading_queue import ReadingQueue
from api.server.routes import LimitsDep, QueueDep, WorkspaceDep
from api.visit.jobs import job_of
from api.workspace import Workspace
from capture.errors import CaptureError
from capture.expectation import Asked
from capture.speech.audio import MAX_SECONDS, RATE
from capture.speech.encoder import flac

router = APIRouter(tags=["listen"])

_T = TypeVar("_T")

MAX_FRAME = 65_536
"""Largest frame, bytes."""

MOST_LISTENING = 64
"""Frames and ends of utterances being worked on at once. Their threads are none of those that serve pages: a frame
may wait for a recogniser that is busy with a clip."""

UTTERANCE_ID = re.compile(r"[A-Za-z0-9_.:-]{8,64}")
"""What the page may call an utterance; anything else counts as no id."""

LEAST_KEPT_S = 0.5
"""A shorter rest after a lost connection is no speech and is not kept, s."""


@cache
def _limiter() -> CapacityLimiter:
    return CapacityLimiter(MOST_LISTENING)


async def apart(work: Callable[[], _T]) -> _T:
    """Run what may take long in a thread of its own kind."""
    return await run_sync(work, limiter=_limiter(), abandon_on_cancel=True)


class IncomingUtterance:
    """One utterance as it comes in: every byte received, and the words so far."""

    def __init__(self, workspace: Workspace, job_id: str) -> None:
        """Begin; the recogniser is taken at the first sound."""
        self.workspace = workspace
        self.job_id = job_id
        self.pcm = bytearray()
        self.fed = 0
        self.text = ""
        self.captured_at = utc_text(workspace.database.clock())
        self.stream: ListeningStream | None = None
        self.deaf = False
        self.id = ""

    def feed(self) -> bool:
        """Give the recogniser what came since; returns whether the words changed.

        Without a working recogniser the sound is still kept, and the file is heard at the end instead.
        """
        # A frame may end in mid-sample; the other byte comes with the next one.
        whole = len(self.pcm) // 2 * 2
        if self.deaf:
            return False
        try:
            self.stream = self.stream or self.workspace.engines.stream(self._asked())
            text = self.stream.accept(bytes(self.pcm[self.fed : whole]))
        except CaptureError:
            # Deaf, and still keeping: what somebody says must outlast a model that is missing or broken. The file is
            # heard at the end, where the answer says what is wrong.
            self.stream, self.deaf = None, True
            return False
        self.fed = whole
        changed, self.text = text != self.text, text
        return changed

    def _asked(self) -> Asked:
        """Tell what the job's conversation asked last."""
        with self.workspace.database.read() as session:
            return context_of(session, self.job_id).expects.asked

    @property
    def ended(self) -> bool:
        """Whether the end of the speech was found."""
        return self.stream is not None and self.stream.ended

    def take(self, *, cut: bool = False) -> PlainData:
        """Keep the sound and act on it, or keep it as cut."""
        finish = None if cut or self.stream is None else self.stream.finish
        sound = flac(bytes(self.pcm))
        return self.workspace.intake.take(
            self.job_id, sound, self.captured_at, utterance=self.id, cut=cut, finish=finish
        )


class ListenConnection:
    """One open connection."""

    def __init__(self, socket: WebSocket, workspace: Workspace, queue: ReadingQueue, job_id: str) -> None:
        """Work on this socket."""
        self.socket = socket
        self.workspace = workspace
        self.queue = queue
        self.job_id = job_id
        self.hands_free = False
        self.each = False
        self.utterance: IncomingUtterance | None = None

    def begin(self) -> IncomingUtterance:
        """Give the utterance that is coming in, a new one where none is."""
        if self.utterance is None:
            self.utterance = IncomingUtterance(self.workspace, self.job_id)
        return self.utterance

    async def frame(self, data: bytes) -> None:
        """Take a frame of sound."""
        if self.each and self.utterance is None:  # sent before the client knew that the utterance had ended
            return
        utterance = self.begin()
        if len(data) > MAX_FRAME or len(utterance.pcm) + len(data) > 2 * RATE * int(MAX_SECONDS):
            await self.end()
            await self.problem(UtteranceTooLong(most=int(MAX_SECONDS)))
            return
        utterance.pcm += data
        # At the server's stop nobody waits for the recogniser: what was received is kept, read or not.
        if await apart(utterance.feed):
            await self.socket.send_json({"type": "partial", "text": utterance.text})
        if self.hands_free and utterance.ended:
            await self.end()

    async def message(self, text: str) -> None:
        """Take a message: "start" or "end"."""
        try:
            message = json.loads(text)
            kind = message["type"]
        except (ValueError, KeyError, TypeError, RecursionError):
            await self.problem(MessageUnreadable())
            return
        if kind == "start":
            self.hands_free = bool(message.get("hands_free"))
            self.each = self.hands_free and bool(message.get("each"))
            utterance = self.begin()
            given = message.get("utterance")
            if isinstance(given, str) and UTTERANCE_ID.fullmatch(given):
                utterance.id = given
            if "captured_at" in message:
                await self.set_time(utterance, message["captured_at"])
        elif kind == "end":
            if self.utterance is not None or not self.each:
                await self.end()
        else:
            await self.problem(NoSuchMessage(kind=kind))

    async def set_time(self, utterance: IncomingUtterance, captured_at: object) -> None:
        """Use the device's time; a wrong one is reported, and the time of arrival stays."""
        try:
            parse_instant(str(captured_at))
        except OhmtrailError as error:
            await self.problem(error)
        else:
            utterance.captured_at = str(captured_at)

    async def end(self) -> None:
        """End the utterance: keep it, act on it, answer."""
        utterance, self.utterance = self.utterance, None
        if utterance is None or not utterance.pcm:
            await self.problem(NoSound())
            return
        try:
            answer = await apart(utterance.take)
        except OhmtrailError as error:
            await self.problem(error)
            return
        if answer["state"] == "stored":  # the disk did not take what was heard; it is heard again from the file
            self.queue.put_later(self.job_id, str(answer["capture"]))
        await self.socket.send_json({**answer, "type": "final"})

    async def problem(self, error: OhmtrailError) -> None:
        """Say what is wrong; the connection stays open."""
        await self.socket.send_json({"type": "error", **error.to_json()})

    async def lost(self) -> None:
        """Keep what came before the connection was lost, marked cut."""
        utterance, self.utterance = self.utterance, None
        if utterance is not None and len(utterance.pcm) >= 2 * RATE * LEAST_KEPT_S:
            with CancelScope(shield=True):  # kept even while the server is stopping
                await apart(lambda: utterance.take(cut=True))


@router.websocket("/api/jobs/{job_id}/listen")
async def listen(socket: WebSocket, workspace: WorkspaceDep, queue: QueueDep, limits: LimitsDep, job_id: str) -> None:
    """Listen to one job; see the module for the messages."""
    await socket.accept()

    def known() -> None:
        with workspace.database.read() as session:
            job_of(session, job_id)

    connection = ListenConnection(socket, workspace, queue, job_id)
    listening: set[ListenConnection] = socket.app.state.listening
    listening.add(connection)
    try:
        try:
            await run_sync(known)
        except OhmtrailError as error:
            await connection.problem(error)
            await socket.close(1008, error.code)
            return
        while True:
            pause = limits.socket_idle_s if connection.utterance is None else limits.socket_pause_s
            try:
                async with asyncio.timeout(pause):
                    received = await socket.receive()
            except TimeoutError:  # its recogniser is given back, its place is free for somebody else
                await socket.close(1001, "idle")
                break
            if received["type"] == "websocket.disconnect":
                break
            if received.get("bytes") is not None:
                await connection.frame(received["bytes"])
            elif received.get("text") is not None:
                await connection.message(received["text"])
    except WebSocketDisconnect:
        pass
    finally:
        try:
            await connection.lost()
        finally:
            listening.discard(connection)
