"""Clips taken while the network is gone: kept in the browser, sent later, in order, once."""

from __future__ import annotations

from typing import Any

import httpx2 as httpx
from playwright.sync_api import Browser, Page, Route, expect

from tests.e2e import running
from tests.e2e.conftest import PHONE, fixtures

CLIPS = [fixtures() / "clips" / name for name in ("c01.flac", "c02.flac", "c04.flac")]


def open_job(page: Page, server: running.Server, job_id: str) -> None:
    page.goto(f"{server.url}/#/jobs/{job_id}")
    expect(page.locator("section.axis")).to_have_count(2)


def arrivals(server: running.Server, job_id: str) -> list[dict[str, Any]]:
    """Read the captures of a job, as the trail has them."""
    trail = httpx.get(f"{server.url}/api/jobs/{job_id}/trail?limit=1000", timeout=30).json()["entries"]
    found: list[dict[str, Any]] = [entry["note"] for entry in trail if entry["what"] == "evidence stored"]
    return found


def stored(server: running.Server, sha256: str) -> bytes:
    return httpx.get(f"{server.url}/api/evidence/{sha256}/content", timeout=30).content


def test_what_was_taken_without_network_arrives_in_order(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    context.set_offline(True)
    for number, clip in enumerate(CLIPS, 1):
        page.locator("#clip").set_input_files(clip)
        expect(page.locator("#unsent")).to_contain_text(f"{number} not sent yet")
    assert arrivals(server, job_id) == []
    context.set_offline(False)
    expect(page.locator("#unsent")).to_have_text("", timeout=30_000)
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [c.read_bytes() for c in CLIPS]
    context.close()


def test_what_waits_survives_closing_the_page(chromium: Browser, server: running.Server, job_id: str) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    context.set_offline(True)
    page.locator("#clip").set_input_files(CLIPS[0])
    expect(page.locator("#unsent")).to_contain_text("1 not sent yet")
    page.close()
    context.set_offline(False)
    assert arrivals(server, job_id) == []
    again = context.new_page()
    with again.expect_response(lambda r: r.url.endswith("/evidence"), timeout=30_000) as sent:
        open_job(again, server, job_id)
    assert sent.value.status == 201
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [CLIPS[0].read_bytes()]
    context.close()


def test_a_lost_answer_does_not_double_a_clip(chromium: Browser, server: running.Server, job_id: str) -> None:
    """Lose the answer to a clip that the server stored: the phone sends it again."""
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    reached = 0

    def lose_first_answer(route: Route) -> None:
        nonlocal reached
        reached += 1
        answer = route.fetch()
        if reached == 1:
            assert answer.status == 201
            route.abort()
        else:
            route.fulfill(response=answer)

    page.route("**/evidence", lose_first_answer)
    page.locator("#clip").set_input_files(CLIPS[1])
    expect(page.locator("#unsent")).to_contain_text("1 not sent yet")
    expect(page.locator("#unsent")).to_have_text("", timeout=30_000)
    assert reached == 2
    assert len(arrivals(server, job_id)) == 1
    context.close()


def test_what_the_server_refuses_does_not_block_the_rest(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    empty = {"name": "empty.flac", "mimeType": "audio/flac", "buffer": b""}
    page.locator("#clip").set_input_files(empty)  # type: ignore[arg-type]  # a plain dict stands for FilePayload
    expect(page.locator("#words")).to_contain_text("The file is empty. Take it again.")
    page.locator("#clip").set_input_files(CLIPS[2])
    expect(page.locator("#unsent")).to_have_text("")
    expect(page.locator("#words")).not_to_contain_text("Storing", timeout=30_000)
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [CLIPS[2].read_bytes()]
    context.close()


def test_several_photos_of_one_display_wait_together_and_arrive_once(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    """Begin without network; then lose the answer to what the server stored, so that it is sent again."""
    photos = [fixtures() / "photos" / name for name in ("p06.jpg", "p08.jpg")]
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    tried: list[str] = []

    def line(route: Route) -> None:
        tried.append("no network" if not tried else "answer lost" if len(tried) == 1 else "through")
        if tried[-1] == "no network":
            route.abort()
            return
        answer = route.fetch()
        if tried[-1] == "answer lost":
            assert answer.status == 201
            route.abort()
        else:
            assert answer.json()["repeated"] is True
            route.fulfill(response=answer)

    page.route("**/burst", line)
    page.locator("#photo").set_input_files(photos)
    page.get_by_role("button", name="All of one display").click()
    expect(page.locator("#unsent")).to_contain_text("1 not sent yet")
    expect(page.locator("#unsent")).to_have_text("", timeout=40_000)
    assert tried == ["no network", "answer lost", "through"]
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [p.read_bytes() for p in photos]
    context.close()


def test_what_is_only_stored_is_followed_until_it_is_read(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    """Ask for the answer before the reading, as happens by itself when many captures wait."""
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    open_job(page, server, job_id)
    statuses: list[int] = []

    def at_once(route: Route) -> None:
        answer = route.fetch(headers={**route.request.headers, "prefer": "respond-async"})
        statuses.append(answer.status)
        route.fulfill(response=answer)

    page.route("**/evidence", at_once)
    page.locator("#clip").set_input_files(CLIPS[0])
    expect(page.locator("#unsent")).to_have_text("", timeout=30_000)
    page.locator("#clip").set_input_files(CLIPS[1])
    expect(page.locator("[data-proposal] .value")).to_have_text("1.21 Ω", timeout=60_000)
    expect(page.locator("#words")).not_to_contain_text("Stored.", timeout=30_000)
    # One that another overtakes while its reading is waited for is sent again under its id, and kept once (below).
    assert len(statuses) in (2, 3)
    assert set(statuses) == {202}
    assert [stored(server, note["sha256"]) for note in arrivals(server, job_id)] == [c.read_bytes() for c in CLIPS[:2]]
    context.close()
