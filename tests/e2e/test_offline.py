"""The page while the server is away: it opens, asks, keeps what is captured, tapped and typed, and sends it once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import pytest
from playwright.sync_api import BrowserContext, Page, Playwright, WebSocketRoute, expect

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION, PHONE, fixtures
from tests.e2e.test_outbox import arrivals, open_job, stored
from tests.e2e.test_visit import microphone

CLIPS = [fixtures() / "clips" / name for name in ("c01.flac", "c02.flac", "c04.flac")]


@pytest.fixture(scope="module")
def restarting(tmp_path_factory: pytest.TempPathFactory) -> Iterator[running.Restarting]:
    found = running.Restarting(tmp_path_factory.mktemp("restarting"))
    found.start()
    yield found
    found.kill()


def make_job(server: running.Server) -> str:
    return str(httpx.post(f"{server.url}/api/jobs", json=DESCRIPTION, timeout=30).json()["id"])


@contextmanager
def profile(play: Playwright, folder: Path) -> Iterator[BrowserContext]:
    """Open a browser on a profile that stays, as a phone's does over a restart."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    context = play.chromium.launch_persistent_context(
        folder, executable_path=program, args=list(running.QUIET), viewport=PHONE
    )
    try:
        yield context
    finally:
        context.close()


def errors_of(page: Page) -> list[str]:
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(str(error)))
    return found


def kept_whole(page: Page) -> None:
    """Wait until the page itself is kept in the browser."""
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")


def answer_all(page: Page) -> int:
    """Answer the safety questions that the page asks while the server is away."""
    part, count = page.locator("#safety-card"), 0
    while part.is_visible():
        before = part.locator(".sentence").inner_text()
        field = part.locator("input")
        if field.count():
            field.fill("3.1")
        na = part.get_by_role("button", name="Does not apply")
        (na if na.count() else part.get_by_role("button", name="Yes", exact=True)).click()
        count += 1
        assert count <= 12
        page.wait_for_function(
            "before => { const p = document.querySelector('#safety-card');"
            " return p.hidden || p.querySelector('.sentence').textContent !== before; }",
            arg=before,
        )
    return count


def test_a_visit_without_the_server_over_a_restart_of_phone_and_server(
    play: Playwright, restarting: running.Restarting, tmp_path: Path
) -> None:
    """Kill the server, work on, end the browser, open it again, still without the server; then start the server."""
    server, job_id = restarting.server, make_job(restarting.server)
    with profile(play, tmp_path) as context:
        page = context.new_page()
        open_job(page, server, job_id)
        kept_whole(page)
        restarting.kill()
        expect(page.locator("#link")).to_contain_text("Server away", timeout=15_000)
        page.get_by_role("button", name="Type", exact=True).click()
        form = page.locator("#typing form")
        form.locator("[name=value]").fill("500")
        form.locator("[name=axis]").select_option("Y")
        form.get_by_role("button").click()
        assert answer_all(page) == 12
        expect(page.locator("#unsent")).to_contain_text("13 not sent yet")
        page.locator("#clip").set_input_files(CLIPS[0])
        expect(page.locator("#unsent")).to_contain_text("14 not sent yet")
        page.get_by_role("button", name="Type", exact=True).click()
        form.locator("[name=value]").fill("1.23")
        context.close()
    with profile(play, tmp_path) as context:
        page = context.new_page()
        errors = errors_of(page)
        open_job(page, server, job_id)
        expect(page.locator("#link")).to_contain_text("Shown as of")
        expect(page.locator("#unsent")).to_contain_text("14 not sent yet")
        expect(page.locator("#typing form [name=value]")).to_have_value("1.23")
        page.get_by_role("button", name="Type", exact=True).click()
        page.locator("#typing form [name=axis]").select_option("X")
        page.locator("#typing form [name=kind]").select_option("insulation_resistance")
        page.locator("#typing form").get_by_role("button").click()
        expect(page.locator("#safety-card")).to_contain_text("Before any insulation test")
        page.screenshot(path=tmp_path / "away.png", full_page=True)
        assert answer_all(page) == 4, "what holds for the cabinet was answered for the other axis"
        restarting.start()
        expect(page.locator("#unsent")).to_have_text("", timeout=60_000)
        expect(page.locator("#link")).to_be_hidden()
        assert page.locator("#refused").inner_text() == ""
        assert errors == []
        context.close()
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [CLIPS[0].read_bytes()]
    trail = httpx.get(f"{server.url}/api/jobs/{job_id}/trail?limit=1000", timeout=30).json()["entries"]
    whats = [entry["what"] for entry in trail if entry["what"] in ("safety answered", "evidence stored", "typed")]
    assert whats == ["safety answered"] * 12 + ["typed", "evidence stored"] + ["safety answered"] * 4 + ["typed"]
    for axis in "XY":
        assert httpx.get(f"{server.url}/api/jobs/{job_id}/axes/{axis}/safety", timeout=30).json()["open"] == []


def test_what_needs_the_server_says_so_at_once_and_loses_nothing(
    play: Playwright, restarting: running.Restarting
) -> None:
    server, job_id = restarting.server, make_job(restarting.server)
    with running.browser(play) as browser:
        page = browser.new_context(viewport=PHONE).new_page()
        errors = errors_of(page)
        open_job(page, server, job_id)
        page.get_by_role("button", name="More", exact=True).click()
        page.get_by_text("Without the server", exact=True).click()
        expect(page.locator("#without-server")).to_contain_text("new jobs; correcting, closing")
        page.get_by_role("button", name="Close").click()
        kept_whole(page)
        page.goto(f"{server.url}/#/new")
        for name, value in (("machine", "Lathe 2"), ("customer", "Brackwater (invented)"), ("technician", "T7")):
            page.locator(f"form [name={name}]").fill(value)
        page.locator(".axis-row [name=name]").fill("x")
        restarting.stop_answering()  # it hangs: a request alone would wait for a minute and a half
        expect(page.locator("#link")).to_contain_text("Server away", timeout=30_000)
        make = page.get_by_role("button", name="Make the job")
        make.click()
        expect(page.locator("#form-problem")).to_contain_text("The server is away, and this needs it.", timeout=15_000)
        expect(page.locator("form [name=machine]")).to_have_value("Lathe 2")
        restarting.kill()
        restarting.start()
        expect(page.locator("#link")).to_be_hidden(timeout=60_000)
        make.click()
        expect(page.locator("section.axis h2")).to_have_text(["Axis X"])
        assert errors == []
    made = httpx.get(f"{server.url}/api/jobs?q=lathe", timeout=30).json()
    assert len(made) == 1


def test_a_killed_tab_and_a_server_killed_while_receiving(play: Playwright, restarting: running.Restarting) -> None:
    """Cut the server off in the middle of an upload and of a tap; two tabs of one phone and a second phone look on."""
    server, job_id = restarting.server, make_job(restarting.server)
    reading = {"kind": "winding_resistance", "value": "1.2", "unit": "Ohm", "axis": "Y", "section": "motor_alone"}
    httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json={**reading, "terminals": "U-V"}, timeout=30)
    with running.browser(play) as browser:
        phone, other = browser.new_context(viewport=PHONE), browser.new_context(viewport=PHONE)
        page, second, far = phone.new_page(), phone.new_page(), other.new_page()
        for one in (page, second, far):
            open_job(one, server, job_id)
        restarting.stop_answering()
        page.locator("#clip").set_input_files(CLIPS[0])
        page.get_by_role("button", name="Confirm", exact=True).click()
        restarting.kill()
        expect(page.locator("[data-proposal]")).to_contain_text("waits for the server", timeout=20_000)
        expect(second.locator("#unsent")).to_contain_text("2 not sent yet", timeout=20_000)
        page.close()  # with both waiting; the other tab sends them
        restarting.start()
        expect(second.locator("#unsent")).to_have_text("", timeout=60_000)
        expect(second.locator("li[data-record]")).to_have_count(1, timeout=30_000)
        expect(far.locator("li[data-record]")).to_have_count(1, timeout=30_000)
        phone.close()
        other.close()
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [CLIPS[0].read_bytes()]
    records = httpx.get(f"{server.url}/api/jobs/{job_id}/records", timeout=30).json()
    assert [record["value"] for record in records] == ["1.2"]
    assert httpx.get(f"{server.url}/api/verify", timeout=60).json()["result"] == "intact"


def test_an_utterance_whose_answer_is_lost_is_not_proposed_twice(
    play: Playwright, restarting: running.Restarting, tmp_path: Path
) -> None:
    """Let the server hear all of it, and break the line when it answers: the page sends the same again as a clip."""
    server, job_id = restarting.server, make_job(restarting.server)
    with running.browser(play, microphone(tmp_path / "said.wav", ("c02.flac",))) as browser:
        context = browser.new_context(viewport=PHONE, permissions=["microphone"])
        page = context.new_page()
        answers: list[str] = []

        def lose_the_answer(line: WebSocketRoute) -> None:
            far = line.connect_to_server()

            def back(message: str | bytes) -> None:
                if isinstance(message, str) and '"final"' in message and not answers:
                    answers.append(message)
                    line.close()
                else:
                    line.send(message)

            line.on_message(far.send)
            far.on_message(back)

        page.route_web_socket("**/listen", lose_the_answer)
        page.goto(f"{server.url}/#/jobs/{job_id}")
        with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=90_000) as sent:
            page.get_by_role("button", name="Speak").click()
        assert sent.value.json()["repeated"] is True
        expect(page.locator("[data-proposal]")).to_have_count(1, timeout=30_000)
        context.close()
    assert answers
    assert len(httpx.get(f"{server.url}/api/jobs/{job_id}/proposals", timeout=30).json()) == 1
    assert len(arrivals(server, job_id)) == 2, "both recordings are kept"
