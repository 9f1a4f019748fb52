"""A laptop that lets phones in, and a phone: a Chromium with a home and a store of certificates of its own (NSS)."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx2 as httpx
from playwright.sync_api import BrowserContext, Page, Playwright

from tests.e2e import running
from tests.e2e.conftest import PHONE


class Laptop:
    """The machine that runs the server, as its own user sees it."""

    def __init__(self, server: running.Server) -> None:
        self.server = server
        port = int(server.url.rpartition(":")[2])
        self.https, self.trust = port + 1, port + 2
        end = time.monotonic() + running.START_S
        while not self._listens(self.trust):  # the ports of the network open after the one of this machine
            assert time.monotonic() < end, server.log.read_text()
            time.sleep(0.1)

    @staticmethod
    def _listens(port: int) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", port)) == 0

    def name(self) -> str:
        """Give its name on the network."""
        page = next(one for one in self.ask("GET", "/api/devices")["pages"] if ".local" in one)
        return str(page.split("/")[2].partition(":")[0])

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        answer = httpx.request(method, self.server.url + path, json=body, timeout=30)
        assert answer.is_success, answer.text
        return answer.json()

    def code(self, **more: str) -> str:
        return str(self.ask("POST", "/api/devices/codes", more)["code"])

    def page(self, host: str) -> str:
        return f"https://{host}:{self.https}"

    def reached_at(self, host: str) -> None:
        """Wait until it has noticed that it has another address."""
        end = time.monotonic() + 30
        while not any(host in one for one in self.ask("GET", "/api/devices")["pages"]):
            assert time.monotonic() < end, "the new address was not noticed"
            time.sleep(0.2)


class Phone:
    """A browser with a home of its own: store of certificates, cookies, cache."""

    def __init__(self, play: Playwright, home: Path) -> None:
        self.play, self.home = play, home
        store = home / ".pki" / "nssdb"
        store.mkdir(parents=True)
        self.store = f"sql:{store}"
        self._certutil("-N", "--empty-password")

    def _certutil(self, *arguments: str) -> None:
        subprocess.run(["certutil", "-d", self.store, *arguments], check=True, capture_output=True)

    def trust(self, certificate: Path) -> None:
        """Install an authority for web sites."""
        self._certutil("-A", "-n", "ohmtrail", "-t", "C,,", "-i", str(certificate))

    @contextmanager
    def browser(self, names: dict[str, str] | None = None) -> Iterator[BrowserContext]:
        """Open the browser; `names` is what the phone's look-up of local names finds."""
        path = shutil.which("chromium") or shutil.which("chromium-browser")
        rules = ",".join(f"MAP {name} {host}" for name, host in (names or {}).items())
        opened = self.play.chromium.launch_persistent_context(
            str(self.home / "profile"),
            executable_path=path,
            args=[*running.QUIET, *([f"--host-resolver-rules={rules}"] if rules else [])],
            env={**os.environ, "HOME": str(self.home)},
            viewport=PHONE,
        )
        try:
            yield opened
        finally:
            opened.close()


def pair(page: Page, code: str, person: str) -> None:
    """Fill in the pairing page and send it."""
    page.get_by_label("Code").fill(code)
    page.get_by_label("Your name").fill(person)
    page.get_by_role("button", name="Pair").click()
