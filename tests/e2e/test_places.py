"""The places of a job on phone, tablet (both ways round) and laptop: work unscrolled, buttons that do not move.

What is held against: WCAG 2.2, 1.4.6 (7 to 1 for text); axe-core's rules for WCAG 2.2 A and AA; 64 px and 12 px are the
project's own for gloves.
"""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser, Page, Route, ViewportSize, expect

from tests.e2e import running
from tests.e2e.conftest import PHONE, fixtures, go, open_axis, watch
from tests.e2e.test_page import INSULATION, WINDING, answer_all, open_job, probe, records, type_reading

SIZES: dict[str, ViewportSize] = {
    "phone": PHONE,
    "side": {"width": 844, "height": 390},
    "tablet": {"width": 820, "height": 1180},
    "tablet-side": {"width": 1180, "height": 820},
    "laptop": {"width": 1280, "height": 800},
}
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
CONTRAST = 7.0
GLOVE_PX = 64
APART_PX = 12
BOXES = (
    "() => [...document.querySelectorAll('.dock button')].map((b) => Object.values(b.getBoundingClientRect().toJSON()))"
)
LOW = """least => [...document.querySelectorAll(".measure button")].filter((b) => b.checkVisibility()).map((b) =>
  [b.textContent, b.getBoundingClientRect()]).filter(([, box]) => box.height < least || box.width < least)
  .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""
TOLD_OVER = """async () => {
  (await import("/page/dom.js")).say("A message of as many words as the longest may have. ".repeat(4), "error");
  return {top: document.getElementById("status").getBoundingClientRect().top,
          alarms: document.querySelector(".alarms").getBoundingClientRect().bottom};
}"""


def accessible(page: Page, schemes: tuple[Any, ...]) -> None:
    """Let axe-core look at what is in sight, and measure every text's contrast."""
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, found.generate_report()
        assert len(found.response["passes"]) > 10, "rules were applied"
        assert probe(page, "faint", CONTRAST) == []


def one_screen(page: Page) -> Any:
    """Hold the work's place against its promise; gives where the three buttons are."""
    size = page.viewport_size
    assert size is not None
    scrolled = page.evaluate("[document.documentElement.scrollHeight, document.documentElement.scrollWidth]")
    assert scrolled[0] <= size["height"], "it scrolls"
    assert scrolled[1] <= size["width"], "it sticks out"
    assert probe(page, "hidden", 0) == [], "needed at work, and out of sight"
    assert probe(page, "small", 44) == []
    assert page.evaluate(LOW, GLOVE_PX) == [], "too small for gloves"
    boxes = page.evaluate(BOXES)
    assert len(boxes) == 3
    assert all(width >= GLOVE_PX and height >= GLOVE_PX for _, _, width, height, *_ in boxes)
    expect(page.locator("aside.caution")).to_contain_text("Insulation testing can kill")
    return boxes


@pytest.mark.parametrize("name", SIZES)
def test_the_work_of_one_axis_needs_no_scrolling(
    chromium: Browser, server: running.Server, job_id: str, name: str, tmp_path: Path
) -> None:
    context = chromium.new_context(viewport=SIZES[name], reduced_motion="reduce")
    page = context.new_page()
    complaints = watch(page, server)
    schemes = ("light", "dark") if name == "phone" else ("light",)
    open_job(page, server, job_id)
    at = one_screen(page)
    accessible(page, schemes)
    # As it is written, not as it is spoken ("X-ray axis, ... A one to A two").
    expect(page.locator("#next")).to_contain_text(
        "Next: Axis X, through the cable, A1\u2060–\u2060A2: winding resistance."
    )
    (left, *_), (second, *_), _ = at
    assert max(abs(second - left), abs(at[1][1] - at[0][1])) >= GLOVE_PX + APART_PX

    type_reading(page, **INSULATION)
    assert one_screen(page) == at
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("#safety-card")).to_be_visible()
    assert one_screen(page) == at
    accessible(page, schemes)
    assert answer_all(page) == 12
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("#reading")).to_have_class("reading recorded")
    expect(page.locator("#value")).to_have_text("0.80 MΩ")
    expect(page.locator("#discharge")).to_contain_text("Do not touch")
    assert one_screen(page) == at
    told = page.evaluate(TOLD_OVER)
    assert told["top"] >= told["alarms"], "no message lies over the discharge that is counted down"
    page.screenshot(path=tmp_path / "discharge.png")

    type_reading(page, **{**WINDING, "unit": ""}, terminals="V-W")
    expect(page.get_by_role("button", name="Confirm", exact=True)).to_be_disabled()
    assert one_screen(page) == at
    accessible(page, schemes)
    page.locator("#asked [data-unit=Ohm]").click()
    expect(page.locator("#value")).to_have_text("1.21 Ω")

    # "Correct" opens where the thumb is: keys of the project's size, no keyboard of the system.
    page.get_by_role("button", name="Correct", exact=True).click()
    sheet = page.get_by_role("dialog", name="Correct this value")
    accessible(page, schemes)
    for key in ("1", ".", "3", "0"):
        sheet.get_by_role("button", name=key, exact=True).click()
    sheet.get_by_role("button", name="Use this").click()
    expect(page.locator("#value")).to_have_text("1.30 Ω")
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("#reading")).to_have_class("reading recorded")
    assert one_screen(page) == at
    assert [r["value"] for r in records(server, job_id)] == ["0.80", "1.30"]

    for beside in ("about", "edit"):
        page.goto(f"{server.url}/#/{beside}/{job_id}")
        expect(page.locator("#discharge"), "in sight until it is over").to_contain_text("Do not touch")
        expect(page.locator("#discharge")).to_be_in_viewport()
    page.goto(f"{server.url}/#/jobs/{job_id}")
    expect(page.locator("section.axis")).to_have_count(2)
    go(page, "Axes")
    expect(page.locator("#discharge"), "in sight until it is over").to_be_in_viewport()
    accessible(page, schemes)
    open_axis(page, "X")
    for details in page.locator("details").all():
        details.evaluate("d => { d.open = true }")
    accessible(page, schemes)
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[name]["width"]
    go(page, "Measure")
    type_reading(page, **WINDING, terminals="U-V")
    go(page, "To check")
    accessible(page, schemes)
    go(page, "Report")
    accessible(page, schemes)
    for button in ("More", "Photo"):
        go(page, "Measure")
        page.get_by_role("button", name=button, exact=True).click()
        accessible(page, schemes)
        page.get_by_role("button", name="Close").click()
    page.evaluate("document.documentElement.dataset.theme = 'sun'")
    assert probe(page, "faint", CONTRAST) == []
    # Twice its size: what a screen half as large shows (WCAG 2.2, 1.4.4 and 1.4.10).
    page.set_viewport_size({"width": SIZES[name]["width"] // 2, "height": SIZES[name]["height"] // 2})
    for place in ("Measure", "Axes", "To check", "Report"):
        go(page, place)
        assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[name]["width"] // 2, place
    context.close()
    assert not complaints


def test_many_photos_go_one_by_one_and_what_is_none_only_if_wanted(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Choose three photos, of two displays and of none; their truth is in `fixtures/visit/truth.json`."""
    shown = {p["file"]: p["shows"] for p in json.loads((fixtures() / "truth.json").read_text("utf-8"))["photos"]}
    paths = [fixtures() / name for name in ("photos/p01.jpg", "photos/p06.jpg")]
    wrong = tmp_path / "plan.pdf"
    wrong.write_bytes(b"%PDF-1.4 a plan, no photo")
    open_job(page, server, job_id)
    page.get_by_role("button", name="Photo", exact=True).click()
    page.locator("#photo").set_input_files([*paths, wrong])
    asked = page.get_by_role("group", name="plan.pdf")
    expect(asked).to_contain_text("neither a photo nor a clip")
    page.get_by_role("button", name="Each of another").click()
    tray = page.get_by_role("list", name="Photos taken")
    for path in paths:
        value = str(shown[f"photos/{path.name}"]["main"])
        expect(tray.locator("li", has_text=value)).to_have_count(1, timeout=60_000)
    picture = tray.locator("li.known img").first
    assert picture.evaluate("i => getComputedStyle(i).objectFit") == "contain", "the whole number"
    stored = f"{server.url}/api/jobs/{job_id}/trail?limit=1000"

    def count() -> int:
        entries = httpx.get(stored, timeout=30).json()["entries"]
        return [entry["what"] for entry in entries].count("evidence stored")

    assert count() == len(paths), "nothing of the file that is none"
    with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=60_000):
        asked.get_by_role("button", name="Keep it with the job").click()
    expect(asked).to_have_count(0)
    assert count() == len(paths) + 1


def test_it_keeps_the_screen_on_trembles_and_can_be_installed(page: Page, server: running.Server, job_id: str) -> None:
    page.add_init_script(
        "window.asked = []; navigator.wakeLock.request = async (kind) => { window.asked.push(kind);"
        " const lock = new EventTarget();"
        " lock.release = async () => { window.asked.push('released'); }; return lock; };"
        "navigator.vibrate = (beats) => { window.asked.push(beats); return true; };"
        "navigator.mediaDevices.getUserMedia = async () => {"
        " const to = new AudioContext().createMediaStreamDestination(); return to.stream; };"
    )
    open_job(page, server, job_id)
    page.get_by_role("button", name="Speak", exact=True).click()
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.get_by_role("button", name="Speak", exact=True)).to_be_visible()
    type_reading(page, **WINDING, terminals="U-V")
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("#reading")).to_have_class("reading recorded")
    page.wait_for_function("() => window.asked.some(Array.isArray)")
    asked = page.evaluate("window.asked")
    assert asked[:2] == ["screen", "released"]
    manifest = json.loads(httpx.get(f"{server.url}/page/ohmtrail.webmanifest", timeout=30).text)
    assert manifest["display"] == "standalone"
    purposes = {(icon["sizes"], icon["purpose"]) for icon in manifest["icons"] if icon["type"] == "image/png"}
    assert purposes == {(f"{side}x{side}", kind) for side in (192, 512) for kind in ("any", "maskable")}
    for icon in manifest["icons"]:
        answer = httpx.get(server.url + icon["src"], timeout=30)
        assert answer.headers["content-type"].startswith(icon["type"])
        if icon["type"] == "image/png":
            whole_when_cut(answer.content, icon)
    # Chromium itself: what it finds wrong in the manifest, and what keeps it from offering to install the page.
    session = page.context.new_cdp_session(page)
    assert session.send("Page.getAppManifest")["errors"] == []
    page.wait_for_function("() => navigator.serviceWorker.ready.then(() => true)")
    found = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert {one["errorId"] for one in found} <= {"in-incognito"}, "the test's window is private"


def whole_when_cut(content: bytes, icon: dict[str, str]) -> None:
    """Hold an icon against its size, and the mark of a maskable one against the part that no phone cuts off.

    That is a circle of 40 % of the width around the centre (W3C, Web Application Manifest, "Icon masks").
    """
    with Image.open(io.BytesIO(content)) as opened:
        pixels = np.asarray(opened.convert("RGB"), dtype=int)
    side = pixels.shape[1]
    assert icon["sizes"] == f"{side}x{pixels.shape[0]}"
    down, across = np.nonzero(np.abs(pixels - pixels[0, 0]).sum(axis=2) > 60)
    assert len(down) > side, "there is a mark"
    if icon["purpose"] == "maskable":
        middle = (side - 1) / 2
        assert np.hypot(down - middle, across - middle).max() <= 0.4 * side


def test_the_head_names_exactly_the_modules_that_the_page_starts_with(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    """Take the links out on the way, and let the browser find out by itself what it needs."""
    context = chromium.new_context(viewport=PHONE, service_workers="block")
    page = context.new_page()
    asked: set[str] = set()
    page.on("request", lambda found: asked.add(found.url) if found.resource_type == "script" else None)
    named = re.findall(r'<link rel="modulepreload" href="([^"]+)">', httpx.get(server.url, timeout=30).text)

    def without(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, body=re.sub(r'<link rel="modulepreload"[^>]*>', "", answer.text()))

    page.route(f"{server.url}/", without)
    page.goto(f"{server.url}/#/jobs/{job_id}")
    expect(page.locator("#next")).not_to_be_empty()
    context.close()
    assert sorted([*named, "/page/app.js"]) == sorted(url.removeprefix(server.url) for url in asked)
