"""Recognising processes may die, take too much or too long: only their own request is lost, and can be read again."""

from __future__ import annotations

import io
import os
import pickle
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from fastapi.testclient import TestClient

from api.intake import pool, pooled
from api.intake.errors import RecognitionStopped
from api.intake.pool import MOST_BYTES, processes_for
from api.intake.pooled import PooledEngines, seconds_for
from api.intake.worker import resident_bytes
from api.server.app import create_app
from api.workspace import Workspace
from capture.errors import CaptureError
from capture.reading import Context
from capture.speech.audio import load_clip
from capture.speech.errors import ClipTooLong, ModelIncomplete
from tests.api.intake.hungry import Hungry, nothing
from tests.api.makers import JOB, at, clip, photo

FIXTURES = Path(__file__).parents[3] / "fixtures" / "visit"
READING = "x ray axis through the cable a one to a two one point zero eight ohms"


@pytest.fixture(scope="module")
def hungry() -> Iterator[PooledEngines]:
    engines = PooledEngines(count=2, most=250_000_000, make=Hungry, warmed=nothing)
    yield engines
    engines.close()


@pytest.fixture(scope="module")
def real() -> Iterator[PooledEngines]:
    engines = PooledEngines(count=2)
    yield engines
    engines.close()


@pytest.fixture
def visit(hungry: PooledEngines, tmp_path: Path) -> Iterator[Workspace]:
    workspace = Workspace.open(tmp_path / "data", engines=hungry)
    workspace.create_job(JOB)
    yield workspace
    workspace.close()


def quiet_noise(seconds: int) -> bytes:
    out = io.BytesIO()
    noise = np.random.default_rng(seconds).normal(0, 3 / 32768, 16_000 * seconds)
    soundfile.write(out, noise, 16_000, format="FLAC", subtype="PCM_16")
    return out.getvalue()


@pytest.mark.parametrize("error", [ClipTooLong(seconds=61, most=60), ModelIncomplete(path=Path("m"), lacking=("a",))])
def test_an_error_passes_between_processes_with_its_facts(error: CaptureError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (str(again), again.code, vars(again)) == (str(error), error.code, vars(error))


def test_everything_works_through_the_processes(visit: Workspace) -> None:
    assert visit.take_clip("J1", clip(READING), at(1))["proposals"][0]["value"] == "1.08"
    seen = visit.take_photo("J1", photo("1.080", "Ohm"), at(2))
    assert seen["seen"]["displays"][0]["value"] == "1.080"
    assert visit.take_clip("J1", clip("noise"), at(3))["problem"]["code"] == "silent"
    assert visit.take_clip("J1", clip("crash"), at(4))["problem"]["code"] == "engine_failed"
    frames = [photo("1.080", "Ohm", salt=salt) for salt in range(3)]
    assert visit.intake.take_burst("J1", frames, at(5))["state"] == "recognised"


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ("die", "process ended"),
        ("eat", "more than 250 MB"),
        ("spin", "of processor time"),
        ("hang", "longer than"),
        ("gulp", "Memory"),
    ],
)
def test_what_kills_a_recognition_costs_only_that_one(
    visit: Workspace, monkeypatch: pytest.MonkeyPatch, words: str, part: str
) -> None:
    monkeypatch.setattr(pooled, "LEAST_S", 1.0 if words in ("spin", "hang") else 20.0)
    monkeypatch.setattr(pool, "PATIENCE", 4 if words == "hang" else 100)  # however busy the machine is
    answer = visit.take_clip("J1", clip(words), at(1))
    assert (answer["state"], answer["problem"]["code"]) == ("failed", "engine_failed")
    assert part in answer["problem"]["message"]
    assert "kept as evidence" in answer["problem"]["what_to_do"]
    assert visit.evidence.read(answer["sha256"]) == clip(words)
    assert visit.take_clip("J1", clip(READING), at(2))["proposals"][0]["value"] == "1.08"
    assert visit.intake.read_again(answer["capture"])["state"] == "failed", "it may be tried again"
    assert visit.verify().intact


def test_a_process_that_died_while_nobody_used_it_costs_nobody(visit: Workspace, hungry: PooledEngines) -> None:
    for worker in hungry.pool.workers:
        os.kill(worker.pid, signal.SIGKILL)
        worker._process.join()
    for second in range(4):
        assert visit.take_clip("J1", clip(READING, second), at(second))["state"] == "recognised"


def test_the_page_answers_while_all_processes_work(visit: Workspace) -> None:
    with TestClient(create_app(visit), base_url="http://localhost") as client, ThreadPoolExecutor(6) as pool:
        working = [pool.submit(visit.take_clip, "J1", clip("wait", second), at(second)) for second in range(4)]
        time.sleep(0.2)
        assert client.get("/").status_code == 200
        assert client.get("/api/jobs").status_code == 200
        assert not all(one.done() for one in working), "they answered meanwhile"
        assert {one.result(30)["state"] for one in working} == {"recognised"}


def test_a_listener_whose_process_dies_is_heard_from_the_file(visit: Workspace, hungry: PooledEngines) -> None:
    def pcm(words: str) -> bytes:
        return np.frombuffer(words.encode(), dtype=np.uint8).astype("<i2").tobytes()

    with (
        TestClient(create_app(visit), base_url="http://localhost") as client,
        client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line,
    ):
        line.send_bytes(pcm("x ray"))
        assert line.receive_json()["text"] == "x ray"
        line.send_bytes(pcm(" die"))
        line.send_json({"type": "end"})
        final = line.receive_json()
        # The stand-in reads WAV files only; what matters is that the file was kept and given to it.
        assert (final["type"], final["state"]) == ("final", "failed")
        line.send_bytes(pcm(READING))
        assert line.receive_json()["text"] == READING
    assert visit.evidence.read(final["sha256"]).startswith(b"fLaC")
    assert sum(len(worker.streams) for worker in hungry.pool.workers) == 0


def test_streams_are_forgotten_and_limited(hungry: PooledEngines) -> None:
    streams = [hungry.stream() for _ in range(16)]
    with pytest.raises(RecognitionStopped, match="too many"):
        hungry.stream()
    assert {len(worker.streams) for worker in hungry.pool.workers} == {8}
    del streams
    assert sum(len(worker.streams) for worker in hungry.pool.workers) == 0
    assert hungry.stream().accept(b"a\0") == "a"


def test_those_who_wait_are_served_in_order(hungry: PooledEngines) -> None:
    with ThreadPoolExecutor(8) as pool:
        working = [pool.submit(hungry.hear, clip("wait", number), Context()) for number in range(5)]
        time.sleep(0.3)
        assert hungry.pool.waiting == 3
        for one in working:
            one.result(30)
    assert hungry.pool.waiting == 0


def test_the_number_of_processes_follows_cores_and_memory() -> None:
    assert processes_for(8, 100 * MOST_BYTES) == 8
    assert processes_for(8, 4 * MOST_BYTES) == 2
    assert processes_for(1, 100 * MOST_BYTES) == 1
    assert processes_for(8, 0) == 1


def test_the_time_follows_the_length_that_the_header_names() -> None:
    assert seconds_for(quiet_noise(10)) == pytest.approx(30)
    assert seconds_for(b"no sound") == seconds_for(b"") == pytest.approx(80)


def test_the_real_model_killed_in_the_middle_of_a_clip(real: PooledEngines, tmp_path: Path) -> None:
    workspace = Workspace.open(tmp_path / "data", engines=real)
    workspace.create_job(JOB)
    said = sorted((FIXTURES / "clips").iterdir())[10].read_bytes()
    assert workspace.take_clip("J1", said, at(1))["proposals"], "it is loaded"
    sound = quiet_noise(58)

    def kill() -> None:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            time.sleep(0.5)  # in the middle: this clip takes seconds
            for worker in real.pool.workers:
                if worker.busy:
                    os.kill(worker.pid, signal.SIGKILL)
                    return

    killer = threading.Thread(target=kill)
    killer.start()
    answer = workspace.take_clip("J1", sound, at(2))
    killer.join()
    assert (answer["state"], answer["problem"]["code"]) == ("failed", "engine_failed")
    assert workspace.evidence.read(answer["sha256"]) == sound
    assert workspace.take_clip("J1", said, at(30))["state"] == "recognised"
    again = workspace.intake.read_again(answer["capture"])
    assert (again["state"], again["heard"]["text"]) == ("recognised", "")
    assert workspace.verify().intact
    workspace.close()


def test_a_real_stream_hears_what_the_file_says(real: PooledEngines) -> None:
    data = sorted((FIXTURES / "clips").iterdir())[10].read_bytes()
    pcm = load_clip(data).pcm
    stream: Any = real.stream()
    partials = [stream.accept(pcm[start : start + 3200]) for start in range(0, len(pcm), 3200)]
    assert any(partials)
    assert stream.finish(Context()).readings == real.hear(data, Context()).readings
    assert all(resident_bytes(worker.pid) < MOST_BYTES for worker in real.pool.workers)
