"""The JSON routes over HTTP: what each gives, what each refuses, and that every refusal says what to do."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.dialogue.desk import JobDesk
from api.ledger.evidence import MAX_BYTES
from api.server.app import MAX_BODY, create_app
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from tests.api.makers import JOB, at, clip, photo

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    with TestClient(create_app(workspace), base_url="http://localhost", raise_server_exceptions=False) as opened:
        yield opened


@pytest.fixture
def job(client: TestClient) -> str:
    return str(client.post("/api/jobs", json=JOB).json()["id"])


def send(client: TestClient, job: str, data: bytes, **fields: str) -> Any:
    return client.post(f"/api/jobs/{job}/evidence", files={"file": ("x", io.BytesIO(data))}, data=fields)


def test_a_job_is_made_once_corrected_and_closed_over_http(client: TestClient) -> None:
    key = {"Idempotency-Key": "press-0001"}
    first, again = (client.post("/api/jobs", json=JOB, headers=key) for _ in range(2))
    assert (first.status_code, again.status_code, first.json()) == (201, 201, again.json())
    assert client.post("/api/jobs", json={**JOB, "title": "B"}, headers=key).status_code == 409
    assert [found["id"] for found in client.get("/api/jobs").json()] == ["J1"]
    wrong = client.post("/api/jobs", json={**JOB, "axes": [{"name": "?"}]}).json()
    assert list(wrong["error"]["fields"] if "error" in wrong else wrong["fields"]) == ["axes.0.name"]
    given = client.get("/api/jobs/J1/description").json()
    given["description"]["axes"][0]["motor_kind"] = "spindle"
    for _ in range(2):  # an answer that was lost
        edited = client.post("/api/jobs/J1/description", json=given, headers={"Idempotency-Key": "press-0002"})
        assert edited.status_code == 200, edited.text
    assert [change["after"] for change in edited.json()["changes"]] == [{"motor_kind": "spindle"}]
    files = {"file": ("plate", io.BytesIO(photo("1.08", "Ohm")))}
    plate = client.post("/api/jobs/J1/pictures", files=files, data={"use": "motor_plate", "subject": "X"})
    assert plate.status_code == 201, plate.text
    assert [one["subject_id"] for one in client.get("/api/jobs/J1/pictures").json()] == ["J1-X"]
    assert client.get("/api/jobs/J1/proposals").json() == []
    assert client.post("/api/jobs/J1/state", json={"move": "close"}).json()["state"] == "closed"
    assert send(client, "J1", clip(READING)).json()["error" if "error" in wrong else "code"]
    assert client.post("/api/jobs/J1/state", json={"move": "archive"}).json()["state"] == "archived"
    assert client.get("/api/jobs").json() == []
    assert [found["id"] for found in client.get("/api/jobs", params={"archived": "true", "q": "x"}).json()] == ["J1"]


def test_a_whole_visit_over_http(client: TestClient, job: str) -> None:
    assert [found["id"] for found in client.get("/api/jobs").json()] == [job]
    shown = client.get(f"/api/jobs/{job}").json()
    assert [axis["name"] for axis in shown["axes"]] == ["X", "Y"]
    assert shown["next"].startswith("Next: X-ray axis")
    assert shown["next_point"]["axis"] == "X"
    asked = send(client, job, clip(READING), captured_at=at(10)).json()
    assert asked["heard"]["text"] == READING
    assert asked["proposals"][0]["read_back"].endswith("Right?")
    seen = send(client, job, photo("1.080", "Ohm"), captured_at=at(20)).json()
    [proposal] = client.get(f"/api/jobs/{job}/proposals", params={"state": "open"}).json()
    assert proposal == seen["proposals"][0]
    done = client.post(f"/api/proposals/{proposal['id']}/confirm", json={"revision": proposal["revision"]}).json()
    [record] = client.get(f"/api/jobs/{job}/records").json()
    assert record["id"] == done["records"][0]["id"]
    assert record["status"] == "current"
    assert client.get(f"/api/jobs/{job}/findings").json()["axes"][0]["axis"] == "X"
    kept = client.post(f"/api/jobs/{job}/findings").json()
    assert len(kept["sha256"]) == 64
    trail = client.get(f"/api/jobs/{job}/trail").json()
    assert [entry["what"] for entry in trail["entries"]][-1] == "graded"
    assert client.get(f"/api/jobs/{job}/trail", params={"after": trail["head"]["seq"]}).json()["entries"] == []
    assert client.post(f"/api/records/{record['id']}/withdraw").json()["withdrawn"] == [record["id"]]
    assert client.get(f"/api/jobs/{job}/records", params={"current": "true"}).json() == []
    none_yet = client.get(f"/api/jobs/{job}/report")
    assert (none_yet.status_code, none_yet.json()["code"]) == (404, "no_report")
    made = client.post(f"/api/jobs/{job}/report")
    assert made.status_code == 201
    report = client.get(f"/api/jobs/{job}/report")
    assert report.headers["content-type"].startswith("text/html")
    assert report.headers["x-report-sha256"] == made.json()["sha256"]
    assert client.post(f"/api/jobs/{job}/report").json() == made.json(), "nothing happened since"
    assert client.get(f"/api/jobs/{job}/report").content == report.content
    assert client.get("/api/verify").json()["result"] == "intact"


def test_each_form_of_the_report_over_http(client: TestClient, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert client.get(f"/api/jobs/{job}/report", params={"as": "pdf"}).json()["code"] == "no_report"
    for form, paper, name, starts in (
        ("pdf", "letter", "report-J1-letter.pdf", b"%PDF-1.7"),
        ("short", "a4", "report-J1-short.txt", b"Servo axis"),
        ("csv", "a4", "report-J1.csv", b"\xef\xbb\xbfreport,"),
    ):
        made = client.post(f"/api/jobs/{job}/report", params={"as": form, "paper": paper})
        assert made.status_code == 201, made.text
        given = client.get(made.json()["address"])
        assert given.content.startswith(starts)
        assert name in given.headers["content-disposition"]
        assert hashlib.sha256(given.content).hexdigest() == made.json()["sha256"]
    assert client.post(f"/api/jobs/{job}/report", params={"as": "docx"}).status_code in (400, 422)
    assert client.post("/api/jobs/J9/report", params={"as": "pdf"}).json()["code"] == "no_such_job"
    monkeypatch.setattr("api.server.report_process.MOST_S", 0.0)
    stopped = client.post(f"/api/jobs/{job}/report", params={"as": "pdf"})
    assert (stopped.status_code, stopped.json()["code"]) == (503, "report_stopped")
    assert client.get("/api/verify").json()["result"] == "intact"


def test_safety_over_http(client: TestClient, job: str) -> None:
    before = client.get(f"/api/jobs/{job}/axes/x/safety").json()
    assert len(before["open"]) == len(STEPS)
    answer = {"step": "bus_discharged", "answer": "yes", "value": "61", "captured_at": at(1)}
    after = client.post(f"/api/jobs/{job}/axes/X/safety", json=answer).json()
    assert "bus_discharged" in after["open"]  # domain TV-A09: 61 V on the bus does not open the gate (program's rule)
    after = client.post(f"/api/jobs/{job}/axes/X/safety", json={**answer, "value": "12"}).json()
    assert "bus_discharged" not in after["open"]
    wrong = client.post(f"/api/jobs/{job}/axes/X/safety", json={"step": "nonsense", "answer": "yes"})
    assert (wrong.status_code, wrong.json()["code"]) == (400, "no_such_step")
    for step in STEPS[:-1]:
        client.post(f"/api/jobs/{job}/axes/X/safety", json={"step": step.id, "answer": "yes", "value": "3"})
    insulation = {"quantity": "insulation_resistance", "value": "550", "unit": "MOhm", "axis": "X"}
    client.post(f"/api/jobs/{job}/typed", json={**insulation, "section": "motor_alone", "test_voltage_set": "500"})
    refused = client.post(f"/api/proposals/{job}-P1/confirm", json={"revision": 1})
    assert (refused.status_code, refused.json()["code"]) == (409, "safety_open")
    told = [entry["what"] for entry in client.get(f"/api/jobs/{job}/trail").json()["entries"]]
    assert told[-2:] == ["confirm refused", "asked"]  # what is missing is asked at once
    client.post(f"/api/jobs/{job}/axes/X/safety", json={"step": STEPS[-1].id, "answer": "yes"})
    assert client.post(f"/api/proposals/{job}-P1/confirm", json={"revision": 1}).status_code == 200


def test_meter_not_proved_afterwards_keeps_the_gate_shut(client: TestClient, job: str) -> None:
    """Refuse with the bus at 12 V, meter proved before but not after (live-dead-live, NFPA 70E 120.5; TV-A10)."""
    for step in STEPS:
        answer = "no" if step.id == "meter_proved_after" else "yes"
        client.post(f"/api/jobs/{job}/axes/X/safety", json={"step": step.id, "answer": answer, "value": "12"})
    assert client.get(f"/api/jobs/{job}/axes/X/safety").json()["open"] == ["meter_proved_after"]


def test_evidence_comes_back_byte_for_byte_and_in_parts(client: TestClient, job: str) -> None:
    data = clip(READING)
    sha256 = send(client, job, data).json()["sha256"]
    known = client.get(f"/api/evidence/{sha256}").json()
    assert (known["media_type"], known["kind"], known["size"]) == ("audio/wav", "clip", len(data))
    assert known["captures"][0]["outcome"]["heard"]["text"] == READING
    whole = client.get(f"/api/evidence/{sha256}/content")
    assert whole.content == data
    assert whole.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in whole.headers["content-security-policy"]
    assert whole.headers["content-disposition"].startswith("inline")
    part = client.get(f"/api/evidence/{sha256}/content", headers={"range": "bytes=10-19"})
    assert (part.status_code, part.content) == (206, data[10:20])
    assert client.get(f"/api/evidence/{sha256}/content", headers={"range": "bytes=999999-"}).status_code == 416


def test_what_is_no_photo_or_clip_is_kept_and_offered_for_download_only(client: TestClient, job: str) -> None:
    answer = send(client, job, b"<html><script>alert(1)</script></html>").json()
    assert (answer["state"], answer["problem"]["code"]) == ("failed", "unknown_type")
    content = client.get(f"/api/evidence/{answer['sha256']}/content")
    assert content.headers["content-type"] == "application/octet-stream"
    assert content.headers["content-disposition"].startswith("attachment")


def test_the_same_sending_counts_once(client: TestClient, job: str) -> None:
    first = send(client, job, clip(READING), client_id="a1").json()
    again = send(client, job, clip(READING), client_id="a1").json()
    assert again == {**first, "repeated": True}
    clash = send(client, job, clip("confirm"), client_id="a1")
    assert (clash.status_code, clash.json()["code"]) == (409, "same_id_other_bytes")
    timed = send(client, job, clip("confirm"), captured_at=at(5)).json()
    assert send(client, job, clip("confirm"), captured_at=at(5)).json()["capture"] == timed["capture"]
    assert send(client, job, clip("confirm"), captured_at=at(6)).json()["capture"] != timed["capture"]
    assert client.get("/api/verify").json()["result"] == "intact"


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "code"),
    [
        ("GET", "/api/jobs/J9", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J9/records", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J9/proposals", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J9/findings", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J9/trail", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J9/report", None, 404, "no_such_job"),
        ("POST", "/api/jobs/J9/report", None, 404, "no_such_job"),
        ("GET", "/api/jobs/J1/report", None, 404, "no_report"),
        ("GET", "/api/captures/J1-C9", None, 404, "no_such_capture"),
        ("GET", "/api/jobs/J1/axes/Q/safety", None, 404, "no_such_axis"),
        ("GET", "/api/evidence/" + "0" * 64, None, 404, "no_such_file"),
        ("GET", "/api/evidence/" + "0" * 64 + "/content", None, 404, "no_such_file"),
        ("GET", "/api/evidence/..%2f..%2fetc%2fpasswd", None, 404, None),
        ("GET", "/api/evidence/xyz/content", None, 404, "no_such_file"),
        ("GET", "/api/nothing", None, 404, "http_404"),
        ("DELETE", "/api/jobs", None, 405, "http_405"),
        ("POST", "/api/jobs", {}, 400, "bad_job"),
        ("POST", "/api/jobs", {**JOB, "axes": [{"name": "X", "motor_kind": "steam"}]}, 400, "bad_job"),
        ("POST", "/api/jobs", {**JOB, "colour": "red"}, 400, "bad_job"),
        ("POST", "/api/jobs", {**JOB, "axes": JOB["axes"] * 2}, 400, "bad_job"),
        ("POST", "/api/jobs", {**JOB, "air_c": "warm"}, 400, "bad_job"),
        ("POST", "/api/jobs", [1], 422, "bad_request"),
        ("POST", "/api/proposals/J1-P9/confirm", {"revision": 1}, 404, "no_such_proposal"),
        ("POST", "/api/proposals/J1-P9/confirm", {}, 422, "bad_request"),
        ("POST", "/api/proposals/J1-P9/choose", {"index": -1}, 422, "bad_request"),
        ("POST", "/api/records/J1-R9/withdraw", {}, 404, "no_such_record"),
        ("POST", "/api/captures/J1-C9/read", None, 404, "no_such_capture"),
        ("POST", "/api/jobs/J1/typed", {"value": "1e5", "unit": "Ohm"}, 400, "bad_value"),
        ("POST", "/api/jobs/J1/typed", {"value": "1", "unit": "MOHM"}, 400, "bad_value"),
        (
            "POST",
            "/api/jobs/J1/typed",
            {"value": "1", "unit": "V", "quantity": "continuity"},
            400,
            "unit_does_not_fit",
        ),
        ("POST", "/api/jobs/J1/typed", {"value": "1", "captured_at": "yesterday"}, 400, "bad_time"),
        ("POST", "/api/jobs/J1/typed", {"value": "1", "captured_at": "2026-11-24T08:00:00"}, 400, "bad_time"),
        ("POST", "/api/jobs/J1/typed", {"value": 1}, 422, "bad_request"),
        ("POST", "/api/jobs/J1/typed", {"test_voltage_set": "-5"}, 400, "bad_number"),
        ("POST", "/api/jobs/J1/typed", {"section": "gearbox"}, 400, "bad_section"),
        ("POST", "/api/jobs/J1/evidence", {}, 422, "bad_request"),
    ],
)
def test_every_refusal_says_what_happened_and_what_to_do(
    client: TestClient, job: str, method: str, path: str, body: Any, status: int, code: str | None
) -> None:
    answer = client.request(method, path, json=body)
    assert answer.status_code == status, answer.text
    content = answer.json()
    assert set(content) - {"fields"} == {"code", "message", "what_to_do"}  # a form is told each field besides
    assert code is None or content["code"] == code
    assert content["message"].endswith((".", "?"))
    assert content["what_to_do"].endswith(".")


def test_proposals_answered_wrongly(client: TestClient, job: str) -> None:
    send(client, job, clip(READING))
    path = f"/api/proposals/{job}-P1"
    for action, body, status, code in (
        ("confirm", {"revision": 7}, 409, "changed"),
        ("choose", {"index": 7}, 400, "bad_choice"),
        ("correct", {}, 400, "nothing_changed"),
        ("correct", {"reading": {"unit": "V"}}, 400, "unit_does_not_fit"),
        ("correct", {"instrument_id": "J1-XX"}, 400, "no_such_instrument"),
        ("dance", {}, 404, "http_404"),
    ):
        answer = client.post(f"{path}/{action}", json=body)
        assert (answer.status_code, answer.json()["code"]) == (status, code)
    named = client.post(f"{path}/correct", json={"instrument_id": f"{job}-MM-11"}).json()["proposals"][0]
    assert named["instrument_id"] == f"{job}-MM-11"
    assert client.post(f"{path}/confirm", json={"revision": named["revision"]}).json()["records"]
    assert client.post(f"{path}/confirm", json={"revision": named["revision"]}).json()["code"] == "not_open"
    assert client.post(f"/api/records/{job}-R1/withdraw").status_code == 200
    assert client.post(f"/api/records/{job}-R1/withdraw").json()["code"] == "withdrawn"
    late = client.post(f"/api/jobs/{job}/typed", json={"value": "1", "supersedes": f"{job}-R1"})
    assert late.json()["code"] == "not_current"


def test_a_typed_correction_of_a_record(client: TestClient, job: str) -> None:
    send(client, job, clip(READING))
    client.post(f"/api/proposals/{job}-P1/confirm", json={"revision": 1})
    asked = client.post(f"/api/jobs/{job}/typed", json={"value": "1.07", "supersedes": f"{job}-R1"}).json()
    assert asked["proposals"][0]["supersedes"] == f"{job}-R1"
    client.post(f"/api/proposals/{job}-P2/confirm", json={"revision": 1})
    records = client.get(f"/api/jobs/{job}/records").json()
    assert [(record["value"], record["status"]) for record in records] == [
        ("1.08", "superseded"),
        ("1.07", "current"),
    ]


def test_what_could_not_be_read_is_read_again_without_obeying_it(
    client: TestClient, job: str, workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(client, job, clip(READING))
    with monkeypatch.context() as patch:
        patch.setattr(type(workspace.engines), "hear", lambda *_: 1 / 0)
        lost, command = send(client, job, clip(READING, 1)).json(), send(client, job, clip("confirm")).json()
    assert (lost["state"], command["state"]) == ("failed", "failed")
    again = client.post(f"/api/captures/{lost['capture']}/read").json()
    assert again["proposals"][0]["value"] == "1.08"
    assert client.post(f"/api/captures/{lost['capture']}/read").json()["code"] == "already_read"
    assert "not obeyed" in client.post(f"/api/captures/{command['capture']}/read").json()["message"]
    assert client.get(f"/api/jobs/{job}/records").json() == []
    assert client.get("/api/verify").json()["result"] == "intact"


def test_foreign_names_and_pages_are_turned_away(client: TestClient, job: str) -> None:
    for headers, code in (
        ({"host": "rebound.example"}, "wrong_host"),
        ({"host": "localhost.example:8765"}, "wrong_host"),
        ({"origin": "https://elsewhere.example"}, "wrong_origin"),
        ({"origin": "http://localhost:9999"}, "wrong_origin"),
        ({"origin": "null"}, "wrong_origin"),
    ):
        for path in ("/", "/api/jobs", f"/api/jobs/{job}", "/openapi.json", "/api/nothing"):
            answer = client.get(path, headers=headers)
            assert (answer.status_code, answer.json()["code"]) == (403, code)
        assert client.post("/api/jobs", json=JOB, headers=headers).status_code == 403
    for headers in ({"origin": "http://localhost"}, {"host": "127.0.0.1:8765"}, {"host": "[::1]:8765"}):
        assert client.get("/api/jobs", headers=headers).status_code == 200
    assert len(client.get("/api/jobs").json()) == 1


def test_the_foreign_gate_stands_before_every_route(client: TestClient) -> None:
    """List the routes as the app knows them, so that a new one without the gate fails here."""
    paths = client.get("/openapi.json").json()["paths"]
    assert len(paths) >= 17
    for path, methods in paths.items():
        for method in methods:
            answer = client.request(method, path.replace("{", "").replace("}", ""), headers={"host": "other.example"})
            assert (answer.status_code, answer.json()["code"]) == (403, "wrong_host"), (method, path)


def test_bodies_over_the_limit(client: TestClient, job: str) -> None:
    large = client.post("/api/jobs", content=b" " * (MAX_BODY + 1), headers={"content-type": "application/json"})
    assert (large.status_code, large.json()["code"]) == (413, "too_large")

    def pieces() -> Iterator[bytes]:
        for _ in range(MAX_BODY // 10_000 + 2):
            yield b" " * 10_000

    chunked = client.post("/api/jobs", content=pieces(), headers={"content-type": "application/json"})
    assert chunked.status_code == 413
    clip_too_large = b"RIFF0000WAVE" + bytes(MAX_BYTES["clip"])
    answer = send(client, job, clip_too_large)
    assert (answer.status_code, answer.json()["code"]) == (413, "too_large")
    photo_too_large = b"\xff\xd8\xff" + bytes(MAX_BYTES["photo"] + 200_000)
    assert send(client, job, photo_too_large).status_code == 413
    assert send(client, job, b"").json()["code"] == "empty"
    assert client.get("/api/verify").json()["files"] == 0


def test_json_that_is_too_deep(client: TestClient) -> None:
    deep = b"[" * 100_000 + b"]" * 100_000
    answer = client.post("/api/jobs", content=deep, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422)
    assert set(answer.json()) == {"code", "message", "what_to_do"}


def test_an_unexpected_failure_shows_no_trace(client: TestClient, workspace: Workspace, monkeypatch: Any) -> None:
    monkeypatch.setattr(JobDesk, "make", lambda *_: 1 / 0)
    answer = client.post("/api/jobs", json=JOB)
    assert (answer.status_code, answer.json()["code"]) == (500, "internal")
    assert "ZeroDivision" not in answer.text


def test_every_route_is_described(client: TestClient) -> None:
    for path, methods in client.get("/openapi.json").json()["paths"].items():
        for method, described in methods.items():
            assert described.get("description") or described.get("summary"), (method, path)
