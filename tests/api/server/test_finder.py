"""The finder's route: what a frame is answered with, what is refused, and that nothing is kept of it."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient
from PIL import Image

from api.intake import pooled
from api.intake.errors import RecognisersBusy, RecognitionStopped
from api.intake.pooled import PooledEngines
from api.server.app import create_app
from api.server.routes.finder import MOST_BYTES
from api.workspace import Workspace
from capture.display.aim import Aim, Hint
from capture.reading import Context
from tests.api.intake.hungry import Hungry, nothing
from tests.api.makers import JOB, clip
from tests.capture.display.hostile import FILES

PHOTO = Path(__file__).parents[3] / "fixtures" / "visit" / "photos" / "p06.jpg"
JPEG = {"content-type": "image/jpeg"}
LOADING_S = 3.0


def slow_to_load(_engines: object) -> None:
    """Take as long as a large model on a slow disk."""
    time.sleep(LOADING_S)


def frame(width: int = 768) -> bytes:
    """Make of a demo photo what the page sends of it."""
    out = io.BytesIO()
    with Image.open(PHOTO) as picture:
        picture.resize((width, width * picture.height // picture.width)).save(out, "JPEG", quality=70)
    return out.getvalue()


def awake(engines: PooledEngines) -> None:
    """Wait until all processes have loaded what they load: before that a frame is told that they are busy."""
    until(lambda: all(worker.is_ready() for worker in engines.pool.workers))


def until(so: Callable[[], bool]) -> None:
    """Wait until it is so."""
    end = time.monotonic() + 60
    while not so():
        assert time.monotonic() < end
        time.sleep(0.005)


def engines(workspace: Workspace) -> PooledEngines:
    assert isinstance(workspace.engines, PooledEngines)
    return workspace.engines


@pytest.fixture
def hungry() -> Iterator[PooledEngines]:
    found = PooledEngines(count=2, most=250_000_000, make=Hungry, warmed=nothing)
    yield found
    found.close()


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """Open a workspace whose recognisers are processes of their own, as those of the server are."""
    engines = PooledEngines(count=2, second_opinion=False)
    opened = Workspace.open(tmp_path_factory.mktemp("finder") / "data", engines=engines)
    opened.create_job(JOB)
    yield opened
    opened.close()
    engines.close()


@pytest.fixture(scope="module")
def client(real: Workspace) -> Iterator[TestClient]:
    with TestClient(create_app(real), base_url="http://localhost") as opened:
        awake(engines(real))
        yield opened


def test_a_frame_is_answered_with_place_and_hint_and_nothing_is_kept(client: TestClient, real: Workspace) -> None:
    entries = client.get("/api/jobs/J1/trail").json()["entries"]
    answer = client.post("/api/finder?width=1600", content=frame(), headers=JPEG)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert (found["code"], found["words"]) == ("good", "Display framed")
    (left, top), _, (right, foot), _ = found["corners"]
    assert 0 < left < right < 1
    assert 0 < top < foot < 1
    assert 0 < found["digits"] < foot - top
    assert all(0 <= found[name] <= 1 for name in ("sharpness", "brightness", "glare"))
    assert client.get("/api/jobs/J1/trail").json()["entries"] == entries
    assert not [path for path in (real.folder / "evidence").rglob("*") if path.is_file()]


@pytest.mark.parametrize("name", [name for name, (_, code) in FILES.items() if code.startswith("photo_")])
def test_hostile_frames_are_refused_with_a_sentence(client: TestClient, name: str) -> None:
    data = FILES[name][0]()
    answer = client.post("/api/finder?width=1600", content=data, headers=JPEG)
    assert answer.status_code in ((413,) if len(data) > MOST_BYTES else (409, 422)), answer.text
    if answer.status_code == 409:
        assert answer.json()["code"].startswith("photo_")
        assert "without the finder" in answer.json()["what_to_do"]
    assert client.post("/api/finder?width=1600", content=frame(), headers=JPEG).json()["code"] == "good"


@pytest.mark.parametrize("width", ["", "?width=0", "?width=wide", "?width=99999"])
def test_how_wide_a_photo_would_be_is_needed(client: TestClient, width: str) -> None:
    assert client.post(f"/api/finder{width}", content=frame(), headers=JPEG).status_code == 422


def test_a_frame_is_small(client: TestClient) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (900, 900, 3), np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG", quality=95)
    assert len(out.getvalue()) > MOST_BYTES
    assert client.post("/api/finder?width=1600", content=out.getvalue(), headers=JPEG).status_code == 413


def test_processes_that_still_load_are_busy_and_nobody_waits_for_them() -> None:
    found = PooledEngines(count=1, make=Hungry, warmed=slow_to_load)
    try:
        begun = time.monotonic()
        with pytest.raises(RecognisersBusy):
            found.aim(b"frame", 768)
        assert time.monotonic() - begun < LOADING_S
        awake(found)
        assert found.aim(b"frame", 768) == Aim(Hint.GOOD)
    finally:
        found.close()


def test_one_process_is_left_for_whoever_comes_next(hungry: PooledEngines) -> None:
    """While a clip is heard the other process stays free for the next capture; a frame is answered at once."""
    awake(hungry)
    hearing = threading.Thread(target=hungry.hear, args=(clip("wait"), Context()))
    hearing.start()
    until(lambda: any(worker.busy for worker in hungry.pool.workers))
    with pytest.raises(RecognisersBusy):
        hungry.aim(b"frame", 768)
    assert hearing.is_alive(), "answered before the clip was"
    hearing.join()
    assert hungry.aim(b"frame", 768) == Aim(Hint.GOOD)


def test_who_waits_goes_before_a_frame() -> None:
    """While a clip waits for the only process no frame is looked at, neither before it nor in its place."""
    found = PooledEngines(count=1, make=Hungry, warmed=nothing)
    try:
        awake(found)
        hearing = [threading.Thread(target=found.hear, args=(clip("wait", n), Context())) for n in range(2)]
        hearing[0].start()
        until(lambda: found.pool.workers[0].busy)
        hearing[1].start()
        until(lambda: found.pool.waiting == 1)
        refused = 0
        while found.pool.waiting:  # once it waits no more it is heard, for a second
            with pytest.raises(RecognisersBusy):
                found.aim(b"frame", 768)
            refused += 1
        assert refused
        for one in hearing:
            one.join()
        assert found.aim(b"frame", 768) == Aim(Hint.GOOD)
    finally:
        found.close()


@pytest.mark.parametrize("data", [b"spin", b"die"])
def test_a_frame_that_kills_its_process_costs_nobody_else(
    hungry: PooledEngines, data: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pooled, "AIM_S", 0.5)
    awake(hungry)
    with pytest.raises(RecognitionStopped):
        hungry.aim(data, 768)
    assert hungry.hear(clip("one two"), Context()).heard.text == "one two"
    awake(hungry)
    assert hungry.aim(b"frame", 768) == Aim(Hint.GOOD)


def test_busy_is_an_answer_and_no_failure(tmp_path: Path, hungry: PooledEngines) -> None:
    awake(hungry)
    workspace = Workspace.open(tmp_path / "data", engines=hungry)
    with TestClient(create_app(workspace), base_url="http://localhost") as opened:
        for worker in hungry.pool.workers:
            worker.busy = True
        answer = opened.post("/api/finder?width=1600", content=frame(), headers=JPEG)
        for worker in hungry.pool.workers:
            worker.busy = False
        assert (answer.status_code, answer.json()["code"], answer.json()["corners"]) == (200, "busy", None)
        assert opened.post("/api/finder?width=1600", content=frame(), headers=JPEG).json()["code"] == "good"
