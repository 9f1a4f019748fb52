"""One server and one browser for the tests of this folder that do not need their own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser, Page, Playwright, ViewportSize, expect, sync_playwright

from tests.e2e import running

# A busy machine may take its time: what is expected is waited for, never how fast it comes.
expect.set_options(timeout=20_000)

PHONE: ViewportSize = {"width": 390, "height": 844}

DESCRIPTION: dict[str, Any] = {
    "title": "Feed axis trips, <b>machine</b> 4 & 5",
    "customer": "Brackwater Gearworks (invented)",
    "machine": "Machining centre 4",
    "technician": "Technician 7",
    "axes": [
        {"name": "X", "motor_kind": "dc_servo", "rated_voltage": "90", "rated_power_w": "900", "moving_cable": True},
        {"name": "Y", "motor_kind": "ac_servo", "rated_voltage": "400", "rated_power_w": "2200", "winding_c": "25"},
    ],
    "instruments": [
        {"id": "IT-03", "kind": "insulation_tester", "accuracy_percent": "3", "accuracy_counts": "5"},
        {"id": "LR-02", "kind": "milliohmmeter", "accuracy_percent": "0.25", "accuracy_counts": "3"},
    ],
}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[running.Server]:
    with running.server(tmp_path_factory.mktemp("server")) as found:
        yield found


@pytest.fixture(scope="package")
def play() -> Iterator[Playwright]:
    """Start the one browser driver of this folder; it ends here, since its event loop would disturb tests elsewhere."""
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="module")
def chromium(play: Playwright) -> Iterator[Browser]:
    with running.browser(play) as found:
        yield found


@pytest.fixture
def page(chromium: Browser, server: running.Server) -> Iterator[Page]:
    """Open a phone's page; anything that its console calls an error, and any request elsewhere, fails the test."""
    context = chromium.new_context(viewport=PHONE)
    found = context.new_page()
    complaints = watch(found, server)
    yield found
    context.close()
    assert not complaints


def watch(page: Page, server: running.Server) -> list[str]:
    """Collect what must not happen on a page: errors, dialogs, requests to anywhere but the server."""
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
    page.on("dialog", lambda dialog: complaints.append(f"dialog: {dialog.message}"))

    def request(url: str) -> None:
        if not url.startswith((server.url, "data:", "blob:")):
            complaints.append(f"request: {url}")

    def console(kind: str, text: str, address: str) -> None:
        # A refused answer (409) is shown on the page, and the browser notes it besides.
        # So does it of a spoken sentence that was cut short: its sound, a blob of the page, is let go (readback.js).
        let_go = address.startswith("blob:") and "ERR_FILE_NOT_FOUND" in text
        if kind == "error" and "409" not in text and not let_go:
            complaints.append(f"console: {text}")

    page.on("request", lambda found: request(found.url))
    page.on("console", lambda message: console(message.type, message.text, message.location["url"]))
    return complaints


@pytest.fixture
def job_id(server: running.Server) -> str:
    """Make a new job."""
    answer = httpx.post(f"{server.url}/api/jobs", json=DESCRIPTION, timeout=30)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def go(page: Page, place: str) -> None:
    """Open a place of the job by its link: "Measure", "Axes", "To check" or "Report"."""
    page.get_by_role("navigation", name="Places of this job").get_by_role("link", name=place).click()


def open_axis(page: Page, axis: str) -> None:
    """Open the detail of an axis in its place."""
    go(page, "Axes")
    fold = page.get_by_role("button", name=f"Axis {axis}", exact=True)
    if fold.get_attribute("aria-expanded") == "false":
        fold.click()


def fixtures() -> Path:
    """Give the folder of the invented visit."""
    return Path(__file__).parents[2] / "fixtures" / "visit"
