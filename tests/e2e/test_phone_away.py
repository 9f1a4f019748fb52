"""What a phone meets: the laptop gone while paired over TLS, a newer page, full storage, a silent network."""

from __future__ import annotations

import re
import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
from playwright.sync_api import Browser, Page, Playwright, expect

from tests.e2e import running
from tests.e2e.conftest import PHONE, fixtures
from tests.e2e.phone import Laptop, Phone, pair
from tests.e2e.test_lan import FIRST, network
from tests.e2e.test_offline import errors_of, kept_whole, make_job, profile
from tests.e2e.test_outbox import arrivals, open_job, stored

__all__ = ["network"]

CLIP = fixtures() / "clips" / "c01.flac"
ROOT = Path(__file__).parents[2]


def type_resistance(page: Page, value: str) -> None:
    """Type a winding's resistance of axis Y."""
    form = page.locator("#typing form")
    if not form.is_visible():
        page.get_by_role("button", name="Type", exact=True).click()
    form.locator("[name=kind]").select_option("winding_resistance")
    form.locator("[name=value]").fill(value)
    form.locator("[name=unit]").select_option("Ohm")
    form.locator("[name=axis]").select_option("Y")
    form.get_by_role("button").click()


def test_a_paired_phone_works_on_while_the_laptop_is_away(network: None, play: Playwright, tmp_path: Path) -> None:
    """Over TLS, with the authority installed: the page opens from the phone, and what waits is the person's own."""
    restarting = running.Restarting(tmp_path, "--lan")
    restarting.start()
    try:
        laptop = Laptop(restarting.server)
        job_id = make_job(restarting.server)
        phone = Phone(play, tmp_path / "phone")
        phone.trust(restarting.server.folder / "access" / "authority.pem")
        at_phone = running.Server(laptop.page(FIRST), restarting.server.folder, restarting.server.log)
        with phone.browser() as browser:
            page = browser.new_page()
            page.goto(f"{at_phone.url}/pair#{laptop.code()}")
            pair(page, page.get_by_label("Code").input_value(), "Ida Brandt")
            page.get_by_role("link", name="New job").wait_for()
            open_job(page, at_phone, job_id)
            kept_whole(page)
        restarting.kill()
        with phone.browser() as browser:
            page = browser.new_page()
            errors = errors_of(page)
            open_job(page, at_phone, job_id)
            expect(page.locator("#link")).to_contain_text("Server away", timeout=15_000)
            type_resistance(page, "1.08")
            page.locator("#clip").set_input_files(CLIP)
            expect(page.locator("#unsent")).to_contain_text("2 not sent yet")
            restarting.start()
            expect(page.locator("#unsent")).to_have_text("", timeout=60_000)
            assert errors == []
        assert [stored(restarting.server, note["sha256"]) for note in arrivals(restarting.server, job_id)] == [
            CLIP.read_bytes()
        ]
        entries = laptop.ask("GET", f"/api/jobs/{job_id}/trail?limit=1000")["entries"]
        mine = [entry["by"] for entry in entries if entry["what"] in ("typed", "evidence stored")]
        assert mine == ["Ida Brandt"] * 2
    finally:
        restarting.kill()


def newer_page(folder: Path) -> Path:
    """Copy the source with another title on its page, as an update brings it."""
    shutil.copytree(ROOT / "api", folder / "api", ignore=shutil.ignore_patterns("__pycache__"))
    for other in ("capture", "grading", "fixtures"):
        (folder / other).symlink_to(ROOT / other)
    index = folder / "api" / "server" / "web" / "index.html"
    index.write_text(index.read_text().replace("<title>", "<title>Newer: ", 1))
    return folder


def test_a_newer_page_takes_over_whole_and_what_waited_is_sent_by_it(play: Playwright, tmp_path: Path) -> None:
    """Leave a reading unsent in the old page, update the server, open the page until the newer one is there."""
    restarting = running.Restarting(tmp_path)
    restarting.start()
    try:
        server, job_id = restarting.server, make_job(restarting.server)
        with profile(play, tmp_path / "phone") as context:
            page = context.new_page()
            open_job(page, server, job_id)
            kept_whole(page)
            restarting.kill()
            expect(page.locator("#link")).to_contain_text("Server away", timeout=15_000)
            type_resistance(page, "1.08")
            expect(page.locator("#unsent")).to_contain_text("1 not sent yet")
        restarting.start(newer_page(tmp_path / "newer"))
        with profile(play, tmp_path / "phone") as context:
            page = context.new_page()
            errors = errors_of(page)
            open_job(page, server, job_id)
            for _ in range(20):  # the newer page takes over at the start of a visit once all of it was fetched
                if page.title().startswith("Newer"):
                    break
                page.wait_for_timeout(1000)
                page.reload()
            expect(page).to_have_title(re.compile("Newer"))
            expect(page.locator("#unsent")).to_have_text("", timeout=30_000)
            assert errors == []
        proposals = httpx.get(f"{server.url}/api/jobs/{job_id}/proposals", timeout=30).json()
        assert [proposal["value"] for proposal in proposals] == ["1.08"]
    finally:
        restarting.kill()


def test_a_full_browser_says_so_before_the_next_capture_and_loses_nothing(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    errors = errors_of(page)
    # Chromium gives a browser under test room without end, whatever its limit is set to; so the call is made to fail as
    # the standard says it does (Storage, "quota exceeded").
    page.add_init_script(
        "window.full = false; const add = IDBObjectStore.prototype.add;"
        " IDBObjectStore.prototype.add = function (value) {"
        " if (window.full) throw new DOMException('', 'QuotaExceededError'); return add.call(this, value); }"
    )
    open_job(page, server, job_id)
    page.evaluate("window.full = true")
    page.locator("#clip").set_input_files(CLIP)  # with the server there it goes straight to it
    expect(page.locator("#storage")).to_contain_text("no room to keep anything more")
    expect(page.get_by_text("Yankee axis, through the cable.").first).to_be_visible(timeout=60_000)
    context.set_offline(True)
    expect(page.locator("#link")).to_contain_text("Server away", timeout=15_000)
    page.locator("#clip").set_input_files(CLIP)
    expect(page.locator("#refused")).to_contain_text("NOT KEPT")
    page.locator("#refused").get_by_role("button", name="Seen").click()
    expect(page.locator("#refused")).to_have_text("")
    context.set_offline(False)
    page.evaluate("window.full = false")
    expect(page.locator("#link")).to_be_hidden(timeout=15_000)
    page.locator("#clip").set_input_files(CLIP)
    expect(page.locator("#storage")).to_have_text("")
    assert len(arrivals(server, job_id)) == 2
    assert errors == []
    context.close()


class SilentNetwork:
    """A way to the server that can stop carrying anything without closing a connection, as a lost radio link does."""

    def __init__(self, port: int) -> None:
        self.target, self.open = port, threading.Event()
        self.open.set()
        self.listener = socket.create_server(("127.0.0.1", running.free_port()))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self.listener.accept()
            except OSError:
                return  # ended
            far = socket.create_connection(("127.0.0.1", self.target))
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, source: socket.socket, target: socket.socket) -> None:
        try:
            while data := source.recv(65_536):
                self.open.wait()
                target.sendall(data)
            target.shutdown(socket.SHUT_WR)
        except OSError:
            source.close()
            target.close()


@contextmanager
def silent_network(server: running.Server) -> Iterator[SilentNetwork]:
    found = SilentNetwork(int(server.url.rpartition(":")[2]))
    try:
        yield found
    finally:
        found.open.set()
        found.listener.close()


def test_a_network_lost_without_a_word_is_noticed_and_nothing_is_sent_twice(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    """Carry nothing for a while with every connection left open: what was under way and what follows arrive once."""
    with silent_network(server) as network:
        through = running.Server(f"http://127.0.0.1:{network.port}", server.folder, server.log)
        context = chromium.new_context(viewport=PHONE)
        page = context.new_page()
        open_job(page, through, job_id)
        network.open.clear()
        type_resistance(page, "1.08")
        expect(page.locator("#link")).to_contain_text("Server away", timeout=20_000)
        page.locator("#clip").set_input_files(CLIP)
        expect(page.locator("#unsent")).to_contain_text("2 not sent yet")
        network.open.set()
        expect(page.locator("#unsent")).to_have_text("", timeout=60_000)
        expect(page.locator("#link")).to_be_hidden(timeout=15_000)
        context.close()
    assert len(arrivals(server, job_id)) == 1
    proposals = httpx.get(f"{server.url}/api/jobs/{job_id}/proposals", timeout=30).json()
    assert [proposal["value"] for proposal in proposals].count("1.08") == 1
