"""The report as a browser shows it: axe-core finds nothing, it can be read at twice its size, clips play, no script."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, ViewportSize

from tests.api.report import visit

DESK: ViewportSize = {"width": 1280, "height": 900}
TWICE: ViewportSize = {"width": 640, "height": 450}
"""What a screen of 1280 px shows of a page at 200 % (WCAG 2.2, 1.4.4 and 1.4.10)."""
PHONE: ViewportSize = {"width": 390, "height": 844}
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Write a report to a file, as it is handed on."""
    folder = tmp_path_factory.mktemp("report")
    made = visit.make(folder / "data")
    row = made.workspace.make_report(made.job_id)
    path: Path = folder / row.name
    path.write_bytes(made.workspace.reports.read(row.sha256))
    made.workspace.close()
    return path.as_uri()


@pytest.fixture
def page(chromium: Browser, file: str) -> Iterator[Page]:
    """Open it; any request elsewhere and any complaint of the console fails the test."""
    context = chromium.new_context(viewport=DESK, offline=True)
    found = context.new_page()
    complaints: list[str] = []
    found.on("request", lambda r: None if r.url.startswith(("file:", "data:")) else complaints.append(r.url))
    found.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    found.goto(file)
    yield found
    context.close()
    assert not complaints


@pytest.mark.parametrize("size", [DESK, TWICE, PHONE], ids=["desk", "twice", "phone"])
def test_axe_core_finds_nothing(page: Page, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15, "rules were applied"


@pytest.mark.parametrize("size", [TWICE, PHONE], ids=["twice", "phone"])
def test_nothing_is_cut_off_at_twice_the_size(page: Page, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert page.locator("tr[data-record] .shown").first.is_visible()


def test_a_clip_plays(page: Page) -> None:
    player = page.locator("tr[data-record] audio").first
    state = player.evaluate(
        """a => new Promise(done => {
            a.muted = true; a.onended = () => done({at: a.currentTime, length: a.duration});
            a.onerror = () => done({error: a.error && a.error.message}); a.play().catch(e => done({error: String(e)}));
        })"""
    )
    assert state["length"] == pytest.approx(0.5, abs=0.05), state  # tests.api.report.visit: a tone of half a second
    assert state["at"] == pytest.approx(0.5, abs=0.05)


def test_it_is_read_without_script(chromium: Browser, file: str) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(file)
    said = page.locator("body").inner_text()
    context.close()
    for words in ("Fail: not to be energised", "0.80 MΩ", "What to do", "Cautions", "END of report J1-1"):
        assert words in said
