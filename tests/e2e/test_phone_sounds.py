"""What a phone sends and what is said to a question, in a real browser: clips as phones record them, and a correction.

The clips are those of `fixtures/`, written again as phones and messengers write them; model and readers are real.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from playwright.sync_api import FilePayload, Page, Playwright, expect

from tests.capture.speech.recordings import KINDS, clip, written
from tests.e2e import running
from tests.e2e.conftest import fixtures, watch
from tests.e2e.person import Person
from tests.e2e.test_visit import PATIENCE_MS, ask


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[running.Server]:
    with running.server(tmp_path_factory.mktemp("phones")) as found:
        yield found


@pytest.fixture
def job_id(server: running.Server) -> str:
    """Make the job of the invented visit."""
    described = json.loads((fixtures() / "job.json").read_text("utf-8"))
    answer = httpx.post(f"{server.url}/api/jobs", json=described, timeout=30)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def test_clips_as_phones_record_them_are_heard_and_kept(page: Page, server: running.Server, job_id: str) -> None:
    """Send the place as M4A, the value as Opus in WebM; what is kept has the type of its content, not of its name."""
    page.goto(f"{server.url}/#/jobs/{job_id}")
    sent: list[Any] = []
    for name, kind in (("c01.flac", "m4a"), ("c02.flac", "webm")):
        file = FilePayload(name="recording", mimeType="audio/mpeg", buffer=written(clip(name), kind))
        with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS) as answer:
            page.locator("#clip").set_input_files(file)
        sent.append((answer.value.json(), KINDS[kind].media_type))
    expect(page.locator("[data-proposal] .value")).to_have_text("1.21 Ω", timeout=PATIENCE_MS)
    for told, media_type in sent:
        kept = httpx.get(f"{server.url}/api/evidence/{told['sha256']}/content", timeout=30)
        assert kept.headers["content-type"] == media_type
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("li[data-record] .shown")).to_have_text("1.21 Ω")
    assert ask(server, "/api/verify")["result"] == "intact"


def test_a_correction_is_spoken_and_no_spoken_yes_passes_open_safety_steps(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Answer the read-back of 500 MΩ by "correction five hundred fifty megohms", then say "confirm"."""
    said = ("c01.flac", "c22.flac", "c23.flac", "c24.flac")
    with running.browser(play) as browser:
        person = Person(browser, server, job_id, tmp_path)
        complaints = watch(person.page, server)
        for name in said:
            person.plays(fixtures() / "clips" / name, name)
        page = person.page
        expect(page.locator("[data-proposal] .value")).to_have_text("550 MΩ", timeout=PATIENCE_MS)
        expect(page.locator("#words")).to_contain_text("confirm", timeout=PATIENCE_MS)
        expect(page.locator("#safety-X summary")).to_contain_text("safety questions open", timeout=PATIENCE_MS)
        page.get_by_role("button", name="Stop").click()
        person.context.close()
    assert not complaints
    assert ask(server, f"/api/jobs/{job_id}/records") == []
    trail = [entry["what"] for entry in ask(server, f"/api/jobs/{job_id}/trail?limit=1000")["entries"]]
    assert "corrected" in trail
    assert "confirmed" not in trail
