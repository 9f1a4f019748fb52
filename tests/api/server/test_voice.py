"""The voice of the server: sound for a sentence, whatever the sentence looks like."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator

import pytest
import soundfile
from fastapi.testclient import TestClient

from api.server.app import create_app
from api.server.voice import LONGEST_TEXT
from tests.api.conftest import Visit


@pytest.fixture
def client(visit: Visit) -> Iterator[TestClient]:
    with TestClient(create_app(visit.workspace), base_url="http://localhost") as opened:
        yield opened


@pytest.mark.parametrize("text", ["Z motor U, one point eight gig. Right?", "--help", "-o /etc/passwd", "a\x00b"])
def test_a_sentence_becomes_sound(client: TestClient, text: str) -> None:
    """Speak what looks like an option or a file name as words, and touch no file."""
    answer = client.get("/api/voice", params={"text": text})
    assert answer.status_code == 200, answer.text
    sound, rate = soundfile.read(io.BytesIO(answer.content))
    assert len(sound) / rate > 0.2
    assert client.get("/api/voice", params={"text": text}).content == answer.content


def test_too_much_and_nothing_are_refused(client: TestClient) -> None:
    assert client.get("/api/voice", params={"text": "a" * (LONGEST_TEXT + 1)}).status_code == 422
    assert client.get("/api/voice", params={"text": ""}).status_code == 422


def test_where_nothing_can_speak_it_is_said(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    answer = client.get("/api/voice", params={"text": "not spoken before"})
    assert (answer.status_code, answer.json()["code"]) == (503, "no_voice")


def test_the_dialogue_is_the_same_for_every_tab(client: TestClient, visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation set five hundred volts")
    state = client.get(f"/api/jobs/{visit.job}/dialogue").json()
    assert (state["state"], len(state["questions"]), state["questions"][0]["step"]) == (
        "asking",
        12,
        "sources_identified",
    )
    body = {"reason": "another_person", "name": "Technician 8"}
    assert client.post(f"/api/jobs/{visit.job}/lockout", json=body).status_code == 201
    visit.say("yes")
    rows = client.get(f"/api/jobs/{visit.job}/axes/X/safety").json()["steps"]
    assert rows[0]["answer"]["by"] == "Technician 8"


def test_a_folder_from_before_there_was_a_queue_is_read() -> None:
    from api.dialogue.events import Value, ValueQuestion
    from api.dialogue.standing import standing_from_json

    found = standing_from_json([["J1-P1", 2]]).state.questions
    assert found == (ValueQuestion((Value("J1-P1", 2),)),)
    assert standing_from_json([]).state.questions == ()
