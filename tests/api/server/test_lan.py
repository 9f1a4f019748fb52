"""`ohmtrail serve --lan` as a process of its own: what its ports speak, and to whom.

By its name only, whatever networks the machine has; a phone in a network is in `tests/e2e/test_lan.py`.
"""

from __future__ import annotations

import datetime as dt
import http.client
import json
import socket
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cryptography import x509

from api.server.listeners import UNFINISHED_PER_CLIENT
from api.settings import Limits
from tests.api.server.test_serve import COMMAND, ask
from tests.e2e.running import free_port


@dataclass
class LanServer:
    """A running server.

    Attributes:
        port: Its port for this machine; TLS and the plain page are on the next two.
        data: Its data folder.
        process: Its process.
        name: Its name on the network.
    """

    port: int
    data: Path
    process: subprocess.Popen[str]
    name: str

    def trust(self) -> ssl.SSLContext:
        """Trust its authority and nothing else, as a phone that installed it."""
        return ssl.create_default_context(cafile=str(self.data / "access" / "authority.pem"))


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LanServer]:
    data, port = tmp_path_factory.mktemp("lan") / "data", free_port()
    command = [*COMMAND, "serve", "--lan", "--no-second-opinion", "--data", str(data), "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, text=True)
    for _ in range(600):
        try:
            # The ports are held before anything else, and answered once the certificate is made.
            pages = ask(port, "/api/devices")["pages"]
            if pages:
                break
        except OSError:
            pass
        time.sleep(0.1)
    else:
        process.kill()
        raise AssertionError("the server did not start")
    yield LanServer(port, data, process, pages[-1].split("/")[2].partition(":")[0])
    process.terminate()
    process.wait(20)
    assert not (data / "access" / "serving.json").exists()


def encrypted(server: LanServer, context: ssl.SSLContext, name: str = "") -> ssl.SSLSocket:
    plain = socket.create_connection(("127.0.0.1", server.port + 1), 10)
    try:
        return context.wrap_socket(plain, server_hostname=name or server.name)
    except BaseException:
        plain.close()
        raise


def test_it_speaks_tls_1_3_and_nothing_older(server: LanServer) -> None:
    with encrypted(server, server.trust()) as line:
        assert line.version() == "TLSv1.3"
        shown = x509.load_der_x509_certificate(line.getpeercert(binary_form=True) or b"")
    assert shown.not_valid_after_utc - shown.not_valid_before_utc <= dt.timedelta(
        days=7, hours=1
    )  # an hour for clocks that are behind
    older = server.trust()
    older.maximum_version = ssl.TLSVersion.TLSv1_2
    with pytest.raises((ssl.SSLError, OSError)):
        encrypted(server, older)
    with pytest.raises(ssl.SSLCertVerificationError, match=r"not valid for|doesn.t match|mismatch"):
        encrypted(server, server.trust(), "elsewhere.local")
    with pytest.raises(ssl.SSLCertVerificationError):
        encrypted(server, ssl.create_default_context())


def plain(server: LanServer, path: str, port: int, host: str = "", method: str = "GET") -> tuple[int, str, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request(method, path, headers={"host": host or f"{server.name}:{port}"})
        answer = connection.getresponse()
        return answer.status, answer.headers.get("content-type", ""), answer.read()
    finally:
        connection.close()


def test_the_plain_port_serves_the_certificate_and_nothing_else(server: LanServer) -> None:
    port = server.port + 2
    status, kind, page = plain(server, "/", port)
    assert (status, kind) == (200, "text/html; charset=utf-8")
    fingerprint = ask(server.port, "/api/devices")["fingerprint"]
    assert fingerprint.encode() in page
    assert b"@" not in page.replace(b"@media", b""), "every place of the template is filled"
    status, kind, found = plain(server, "/ohmtrail-authority.crt", port)
    root = x509.load_pem_x509_certificate((server.data / "access" / "authority.pem").read_bytes())
    assert (status, x509.load_der_x509_certificate(found)) == (200, root)
    paths = ask(server.port, "/openapi.json")["paths"]
    for path in [*paths, "/pair", "/page/app.js", "/page/pair.js", "/openapi.json", "/../access/issuer.pem", "//"]:
        for method in ("GET", "POST", "OPTIONS"):
            assert plain(server, path.replace("{", "").replace("}", ""), port, method=method)[0] == 404, path
    assert plain(server, "/", port, method="POST")[0] == 404
    assert plain(server, "/", port, host="other.example")[0] == 403
    assert plain(server, "/", port, host="localhost")[0] == 403


def test_the_phones_port_answers_no_plain_http(server: LanServer) -> None:
    with pytest.raises((http.client.HTTPException, OSError)):
        plain(server, "/api/jobs", server.port + 1)


def test_who_is_not_paired_is_refused_over_tls_at_loopback_too(server: LanServer) -> None:
    connection = http.client.HTTPSConnection("localhost", server.port + 1, timeout=10, context=server.trust())
    connection.request("GET", "/api/jobs", headers={"host": f"{server.name}:{server.port + 1}"})
    answer = connection.getresponse()
    assert (answer.status, json.loads(answer.read())["code"]) == (401, "not_paired")
    connection.close()


def closed(line: socket.socket) -> bool:
    line.settimeout(0.0)
    try:
        return line.recv(1) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


def test_handshakes_that_nobody_finishes_are_bounded_and_shut_nobody_else_out(server: LanServer) -> None:
    """Open more connections than one address may have, and say nothing on any of them."""
    most = Limits().connections_per_client + UNFINISHED_PER_CLIENT
    lines = [socket.create_connection(("127.0.0.1", server.port + 1), 10) for _ in range(most + 40)]
    try:
        wait_for(lambda: sum(map(closed, lines)) >= 40, "those beyond the limit are closed")
        held = sum(not closed(line) for line in lines)
        assert most - 5 <= held <= most, "a line of the test before may hold its place a moment longer"
        elsewhere = socket.create_connection(("127.0.0.1", server.port + 1), 10, source_address=("127.0.0.2", 0))
        with server.trust().wrap_socket(elsewhere, server_hostname=server.name) as line:
            assert line.version() == "TLSv1.3"
    finally:
        for one in lines:
            one.close()

    def comes_in() -> bool:
        try:
            encrypted(server, server.trust()).close()
        except OSError:
            return False
        return True

    wait_for(comes_in, "their places are free again")


def wait_for(done: Callable[[], bool], what: str) -> None:
    end = time.monotonic() + 20
    while not done():
        assert time.monotonic() < end, what
        time.sleep(0.1)


def test_a_port_that_is_taken_is_told(server: LanServer, tmp_path: Path) -> None:
    arguments = ["serve", "--lan", "--no-second-opinion", "--data", str(tmp_path / "d"), "--port", str(server.port + 1)]
    ended = subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=120, check=False)
    assert (ended.returncode, "cannot be used" in ended.stderr) == (1, True), ended.stderr
