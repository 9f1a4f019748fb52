"""Measures the page of a job in Chromium: what it weighs, when it can be used, from the shutter to the value, taps.

usage: python -m tests.benchmarks.page [--times 5]

The machine's load counts: run it on an idle one. Taps and scrolls are those of one axis' insulation value typed in,
confirmed, refused, its safety questions answered and confirmed again; a scroll is counted wherever what is pressed next
was not wholly in sight.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import statistics
import tempfile
import time
from pathlib import Path

import httpx2 as httpx
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, Response, Route, ViewportSize, expect, sync_playwright

from tests.e2e import running

PHONE: ViewportSize = {"width": 390, "height": 844}
DELAY_MS = 40  # between a phone and the laptop over a shop's Wi-Fi: an assumption, no source
VISIT = Path(__file__).parents[2] / "fixtures" / "visit"
PATIENCE_MS = 120_000
READING = {
    "value": "550", "unit": "MOhm", "axis": "Y", "section": "motor_alone", "kind": "insulation_resistance",
    "test_voltage_set": "500", "terminals": "lead-ground",
}  # fmt: skip


class Hand:
    """Presses, and counts what it took."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.scrolls = page, 0, 0

    def press(self, target: Locator) -> None:
        """Press something; brings it into sight first where it is not."""
        target.wait_for()
        inside = (
            "e => { const b = e.getBoundingClientRect(); return b.top >= 0 && b.bottom <= innerHeight"
            " && e.contains(document.elementFromPoint(b.left + b.width / 2, b.top + b.height / 2)); }"
        )
        self.scrolls += not target.evaluate(inside)
        self.taps += 1
        target.click()


def opened(browser: Browser, url: str, job: str, delay_ms: int = 0, named: bool = True) -> tuple[float, int, int]:
    """Open a job with nothing kept; gives seconds until it can be used, bytes and number of the page's files.

    Args:
        browser: Chromium.
        url: The server.
        job: The job.
        delay_ms: How much longer each answer takes than over loopback, ms.
        named: Whether the head names the modules; False takes those links out on the way.
    """
    context = browser.new_context(viewport=PHONE, service_workers="block")
    page = context.new_page()
    got: list[Response] = []
    if delay_ms:
        session = context.new_cdp_session(page)
        session.send("Network.enable")
        line = {"offline": False, "latency": delay_ms, "downloadThroughput": -1, "uploadThroughput": -1}
        session.send("Network.emulateNetworkConditions", line)
    if not named:

        def without(route: Route) -> None:
            answer = route.fetch()
            route.fulfill(response=answer, body=re.sub(r'<link rel="modulepreload"[^>]*>', "", answer.text()))

        page.route(f"{url}/", without)

    def take(found: Response) -> None:
        got.append(found)

    page.on("response", take)
    begun = time.perf_counter()
    page.goto(f"{url}/#/jobs/{job}")
    page.get_by_role("button", name="Speak", exact=True).wait_for()
    expect(page.locator("#next")).not_to_be_empty()
    took = time.perf_counter() - begun
    files = [r.body() for r in got if "/api/" not in r.url]
    context.close()
    return took, sum(map(len, files)), len(files)


def shot(browser: Browser, url: str, job: str) -> float:
    """Give the seconds from the shutter to the value in sight."""
    context = browser.new_context(viewport=PHONE, permissions=["camera"])
    page = context.new_page()
    page.add_init_script("localStorage.setItem('ohmtrail.readback', 'off')")
    page.add_init_script("localStorage.setItem('ohmtrail.takes-by-itself', 'off')")
    page.goto(f"{url}/#/jobs/{job}")
    page.get_by_role("button", name="Photo", exact=True).click()
    page.wait_for_function("() => (document.querySelector('#camera video') || {}).videoWidth > 0")
    page.wait_for_timeout(1500)  # the first frames are black
    before = page.locator("#value").inner_text()
    begun = time.perf_counter()
    page.get_by_role("button", name="Take it").click()
    expect(page.locator("#value")).not_to_have_text(before)
    took = time.perf_counter() - begun
    page.get_by_role("button", name="Reject").click()
    expect(page.locator("#reading")).to_have_class("reading none")
    context.close()
    return took


def by_itself(browser: Browser, url: str, job: str) -> tuple[float, float]:
    """Open the camera's view on a display; gives the seconds until its frame is drawn, and until its value is there."""
    context = browser.new_context(viewport=PHONE, permissions=["camera"])
    page = context.new_page()
    page.add_init_script("localStorage.setItem('ohmtrail.readback', 'off')")
    page.goto(f"{url}/#/jobs/{job}")
    expect(page.locator("section.axis")).not_to_have_count(0)
    before = page.locator("#value").inner_text()
    begun = time.perf_counter()
    page.get_by_role("button", name="Photo", exact=True).click()
    page.locator("svg.found.shown").wait_for()
    framed = time.perf_counter() - begun
    expect(page.locator("#value")).not_to_have_text(before)
    took = time.perf_counter() - begun
    page.get_by_role("button", name="Reject").click()
    expect(page.locator("#reading")).to_have_class("reading none")
    context.close()
    return framed, took


def one_value(browser: Browser, url: str, job: str) -> Hand:
    """Bring one value from typing to its record."""
    page = browser.new_context(viewport=PHONE).new_page()
    page.add_init_script("localStorage.setItem('ohmtrail.readback', 'off')")
    page.goto(f"{url}/#/jobs/{job}")
    hand = Hand(page)
    hand.press(page.get_by_role("button", name="Type", exact=True))
    for name, value in READING.items():
        field = page.locator(f"#typing [name={name}]")
        field.fill(value) if field.evaluate("e => e.tagName") == "INPUT" else field.select_option(value)
    hand.press(page.get_by_role("button", name="Use these"))
    confirm = page.get_by_role("button", name="Confirm", exact=True)
    expect(confirm).to_be_enabled()
    hand.press(confirm)
    card = page.locator("#safety-card")
    card.wait_for()
    while card.is_visible():
        asked = card.locator(".sentence").inner_text()
        if card.locator("input").count():
            card.locator("input").fill("3")
        hand.press(card.get_by_role("button", name="Yes"))
        page.wait_for_function(
            "asked => { const card = document.querySelector('#safety-card');"
            " return card.hidden || card.querySelector('.sentence').textContent !== asked; }",
            arg=asked,
        )
    expect(confirm).to_be_enabled()
    hand.press(confirm)
    expect(page.locator("#reading")).to_have_class("reading recorded")
    return hand


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=5, help="how often each is done; the table has the medians")
    times = parser.parse_args().times
    expect.set_options(timeout=PATIENCE_MS)
    with tempfile.TemporaryDirectory() as folder, running.server(Path(folder)) as server, sync_playwright() as play:
        camera = Path(folder) / "camera.mjpeg"
        with Image.open(VISIT / "photos" / "p06.jpg") as picture:
            picture.save(camera, "JPEG")  # a stream of one JPEG is a Motion JPEG
        described = json.loads((VISIT / "job.json").read_text("utf-8"))
        jobs = [httpx.post(f"{server.url}/api/jobs", json=described, timeout=60).json()["id"] for _ in range(2)]
        with running.browser(play) as found:
            loads = [opened(found, server.url, jobs[0]) for _ in range(times)]
            ways = [(delay, named) for delay in (0, DELAY_MS) for named in (True, False)]
            # In turns, so that a machine that is busy for a while is so for each.
            took = [[opened(found, server.url, jobs[0], *way)[0] for way in ways] for _ in range(times)]
            hand = one_value(found, server.url, jobs[0])
        launched = play.chromium.launch(
            executable_path=running.chromium(),
            args=[*running.QUIET, "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
                  f"--use-file-for-fake-video-capture={camera}"],
        )  # fmt: skip
        shots = [shot(launched, server.url, jobs[1]) for _ in range(times)]
        framed, alone = zip(*(by_itself(launched, server.url, jobs[1]) for _ in range(times)), strict=True)
        launched.close()
    print(f"{'load of the machine, cores':34}{os.getloadavg()[0]:8.1f}, {os.cpu_count()}")
    print(f"{'page':34}{loads[0][1] / 1000:8.0f} kB in {loads[0][2]} files")
    print(f"{'until it can be used':34}{statistics.median(took for took, _, _ in loads):8.2f} s")
    for (delay, named), column in zip(ways, zip(*took, strict=True), strict=True):
        words = f"{'with' if named else 'without'} modules named, +{delay} ms"
        print(f"{words:34}{statistics.median(column):8.2f} s ({min(column):.2f} to {max(column):.2f})")
    print(f"{'shutter to value':34}{statistics.median(shots):8.2f} s ({min(shots):.2f} to {max(shots):.2f})")
    for words, column in (("view opened to frame", framed), ("... to value, taken by itself", alone)):
        print(f"{words:34}{statistics.median(column):8.2f} s ({min(column):.2f} to {max(column):.2f})")
    print(f"{'one value with its 12 questions':34}{hand.taps:8d} taps, {hand.scrolls} scrolls")


if __name__ == "__main__":
    main()
