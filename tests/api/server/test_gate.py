"""The check in front of every route: names, origins, sites; and the headers that every answer carries."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from starlette.testclient import WebSocketDenialResponse

from api.server.app import create_app
from api.server.headers import EVERY_ANSWER
from api.workspace import Workspace
from tests.api.makers import JOB, clip

PATHS = ("/", "/api/jobs", "/api/jobs/J1/report", "/openapi.json", "/api/nothing", "/page/job.js")
OWN_POLICY = ("content-security-policy", "permissions-policy", "cache-control")
"""Headers of which the page, a report and evidence have stricter or longer values of their own."""


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    workspace.create_job(JOB)
    with TestClient(create_app(workspace), base_url="http://localhost", raise_server_exceptions=False) as opened:
        yield opened


def raw(app: Any, headers: list[tuple[bytes, bytes]], path: str = "/api/jobs") -> tuple[int, dict[str, str], bytes]:
    """Send headers as they are, twice where they are given twice; gives status, headers and body of the answer."""
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(), "query_string": b"",
        "headers": headers, "client": ("127.0.0.1", 5), "server": ("127.0.0.1", 8765), "scheme": "http",
        "root_path": "", "http_version": "1.1", "asgi": {"version": "3.0"},
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))
    names = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], names, b"".join(message.get("body", b"") for message in sent[1:])


@pytest.mark.parametrize(
    ("headers", "status", "code"),
    [
        ([], 400, "malformed_host"),
        ([(b"host", b"localhost"), (b"host", b"localhost")], 400, "malformed_host"),
        ([(b"host", b"")], 400, "malformed_host"),
        ([(b"host", b"local host")], 400, "malformed_host"),
        ([(b"host", b"localhost:99999")], 400, "malformed_host"),
        ([(b"host", b"localhost:80:80")], 400, "malformed_host"),
        ([(b"host", b"[::1")], 400, "malformed_host"),
        ([(b"host", b"user@localhost")], 400, "malformed_host"),
        ([(b"host", b"\xff")], 400, "malformed_host"),
        ([(b"host", b"localhost.")], 403, "wrong_host"),
        ([(b"host", b"localhost"), (b"origin", b"http://localhost"), (b"origin", b"x")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"localhost")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"http://[::1")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"http://localhost:99999")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"http://localhost/path")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"http://a@localhost")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"http://localhost http://localhost")], 400, "malformed_origin"),
        ([(b"host", b"localhost"), (b"origin", b"null")], 403, "wrong_origin"),
        ([(b"host", b"localhost"), (b"origin", b"file://")], 403, "wrong_origin"),
        ([(b"host", b"localhost:8765"), (b"origin", b"http://localhost")], 403, "wrong_origin"),
    ],
)
def test_hosts_and_origins_that_are_none(
    workspace: Workspace, headers: list[tuple[bytes, bytes]], status: int, code: str
) -> None:
    found, names, body = raw(create_app(workspace), headers)
    assert (found, f'"code": "{code}"'.encode() in body) == (status, True), body
    assert set(EVERY_ANSWER) <= set(names)


@pytest.mark.parametrize(
    ("host", "origin"),
    [("localhost", "http://localhost"), ("LocalHost:80", "http://localhost"), ("localhost", "https://localhost:443")],
)
def test_own_origins_pass(client: TestClient, host: str, origin: str) -> None:
    assert client.get("/api/jobs", headers={"host": host, "origin": origin}).status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site", "something-new", "same-origin, cross-site"])
def test_what_another_site_causes_is_refused(client: TestClient, site: str) -> None:
    for path in PATHS:
        for more in ({}, {"sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}):
            answer = client.get(path, headers={"sec-fetch-site": site, **more})
            assert (answer.status_code, answer.json()["code"]) == (403, "foreign_site"), path
    for method, path in (("POST", "/api/jobs"), ("POST", "/api/jobs/J1/report"), ("PUT", "/api/jobs"), ("POST", "/")):
        assert client.request(method, path, headers={"sec-fetch-site": site}).status_code == 403
    leads = {"sec-fetch-site": site, "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert client.get("/", headers=leads).status_code == 200, "a link may lead to the start page"
    assert client.get("/api/jobs", headers=leads).status_code == 403
    assert client.get("/", headers={**leads, "sec-fetch-dest": "iframe"}).status_code == 403


@pytest.mark.parametrize("site", ["same-origin", "none", None])
def test_what_our_page_or_a_person_asks_for_passes(client: TestClient, site: str | None) -> None:
    headers = {} if site is None else {"sec-fetch-site": site}
    assert client.get("/api/jobs", headers=headers).status_code == 200
    assert client.post("/api/jobs/J1/report", headers=headers).status_code == 201


def test_every_answer_carries_the_security_headers(
    client: TestClient, workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = client.post("/api/jobs/J1/evidence", files={"file": ("x", clip("x ray axis"))}).json()
    answers = [client.get(path) for path in PATHS]
    answers += [client.get(f"/api/evidence/{sent['sha256']}{part}") for part in ("", "/content", "/preview")]
    answers += [client.post("/api/jobs", content=b"{"), client.delete("/api/jobs"), client.get("/api/jobs?after=x")]
    answers += [client.get("/", headers={"host": "other.example"}), client.post("/api/jobs", content=b" " * 2_000_000)]
    answers += [client.get("/", headers={"if-none-match": client.get("/").headers["etag"]})]
    client.post("/api/jobs/J1/report")
    answers += [client.get("/api/jobs/J1/report")]
    monkeypatch.setattr(type(workspace.desk), "make", lambda *_: 1 / 0)
    answers += [client.post("/api/jobs", json=JOB)]
    assert {answer.status_code for answer in answers} >= {200, 304, 403, 404, 405, 413, 422, 500}
    for answer in answers:
        for name, value in EVERY_ANSWER.items():
            given = answer.headers.get(name)
            assert given == value or (given and name in OWN_POLICY), (answer.request.url, answer.status_code, name)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "frame-ancestors 'none'" in policy
        assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("method", ["TRACE", "CONNECT", "OPTIONS", "PATCH", "BREW"])
def test_methods_that_no_route_has(client: TestClient, method: str) -> None:
    """Refuse TRACE, and the preflight of another page's request, on every kind of address."""
    for path in PATHS:
        answer = client.request(method, path, headers={"x-secret": "seen"})
        assert answer.status_code in (404, 405), path
        assert "seen" not in answer.text
        assert answer.status_code == 404 or "GET" in answer.headers["allow"] or "POST" in answer.headers["allow"]


def test_an_unexpected_failure_is_logged_in_one_line(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError("secret inside")

    monkeypatch.setattr("api.server.routes.jobs.job_of", fails)
    answer = client.get("/api/jobs/J1%0aERROR%20forged?token=secret")
    assert (answer.status_code, answer.json()["code"]) == (500, "internal")
    assert "secret" not in answer.text
    [record] = [one for one in caplog.records if one.name == "api.server.app"]
    assert "\n" not in record.getMessage()
    assert "token" not in record.getMessage()
    assert record.exc_info is not None


@pytest.mark.parametrize(
    ("headers", "status"),
    [({"host": "other.example"}, 403), ({"origin": "https://x.example"}, 403), ({"origin": "x"}, 400),
     ({"sec-fetch-site": "cross-site"}, 403)],
)  # fmt: skip
def test_a_foreign_page_gets_no_listening_connection(client: TestClient, headers: dict[str, str], status: int) -> None:
    with (
        pytest.raises(WebSocketDenialResponse) as refused,
        client.websocket_connect("ws://localhost/api/jobs/J1/listen", headers=headers),
    ):
        pass
    assert refused.value.status_code == status
    assert set(EVERY_ANSWER) <= set(refused.value.headers)
    assert set(refused.value.json()) == {"code", "message", "what_to_do"}
