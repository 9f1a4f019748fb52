"""The review in a real browser: safety questions by single keys, marked as answered afterwards in the record."""

from __future__ import annotations

import httpx2 as httpx
from playwright.sync_api import Page, expect

from tests.e2e import running


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
