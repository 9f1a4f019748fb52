"""A stretch of the invented visit in a real browser: spoken into the microphone, photographed, confirmed, reported.

The clips are those of `fixtures/`, spoken by voices that the speech model was not trained on; what they mean is in
`fixtures/visit/truth.json`. The real speech model and the real display reader are at work.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import pytest
import soundfile
from bs4 import BeautifulSoup
from playwright.sync_api import Page, Playwright, WebSocketRoute, expect

from tests.e2e import running
from tests.e2e.conftest import PHONE, fixtures, go, open_axis, watch
from tests.e2e.person import Person

RATE = 16_000
PAUSE_S = 9.0  # between utterances: the person listens to the read-back, which the page speaks
PATIENCE_MS = 90_000


def meaning(name: str) -> dict[str, Any]:
    """Read what a clip or photo of the visit holds, as written by its maker."""
    truth = json.loads((fixtures() / "truth.json").read_text("utf-8"))
    found: dict[str, Any] = next(e for e in truth["clips"] + truth["photos"] if e["file"].endswith(name))
    return found


def microphone(path: Path, clips: Sequence[str], pause_s: float = PAUSE_S) -> Path:
    """Join clips with pauses to the WAV file that the browser takes for its microphone."""
    quiet = np.zeros(int(pause_s * RATE), dtype="float32")
    parts = [quiet]
    for name in clips:
        samples, rate = soundfile.read(fixtures() / "clips" / name, dtype="float32")
        assert rate == RATE
        parts += [samples, quiet]
    soundfile.write(path, np.concatenate([*parts, quiet]), RATE, subtype="PCM_16")
    return path


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Any:
    with running.server(tmp_path_factory.mktemp("visit")) as found:
        yield found


@pytest.fixture
def job_id(server: running.Server) -> str:
    """Make the job of the invented visit."""
    answer = httpx.post(
        f"{server.url}/api/jobs", json=json.loads((fixtures() / "job.json").read_text("utf-8")), timeout=30
    )
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def ask(server: running.Server, path: str) -> Any:
    """Ask the JSON routes."""
    return httpx.get(f"{server.url}{path}", timeout=60).raise_for_status().json()


def test_a_value_is_spoken_and_confirmed_with_no_free_hand(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Say axis and part, then a value, then "confirm": one tap, one record."""
    said = ("c01.flac", "c02.flac", "c03.flac")
    assert [meaning(name)["means"].get("command") for name in said] == [None, None, "confirm"]
    with running.browser(play) as browser:
        person = Person(browser, server, job_id, tmp_path)  # who answers when asked, however long that takes
        page = person.page
        complaints = watch(page, server)
        for name in said[:2]:
            person.plays(fixtures() / "clips" / name, name)
        expect(page.locator("[data-proposal] .value")).to_have_text("1.21 Ω", timeout=PATIENCE_MS)
        person.plays(fixtures() / "clips" / said[2], said[2])
        expect(page.locator("li[data-record] .shown")).to_have_text("1.21 Ω", timeout=PATIENCE_MS)
        page.screenshot(path=tmp_path / "confirmed.png", full_page=True)
        page.get_by_role("button", name="Stop").click()
        expect(page.get_by_role("button", name="Speak")).to_be_visible()
        person.context.close()
    assert not complaints
    (record,) = ask(server, f"/api/jobs/{job_id}/records")
    assert {k: record[k] for k in ("value", "unit", "axis", "section")} == {
        "value": meaning("c02.flac")["means"]["value"],
        "unit": meaning("c02.flac")["means"]["unit"],
        "axis": meaning("c01.flac")["means"]["axis"],
        "section": meaning("c01.flac")["means"]["section"],
    }
    assert (record["source"], record["confirmed_how"]) == ("speech", "spoken")
    kept = httpx.get(f"{server.url}/api/evidence/{record['clip_sha256']}/content", timeout=30).content
    assert hashlib.sha256(kept).hexdigest() == record["clip_sha256"]
    sound, rate = soundfile.read(io.BytesIO(kept))
    assert rate == RATE
    assert len(sound) / rate > 1.0
    assert np.abs(sound).max() > 0.05, "the clip holds the voice"
    assert ask(server, "/api/verify")["result"] == "intact"


def test_photo_and_voice_meet_and_both_stand_in_the_report(
    page: Page, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Send clip and photo of one display, confirm by one tap, and open the report as the customer does."""
    page.goto(f"{server.url}/#/jobs/{job_id}")
    for clip in ("c01.flac", "c02.flac"):
        with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS):
            page.locator("#clip").set_input_files(fixtures() / "clips" / clip)
    expect(page.locator("[data-proposal] .value")).to_have_text("1.21 Ω", timeout=PATIENCE_MS)
    with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS) as sent:
        page.locator("#photo").set_input_files(fixtures() / "photos" / "p01.jpg")
    assert "agrees" in sent.value.json()["message"]
    expect(page.locator("#reading img")).to_be_visible()
    go(page, "To check")
    picture = page.locator("[data-proposal] .pictures img")
    assert picture.evaluate("i => i.naturalWidth") > 50
    expect(page.locator("[data-proposal] .value")).to_have_text(f"{meaning('p01.jpg')['shows']['main']} Ω")
    go(page, "Measure")
    page.get_by_role("button", name="Confirm", exact=True).click()
    expect(page.locator("li[data-record] .shown")).to_have_text("1.210 Ω")
    open_axis(page, meaning("c01.flac")["means"]["axis"])
    play = page.locator("li[data-record] .play")
    play.click()
    expect(play).to_have_text("■ Stop")
    expect(play).to_have_text("▶ Play", timeout=20_000)

    (record,) = ask(server, f"/api/jobs/{job_id}/records")
    assert (record["source"], record["agreement"]) == ("speech+photo", "agree")
    with page.context.expect_page() as opened:
        go(page, "Report")
        page.locator("#report").click()
    opened.value.wait_for_url("**/report")
    assert opened.value.title().startswith("Servo axis insulation and winding test")
    mailed = tmp_path / "report.html"  # as the customer opens it: a file, no server
    mailed.write_bytes(page.context.request.get(f"{server.url}/api/jobs/{job_id}/report").body())
    report = page.context.new_page()
    report.goto(mailed.as_uri())
    row = report.locator(f"tr[data-record='{record['id']}']")
    expect(row.locator(".shown")).to_have_text("1.210 Ω")
    assert row.locator("img.crop").evaluate("i => i.complete && i.naturalWidth") > 50
    seconds = row.locator("audio").evaluate(
        "async a => { await a.play(); await new Promise(r => setTimeout(r, 800)); return a.currentTime }"
    )
    assert seconds > 0.3
    report.screenshot(path=tmp_path / "report.png", full_page=True)
    head = report.locator("#head-hash").inner_text()
    assert head in {entry["hash"] for entry in ask(server, f"/api/jobs/{job_id}/trail?limit=1000")["entries"]}
    assert ask(server, "/api/verify")["result"] == "intact"


def test_without_a_connection_the_clip_goes_whole(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Refuse the connection, as some phones do although the page loads: each utterance is sent as a clip."""
    with running.browser(play, microphone(tmp_path / "said.wav", ("c02.flac",))) as browser:
        context = browser.new_context(viewport=PHONE, permissions=["microphone"])
        page = context.new_page()
        page.route_web_socket("**/listen", lambda socket: socket.close())
        page.goto(f"{server.url}/#/jobs/{job_id}")
        with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS) as sent:
            page.get_by_role("button", name="Speak").click()
            expect(page.locator("#words")).to_contain_text("No connection")
        assert sent.value.status in (201, 202)
        sha = sent.value.json()["sha256"]
        context.close()
    kept = httpx.get(f"{server.url}/api/evidence/{sha}/content", timeout=30)
    assert kept.headers["content-type"] == "audio/wav"
    sound, rate = soundfile.read(io.BytesIO(kept.content))
    assert rate == RATE
    assert np.abs(sound).max() > 0.05
    httpx.post(f"{server.url}/api/jobs/{job_id}/report", timeout=60).raise_for_status()
    report = BeautifulSoup(httpx.get(f"{server.url}/api/jobs/{job_id}/report", timeout=60).text, "html.parser")
    assert report.select_one(f"#evidence-{sha[:16]}")


def test_when_the_line_breaks_what_was_said_arrives_as_a_clip(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    with running.browser(play, microphone(tmp_path / "said.wav", ("c02.flac",))) as browser:
        context = browser.new_context(viewport=PHONE, permissions=["microphone"])
        page = context.new_page()
        frames = 0

        def break_it(line: WebSocketRoute) -> None:
            far = line.connect_to_server()

            def pass_on(message: str | bytes) -> None:
                nonlocal frames
                frames += isinstance(message, bytes)
                if frames < 15:
                    far.send(message)
                else:
                    far.close()
                    line.close()

            line.on_message(pass_on)

        page.route_web_socket("**/listen", break_it)
        page.goto(f"{server.url}/#/jobs/{job_id}")
        with page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS) as sent:
            page.get_by_role("button", name="Speak").click()
        assert sent.value.status in (201, 202)
        expect(page.get_by_role("button", name="Stop")).to_be_visible()  # it goes on listening
        whole = sent.value.json()["sha256"]
        context.close()
    trail = ask(server, f"/api/jobs/{job_id}/trail?limit=1000")["entries"]
    assert [e["what"] for e in trail if e["what"] in ("kept, cut", "evidence stored")].count("evidence stored") == 1
    sound, _ = soundfile.read(io.BytesIO(httpx.get(f"{server.url}/api/evidence/{whole}/content", timeout=30).content))
    assert len(sound) >= 15 * 1600 * 0.9, "what was sent before the break is in it"
    assert np.abs(sound).max() > 0.05
