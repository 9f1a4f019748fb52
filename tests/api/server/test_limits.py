"""What clients may take at the same time, over real sockets of a server in a process of its own, and by the clock."""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import websockets
from fastapi.testclient import TestClient
from starlette.testclient import WebSocketDenialResponse

from api.errors import OhmtrailError
from api.server.app import create_app
from api.server.errors import ServerFull
from api.server.headers import EVERY_ANSWER
from api.server.limits import ArrivalDeadline, Places, RequestRate, client_of
from api.server.web import paths_of_page
from api.settings import BadLimit, Limits, Settings, read_settings
from api.workspace import Workspace
from tests.api.makers import JOB, clip
from tests.api.server.test_serve import Server, ask

TIGHT = {
    "CONNECTIONS_PER_CLIENT": "12", "SOCKETS_PER_CLIENT": "2", "UPLOADS_PER_CLIENT": "3", "HEADER_S": "1",
    "BODY_PAUSE_S": "1", "SOCKET_PAUSE_S": "1",
}  # fmt: skip


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with pytest.MonkeyPatch.context() as patch:
        for name, value in TIGHT.items():
            patch.setenv(f"OHMTRAIL_LIMIT_{name}", value)
        running = Server(tmp_path_factory.mktemp("limits") / "data")
    ask(running.port, "/api/jobs", JOB)
    yield running
    if running.process.poll() is None:
        running.stop()


class Line:
    """One connection, spoken to in bytes."""

    def __init__(self, port: int, sent: bytes) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=15)
        self.socket.sendall(sent)

    def answer(self) -> tuple[int, dict[str, str], bytes]:
        """Read until the server ends the connection or the answer is whole; gives status 0 where nothing came."""
        found = b""
        with contextlib.suppress(ConnectionError):
            while piece := self.socket.recv(65536):
                found += piece
                head, _, body = found.partition(b"\r\n\r\n")
                length = next(
                    (int(line[15:]) for line in head.lower().split(b"\r\n") if line[:15] == b"content-length:"), -1
                )
                if len(body) == length:
                    break
        self.socket.close()
        head, _, body = found.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines[1:])}
        return int(lines[0].split()[1]) if lines[0] else 0, headers, body


def half_upload(port: int, more: str = "") -> Line:
    start = (
        f"POST /api/jobs/J1/evidence HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{more}Content-Type: multipart/form-data; "
        "boundary=b\r\nContent-Length: 9000\r\n\r\n--b\r\nContent-Disposition: form-data; "
        'name="file"; filename="x"\r\n\r\n'
    )
    return Line(port, start.encode())


def refused(answer: tuple[int, dict[str, str], bytes], status: int, code: str) -> None:
    assert answer[0] == status, answer
    assert json.loads(answer[2])["code"] == code
    assert set(EVERY_ANSWER) <= set(answer[1])


def files(server: Server) -> list[Path]:
    return [path for path in (server.data / "evidence").rglob("*") if path.is_file()]


def test_half_sent_uploads_are_few_and_end_in_time(server: Server) -> None:
    began = time.monotonic()
    held = [half_upload(server.port) for _ in range(3)]
    time.sleep(0.3)
    beyond = half_upload(server.port).answer()
    refused(beyond, 429, "too_many_uploads")
    assert beyond[1]["retry-after"] == "5"
    assert ask(server.port, "/api/jobs"), "pages are served meanwhile"
    for line in held:
        refused(line.answer(), 408, "too_slow")
    assert time.monotonic() - began < 8
    assert files(server) == [], "nothing half stored"
    refused(half_upload(server.port).answer(), 408, "too_slow")


def test_half_sent_headers_end_in_time(server: Server) -> None:
    refused(Line(server.port, b"GET /api/jobs HTTP/1.1\r\nHost: loc").answer(), 408, "too_slow")
    assert Line(server.port, b"").answer()[0] == 0, "a connection never used is closed without a word"
    second = Line(server.port, f"GET /api/status HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\nGET / HT".encode())
    assert second.answer()[0] == 200


@pytest.mark.parametrize(
    "head",
    [
        b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nbad header\r\n\r\n",
        b"POST /api/jobs HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nabcde",
        b"POST /api/jobs HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"a" * 20_000,
    ],
    ids=["two hosts", "no host", "no colon", "two lengths", "negative length", "TLS", "too long"],
)
def test_what_is_no_http_is_refused_with_a_sentence(server: Server, head: bytes) -> None:
    refused(Line(server.port, head).answer(), 400, "malformed_request")


@pytest.mark.parametrize("given", ["Sec-WebSocket-Version: 8", "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: short"])
def test_what_is_no_handshake_is_refused_with_a_sentence(server: Server, given: str) -> None:
    start = f"GET /api/jobs/J1/listen HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nConnection: Upgrade\r\n"
    refused(
        Line(server.port, f"{start}Upgrade: websocket\r\n{given}\r\n\r\n".encode()).answer(), 400, "malformed_handshake"
    )


def test_too_many_connections_are_refused(server: Server) -> None:
    held = [Line(server.port, b"") for _ in range(12)]
    time.sleep(0.2)
    refused(Line(server.port, b"").answer(), 429, "too_many_connections")
    for line in held:
        line.socket.close()
    time.sleep(0.2)
    assert ask(server.port, "/api/jobs")


def test_listening_connections_are_few_and_a_pause_gives_the_recogniser_back(server: Server) -> None:
    address = f"ws://127.0.0.1:{server.port}/api/jobs/J1/listen"

    async def listen() -> tuple[int, int | None]:
        async with websockets.connect(address) as first, websockets.connect(address) as second:
            with pytest.raises(websockets.InvalidStatus) as caught:
                await websockets.connect(address)
            refused_by = caught.value.response
            assert set(EVERY_ANSWER) <= {name.lower() for name in refused_by.headers}
            await second.send(bytes(16_000))
            await asyncio.wait_for(second.wait_closed(), 60)
            await first.close()
            return refused_by.status_code, second.close_code

    assert asyncio.run(listen()) == (429, 1001)


@pytest.mark.parametrize("busy", ["nothing", "everything"])
def test_sigterm_is_obeyed_within_five_seconds(tmp_path: Path, busy: str) -> None:
    """Hold a socket in the middle of an utterance, a half-sent upload and a half-sent header, then stop."""
    server = Server(tmp_path / "data")
    ask(server.port, "/api/jobs", JOB)

    async def hold() -> float:
        async with websockets.connect(f"ws://127.0.0.1:{server.port}/api/jobs/J1/listen") as line:
            lines = [half_upload(server.port), Line(server.port, b"GET / HT")]
            await line.send(bytes(32_000))
            await asyncio.sleep(0.5)
            return await asyncio.to_thread(stop, lines)

    def stop(lines: list[Line]) -> float:
        began = time.monotonic()
        server.process.send_signal(signal.SIGTERM)
        server.process.wait(20)
        for line in lines:
            line.socket.close()
        return time.monotonic() - began

    took = asyncio.run(hold()) if busy == "everything" else stop([])
    assert server.process.stdout is not None
    server.process.stdout.close()
    assert took < 5
    again = Server(server.data)
    try:
        assert ask(again.port, "/api/verify")["result"] == "intact"
        states = [entry["what"] for entry in ask(again.port, "/api/jobs/J1/trail")["entries"]]
        assert ("kept, cut" in states) == (busy == "everything"), "what was said is kept"
    finally:
        again.stop()


# What the parts do, by the clock.


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    workspace.create_job(JOB)
    settings = Settings(limits=Limits(requests_per_s=1, request_burst=20, sockets_per_client=1, queue=1))
    with TestClient(create_app(workspace, settings), base_url="http://localhost") as opened:
        yield opened


def test_requests_of_one_client(client: TestClient) -> None:
    answers = [client.get("/api/jobs") for _ in range(25)]
    assert [answer.status_code for answer in answers[:20]] == [200] * 20
    last = answers[-1]
    assert (last.status_code, last.json()["code"]) == (429, "too_many_requests")
    assert int(last.headers["retry-after"]) >= 1
    with pytest.raises(WebSocketDenialResponse) as denied, client.websocket_connect("ws://localhost/x"):
        pass
    assert denied.value.status_code == 429


def test_pages_that_are_opened_use_up_no_requests(client: TestClient) -> None:
    """Open the page five times with all its files: whoever does so must still get their data."""
    paths = paths_of_page()
    assert len(paths) > 20
    assert {client.get(path).status_code for path in sorted(paths) * 5} == {200}
    assert client.get("/api/jobs").status_code == 200


def test_files_of_the_page_have_a_limit_of_their_own(workspace: Workspace) -> None:
    settings = Settings(limits=Limits(page_files_per_s=1, page_file_burst=5))
    with TestClient(create_app(workspace, settings), base_url="http://localhost") as opened:
        assert [opened.get("/").status_code for _ in range(6)] == [200] * 5 + [429]


def test_no_header_changes_who_a_client_is(server: Server) -> None:
    """Claim another address for each upload, as a proxy's header would: the peer's own counts."""
    held = [half_upload(server.port, f"X-Forwarded-For: 10.0.0.{n}\r\nForwarded: for=10.0.0.{n}\r\n") for n in range(3)]
    time.sleep(0.3)
    refused(half_upload(server.port, "X-Forwarded-For: 10.0.0.9\r\n").answer(), 429, "too_many_uploads")
    for line in held:
        line.answer()


def test_a_full_queue_stores_nothing(client: TestClient, workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    import threading

    go = threading.Event()
    read = type(workspace.engines).hear

    def slow(*given: Any) -> Any:
        go.wait(20)
        return read(*given)

    monkeypatch.setattr(type(workspace.engines), "hear", slow)
    first = client.post(
        "/api/jobs/J1/evidence", files={"file": ("x", clip("confirm"))}, headers={"prefer": "respond-async"}
    )
    assert (first.status_code, first.json()["state"]) == (202, "stored")
    full = client.post("/api/jobs/J1/evidence", files={"file": ("x", clip("confirm", 1))})
    assert (full.status_code, full.json()["code"]) == (503, "server_full")
    assert int(full.headers["retry-after"]) >= 1
    assert client.get("/api/status").json()["queue"]["reading"] == 1
    assert client.get(first.headers["location"]).json()["queue"]["reading"] == 1
    assert len(list(workspace.evidence.names())) == 1
    again = client.post(
        "/api/jobs/J1/evidence", files={"file": ("x", clip("confirm"))}, headers={"prefer": "respond-async"}
    )
    assert again.status_code == 503
    go.set()
    while (found := client.get(first.headers["location"]).json())["state"] == "stored":
        time.sleep(0.05)
    assert (found["state"], found["heard"]["text"]) == ("recognised", "confirm")
    while (status := client.get("/api/status").json()["queue"])["reading"]:
        time.sleep(0.05)
    assert (status["waiting"], status["reading"], status["last"]) == (0, 0, 1)
    assert workspace.verify().intact


def test_captures_of_one_job_are_read_in_the_order_sent_and_answered_when_asked_for(workspace: Workspace) -> None:
    workspace.create_job(JOB)
    words = ["x ray axis through the cable a one to a two one point zero eight ohms", "confirm"]
    with TestClient(
        create_app(workspace, Settings(limits=Limits(long_queue=1))), base_url="http://localhost"
    ) as opened:
        sent = [
            opened.post(
                "/api/jobs/J1/evidence", files={"file": ("x", clip(said))}, headers={"prefer": "respond-async"}
            ).json()["capture"]
            for said in words
        ]
        answers = []
        for capture in sent:
            while (found := opened.get(f"/api/captures/{capture}").json())["state"] == "stored":
                time.sleep(0.05)
            answers.append(found)
        assert answers[0]["proposals"][0]["value"] == "1.08"
        assert answers[1]["records"][0]["value"] == "1.08"
        while opened.get("/api/status").json()["queue"]["reading"]:
            time.sleep(0.05)
        waited = opened.post("/api/jobs/J1/evidence", files={"file": ("x", clip("what is next"))})
        assert waited.status_code == 201, "without a wish and without a queue, the answer is whole"
        assert "read;dur=" in waited.headers["server-timing"]
        while opened.get("/api/status").json()["queue"]["reading"]:
            time.sleep(0.05)
        patient = opened.post(
            "/api/jobs/J1/evidence",
            files={"file": ("x", clip("what is next", 2))},
            headers={"prefer": "respond-async, wait=20"},
        )
        assert patient.status_code == 201


def test_a_token_bucket_fills_again() -> None:
    rate = RequestRate(2, 4)
    assert [rate.wait_s("a", 100) for _ in range(4)] == [0, 0, 0, 0]
    assert rate.wait_s("a", 100) == pytest.approx(0.5)
    assert rate.wait_s("b", 100) == 0
    assert rate.wait_s("a", 100.5) == 0
    assert rate.wait_s("a", 100.5) > 0
    assert [rate.wait_s("a", 1000) for _ in range(4)] == [0, 0, 0, 0]


def test_a_million_addresses_are_not_all_remembered() -> None:
    rate = RequestRate(50, 100)
    for number in range(20_000):
        rate.wait_s(str(number), number / 100)
    assert len(rate._buckets) < 5_000


def test_places_are_shared_out() -> None:
    places = Places(3, 2)
    with places.hold("a"), places.hold("a") as second:
        assert places.room("a") is False
        with places.hold("b"):
            assert places.room("c") is None
            second.leave()
            second.leave()
            assert places.room("c") is True
    assert places.taken == 0


def test_a_slow_body_ends_and_a_slow_line_does_not() -> None:
    limits = Limits()
    deadline = ArrivalDeadline(limits, 0)
    assert deadline.left_s(0) == limits.body_pause_s
    assert deadline.left_s(limits.body_start_s + 1) < 0
    deadline.received = 16_000_000  # the largest clip, sent at 1 Mbit/s
    assert deadline.left_s(16_000_000 * 8 / 1_000_000) > 0


@pytest.mark.parametrize(
    ("address", "client"),
    [("192.168.1.9", "192.168.1.9"), ("::ffff:10.0.0.1", "10.0.0.1"), ("2001:db8::1", "2001:db8::/64"),
     ("2001:db8::ffff", "2001:db8::/64"), ("testclient", "testclient"), (None, "")],
)  # fmt: skip
def test_who_a_client_is(address: str | None, client: str) -> None:
    assert client_of(address) == client


def test_limits_come_from_the_environment() -> None:
    assert read_settings({"OHMTRAIL_LIMIT_SOCKETS": "64"}).limits == Limits(sockets=64)
    for wrong in ("0", "-1", "many", "1e3", "²", "99999999"):
        with pytest.raises(BadLimit):
            read_settings({"OHMTRAIL_LIMIT_UPLOADS": wrong})


def test_what_passes_by_itself_says_when_to_try_again() -> None:
    from api.server.headers import answer_of, retry_header

    error: OhmtrailError = ServerFull(what="uploads", retry_s=5)
    assert retry_header(error) == {"retry-after": "5"}
    assert (b"retry-after", b"5") in answer_of(error)[0]
