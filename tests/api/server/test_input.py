"""What people type, and numbers: refused with a sentence where it cannot be shown or stored, wherever it is sent."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.server.app import create_app
from api.visit.plain_text import check_line
from api.workspace import Workspace
from tests.api.makers import JOB, clip

REFUSED = ["\0", "\n", "\r", "\t", "\x1b", "\x7f", "\x85", "\u200e", "\u202a", "\u202e", "\u2066", "\u2069",
           "\u2028", "\ud800", "\uffff"]  # fmt: skip
"""One of each kind: control characters, marks that turn the direction, separators, half characters, none at all."""


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    workspace.create_job(JOB)
    with TestClient(create_app(workspace), base_url="http://localhost", raise_server_exceptions=False) as opened:
        yield opened


def as_json(value: Any) -> bytes:
    """Write JSON with every character beyond ASCII escaped, half ones included."""
    import json

    return json.dumps(value).encode()


PROFILE = {"display": {"digits": 4}}
PLACES: dict[str, Callable[[str], tuple[str, str, Any]]] = {
    "title": lambda text: ("POST", "/api/jobs", {**JOB, "title": text}),
    "note of an axis": lambda text: ("POST", "/api/jobs", {**JOB, "axes": [{**JOB["axes"][0], "note": text}]}),
    "name of an instrument": lambda text: (
        "POST", "/api/jobs", {**JOB, "instruments": [{**JOB["instruments"][0], "name": text}]}
    ),
    "name of a field": lambda text: ("POST", "/api/jobs", {**JOB, text: 1}),
    "position": lambda text: ("POST", "/api/jobs/J1/typed", {"value": "1", "position": text}),
    "field of a reading": lambda text: ("POST", "/api/jobs/J1/typed", {"value": text}),
    "unknown field": lambda text: ("POST", "/api/jobs/J1/typed", {text: "1"}),
    "note of a step": lambda text: (
        "POST", "/api/jobs/J1/axes/X/safety", {"step": "locked_out", "answer": "yes", "note": text}
    ),
    "profile by name": lambda text: ("PUT", "/api/jobs/J1/instruments/MM-11/profile", text),
    "profile written out": lambda text: ("PUT", "/api/jobs/J1/instruments/MM-11/profile", {"title": text}),
    "profile in a description": lambda text: (
        "POST", "/api/jobs", {**JOB, "instruments": [{**JOB["instruments"][0], "display_profile": {"title": text}}]}
    ),
    "time": lambda text: ("POST", "/api/jobs/J1/typed", {"value": "1", "captured_at": text}),
}  # fmt: skip


@pytest.mark.parametrize("place", PLACES)
def test_text_that_cannot_be_shown_is_refused_with_its_place(client: TestClient, place: str) -> None:
    before = client.get("/api/jobs").content
    for character in REFUSED:
        method, path, body = PLACES[place](f"left{character}right")
        answer = client.request(method, path, content=as_json(body), headers={"content-type": "application/json"})
        assert 400 <= answer.status_code < 500, (character, answer.text)
        assert set(answer.json()) == {"code", "message", "what_to_do"}
        assert answer.json()["message"].endswith(".")
    assert client.get("/api/jobs").content == before


def test_the_sentence_names_character_and_place(client: TestClient) -> None:
    answer = client.post("/api/jobs", json={**JOB, "title": "Ground\u202efault"}).json()
    assert "title" in answer["message"]
    assert "Character 7 (U+202E)" in answer["message"]


@pytest.mark.parametrize("text", ["Ωµ°±²", "Пётр", "山田", "מכונה", "ماكينة", "naïve – “quoted” …", "🔧", ""])
def test_text_of_any_language_passes(text: str) -> None:
    assert check_line(text) == text


@pytest.mark.parametrize("character", REFUSED[:-2])
def test_odd_characters_in_an_address_find_nothing(client: TestClient, character: str) -> None:
    from urllib.parse import quote

    odd = quote(f"J1{character}")
    for path in (f"/api/jobs/{odd}", f"/api/evidence/{odd}", f"/api/captures/{odd}", f"/page/{odd}",
                 f"/api/jobs/J1/axes/{odd}/safety", f"/api/jobs/J1/instruments/{odd}/profile"):  # fmt: skip
        answer = client.get(path)
        assert (answer.status_code, set(answer.json())) == (404, {"code", "message", "what_to_do"}), path
    fields = {"captured_at": f"2026-11-24T08:30:00+00:00{character}"}
    sent = client.post("/api/jobs/J1/evidence", files={"file": ("x", clip("x"))}, data=fields)
    assert 400 <= sent.status_code < 500
    named = client.post("/api/jobs/J1/evidence", files={"file": ("x", clip("x"))}, data={"client_id": f"a{character}"})
    assert 400 <= named.status_code < 500


@pytest.mark.parametrize(
    "digits",
    [str(2**63), str(-(2**63) - 1), "1" + "0" * 30, "1" + "0" * 5000],
    ids=lambda digits: f"{len(digits)} digits",
)
def test_numbers_beyond_what_can_be_stored(client: TestClient, digits: str) -> None:
    json = {"content-type": "application/json"}
    answers = [
        client.get(f"/api/jobs/J1/trail?after={digits}"),
        client.get(f"/api/jobs/J1/trail?limit={digits}"),
        client.post("/api/proposals/J1-P1/confirm", content=f'{{"revision": {digits}}}', headers=json),
        client.post("/api/proposals/J1-P1/choose", content=f'{{"index": {digits}}}', headers=json),
        client.post("/api/jobs", content=as_json(JOB)[:-1] + f', "air_c": {digits}}}'.encode(), headers=json),
        client.post("/api/jobs", content=as_json(JOB)[:-1] + f', "made": {digits}}}'.encode(), headers=json),
    ]
    for answer in answers:
        assert 400 <= answer.status_code < 500, answer.text
        assert answer.json()["message"].endswith(".")
