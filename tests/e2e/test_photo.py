"""Photos on the page in a real browser: corners marked by hand, several photos of one display, units, warnings.

The photos are rendered with their truth known (`fixtures/training/displays`); the real display reader is at work.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect

from fixtures.training.displays.photo import Photo, render, to_jpeg
from tests.e2e import running
from tests.e2e.conftest import go
from tests.e2e.test_page import LEAST_TARGET_PX, open_job, probe, type_reading

PATIENCE_MS = 60_000
TESTER = {"main": "34.70", "unit": "MOhm", "test_voltage": "505", "elapsed": "1:00", "flags": ["hv"]}


def photo(folder: Path, name: str, **spec: Any) -> tuple[Photo, Path]:
    spec = {"seed": 9, "style": "panel_green", "shows": {"main": "230.5", "unit": "V"}, "spoil": {"share": 0.4}, **spec}
    made = render({"size": (1000, 750), **spec})
    path = folder / name
    path.write_bytes(to_jpeg(made, spec))
    return made, path


def send(page: Page, *paths: Path) -> dict[str, Any]:
    """Choose photos as a person does; returns the server's answer."""
    with page.expect_response(
        lambda r: r.request.method == "POST" and r.url.endswith(("/evidence", "/burst")), timeout=PATIENCE_MS
    ) as sent:
        page.locator("#photo").set_input_files([str(path) for path in paths])
        if len(paths) > 1:
            page.get_by_role("button", name="All of one display").click()
    answer: dict[str, Any] = sent.value.json()
    return answer


def trail(server: running.Server, job_id: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = httpx.get(f"{server.url}/api/jobs/{job_id}/trail?limit=1000", timeout=30).json()[
        "entries"
    ]
    return found


def tap(picture: Locator, x: float, y: float) -> None:
    """Tap a place on the picture, given as shares of its sides."""
    box = picture.bounding_box()
    assert box is not None
    picture.click(position={"x": x * box["width"], "y": y * box["height"]})


def corners_sent(page: Page) -> list[list[float]]:
    with page.expect_response(lambda r: r.url.endswith("/corners"), timeout=PATIENCE_MS) as sent:
        page.get_by_role("button", name="Read the display").click()
    assert sent.value.ok, sent.value.text()
    found: list[list[float]] = json.loads(sent.value.request.post_data or "")["corners"]
    return found


def test_a_photo_without_a_display_leads_to_marking_it_by_hand(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    _, path = photo(tmp_path, "label.jpg", style="nothing_label", shows={}, seed=3)
    open_job(page, server, job_id)
    answer = send(page, path)
    assert answer["proposals"] == []
    expect(page.locator("#words")).to_contain_text("not read", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Mark the display in the photo").click()
    picture = page.locator(".corners img")
    expect(picture).to_be_visible()
    picture.evaluate("i => i.decode()")
    read = page.get_by_role("button", name="Read the display")
    expect(read).to_be_disabled()
    for x, y in ((0.3, 0.3), (0.7, 0.3), (0.7, 0.6)):
        tap(picture, x, y)
    expect(read).to_be_disabled()
    tap(picture, 0.3, 0.6)
    expect(page.locator("button.corner")).to_have_count(4)
    assert not probe(page, "small", LEAST_TARGET_PX)
    page.screenshot(path=tmp_path / "corners.png")
    sent = corners_sent(page)
    assert np.allclose(sent, [[0.3, 0.3], [0.7, 0.3], [0.7, 0.6], [0.3, 0.6]], atol=0.01)
    expect(page.get_by_role("button", name="Mark the display in the photo")).to_be_visible(timeout=PATIENCE_MS)
    (entry,) = [entry for entry in trail(server, job_id) if entry["what"] == "corners marked"]
    assert entry["by"] == "Technician 7"
    assert [float(v) for v in entry["note"]["corners"][2]] == pytest.approx([700, 450], abs=10)
    assert httpx.get(f"{server.url}/api/verify", timeout=60).json()["result"] == "intact"


def test_a_reading_is_made_again_where_the_person_marks_the_display(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    made, path = photo(tmp_path, "panel.jpg")
    width, height = made.picture.size
    quad = [(float(x) / width, float(y) / height) for x, y in made.displays[0].quad]
    open_job(page, server, job_id)
    send(page, path)
    go(page, "To check")
    page.locator("[data-proposal] [data-mark]").click()
    picture = page.locator(".corners img")
    picture.evaluate("i => i.decode()")
    for x, y in (quad[0], quad[2], quad[1], quad[3]):  # tapped crosswise: put in order by the page
        tap(picture, x, y)
    corner = page.locator("button.corner").nth(1)
    corner.focus()
    page.keyboard.press("ArrowRight")
    sent = corners_sent(page)
    assert np.allclose(sent, [quad[0], quad[1], quad[2], quad[3]], atol=0.015)
    expect(page.locator("[data-proposal]")).to_have_count(1, timeout=PATIENCE_MS)
    expect(page.locator("[data-proposal] .value")).to_have_text("230.5 V")
    expect(page.locator(".corners")).to_have_count(0)


def test_a_dragged_corner_moves(page: Page, server: running.Server, job_id: str, tmp_path: Path) -> None:
    _, path = photo(tmp_path, "label.jpg", style="nothing_label", shows={}, seed=4)
    open_job(page, server, job_id)
    send(page, path)
    page.locator("[data-mark]").first.click()
    picture = page.locator(".corners img")
    picture.evaluate("i => i.decode()")
    for x, y in ((0.3, 0.3), (0.7, 0.3), (0.7, 0.6), (0.3, 0.6)):
        tap(picture, x, y)
    corner = page.locator("button.corner").nth(2).bounding_box()
    assert corner is not None
    page.mouse.move(corner["x"] + 26, corner["y"] + 26)
    page.mouse.down()
    page.mouse.move(corner["x"] + 56, corner["y"] + 46, steps=4)
    page.mouse.up()
    box = picture.bounding_box()
    assert box is not None
    sent = corners_sent(page)
    assert sent[2] == pytest.approx([0.7 + 30 / box["width"], 0.6 + 20 / box["height"]], abs=0.02)


def test_several_photos_of_one_display_are_one_reading(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    paths = [photo(tmp_path, f"{n}.jpg", spoil={"share": 0.4, "yaw": 2.0 * n})[1] for n in range(3)]
    open_job(page, server, job_id)
    answer = send(page, *paths)
    assert len(answer["burst"]["captures"]) == 3
    expect(page.locator("[data-proposal]")).to_have_count(1, timeout=PATIENCE_MS)
    expect(page.locator("[data-proposal] .value")).to_have_text("230.5 V")
    assert [entry["what"] for entry in trail(server, job_id)].count("evidence stored") == 3


def test_a_high_voltage_sign_and_a_live_circuit_are_warned_of(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    _, tester = photo(tmp_path, "tester.jpg", style="tester_lcd", shows=TESTER, spoil={"share": 0.6}, seed=4)
    _, panel = photo(tmp_path, "panel.jpg")
    open_job(page, server, job_id)
    assert "high_voltage" in [one["code"] for one in send(page, tester)["cautions"]]
    expect(page.locator("[data-caution=high_voltage]")).to_contain_text("Do not touch", timeout=PATIENCE_MS)
    send(page, panel)
    expect(page.locator("[data-caution=live_circuit]")).to_contain_text("230.5 V", timeout=PATIENCE_MS)
    expect(page.locator("[data-caution=high_voltage]")).to_have_count(0)


def test_a_missing_unit_is_tapped_and_then_confirmed(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    type_reading(page, value="1.21", axis="Y", section="through_cable", kind="winding_resistance", terminals="U-V")
    go(page, "To check")
    card = page.locator("[data-proposal]")
    expect(card.get_by_role("button", name="Settle the question first")).to_be_disabled()
    assert not probe(page, "small", LEAST_TARGET_PX)
    card.locator("[data-unit=Ohm]").click()
    expect(card.locator(".value")).to_have_text("1.21 Ω")
    card.get_by_role("button", name="✓ Confirm").click()
    expect(page.locator("li[data-record] .shown")).to_have_text("1.21 Ω")


def test_a_photo_that_shows_no_unit_asks_for_it(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Propose a reading whose unit is not in the picture, digits and point being clear, and ask for the unit."""
    _, path = photo(tmp_path, "bare.jpg", shows={"main": "34.70"}, spoil={"share": 0.45}, seed=1)
    open_job(page, server, job_id)
    answer = send(page, path)
    assert "unit_missing" in answer["proposals"][0]["doubts"]
    assert "In which unit?" in answer["message"]
    asked = page.locator("#asked")
    expect(asked).to_contain_text("Which unit?", timeout=PATIENCE_MS)
    asked.locator("[data-unit=MOhm]").click()
    expect(page.locator("#value")).to_have_text("34.70 MΩ")
    expect(asked).not_to_contain_text("Which unit?")


def test_an_instrument_is_given_what_it_can_show(page: Page, server: running.Server, job_id: str) -> None:
    open_job(page, server, job_id)
    go(page, "Axes")
    page.locator("#instruments > summary").click()
    row = page.locator("[data-instrument='IT-03']")
    expect(row).to_contain_text("no profile")
    row.locator("select").select_option("insulation-4000")
    expect(row.locator(".place")).to_contain_text("4000 counts")  # the choices hold the same words
    found = httpx.get(f"{server.url}/api/jobs/{job_id}/instruments/IT-03/profile", timeout=30).json()
    assert (found["origin"], found["profile"]["name"]) == ("set", "insulation-4000")
    own = {"name": "own", "title": "Own meter", "range": [{"unit": "MOhm", "top": "40.00"}]}
    for content, words in ((b"no JSON", "no JSON"), (json.dumps(own).encode(), "now held against it")):
        row.locator("input[type=file]").set_input_files(
            {"name": "own.json", "mimeType": "application/json", "buffer": content}
        )
        expect(page.locator("#status")).to_contain_text(words)
    expect(row).to_contain_text("Own meter")
