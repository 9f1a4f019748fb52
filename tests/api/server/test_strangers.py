"""Every route, socket and file of the page against strangers, from the app's own list, so that none can be forgotten.

Five kinds: no token, a revoked one, another role, another host, another origin; besides them what only the laptop may
do. A paired technician is asked as well: a gate that shuts everybody out would pass the rest.
"""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute, APIWebSocketRoute
from fastapi.testclient import TestClient
from starlette.routing import Route
from starlette.testclient import WebSocketDenialResponse
from starlette.websockets import WebSocketDisconnect

from api.access.codes import Grant
from api.access.guests import Guests, WhereToFind
from api.access.roles import LAPTOP_ONLY, OPEN, Role
from api.server.app import create_app
from api.server.gate import COOKIE
from api.server.web import page_names
from api.settings import Limits, Settings
from api.workspace import Workspace
from tests.api.makers import JOB, at, clip
from tests.api.server.visited import READING, visit

PHONE = ("10.77.1.9", 50_000)
HERE = "https://10.77.1.2:8766"
WHERE = WhereToFind((ipaddress.ip_address("10.77.1.2"),), "ohmtrail-ab12.local", 8766, 8767, "AB")
UNLIMITED = Settings(limits=Limits(requests_per_s=1_000_000, request_burst=1_000_000))

Asked = tuple[str, str]
"""Method (empty for a WebSocket) and path with real ids."""


@dataclass
class Shop:
    """A server that phones reach, with a visit in it."""

    app: FastAPI
    guests: Guests
    asked: list[Asked]
    phone: TestClient
    laptop: TestClient

    def pair(self, role: Role = Role.TECHNICIAN, person: str = "Ada") -> str:
        """Pair a phone as its page does; returns its cookie."""
        code = self.guests.codes.make(Grant(role))
        told = {"code": code, "device": "Phone", "person": person}
        self.phone.cookies.clear()
        answer = self.phone.post("/api/pair", json=told)
        assert answer.status_code == 201, answer.text
        self.phone.cookies.clear()
        return answer.headers["set-cookie"].partition(";")[0]

    def newest(self) -> str:
        """Give the number of the device that was paired last."""
        return str(self.laptop.get("/api/devices").json()["devices"][-1]["id"])

    def ask(self, asked: Asked, headers: dict[str, str]) -> int:
        """Ask for something; gives the status of the answer, 101 for a connection that was opened."""
        method, path = asked
        if method:
            return self.phone.request(method, path, headers=headers).status_code
        try:
            with self.phone.websocket_connect(f"wss://10.77.1.2:8766{path}", headers=headers):
                return 101
        except WebSocketDenialResponse as refused:
            return refused.status_code


def everything(app: FastAPI, ids: dict[str, str]) -> list[Asked]:
    """List all that can be asked for, from the app's own routes and the page's own files."""
    found: list[Asked] = []
    for route in flat(app.router.routes):
        if isinstance(route, APIWebSocketRoute):
            found.append(("", route.path.format(**ids)))
        elif isinstance(route, APIRoute | Route):
            for method in sorted(route.methods or ()):
                if route.path == "/page/{name}":
                    found += [(method, f"/page/{name}") for name in page_names()]
                else:
                    found.append((method, route.path.format(**ids)))
        else:
            raise AssertionError(f"{route} is of a kind that this test does not know")
    return sorted(set(found))


def flat(routes: Any) -> Iterator[Any]:
    for route in routes:
        inner = getattr(route, "routes", None)
        if inner is None:
            inner = getattr(getattr(route, "original_router", None), "routes", None)
        if inner is None:
            yield route
        else:
            yield from flat(inner)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    from tests.api.makers import FakeEngines

    workspace = Workspace.open(tmp_path_factory.mktemp("shop") / "data", engines=FakeEngines())
    guests = Guests(workspace.database, WHERE)
    app = create_app(workspace, UNLIMITED, guests)
    with TestClient(app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 5)) as laptop:
        ids = visit(laptop)
        laptop.post("/api/jobs", json=JOB)
        phone = TestClient(app, base_url=HERE, client=PHONE, raise_server_exceptions=False)
        yield Shop(app, guests, everything(app, ids), phone, laptop)


def test_the_list_is_whole(shop: Shop) -> None:
    assert len(shop.asked) >= len(shop.app.openapi()["paths"]) + len(page_names())
    assert ("", "/api/jobs/J1/listen") in shop.asked
    assert ("GET", "/openapi.json") in shop.asked
    assert set(shop.asked) >= OPEN


def test_who_is_not_paired_gets_401_everywhere(shop: Shop) -> None:
    revoked = shop.pair()
    shop.guests.revoke(shop.newest())
    other = shop.pair()
    strangers: dict[str, dict[str, str]] = {
        "no token": {},
        "revoked": {"cookie": revoked},
        "an invented one": {"cookie": f"{COOKIE}={'A' * 43}"},
        "two at once": {"cookie": f"{other}", "Cookie2": other} | {"cookie": f"{other[:-1]}"},
        "under another name": {"cookie": other.removeprefix("__Host-")},
        "as a bearer": {"authorization": f"Bearer {other.partition('=')[2]}"},
        "says that it is local": {"x-forwarded-for": "127.0.0.1", "forwarded": "for=127.0.0.1;proto=http"},
    }
    for who, headers in strangers.items():
        for asked in shop.asked:
            is_open = ("GET" if asked[0] == "HEAD" else asked[0], asked[1]) in OPEN
            status = shop.ask(asked, headers)
            assert (status != 401) if is_open else (status == 401), (who, asked, status)


def test_a_reader_reads_and_does_nothing_else(shop: Shop) -> None:
    cookie = {"cookie": shop.pair(Role.READER)}
    for asked in shop.asked:
        method, path = asked
        if path == "/api/access/leave" or (method, path) in OPEN:
            continue
        status = shop.ask(asked, cookie)
        if method in ("GET", "HEAD") and not path.startswith(LAPTOP_ONLY):
            assert status < 400 or status in (404, 422), (asked, status)
        else:
            assert status == 403, (asked, status)


def test_a_technician_may_all_but_what_is_the_laptop_s(shop: Shop) -> None:
    cookie = {"cookie": shop.pair()}
    opened = 0
    for asked in shop.asked:
        if asked[1] == "/api/access/leave":
            continue
        status = shop.ask(asked, cookie)
        if asked[1].startswith(LAPTOP_ONLY):
            assert status == 403, (asked, status)
        elif asked != ("POST", "/api/pair"):
            assert status not in (401, 403), (asked, status)
            opened += 1
    assert opened >= 40


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "other.example"},
        {"host": "localhost:8766"},  # a name of the laptop, not of the network
        {"host": "10.77.1.3:8766"},  # an address that the laptop had before
        {"origin": "https://other.example"},
        {"origin": "http://10.77.1.2:8766"},  # the same host without encryption
        {"origin": "http://10.77.1.2:8767"},  # the page with the certificate
        {"origin": "https://10.77.1.2"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_host_or_origin_gets_nothing_even_with_a_token(shop: Shop, headers: dict[str, str]) -> None:
    cookie = {"cookie": shop.pair()}
    for asked in shop.asked:
        assert shop.ask(asked, {**cookie, **headers}) == 403, asked


def test_the_name_on_the_network_is_ours_as_well(shop: Shop) -> None:
    cookie = {"cookie": shop.pair()}
    own = {"host": "ohmtrail-ab12.local:8766", "origin": "https://ohmtrail-ab12.local:8766"}
    assert shop.ask(("GET", "/api/jobs"), {**cookie, **own}) == 200


@pytest.mark.parametrize(
    ("base", "client"),
    [
        ("http://10.77.1.2:8765", ("127.0.0.1", 5)),  # reached by an address of the network
        ("http://127.0.0.1:8765", PHONE),  # asked from the network
        ("https://127.0.0.1:8766", ("127.0.0.1", 5)),  # the phones' port
    ],
)
def test_loopback_is_plain_http_with_both_ends_at_this_machine(shop: Shop, base: str, client: tuple[str, int]) -> None:
    asking = TestClient(shop.app, base_url=base, client=client)
    assert asking.get("/api/jobs").status_code in (401, 403)
    laptop = TestClient(shop.app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 5))
    assert laptop.get("/api/jobs").status_code == 200
    assert laptop.get("/api/devices").status_code == 200


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_hosts(shop: Shop) -> None:
    code = shop.guests.codes.make(Grant(Role.READER))
    answer = shop.phone.post("/api/pair", json={"code": code, "device": "Phone", "person": "Ada"})
    parts = answer.headers["set-cookie"].split("; ")
    # RFC 6265bis, 4.1.3.2: a "__Host-" cookie has Secure and Path=/ and no Domain.
    assert parts[0].startswith("__Host-")
    assert {"Path=/", "Secure", "HttpOnly", "SameSite=Strict"} <= set(parts)
    assert not [part for part in parts if part.lower().startswith("domain")]
    token = parts[0].partition("=")[2]
    assert len(token) == 43  # 32 bytes in base64 without padding
    assert token not in answer.text
    shop.phone.cookies.clear()


def test_who_is_sent_to_the_start_page_sees_where_to_type_the_code(shop: Shop) -> None:
    answer = shop.phone.get("/")
    assert (answer.status_code, "Pair this device" in answer.text) == (401, True)
    assert answer.headers["content-security-policy"].startswith("default-src 'none'; script-src 'self'")
    refused = shop.phone.get("/api/jobs")
    assert refused.headers["www-authenticate"].startswith("Pairing ")  # RFC 9110, 15.5.2


def test_revoking_ends_an_open_socket_and_keeps_what_was_said(shop: Shop) -> None:
    cookie = {"cookie": shop.pair(person="Grace")}
    device = shop.newest()
    address = "wss://10.77.1.2:8766/api/jobs/J2/listen"
    laptop = TestClient(shop.app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 5))
    with shop.phone.websocket_connect(address, headers=cookie) as line:
        line.send_json({"type": "start"})
        line.send_bytes(b"\0\1" * 16_000)
        assert laptop.post(f"/api/devices/{device}/revoke").status_code == 200
        with pytest.raises(WebSocketDisconnect) as ended:
            line.receive_json()  # no words come of a tone, so the next that comes is the end
        assert ended.value.code == 1008  # RFC 6455, 7.4.1: a policy
    entries = laptop.get("/api/jobs/J2/trail").json()["entries"]
    assert (entries[-1]["what"], entries[-1]["by"]) == ("kept, cut", "Grace")
    with pytest.raises(WebSocketDenialResponse) as again, shop.phone.websocket_connect(address, headers=cookie):
        pass
    assert again.value.status_code == 401


def test_by_is_the_person_of_the_device(shop: Shop) -> None:
    laptop = TestClient(shop.app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 5))
    made = laptop.post("/api/devices/codes", json={"role": "technician", "person": "Ida Brandt"}).json()
    told = {"code": f"{made['code'][:4]} {made['code'][4:]}", "device": "Phone 2", "person": "somebody else"}
    answer = shop.phone.post("/api/pair", json=told)
    assert answer.json()["person"] == "Ida Brandt", "the name given at the laptop counts"
    cookie = {"cookie": answer.headers["set-cookie"].partition(";")[0]}
    shop.phone.cookies.clear()
    typed = {"kind": "winding_resistance", "value": "1.10", "unit": "Ohm", "axis": "X", "section": "motor_alone"}
    proposal = shop.phone.post("/api/jobs/J2/typed", json=typed, headers=cookie).json()["proposals"][0]
    confirmed = shop.phone.post(
        f"/api/proposals/{proposal['id']}/confirm", json={"revision": proposal["revision"]}, headers=cookie
    )
    assert confirmed.json()["records"][0]["confirmed_by"] == "Ida Brandt"
    entries = laptop.get("/api/jobs/J2/trail").json()["entries"]
    by = {entry["what"]: entry["by"] for entry in entries}
    assert (by["typed"], by["confirmed"]) == ("Ida Brandt", "Ida Brandt")
    assert by["job created"] == JOB["technician"], "at the laptop itself the job's own technician acts"
    for seconds, words in ((100, READING), (120, "confirm")):
        sent = shop.phone.post(
            "/api/jobs/J2/evidence",
            files={"file": ("x", clip(words))},
            data={"captured_at": at(seconds)},
            headers=cookie,
        )
        assert sent.status_code == 201, sent.text
    # Read by a thread of the queue, which knows of no device: what was spoken counts as said by whoever sent it.
    [spoken] = [one for one in laptop.get("/api/jobs/J2/records").json() if one["confirmed_how"] == "spoken"]
    assert spoken["confirmed_by"] == "Ida Brandt"
    assert laptop.get("/api/verify").json()["result"] == "intact"


def test_a_device_can_leave_by_itself(shop: Shop) -> None:
    cookie = {"cookie": shop.pair(Role.READER)}
    answer = shop.phone.post("/api/access/leave", headers=cookie)
    assert (answer.json(), "Max-Age=0" in answer.headers["set-cookie"]) == ({"left": True}, True)
    assert shop.ask(("GET", "/api/access"), cookie) == 401


def test_a_server_of_this_machine_alone_has_no_devices(workspace: Workspace) -> None:
    with TestClient(create_app(workspace), base_url="http://localhost") as client:
        for path in ("/api/devices/codes", "/api/devices/device-1/revoke"):
            answer = client.post(path, json={})
            assert (answer.status_code, answer.json()["code"]) == (409, "lan_off")
        assert client.get("/api/devices").json()["pages"] == []
        assert client.get("/api/access").json() == {"lan": False, "device": None, "role": "technician"}


def test_unpaired_uploads_are_refused_before_their_body_is_read(shop: Shop) -> None:
    async def never() -> Any:
        raise AssertionError("the body was read")

    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "method": "POST", "path": "/api/jobs/J1/evidence", "raw_path": b"/api/jobs/J1/evidence",
        "query_string": b"", "headers": [(b"host", b"10.77.1.2:8766")], "client": PHONE,
        "server": ("10.77.1.2", 8766), "scheme": "https", "root_path": "", "http_version": "1.1",
        "asgi": {"version": "3.0"},
    }  # fmt: skip
    asyncio.run(shop.app(scope, never, send))
    assert sent[0]["status"] == 401
