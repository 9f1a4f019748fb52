"""Text that would be markup or script if anything took it for more than text: through the page and the report.

It comes from everywhere a stranger can write: the job's description, notes, names of instruments, profile files, what a
recogniser says it heard and what a display reader says it saw.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from api.visit.safety import StepReply
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from capture.reading import Context, Seen, Utterance
from tests.api.makers import FakeEngines, at, clip, photo
from tests.e2e import running
from tests.e2e.conftest import PHONE, go, watch

MARKUP = (
    "</title></style></script><script>window.ran=1</script>"
    "<img src=x onerror='window.ran=2'><svg onload=\"window.ran=3\">"
)
BREAKING = "\"'`>--></td></table></section></main><iframe srcdoc='x'>{{7*7}}${7*7}javascript:window.ran=4 &lt;b&gt; ]]>"
READING = "x ray axis through the cable a one to a two one point zero eight ohms"
INJECTED = "[onerror], [onload], iframe, object, embed, base, img[src=x], a[href^='javascript:' i], main main, b"
PROFILE = {"name": "own", "title": MARKUP[:100], "source": BREAKING[:100], "range": [{"unit": "Ohm", "top": "9.999"}]}
DESCRIPTION: dict[str, Any] = {
    "title": MARKUP,
    "customer": BREAKING,
    "machine": MARKUP,
    "technician": BREAKING,
    "site": MARKUP,
    "serial": BREAKING,
    "company": MARKUP,
    "alarm_text": MARKUP + BREAKING,
    "symptom": BREAKING + MARKUP,
    "axes": [
        {"name": "X", "motor_kind": "dc_servo", "rated_voltage": "90", "note": MARKUP + BREAKING},
        {"name": "Y", "motor_kind": "ac_servo", "rated_voltage": "400", "note": BREAKING},
    ],
    "instruments": [
        {"id": "MM-11", "kind": "multimeter", "name": MARKUP, "serial": BREAKING, "display_profile": PROFILE},
    ],
}


class HostileEngines(FakeEngines):
    """Engines whose words and displays bear markup beside what they read."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        utterance = super().hear(data, context)
        return replace(utterance, heard=replace(utterance.heard, text=f"{utterance.heard.text} {MARKUP}{BREAKING}"))

    def see(self, data: bytes, corners: Any = None) -> Seen:
        seen = super().see(data, corners)
        return replace(seen, displays=tuple(replace(one, text=MARKUP + BREAKING) for one in seen.displays))


def visited(folder: Path) -> str:
    """Make a visit whose every text is hostile, with a record, an open proposal and a report."""
    workspace = Workspace.open(folder, engines=HostileEngines())
    job = str(workspace.create_job(DESCRIPTION)["id"])
    answers = {step.id: StepReply(answer="yes", value="3", note=MARKUP) for step in STEPS}
    workspace.answer_safety(job, "X", answers, captured_at=at(1))
    workspace.take_clip(job, clip(READING), at(10))
    workspace.take_photo(job, photo("1.080", "Ohm"), at(20))
    workspace.take_clip(job, clip("confirm"), at(30))
    workspace.take_clip(job, clip(READING.replace("a one to a two", "a two to a one")), at(40))
    workspace.type_reading(
        job, {"value": "1.2", "unit": "Ohm", "axis": "Y", "section": "motor_alone", "position": BREAKING[:30]}, at(50)
    )
    workspace.make_report(job)
    workspace.close()
    return job


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[running.Server, str]]:
    folder = tmp_path_factory.mktemp("hostile")
    job = visited(folder / "data")
    with running.server(folder) as found:
        yield found, job


@pytest.fixture
def page(chromium: Browser, hostile: tuple[running.Server, str]) -> Iterator[Page]:
    context = chromium.new_context(viewport=PHONE)
    found = context.new_page()
    complaints = watch(found, hostile[0])
    yield found
    nothing_ran(found)
    context.close()
    assert not complaints


def nothing_ran(page: Page) -> None:
    page.wait_for_timeout(300)
    assert page.evaluate("() => window.ran") is None
    assert page.locator(INJECTED).count() == 0, page.locator(INJECTED).first.evaluate("e => e.outerHTML")


def test_the_page_shows_it_as_text(page: Page, hostile: tuple[running.Server, str]) -> None:
    server, job = hostile
    page.goto(f"{server.url}/#/")
    expect(page.locator(".jobs strong")).to_have_text(MARKUP)
    nothing_ran(page)
    page.goto(f"{server.url}/#/jobs/{job}")
    expect(page.locator("section.axis")).to_have_count(2)
    expect(page.locator("h1")).to_have_text(MARKUP)
    expect(page.locator("li[data-record]")).to_have_count(1)
    expect(page.locator("[data-proposal]")).not_to_have_count(0)
    for place in ("Axes", "To check", "Report"):
        go(page, place)
        nothing_ran(page)
    for details in page.locator("details").all():
        details.evaluate("e => { e.open = true }")
    expect(page.locator("[data-instrument]")).to_contain_text(str(PROFILE["title"]))
    assert page.locator("script").count() == 1, "the page's own"
    assert page.evaluate("() => document.querySelectorAll('main').length") == 1
    assert page.locator("#report").count() == 1


def test_the_report_shows_it_as_text_from_the_server_and_as_a_file(
    page: Page, hostile: tuple[running.Server, str], tmp_path: Path
) -> None:
    """Open it as a file too, where no policy of the server protects: there the escaping alone must hold."""
    server, job = hostile
    page.goto(f"{server.url}/api/jobs/{job}/report")
    nothing_ran(page)
    mailed = tmp_path / "report.html"
    mailed.write_bytes(httpx.get(f"{server.url}/api/jobs/{job}/report", timeout=60).content)
    copy = page.context.new_page()
    ran: list[str] = []
    copy.on("dialog", lambda dialog: ran.append(dialog.message))
    copy.on("request", lambda request: None if request.url.startswith(("file:", "data:")) else ran.append(request.url))
    copy.goto(mailed.as_uri())
    nothing_ran(copy)
    assert not ran
    assert copy.locator("script").count() == 0
    assert copy.locator("tr[data-record]").count() == 1
    assert MARKUP in copy.locator("body").inner_text()
    assert "49" not in copy.title(), "no template was run"


def test_hostile_profile_files_are_refused_or_shown_as_text(page: Page, hostile: tuple[running.Server, str]) -> None:
    server, job = hostile
    path = f"{server.url}/api/jobs/{job}/instruments/MM-11/profile"
    good = {"name": "own-2", "title": BREAKING[:100], "source": MARKUP[:100], "range": PROFILE["range"]}
    for wrong in (
        {**good, "name": MARKUP},
        {**good, "title": "two\nlines"},
        {**good, "title": "\u202egnp.exe"},
        {**good, MARKUP: 1},
        {**good, "range": [{"unit": MARKUP, "top": "9"}]},
        {**good, "range": [{"unit": "Ohm", "top": "1e999999"}]},
        {**good, "range": [{"unit": "Ohm", "top": "9", "test_voltage": [2**70]}]},
        {"__proto__": {"title": "x"}, **{key: good[key] for key in ("name", "title", "source")}},
    ):
        answer = httpx.put(path, json=wrong, timeout=30)
        assert 400 <= answer.status_code < 500, wrong
        assert set(answer.json()) == {"code", "message", "what_to_do"}
    assert httpx.put(path, json=good, timeout=30).status_code == 200
    page.goto(f"{server.url}/#/jobs/{job}")
    go(page, "Axes")
    page.locator("#instruments > summary").click()
    expect(page.locator("[data-instrument]")).to_contain_text(str(good["title"]))
    nothing_ran(page)
