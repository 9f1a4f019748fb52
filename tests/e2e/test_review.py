"""The review in a real browser: a dropped day answered by single keys; safety answers marked as given afterwards.

The memos are two of the demo's own clips, named by their time: what they hold stands in `fixtures/visit/truth.json`.
"""

from __future__ import annotations

import httpx2 as httpx
from playwright.sync_api import FilePayload, Page, expect

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION, fixtures

PATIENCE_MS = 300_000
"""Two processes load their models first, which takes a minute on a machine that is busy with other things."""


def test_dropped_memos_are_reviewed_by_keys(page: Page, server: running.Server, job_id: str) -> None:
    names = {"20261124-083200.flac": "clips/c13.flac", "20261124-083220.flac": "clips/c14.flac"}
    dropped: list[FilePayload] = [
        {"name": name, "mimeType": "audio/flac", "buffer": (fixtures() / path).read_bytes()}
        for name, path in names.items()
    ]
    page.goto(f"{server.url}/page/review.html#{job_id}")
    zone = page.get_by_role("region", name="A day's files")
    zone.get_by_text("A clock that is off").click()
    zone.get_by_label("Jobs").fill(job_id)
    zone.get_by_label("choose files").set_input_files(dropped)
    expect(zone.get_by_role("status")).to_contain_text("2 memos", timeout=PATIENCE_MS)
    expect(page.locator("#focus .value")).to_have_text("1.08 Ω")
    records = f"{server.url}/api/jobs/{job_id}/records"
    assert not httpx.get(records, timeout=30).json()
    page.locator("h1").click()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Nothing waits")).to_be_visible()
    (record,) = httpx.get(records, timeout=30).json()
    assert (record["axis"], record["section"], record["terminals"], record["value"], record["unit"]) == (
        "X", "through_cable", "A1-A2", "1.08", "Ohm",
    )  # fmt: skip
    assert record["clip_sha256"]


def test_safety_answers_are_asked_by_key_and_marked_as_given_afterwards(
    page: Page, server: running.Server, job_id: str
) -> None:
    typed = {
        "axis": "X", "section": "motor_alone", "kind": "insulation_resistance", "terminals": "lead-ground",
        "value": "550", "unit": "MOhm", "test_voltage_set": "500", "captured_at": "2026-11-24T08:30:00+01:00",
    }  # fmt: skip
    httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json=typed, timeout=30).raise_for_status()
    page.goto(f"{server.url}/page/review.html#{job_id}")
    expect(page.locator("#focus .value")).to_have_text("550 MΩ")
    page.keyboard.press("Enter")
    asked = page.locator("#safety-question")
    for left in range(12, 0, -1):
        expect(asked).to_contain_text(f"{left} safety question")
        if asked.locator("input").count():
            asked.locator("input").fill("3")
            page.keyboard.press("Enter")
        else:
            page.keyboard.press("y")
    expect(asked).to_have_count(0)
    page.locator("h1").click()
    page.keyboard.press("Enter")
    expect(page.locator("h2")).to_have_text("Nothing waits")
    (record,) = httpx.get(f"{server.url}/api/jobs/{job_id}/records", timeout=30).json()
    assert "answered after this reading" in record["note"]


def test_values_of_another_machine_are_moved_there_by_keys(page: Page, server: running.Server, job_id: str) -> None:
    other = httpx.post(f"{server.url}/api/jobs", json={**DESCRIPTION, "machine": "Lathe 2"}, timeout=30).json()["id"]
    typed = {
        "axis": "X", "section": "motor_alone", "kind": "winding_resistance", "terminals": "A1-A2",
        "value": "1.08", "unit": "Ohm", "captured_at": "2026-11-24T08:30:00+01:00",
    }  # fmt: skip
    httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json=typed, timeout=30).raise_for_status()
    page.goto(f"{server.url}/page/review.html#{job_id}")
    expect(page.locator("#focus .value")).to_have_text("1.08 Ω")
    page.keyboard.press("m")
    expect(page.locator(".offers button").first).to_contain_text(f"It: to {other}, Lathe 2")
    page.keyboard.press("Escape")
    expect(page.locator(".offers button")).to_have_count(0)
    page.keyboard.press("m")
    page.locator(".offers button").first.wait_for()
    page.keyboard.press("1")
    expect(page.get_by_role("heading", name="Nothing waits")).to_be_visible()
    page.goto(f"{server.url}/page/review.html#{other}")
    page.reload()
    expect(page.locator("#focus .value")).to_have_text("1.08 Ω")
    expect(page.locator("#focus .doubts")).to_be_visible()
    page.keyboard.press("1")
    expect(page.locator("#focus .doubts")).to_have_count(0)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Nothing waits")).to_be_visible()
    assert not httpx.get(f"{server.url}/api/jobs/{job_id}/records", timeout=30).json()
    (record,) = httpx.get(f"{server.url}/api/jobs/{other}/records", timeout=30).json()
    assert (record["axis"], record["section"], record["value"]) == ("X", "motor_alone", "1.08")


def test_circumstances_are_ticked_in_the_form(page: Page, server: running.Server, job_id: str) -> None:
    typed = {
        "axis": "X", "section": "motor_alone", "kind": "winding_resistance", "terminals": "A1-A2",
        "value": "1.08", "unit": "Ohm", "circumstances": ["low_battery"],
    }  # fmt: skip
    httpx.post(f"{server.url}/api/jobs/{job_id}/typed", json=typed, timeout=30).raise_for_status()
    page.goto(f"{server.url}/page/review.html#{job_id}")
    expect(page.locator("#focus > p.soft").first).to_contain_text("low battery")
    page.keyboard.press("c")
    expect(page.get_by_label("low battery")).to_be_checked()
    page.get_by_label("low battery").uncheck()
    page.get_by_label("leads zeroed").check()
    page.get_by_role("button", name="Use these").click()
    expect(page.locator("#focus > p.soft").first).to_contain_text("leads zeroed")
    page.locator("h1").click()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Nothing waits")).to_be_visible()
    (record,) = httpx.get(f"{server.url}/api/jobs/{job_id}/records", timeout=30).json()
    assert record["circumstances"] == ["leads_zeroed"]
