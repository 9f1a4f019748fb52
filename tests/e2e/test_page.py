"""The page in a real browser, without voice or photo: type, correct, confirm, answer, grade, report."""

from __future__ import annotations

import base64
import hashlib
import re
import time
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION, PHONE, fixtures, go, open_axis

LEAST_TARGET_PX = 48  # the brief's size for gloves; WCAG 2.2, 2.5.5 asks for 44
CONTRAST = 4.5  # WCAG 2.2, 1.4.3

PROBES = (Path(__file__).parent / "probes.js").read_text("utf-8")


def probe(page: Page, name: str, least: float) -> list[str]:
    """Run one of the probes in the page."""
    found: list[str] = page.evaluate(f"least => {PROBES.strip().rstrip(';')}.{name}(least)", least)
    return found


def open_job(page: Page, server: running.Server, job_id: str) -> None:
    page.goto(f"{server.url}/#/jobs/{job_id}")
    expect(page.locator("#words")).to_be_visible()
    expect(page.locator("section.axis")).to_have_count(2)


def type_reading(page: Page, **fields: str) -> None:
    go(page, "Measure")
    page.get_by_role("button", name="Type", exact=True).click()
    form = page.locator("#typing form")
    for name, value in fields.items():
        field = form.locator(f"[name={name}]")
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)
    form.get_by_role("button", name="Use these").click()
    expect(page.locator("#reading")).to_have_class(re.compile("open|doubtful"))


def press_confirm(page: Page) -> None:
    """Confirm the value that is asked about, where the work is."""
    go(page, "Measure")
    page.get_by_role("button", name="Confirm", exact=True).click()


def records(server: running.Server, job_id: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = httpx.get(f"{server.url}/api/jobs/{job_id}/records", timeout=30).json()
    return found


WINDING = {"value": "1.21", "unit": "Ohm", "axis": "Y", "section": "through_cable", "kind": "winding_resistance"}
INSULATION = {
    "value": "0.80",
    "unit": "MOhm",
    "axis": "X",
    "section": "cable_alone",
    "kind": "insulation_resistance",
    "test_voltage_set": "500",
    "test_voltage_built": "500",
    "elapsed_s": "60",
}


def test_a_job_is_made_with_the_form(page: Page, server: running.Server) -> None:
    page.goto(f"{server.url}/#/")
    page.get_by_role("link", name="New job").click()
    expect(page.locator(".axis-row")).to_be_visible()
    for folded in page.locator("form details > summary").all():
        folded.click()
    for name in ("title", "customer", "machine", "technician"):
        page.locator(f"form > .card [name={name}]").fill(str(DESCRIPTION[name]))
    page.locator(".axis-row [name=name]").fill("x")
    page.locator(".axis-row [name=rated_voltage]").fill("90")
    page.get_by_role("button", name="Add an instrument").click()
    page.locator(".instrument-row [name=id]").fill("IT-03")
    page.get_by_role("button", name="Make the job").click()
    expect(page.locator("h1")).to_have_text(str(DESCRIPTION["title"]))
    expect(page.locator("section.axis h2")).to_have_text(["Axis X"])
    page.goto(f"{server.url}/#/")
    expect(page.locator(".jobs strong").first).to_have_text(str(DESCRIPTION["title"]))


def test_nothing_is_recorded_before_somebody_confirms(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    type_reading(page, **WINDING, terminals="U-V")
    expect(page.locator("[data-proposal] .value")).to_have_text("1.21 Ω")
    assert records(server, job_id) == []
    press_confirm(page)
    expect(page.locator("li[data-record] .shown")).to_have_text("1.21 Ω")
    expect(page.locator("[data-proposal]")).to_have_count(0)
    (record,) = records(server, job_id)
    assert (record["value"], record["unit"], record["axis"]) == ("1.21", "Ohm", "Y")
    assert record["confirmed_how"] == "tapped"
    assert record["confirmed_by"] == "Technician 7"


def test_a_corrected_value_must_be_confirmed_itself(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    type_reading(page, **WINDING, terminals="U-V")
    go(page, "To check")
    card = page.locator("[data-proposal]")
    card.get_by_role("button", name="Correct").click()
    card.locator("[name=value]").fill("1.20")
    card.get_by_role("button", name="Use these").click()
    expect(card.locator(".value")).to_have_text("1.20 Ω")
    assert records(server, job_id) == []
    press_confirm(page)
    expect(page.locator("li[data-record] .shown")).to_have_text("1.20 Ω")
    assert [r["value"] for r in records(server, job_id)] == ["1.20"], "the trailing zero is evidence"


def test_a_rejected_value_is_gone_from_the_page_and_kept_on_file(
    page: Page, server: running.Server, job_id: str
) -> None:
    open_job(page, server, job_id)
    type_reading(page, **WINDING, terminals="V-W")
    page.get_by_role("button", name="Reject").click()
    expect(page.locator("[data-proposal]")).to_have_count(0)
    assert records(server, job_id) == []
    kept = httpx.get(f"{server.url}/api/jobs/{job_id}/proposals", timeout=30).json()
    assert [p["state"] for p in kept] == ["rejected"]


def test_a_value_without_its_unit_cannot_be_confirmed(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    type_reading(page, **{**WINDING, "unit": "", "terminals": "U-V"})
    expect(page.get_by_role("button", name="Confirm", exact=True)).to_be_disabled()
    expect(page.locator("#asked .doubts")).to_contain_text("Which unit?")
    go(page, "To check")
    expect(page.get_by_role("button", name="Settle the question first")).to_be_disabled()


def confirmed(page: Page, server: running.Server, job_id: str, terminals: str) -> dict[str, Any]:
    """Type and confirm a winding value."""
    type_reading(page, **WINDING, terminals=terminals)
    press_confirm(page)
    expect(page.locator("[data-proposal]")).to_have_count(0)
    return records(server, job_id)[-1]


def test_a_record_is_corrected_by_a_new_one(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    old = confirmed(page, server, job_id, "U-V")
    open_axis(page, "Y")
    line = page.locator(f"[data-record='{old['id']}']")
    line.get_by_text("Wrong?").click()
    line.get_by_role("button", name="Correct").click()
    line.locator("[name=value]").fill("1.12")
    line.get_by_role("button", name="Use these").click()
    expect(page.locator("[data-proposal]")).to_contain_text(f"Would replace record {old['id']}")
    press_confirm(page)
    expect(page.locator("li[data-record] s.shown")).to_have_text("1.21 Ω")
    expect(page.locator("li[data-record] span.shown")).to_have_text("1.12 Ω")
    assert [(r["value"], r["status"]) for r in records(server, job_id)] == [
        ("1.21", "superseded"),
        ("1.12", "current"),
    ]


def test_a_record_is_withdrawn_and_stays_on_file(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    old = confirmed(page, server, job_id, "U-V")
    open_axis(page, "Y")
    line = page.locator(f"[data-record='{old['id']}']")
    line.get_by_text("Wrong?").click()
    line.get_by_role("button", name="Withdraw").click()
    assert records(server, job_id)[0]["status"] == "current", "one press with a glove is not enough"
    line.get_by_role("button", name="Press again to withdraw it").click()
    expect(line.locator("s.shown")).to_have_text("1.21 Ω")
    assert records(server, job_id)[0]["status"] == "withdrawn"


def test_the_page_says_what_comes_next_and_verifies(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    expect(page.locator("#next")).to_contain_text("Next:")
    before = page.locator("#next").inner_text()
    confirmed(page, server, job_id, "U-V")
    expect(page.locator("#next")).not_to_have_text(before)
    go(page, "Report")
    page.locator("#verify").click()
    expect(page.locator("#verified")).to_contain_text("Intact:", timeout=20_000)
    page.locator("#printed").fill("legal winner thank year wave sausage")
    page.locator("#verify").click()
    expect(page.locator("#verified")).to_contain_text("are not on this chain", timeout=20_000)


def test_the_page_lists_the_test_plan_and_shortens_it_as_values_are_confirmed(
    page: Page, server: running.Server, job_id: str
) -> None:
    open_job(page, server, job_id)
    open_axis(page, "Y")
    plan = page.locator("#plan-Y")
    whole = plan.locator("li", has_text="through the cable")
    plan.locator("summary").click()
    expect(whole.first).to_contain_text("Winding resistance, U–V")
    before = whole.count()
    confirmed(page, server, job_id, "U-V")
    expect(whole).to_have_count(before - 1)
    expect(whole.first).to_contain_text("Winding resistance, V–W")


def test_a_page_that_is_told_to_wait_asks_again(chromium: Browser, server: running.Server, job_id: str) -> None:
    """Refuse everything that the page asks for in its first second, as a server with no room does."""
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    refused: list[str] = []
    began = time.monotonic()

    def answer(route: Route) -> None:
        if time.monotonic() - began > 1 and refused:
            route.continue_()
            return
        refused.append(route.request.url)
        said = {"code": "too_many_requests", "message": "Too many requests.", "what_to_do": "Wait."}
        route.fulfill(status=429, headers={"retry-after": "1"}, json=said)

    page.route("**/api/jobs**", answer)
    open_job(page, server, job_id)
    assert refused
    context.close()


def test_insulation_waits_for_the_safety_questions(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    type_reading(page, **INSULATION)
    expect(page.locator("#asked .charged")).to_contain_text("Still charged")
    press_confirm(page)
    expect(page.locator("[data-proposal] .refused")).to_contain_text("safety steps of axis X are not answered")
    assert records(server, job_id) == []
    assert answer_all(page) == 12
    # Chromium has no voice here, so the server's is asked to say it.
    with page.expect_request(lambda one: "/api/voice" in one.url and "Discharge%20now" in one.url):
        press_confirm(page)
    expect(page.locator("li[data-record] .shown")).to_have_text("0.80 MΩ")
    expect(page.locator("#axis-X > header .verdict")).to_have_class("verdict fail")


def answer_all(page: Page) -> int:
    """Answer every safety question where the work is, the bus with 12 V; gives how many there were."""
    card, count = page.locator("#safety-card"), 0
    expect(card).to_be_visible()
    while card.is_visible():
        sentence = card.locator(".sentence")
        asked = sentence.inner_text()
        if card.locator("input").count():
            card.locator("input").fill("12")
        card.get_by_role("button", name="Yes").click()
        count += 1
        assert count <= 20, asked
        page.wait_for_function(
            "asked => { const card = document.querySelector('#safety-card');"
            " return card.hidden || card.querySelector('.sentence').textContent !== asked; }",
            arg=asked,
        )
    return count


def test_a_bus_that_is_still_charged_keeps_the_gate_shut(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    open_axis(page, "X")
    page.locator("#safety-X summary").click()
    question = page.locator("#safety-X [data-step=bus_discharged]")
    question.locator("input").fill("61")  # above 50 V: no test (29 CFR 1910.333(a)(1))
    question.get_by_role("button", name="Yes").click()
    expect(question.locator(".chosen")).to_have_text("Yes")
    expect(question.locator(".place")).not_to_contain_text("✓")
    expect(page.locator("#safety-X summary")).to_contain_text("12 safety questions open")


def test_the_report_is_saved_as_pdf_from_the_page(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    go(page, "Report")
    page.locator("#report-form").select_option("as=pdf")
    with page.expect_download(timeout=60_000) as saved:
        page.locator("#report").click()
    assert saved.value.suggested_filename == f"report-{job_id}.pdf"
    assert saved.value.path().read_bytes().startswith(b"%PDF-1.7")


def test_a_clip_is_stored_plays_and_reaches_the_report(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    clip = fixtures() / "clips" / "c02.flac"
    open_job(page, server, job_id)
    with page.expect_response(lambda r: r.url.endswith("/evidence") and r.request.method == "POST") as sent:
        page.locator("#clip").set_input_files(clip)
    assert sent.value.status == 201
    sha = hashlib.sha256(clip.read_bytes()).hexdigest()
    assert sent.value.json()["sha256"] == sha
    kept = httpx.get(f"{server.url}/api/evidence/{sha}/content", timeout=30)
    assert kept.content == clip.read_bytes()
    httpx.post(f"{server.url}/api/jobs/{job_id}/report", timeout=60).raise_for_status()
    report = page.context.request.get(f"{server.url}/api/jobs/{job_id}/report")
    assert report.headers["content-security-policy"].startswith("default-src 'none'")
    mailed = tmp_path / "report.html"  # as the customer opens it: a file, no server
    mailed.write_bytes(report.body())
    copy = page.context.new_page()
    copy.goto(mailed.as_uri())
    player = copy.locator(f"#evidence-{sha[:16]} audio, td.evidence audio").first
    embedded = str(player.get_attribute("src"))
    assert base64.b64decode(embedded.partition(",")[2]) == clip.read_bytes()
    assert (
        player.evaluate(
            "async a => { await a.play(); await new Promise(r => setTimeout(r, 700)); return a.currentTime }"
        )
        > 0.2
    )
    assert player.evaluate("a => a.error") is None


def test_text_of_a_person_stays_text(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    expect(page.locator("h1")).to_have_text(str(DESCRIPTION["title"]))
    assert page.locator("main b").count() == 0
    type_reading(page, **WINDING, terminals="<img src=x onerror=alert(1)>")
    go(page, "To check")
    expect(page.locator("[data-proposal] .place")).to_contain_text("<img src=x onerror=alert(1)>")
    assert page.locator("main img[src=x]").count() == 0


def test_the_probes_find_what_they_look_for(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    go(page, "Report")
    page.locator("h1").evaluate("e => { e.style.color = '#999' }")
    page.locator("#report").evaluate("e => { e.style.minHeight = '20px'; e.style.padding = '0' }")
    assert [line.split()[0] for line in probe(page, "faint", CONTRAST)] == ["H1."]
    assert [line.split()[0] for line in probe(page, "small", LEAST_TARGET_PX)] == ["Report"]


def test_every_file_of_the_page_comes_with_its_policy(server: running.Server) -> None:
    start = httpx.get(f"{server.url}/", timeout=30)
    assert "script-src 'self'" in start.headers["content-security-policy"]
    assert "unsafe" not in start.headers["content-security-policy"]
    for name in ("app.js", "page.css", "microphone-worklet.js", "icon.svg", "ohmtrail.webmanifest"):
        found = httpx.get(f"{server.url}/page/{name}", timeout=30)
        assert found.status_code == 200
        assert found.headers["x-content-type-options"] == "nosniff"
        assert found.headers["content-type"].startswith(
            ("text/javascript", "text/css", "image/svg+xml", "application/manifest+json")
        )
        again = httpx.get(f"{server.url}/page/{name}", headers={"if-none-match": found.headers["etag"]}, timeout=30)
        assert again.status_code == 304


@pytest.mark.parametrize("name", ["__init__.py", "..%2F__init__.py", "nothing.js"])
def test_no_other_file_is_served(server: running.Server, name: str) -> None:
    assert httpx.get(f"{server.url}/page/{name}", timeout=30).status_code == 404
