"""Listening live: partial words, the same answer as for a clip, and a connection that may be lost anywhere."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
import soundfile
from fastapi.testclient import TestClient
from sqlmodel import select
from starlette.websockets import WebSocketDisconnect

from api.ledger.tables import CaptureRow
from api.server.app import create_app
from api.server.routes.listen import MAX_FRAME
from api.workspace import Workspace
from capture.reading import Context, Utterance
from capture.speech.encoder import flac
from capture.speech.errors import SpeechEngineFailed
from tests.api.makers import JOB, FakeStream, at

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    workspace.create_job(JOB)
    with TestClient(create_app(workspace), base_url="http://localhost") as opened:
        yield opened


def pcm(words: str) -> bytes:
    """Make samples that spell the words, with a second of silence behind."""
    spelt = np.frombuffer(words.encode(), dtype=np.uint8).astype("<i2").tobytes()
    return spelt + bytes(32_000)


def captures(workspace: Workspace) -> list[CaptureRow]:
    with workspace.database.read() as session:
        return list(session.exec(select(CaptureRow)).all())


def finish(line: Any) -> dict[str, Any]:
    """Receive the next message that is no partial one."""
    while True:
        message: dict[str, Any] = line.receive_json()
        if message["type"] != "partial":
            return message


def test_words_come_while_speaking_and_the_answer_at_the_end(client: TestClient, workspace: Workspace) -> None:
    sound = pcm(READING)
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_json({"type": "start", "captured_at": at(10)})
        line.send_bytes(sound[:40])
        assert line.receive_json() == {"type": "partial", "text": READING[:20]}
        line.send_bytes(sound[40:])
        line.send_json({"type": "end"})
        final = finish(line)
        assert (final["type"], final["heard"]["text"]) == ("final", READING)
        assert final["message"].endswith("Right?")
        line.send_bytes(pcm("confirm"))
        line.send_json({"type": "end"})
        assert finish(line)["records"][0]["value"] == "1.08"
    first = captures(workspace)[0]
    assert (first.state, first.captured_at) == ("recognised", at(10))
    samples, rate = soundfile.read(io.BytesIO(workspace.evidence.read(first.sha256)), dtype="int16")
    assert rate == 16_000
    assert samples.astype("<i2").tobytes() == sound, "what is kept is what was received, sample by sample"
    assert workspace.verify().intact


@pytest.mark.parametrize("tenth", range(1, 10))
def test_a_line_that_breaks_anywhere_keeps_what_came_and_confirms_nothing(
    client: TestClient, workspace: Workspace, tenth: int
) -> None:
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_bytes(pcm(READING))
        line.send_json({"type": "end"})
        finish(line)
    sound = pcm("confirm") + bytes(8_000)
    part = sound[: len(sound) * tenth // 10 - tenth % 2]  # every second one ends in mid-sample
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_bytes(part)
        assert line.receive_json() == {"type": "partial", "text": "confirm"}
    kept = captures(workspace)[1:]
    if len(part) < 16_000:
        assert kept == []
        return
    assert [capture.state for capture in kept] == ["cut"]
    samples, _ = soundfile.read(io.BytesIO(workspace.evidence.read(kept[0].sha256)), dtype="int16")
    assert samples.astype("<i2").tobytes() == part[: len(part) // 2 * 2]
    answer = client.get("/api/jobs/J1/records").json()
    assert answer == []
    assert client.get("/api/verify").json()["result"] == "intact"


def test_hands_free_the_end_of_speech_ends_the_utterance(
    client: TestClient, workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    class EndsBySilence(FakeStream):
        def accept(self, samples: bytes) -> str:
            self.ended = len(samples) >= 32_000 and not any(samples[-32_000:])
            return super().accept(samples)

    monkeypatch.setattr(type(workspace.engines), "stream", lambda *_: EndsBySilence())
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_json({"type": "start", "hands_free": True})
        line.send_bytes(pcm(READING))
        assert finish(line)["proposals"][0]["value"] == "1.08"
        line.send_bytes(pcm("confirm"))
        assert len(finish(line)["records"]) == 1


def test_a_recogniser_that_fails_while_listening_is_made_good_from_the_file(
    client: TestClient, workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Fails(FakeStream):
        def accept(self, samples: bytes) -> str:
            raise SpeechEngineFailed(cause="it broke")

    heard: list[bytes] = []

    def hear(_: object, data: bytes, context: Context) -> Utterance:
        heard.append(data)
        stream = FakeStream()
        samples, _rate = soundfile.read(io.BytesIO(data), dtype="int16")
        stream.accept(samples.astype("<i2").tobytes())
        return stream.finish(context)

    monkeypatch.setattr(type(workspace.engines), "stream", lambda *_: Fails())
    monkeypatch.setattr(type(workspace.engines), "hear", hear)
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_bytes(pcm(READING))
        line.send_json({"type": "end"})
        assert finish(line)["proposals"][0]["value"] == "1.08"
    assert heard == [flac(pcm(READING))]


def test_messages_that_are_none(client: TestClient) -> None:
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        for text, code in (
            ("no json", "bad_message"),
            ("[]", "bad_message"),
            ('{"type": "dance"}', "bad_message"),
            ('{"type": "start", "captured_at": "yesterday"}', "bad_time"),
            ('{"type": "end"}', "no_sound"),
        ):
            line.send_text(text)
            message = line.receive_json()
            assert (message["type"], message["code"]) == ("error", code)
            assert message["what_to_do"]


def test_a_frame_that_is_too_large_ends_the_utterance_and_loses_nothing(
    client: TestClient, workspace: Workspace
) -> None:
    with client.websocket_connect("ws://localhost/api/jobs/J1/listen") as line:
        line.send_bytes(pcm(READING))
        assert line.receive_json()["type"] == "partial"
        line.send_bytes(bytes(MAX_FRAME + 2))
        assert line.receive_json()["type"] == "final"
        assert line.receive_json()["code"] == "too_long"
    assert [capture.state for capture in captures(workspace)] == ["recognised"]


def test_an_unknown_job_and_a_foreign_page_get_no_line(client: TestClient) -> None:
    with client.websocket_connect("ws://localhost/api/jobs/J9/listen") as line:
        assert line.receive_json()["code"] == "no_such_job"
        with pytest.raises(WebSocketDisconnect):
            line.receive_json()
    for headers in ({"host": "rebound.example"}, {"origin": "https://elsewhere.example"}):
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect("ws://localhost/api/jobs/J1/listen", headers=headers),
        ):
            pass
