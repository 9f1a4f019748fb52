"""Engines that misbehave on demand, for the tests of the recognising processes."""

from __future__ import annotations

import os
import signal
import time
from typing import TYPE_CHECKING

from api.intake.recognisers import ListeningStream
from capture.expectation import Asked
from capture.reading import Context, Heard, Utterance
from tests.api.makers import FakeEngines, FakeStream, clip, words_of

if TYPE_CHECKING:
    from capture.display.aim import Aim

__all__ = ["Hungry", "clip", "nothing"]


class HungryStream(FakeStream):
    """Hears samples that spell words, and dies of one."""

    def accept(self, pcm: bytes) -> str:
        text = super().accept(pcm)
        if "die" in text:
            os.kill(os.getpid(), signal.SIGKILL)
        return text


class Hungry(FakeEngines):
    """Does what the words of a clip say."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        words = words_of(data)
        if words == "eat":
            held = []
            while True:
                held.append(bytearray(b"x") * 10_000_000)
        if words == "gulp":
            bytearray(4_000_000_000)
        if words == "spin":
            while True:
                pass
        if words == "hang":
            while True:
                time.sleep(0.01)
        if words == "die":
            os.kill(os.getpid(), signal.SIGKILL)
        if words == "wait":
            time.sleep(1)
        if words == "who":
            return Utterance(Heard(str(os.getpid())))
        return super().hear(data, context)

    def aim(self, data: bytes, width: int) -> Aim:
        from capture.display.aim import Aim, Hint

        if data == b"spin":
            while True:
                pass
        if data == b"die":
            os.kill(os.getpid(), signal.SIGKILL)
        return Aim(Hint.GOOD)

    def stream(self, asked: Asked = Asked.NOTHING) -> ListeningStream:
        return HungryStream()


def nothing(_engines: object) -> None:
    """Load nothing beforehand."""
