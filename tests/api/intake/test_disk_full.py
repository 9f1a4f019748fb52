"""A clip or photo that is on record is answered as such, whatever the disk does after that; it is read later."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from api.errors import WriteFailed
from api.intake import reader
from api.intake.reader import CaptureReader
from api.ledger.errors import file_not_written
from api.ledger.tables import CaptureRow
from api.server import reading_queue
from api.server.app import create_app
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines, at, clip, photo

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


def no_space(*_: Any, **__: Any) -> Any:
    raise file_not_written("evidence", OSError(errno.ENOSPC, "No space left on device"))


@contextmanager
def full_after_arrival() -> Iterator[None]:
    """Refuse what is written of a reading: the conclusion of a clip, the cut-out of a photo."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(CaptureReader, "_conclude", no_space)
        patch.setattr(reader, "store_derived", no_space)
        yield


def states(workspace: Workspace) -> list[str]:
    with workspace.database.read() as session:
        return list(session.exec(select(CaptureRow.state)).all())


def taken(visit: Visit, data: bytes, second: float) -> dict[str, Any]:
    return visit.workspace.intake.take(visit.job, data, at(second), f"c{second:.0f}")


@pytest.mark.parametrize("data", [clip(READING), photo("1.08", "Ohm")], ids=["clip", "photo"])
def test_what_is_on_record_is_answered_as_stored_and_read_later(visit: Visit, data: bytes) -> None:
    with full_after_arrival():
        answer = taken(visit, data, 1)
        again = taken(visit, data, 1)
    assert (answer["state"], answer["problem"], answer["repeated"]) == ("stored", None, False)
    assert "Stored, but not read yet" in answer["message"]
    assert "No space left on device" in answer["message"]
    assert (again["capture"], again["state"], again["repeated"]) == (answer["capture"], "stored", True)
    assert states(visit.workspace) == ["stored"]
    read = visit.workspace.intake.read_kept(answer["capture"], commands=False)
    assert (read["state"], read["proposals"][0]["value"]) == ("recognised", "1.08")
    assert visit.workspace.verify().intact


def test_a_command_that_was_only_stored_is_not_obeyed_later(visit: Visit) -> None:
    visit.say(READING)
    with full_after_arrival():
        answer = taken(visit, clip("confirm"), 50)
    read = visit.workspace.intake.read_kept(answer["capture"], commands=False)
    assert (read["records"], visit.records()) == ([], [])
    assert "was not obeyed" in read["message"]


def test_a_burst_on_record_is_answered_as_stored(visit: Visit) -> None:
    frames = [photo("1.08", "Ohm", salt=number) for number in range(3)]
    with full_after_arrival():
        answer = visit.workspace.intake.take_burst(visit.job, frames, at(1), "b1")
    assert (answer["state"], len(answer["burst"]["captures"])) == ("stored", 3)
    assert states(visit.workspace) == ["stored"] * 3
    read = visit.workspace.intake.take_burst(visit.job, frames, at(1), "b1")
    assert (read["state"], read["proposals"][0]["value"]) == ("recognised", "1.08")


def test_what_is_not_on_record_is_still_an_error(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.ledger.store.write_synced", no_space)
    with pytest.raises(WriteFailed):
        taken(visit, clip(READING), 1)
    assert states(visit.workspace) == []


@pytest.fixture
def client(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.setattr(reading_queue, "AGAIN_S", 0.2)
    workspace = Workspace.open(tmp_path / "data", engines=FakeEngines())
    visit = Visit(workspace)
    assert visit.job == "J1"
    with TestClient(create_app(workspace), base_url="http://localhost") as started:
        yield started


def send_clip(client: TestClient) -> Any:
    return client.post("/api/jobs/J1/evidence", files={"file": ("a.wav", clip(READING))}, data={"captured_at": at(1)})


def send_burst(client: TestClient) -> Any:
    return client.post("/api/jobs/J1/burst", files=[("files", ("a.png", photo("1.08", "Ohm", salt=n))) for n in (1, 2)])


@pytest.mark.parametrize("send", [send_clip, send_burst])
def test_the_server_answers_202_and_reads_when_the_disk_takes_it(
    client: TestClient, send: Callable[[TestClient], Any]
) -> None:
    with full_after_arrival():
        answer = send(client)
        assert (answer.status_code, answer.json()["state"]) == (202, "stored")
        where = answer.headers["location"]
        assert client.get(where).json()["state"] == "stored"
        time.sleep(0.5)  # it is tried again meanwhile, in vain
        assert client.get(where).json()["state"] == "stored"
    end = time.monotonic() + 20
    while client.get(where).json()["state"] == "stored" and time.monotonic() < end:
        time.sleep(0.05)
    assert client.get(where).json()["proposals"][0]["value"] == "1.08"


def test_listening_answers_as_stored_too(client: TestClient) -> None:
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as socket:
        with full_after_arrival():
            socket.send_json({"type": "start", "captured_at": at(1)})
            socket.send_bytes(clip(READING)[44:])
            socket.send_json({"type": "end"})
            while (answer := socket.receive_json())["type"] == "partial":
                pass
        assert (answer["type"], answer["state"]) == ("final", "stored")
    end = time.monotonic() + 20
    where = f"/api/captures/{answer['capture']}"
    while client.get(where).json()["state"] == "stored" and time.monotonic() < end:
        time.sleep(0.05)
    assert client.get(where).json()["state"] != "stored"
