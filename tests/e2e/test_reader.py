"""A device that is paired to read: it is shown no control that does anything, and the server takes none from it.

What may be pressed is listed here, so that a control that is added later fails this until somebody decides.
"""

from __future__ import annotations

from pathlib import Path

import httpx2 as httpx
from playwright.sync_api import Page, Playwright, expect

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION, fixtures, go
from tests.e2e.phone import Laptop, Phone
from tests.e2e.test_page import INSULATION, WINDING

LOOKS = {
    "Axis X", "Axis Y", "Insulation testing can kill. Work dead and proved dead; discharge before touching.",
    "Verify the trail", "▶ Play", "search", "archived", "printed",
}  # fmt: skip
"""What helps to look, by its words or its id: folds, cautions, clips, search, verification (which writes nothing)."""

SHOWN = """() => [...document.querySelectorAll(
  "button, input, select, textarea, label.button, [contenteditable], [role=button]")]
  .filter((e) => e.checkVisibility()).map((e) => (e.textContent || e.id || e.name).trim())"""
SENT = """([path, body]) => fetch(path,
  {method: "POST", headers: {"content-type": "application/json"}, body: JSON.stringify(body)})
  .then((answer) => answer.status)"""


def holds(page: Page, what: str) -> None:
    """Unfold all, and hold what can be pressed against the list."""
    for details in page.locator("main details").all():
        details.evaluate("d => { d.open = true }")
    folded = page.locator("main .fold[aria-expanded=false]:visible")
    while folded.count():
        folded.first.click()
    assert set(page.evaluate(SHOWN)) <= LOOKS, what


def test_a_reader_sees_no_controls_and_can_use_none(play: Playwright, tmp_path: Path) -> None:
    with running.server(tmp_path, "--lan") as server:
        laptop, phone = Laptop(server), Phone(play, tmp_path / "phone")
        job = laptop.ask("POST", "/api/jobs", DESCRIPTION)["id"]
        path = f"/api/jobs/{job}"
        laptop.ask("POST", f"{path}/typed", WINDING | {"terminals": "U-V"})
        [proposal] = laptop.ask("GET", f"{path}/proposals?state=open")
        confirm = {"revision": proposal["revision"], "how": "tapped"}
        laptop.ask("POST", f"/api/proposals/{proposal['id']}/confirm", confirm)
        laptop.ask("POST", f"{path}/typed", {**WINDING, "unit": "", "terminals": "V-W"})
        laptop.ask("POST", f"{path}/typed", INSULATION)
        photo = (fixtures() / "photos" / "p01.jpg").read_bytes()
        sent = httpx.post(f"{server.url}{path}/evidence", files={"file": ("p01.jpg", photo, "image/jpeg")}, timeout=120)
        assert sent.is_success
        phone.trust(server.folder / "access" / "authority.pem")
        name = laptop.name()
        with phone.browser({name: "127.0.0.1"}) as browser:
            page = browser.new_page()
            page.goto(f"{laptop.page(name)}/pair#{laptop.code(person='Ida Brandt', role='reader')}")
            page.get_by_label("Your name").fill("-")
            page.get_by_role("button", name="Pair").click()
            page.get_by_text("Ida Brandt · reads only").wait_for()
            expect(page.locator("#jobs li")).to_have_count(1)
            holds(page, "jobs")
            page.locator("#search").fill("machining")
            expect(page.locator("#jobs li")).to_have_count(1)
            page.goto(f"{laptop.page(name)}/#/jobs/{job}")
            expect(page.locator("section.axis")).to_have_count(2)
            for place in ("Measure", "Axes", "To check", "Report"):
                go(page, place)
                holds(page, place)
            expect(page.locator("#overall")).to_be_visible()
            go(page, "To check")
            expect(page.locator("[data-proposal]").first).to_be_visible()
            for address in (f"#/about/{job}", f"#/edit/{job}", "#/new"):
                page.goto("about:blank")
                page.goto(f"{laptop.page(name)}/{address}")
                expect(page.locator("main h1")).to_be_visible()
                holds(page, address)
            expect(page.get_by_role("heading", name="This device only looks")).to_be_visible()
            page.goto(f"{laptop.page(name)}/page/review.html#{job}")
            expect(page.get_by_role("heading", name="This device only looks")).to_be_visible()
            holds(page, "review")
            page.keyboard.press("Enter")
            for target, body in (
                (f"{path}/typed", WINDING), (f"/api/proposals/{proposal['id']}/confirm", confirm),
                (f"{path}/description", {}), (f"{path}/state", {"move": "close"}),
                (f"{path}/axes/Y/withdraw", {}), (f"{path}/report", {}), ("/api/jobs", DESCRIPTION),
            ):  # fmt: skip
                assert page.evaluate(SENT, [target, body]) == 403, target
        assert len(laptop.ask("GET", f"{path}/records")) == 1
        assert laptop.ask("GET", path)["state"] == "open"
