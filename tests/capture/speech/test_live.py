"""Hands-free hearing: clips strung together with pauses are heard one by one, as if each were a file."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from itertools import chain, pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from api.commands import listen as command
from capture.errors import EngineError
from capture.reading import Command
from capture.speech.audio import RATE, load_clip
from capture.speech.hearing import quiet
from capture.speech.live import IDLE_S, spoken
from capture.speech.microphone import microphone
from capture.speech.recogniser import SpeechModel
from capture.speech.understand import hear_clip

FIXTURES = Path(__file__).parents[3] / "fixtures" / "visit"
TOLD: list[dict[str, Any]] = json.loads((FIXTURES / "truth.json").read_text("utf-8"))["clips"]
NUMBERS = (10, 11, 1, 2)


def clip(number: int) -> bytes:
    return (FIXTURES / str(TOLD[number]["file"])).read_bytes()


def sound(pause_s: float = 2.0) -> bytes:
    """Join four clips with pauses between, as a microphone would give them."""
    return quiet(0.5) + b"".join(load_clip(clip(number)).pcm + quiet(pause_s) for number in NUMBERS)


def blocks(pcm: bytes, size: int = 3200) -> Iterator[bytes]:
    return (pcm[at : at + size] for at in range(0, len(pcm), size))


@pytest.mark.parametrize("size", [3200, 1001])
def test_each_clip_of_a_stream_is_heard_as_its_file_is(speech: SpeechModel, size: int) -> None:
    found = list(spoken(blocks(sound(), size), speech))
    alone = [hear_clip(clip(number), None, speech) for number in NUMBERS]
    assert [one.utterance.heard.text for one in found] == [one.heard.text for one in alone]
    assert [one.utterance.command for one in found] == [one.command for one in alone]
    assert all(0 <= one.start_s < one.end_s <= len(sound()) / 2 / RATE for one in found)
    assert all(before.end_s <= one.start_s for before, one in pairwise(found))


def test_a_long_wait_is_let_go_and_the_word_after_it_is_heard(speech: SpeechModel) -> None:
    waiting = quiet(2 * IDLE_S + 1.0)
    found = list(spoken(blocks(waiting + load_clip(clip(11)).pcm), speech))
    assert [one.utterance.command for one in found] == [Command.CONFIRM]
    assert found[0].start_s >= IDLE_S


def test_what_is_said_of_the_place_holds_for_the_next(speech: SpeechModel) -> None:
    """The demo says the axis in one clip and a reading without it in the next."""
    first = next(number for number, one in enumerate(TOLD) if hear_clip(clip(number), None, speech).context.axis)
    axis = hear_clip(clip(first), None, speech).context.axis
    pcm = load_clip(clip(first)).pcm + quiet(2.0) + load_clip(clip(11)).pcm + quiet(1.0)
    assert [one.utterance.context.axis for one in spoken(blocks(pcm), speech)] == [axis, axis]


def test_silence_is_nothing(speech: SpeechModel) -> None:
    assert list(spoken(blocks(quiet(3.0)), speech)) == []
    assert list(spoken([], speech)) == []


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> tuple[int, str, str]:
    program = typer.Typer()
    program.command()(command.listen)
    monkeypatch.setattr(command, "microphone", lambda _device: blocks(sound()))
    result = CliRunner().invoke(program, arguments)
    return result.exit_code, result.stdout, result.stderr


def test_the_command_prints_what_hear_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    code, out, _ = run(monkeypatch, "--json")
    assert code == 0
    rows = [json.loads(line) for line in out.splitlines()]
    assert len(rows) == len(NUMBERS)
    assert set(rows[0]) == {
        "file",
        "text",
        "words",
        "reading",
        "command",
        "alternatives",
        "superseded",
        "confidence",
        "doubts",
    }
    assert rows[0]["reading"]["value"] == "4000"
    code, out, _ = run(monkeypatch)
    assert code == 0
    assert "command: confirm" in out
    assert "Spoken" in out


def test_the_command_stops_after_the_seconds_given(monkeypatch: pytest.MonkeyPatch) -> None:
    code, out, _ = run(monkeypatch, "--json", "--seconds", "1")
    assert code == 0
    assert len(out.splitlines()) <= 1


def why(device: str | None = None) -> EngineError:
    with pytest.raises(EngineError) as caught:
        next(microphone(device))
    return caught.value


def test_without_the_package_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    assert (why().code, "-e '.[listen]'" in str(why())) == ("no_microphone_package", True)


class FakeError(Exception):
    pass


class FakeStream:
    """Gives its blocks to the callback at once, as a driver would over time."""

    def __init__(self, given: list[bytes], **told: Any) -> None:
        self.given, self.told = given, told

    def __enter__(self) -> FakeStream:
        for block in self.given:
            self.told["callback"](block, len(block) // 2, None, None)
        return self

    def __exit__(self, *_: object) -> None:
        pass


def package(rates: set[int], given: list[bytes], *, there: bool = True) -> SimpleNamespace:
    """Make what the module calls of the sounddevice package (0.5), with a device that gives these rates."""

    def query(_device: object, _kind: str) -> dict[str, float]:
        if not there:
            raise FakeError("Error querying device -1")
        return {"default_samplerate": max(rates)}

    def check(*, samplerate: int, **_: object) -> None:
        if samplerate not in rates:
            raise FakeError("Invalid sample rate")

    def stream(**told: Any) -> FakeStream:
        return FakeStream(given, **told)

    return SimpleNamespace(
        PortAudioError=FakeError, query_devices=query, check_input_settings=check, RawInputStream=stream
    )


def test_no_microphone_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", package({RATE}, [], there=False))
    assert why().code == "no_microphone"
    assert "'headset'" in str(why("headset"))


def test_blocks_come_as_the_device_gives_them(monkeypatch: pytest.MonkeyPatch) -> None:
    given = list(blocks(sound()))[:5]
    monkeypatch.setitem(sys.modules, "sounddevice", package({RATE}, given))
    source = microphone()
    assert [next(source) for _ in given] == given


def test_a_device_of_another_rate_is_brought_to_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    wave = (8000 * np.sin(2 * np.pi * 440 * np.arange(48_000) / 48_000)).astype("<i2").tobytes()
    given = list(blocks(wave, 9600))
    monkeypatch.setitem(sys.modules, "sounddevice", package({48_000}, given))
    source = microphone()
    heard = np.frombuffer(b"".join(chain(next(source) for _ in given)), "<i2").astype(float)
    assert len(heard) == pytest.approx(RATE, rel=0.05)
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert np.fft.rfftfreq(len(heard), 1 / RATE)[spectrum.argmax()] == pytest.approx(440, abs=3)
