"""Every place and state of the page beside the work: axe-core finds nothing, nothing sticks out, nothing is too small.

What is held against: axe-core's rules for WCAG 2.2 A and AA and its best practice, 7 to 1 for text (WCAG 2.2, 1.4.6),
44 px for what is pressed (2.5.5). The places of the work itself are in `test_places.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser, Page, Playwright, ViewportSize, expect

from tests.e2e import running
from tests.e2e.conftest import PHONE, go
from tests.e2e.phone import Laptop, Phone, pair
from tests.e2e.test_page import INSULATION, WINDING, answer_all, open_job, probe, type_reading
from tests.e2e.test_places import CONTRAST, SIZES, accessible

LEAST_PX = 44
WIDE: dict[str, ViewportSize] = {name: SIZES[name] for name in ("phone", "tablet", "laptop")}


def hold(page: Page, what: str) -> None:
    """Hold what is shown against the promises at each size; contrast in the dark too."""
    page.emulate_media(color_scheme="dark")
    assert probe(page, "faint", CONTRAST) == [], f"{what}, dark"
    for name, size in WIDE.items():
        page.set_viewport_size(size)
        if name != "tablet":
            accessible(page, ("light",))
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], f"{what}, {name}: it sticks out"
        assert probe(page, "small", LEAST_PX) == [], f"{what}, {name}"
    page.set_viewport_size(PHONE)


def unfold(page: Page) -> None:
    for details in page.locator("main details").all():
        details.evaluate("d => { d.open = true }")


@pytest.fixture
def quiet(chromium: Browser) -> Iterator[Page]:
    """Open a page that moves nothing: axe-core would measure colours in the middle of a movement."""
    context = chromium.new_context(viewport=PHONE, reduced_motion="reduce")
    yield context.new_page()
    context.close()


def test_jobs_their_form_and_their_details(quiet: Page, server: running.Server, job_id: str) -> None:
    page = quiet
    page.goto(f"{server.url}/#/")
    expect(page.locator("#jobs li")).not_to_have_count(0)
    hold(page, "jobs")
    page.locator("#search").fill("nothing of this name")
    expect(page.locator("#found")).not_to_be_empty()
    hold(page, "jobs, none found")

    page.goto(f"{server.url}/#/new")
    page.get_by_role("button", name="Add an axis").click()
    page.get_by_role("button", name="Add an instrument").click()
    hold(page, "new job")
    unfold(page)
    for name in ("rated_voltage", "winding_c"):
        page.locator(f".axis-row [name={name}]").first.fill("much")
    page.locator(".instrument-row [name=range_end]").fill("4000 V")
    page.get_by_role("button", name="Make the job").click()
    expect(page.locator("#form-problem")).to_contain_text("fields need a look")
    hold(page, "new job, wrong")

    page.goto(f"{server.url}/#/about/{job_id}")
    expect(page.locator("#state")).to_be_visible()
    unfold(page)
    hold(page, "details")
    page.goto(f"{server.url}/#/edit/{job_id}")
    expect(page.get_by_role("button", name="Save the correction")).to_be_visible()
    unfold(page)
    hold(page, "correct a job")
    page.get_by_role("button", name="Save the correction").click()
    expect(page.locator("#form-problem")).not_to_be_empty()
    hold(page, "correct a job, nothing changed")
    page.goto(f"{server.url}/#/jobs/J99999")
    expect(page.get_by_role("heading", name="That did not work")).to_be_visible()
    hold(page, "no such job")


def test_the_review_in_each_state(quiet: Page, server: running.Server, job_id: str) -> None:
    page = quiet
    address = f"{server.url}/page/review.html#{job_id}"
    page.goto(address)
    expect(page.get_by_role("heading", name="Nothing waits")).to_be_visible()
    hold(page, "review, nothing waits")
    for typed in ({**WINDING, "unit": ""}, INSULATION):
        httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json=typed, timeout=30).raise_for_status()
    page.reload()
    expect(page.locator("#focus .value")).to_be_visible()
    unfold(page)
    hold(page, "review, a doubt")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#focus .value")).to_have_text("0.80 MΩ")
    hold(page, "review, a value")
    page.keyboard.press("c")
    hold(page, "review, correct")
    page.reload()
    expect(page.locator("#focus .value")).to_be_visible()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.locator("#safety-question")).to_be_visible()
    hold(page, "review, a safety question")


def test_what_a_reader_sees_and_a_closed_job(quiet: Page, server: running.Server, job_id: str) -> None:
    page = quiet
    open_job(page, server, job_id)
    type_reading(page, **INSULATION)
    page.get_by_role("button", name="Confirm", exact=True).click()
    answer_all(page)
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("#reading")).to_have_class("reading recorded")
    for reading in ({**WINDING, "unit": ""}, WINDING):
        if reading is WINDING:
            page.goto(f"{server.url}/#/jobs/{job_id}/check")
            page.get_by_role("button", name="Reject").click()
            expect(page.get_by_role("button", name="Reject")).to_have_count(0)
            httpx.post(f"{server.url}/api/jobs/{job_id}/state", json={"move": "close"}, timeout=30).raise_for_status()
        else:
            httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json=reading, timeout=30).raise_for_status()
        for view in ("?view=read", ""):
            if not view and reading is not WINDING:
                continue
            page.goto("about:blank")
            page.goto(f"{server.url}/{view}#/jobs/{job_id}")
            expect(page.locator("section.axis")).to_have_count(2)
            for place in ("Measure", "Axes", "To check", "Report"):
                go(page, place)
                unfold(page)
                hold(page, f"{place} {view}")
            page.goto(f"{server.url}/{view}#/about/{job_id}")
            expect(page.locator("#history")).to_be_visible()
            unfold(page)
            hold(page, f"details {view}")
    page.goto(f"{server.url}/?view=read#/new")
    expect(page.get_by_role("heading", name="This device only looks")).to_be_visible()
    hold(page, "only looks")


def test_devices_pairing_and_trust(play: Playwright, tmp_path: Path) -> None:
    with running.server(tmp_path, "--lan") as server:
        laptop, phone = Laptop(server), Phone(play, tmp_path / "phone")
        phone.trust(server.folder / "access" / "authority.pem")
        name = laptop.name()
        with phone.browser({name: "127.0.0.1"}) as browser:
            page = browser.new_page()
            page.emulate_media(reduced_motion="reduce")
            page.goto(f"http://{name}:{laptop.trust}/")
            expect(page.get_by_role("link", name="Get the certificate")).to_be_visible()
            hold(page, "trust")
            page.goto(f"{laptop.page(name)}/pair")
            hold(page, "pairing")
            pair(page, "00000000", "Mallory")
            expect(page.locator("#refused")).not_to_be_empty()
            hold(page, "pairing, wrong code")
            pair(page, laptop.code(), "Ida Brandt")
            page.get_by_text("Ida Brandt").click()
            expect(page.get_by_role("button", name="End this pairing")).to_be_visible()
            hold(page, "this device")
            page.goto(f"{server.url}/#/devices")
            page.get_by_role("button", name="Make a code").click()
            expect(page.locator("#code canvas")).to_be_visible()
            expect(page.get_by_role("button", name="Revoke")).to_be_visible()
            hold(page, "devices")
