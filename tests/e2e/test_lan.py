"""A phone in the shop's network: the authority installed in its store, pairing, "by", revoking, another address.

Nothing here ignores a certificate's error. The phone is a Chromium with a store of its own (NSS), into which the
certificate goes that the plain page hands out; the network is a private address of this machine. That phones find
`.local` names is their own doing: here the browser is told where the name leads. How long a code lives is tested with a
clock in `tests/api/access/test_codes.py`.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx2 as httpx
import pytest
from playwright.sync_api import Error, Page, Playwright

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION
from tests.e2e.phone import Laptop, Phone, pair

FIRST, SECOND = "10.77.1.2", "10.77.1.3"


def address(verb: str, text: str) -> bool:
    """Add an address to this machine, or take it away; False where that is not allowed."""
    command = ["ip", "address", verb, f"{text}/32", "dev", "lo"]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


@pytest.fixture
def network() -> Iterator[None]:
    if not address("add", FIRST):
        pytest.skip("needs the right to give this machine an address: run it by sh tests/run.sh tests/e2e/test_lan.py")
    yield
    for one in (FIRST, SECOND):
        address("del", one)


def test_a_phone_comes_in_works_and_is_shut_out(network: None, play: Playwright, tmp_path: Path) -> None:
    with running.server(tmp_path, "--lan") as server:
        laptop = Laptop(server)
        job = laptop.ask("POST", "/api/jobs", DESCRIPTION)["id"]
        phone = Phone(play, tmp_path / "phone")
        # Without the certificate the browser refuses, as it must.
        with phone.browser() as browser, pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
            browser.new_page().goto(laptop.page(FIRST))
        plain = f"http://{FIRST}:{laptop.trust}"
        told = httpx.get(plain + "/").text
        certificate = tmp_path / "authority.crt"
        certificate.write_bytes(httpx.get(plain + re.findall(r'href="(/[^"]+\.crt)"', told)[0]).content)
        fingerprint = hashlib.sha256(certificate.read_bytes()).hexdigest()
        shown = laptop.ask("GET", "/api/devices")["fingerprint"]
        assert shown.replace(" ", "").lower() == fingerprint
        assert shown in told
        assert shown in server.log.read_text()
        phone.trust(certificate)
        with phone.browser() as browser:
            page = browser.new_page()
            page.goto(laptop.page(FIRST))
            _is_refused(page, laptop)
            used = laptop.code()
            page.goto(f"{laptop.page(FIRST)}/pair#{used}")
            assert page.get_by_label("Code").input_value() == used
            pair(page, used, "Ida Brandt")
            page.get_by_role("link", name="New job").wait_for()
            assert page.locator("#who").inner_text() == "Ida Brandt"
            assert (
                page.evaluate("[isSecureContext, !!navigator.mediaDevices, 'serviceWorker' in navigator]") == [True] * 3
            )
            assert page.evaluate("document.cookie") == "", "no script can read the token"
            _record_is_by(page, laptop, job, "Ida Brandt")
            _socket_ends_when_revoked(page, laptop, job)
            page.goto(f"{laptop.page(FIRST)}/pair")
            pair(page, used, "Ida Brandt")
            page.get_by_text("That code is wrong, was used already").wait_for()


def _is_refused(page: Page, laptop: Laptop) -> None:
    """Guess until nothing more is looked at; the right code of then is void for this phone."""
    for _ in range(2):
        pair(page, "00000000", "Mallory")
        page.get_by_text("That code is wrong").wait_for()
    assert page.evaluate("fetch('/api/jobs').then((answer) => answer.status)") == 401


def _record_is_by(page: Page, laptop: Laptop, job: str, person: str) -> None:
    typed = {"kind": "winding_resistance", "value": "1.08", "unit": "Ohm", "axis": "X", "section": "motor_alone"}
    page.goto(f"{laptop.page(FIRST)}/#/jobs/{job}")
    page.get_by_role("button", name="Speak").wait_for()
    send = (
        "([path, body]) => fetch(path, {method: 'POST', headers: {'content-type': 'application/json'},"
        " body: JSON.stringify(body)}).then((answer) => answer.json())"
    )
    page.evaluate(send, [f"/api/jobs/{job}/typed", typed])
    page.get_by_role("button", name="Confirm", exact=True).click()
    page.locator("#reading.recorded").get_by_text("1.08").wait_for()
    [record] = laptop.ask("GET", f"/api/jobs/{job}/records")
    assert (record["value"], record["confirmed_by"]) == ("1.08", person)
    entries = laptop.ask("GET", f"/api/jobs/{job}/trail")["entries"]
    assert {entry["by"] for entry in entries if entry["what"] in ("typed", "confirmed")} == {person}


def _socket_ends_when_revoked(page: Page, laptop: Laptop, job: str) -> None:
    page.evaluate(
        "(job) => new Promise((opened) => {"
        " const line = new WebSocket(`wss://${location.host}/api/jobs/${job}/listen`);"
        " window.ended = new Promise((done) => { line.onclose = (event) => done(event.code); });"
        " line.onopen = opened; })",
        job,
    )
    assert "device-1 is revoked." in _command(laptop, "devices", "--revoke", "device-1")
    assert page.evaluate("window.ended") == 1008
    assert page.evaluate("fetch('/api/jobs').then((answer) => answer.status)") == 401


def _command(laptop: Laptop, *arguments: str) -> str:
    command = [str(Path(sys.executable).with_name("ohmtrail")), *arguments, "--data", str(laptop.server.folder)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def test_the_laptop_gets_another_address_between_two_visits(network: None, play: Playwright, tmp_path: Path) -> None:
    with running.server(tmp_path, "--lan") as server:
        laptop = Laptop(server)
        phone = Phone(play, tmp_path / "phone")
        phone.trust(server.folder / "access" / "authority.pem")
        name = laptop.name()
        with phone.browser({name: FIRST}) as browser:
            page = browser.new_page()
            page.goto(f"{laptop.page(name)}/pair#{laptop.code(person='Ida Brandt', role='reader')}")
            page.get_by_label("Your name").fill("-")
            page.get_by_role("button", name="Pair").click()
            page.get_by_text("Ida Brandt · reads only").wait_for()
        assert address("add", SECOND)
        assert address("del", FIRST)
        laptop.reached_at(SECOND)
        with phone.browser({name: SECOND}) as browser:
            page = browser.new_page()
            page.goto(laptop.page(name))
            page.get_by_text("Ida Brandt · reads only").click()  # by its name it is paired as before
            page.get_by_role("button", name="End this pairing").click()
            page.get_by_role("heading", name="Pair this device").wait_for()
            page.goto(laptop.page(name))  # from the server, or what the browser kept of the page: either asks to pair
            page.get_by_text("Pair this device").first.wait_for()
            answer = page.goto(laptop.page(SECOND))  # by its new address the certificate holds, and it is a stranger
            assert answer is not None
            assert answer.status == 401
            page.get_by_role("heading", name="Pair this device").wait_for()
