"""The camera's view with its finder in a real browser: what it shows and says, and what it takes by itself.

One test looks through Chromium's own made-up camera at a demo photo, whose truth is in `fixtures/visit/truth.json`; the
others through a camera whose scene they change. Contrast and sizes: WCAG 2.2, and what the guide promises of the page.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Locator, Playwright, Route, ViewportSize, expect

from fixtures.training.displays.photo import render, to_jpeg
from tests.e2e import running
from tests.e2e.conftest import PHONE, fixtures, watch
from tests.e2e.test_page import open_job, probe
from tests.e2e.test_photo import trail
from tests.e2e.test_places import CONTRAST, GLOVE_PX, accessible

PATIENCE_MS = 60_000
TRUTH = {
    photo["file"]: photo["shows"] for photo in json.loads((fixtures() / "truth.json").read_text("utf-8"))["photos"]
}
METER, OTHER = fixtures() / "photos" / "p01.jpg", fixtures() / "photos" / "p06.jpg"
SIZE = (1000, 750)
FRAMES_S = 3.0
"""Frames that the page may send in a second; the guide's own promise."""
SIDE: ViewportSize = {"width": 844, "height": 390}
CAMERA = """
window.scene = null; window.frames_sent = []; window.hidden_now = false;
Object.defineProperty(document, "hidden", { get: () => window.hidden_now });
const real_fetch = window.fetch;
window.fetch = (path, options) => {
  const asked = real_fetch(path, options);
  if (String(path).startsWith("/api/finder")) {
    const frame = { at: performance.now(), answered: 0, bytes: options.body.size };
    window.frames_sent.push(frame);
    asked.then(() => { frame.answered = performance.now(); }, () => {});
  }
  return asked;
};
navigator.mediaDevices.getUserMedia = async () => {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [1000, 750];
  const pen = canvas.getContext("2d");
  const draw = () => {
    pen.fillStyle = "#808080";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    if (window.scene) pen.drawImage(window.scene, 0, 0, canvas.width, canvas.height);
  };
  draw();
  setInterval(draw, 150);
  return canvas.captureStream(7);
};
window.shows = async (name) => {
  const picture = new Image();
  picture.src = `/scene/${name}`;
  await picture.decode();
  window.scene = picture;
};
"""
SPEAKING = """
window.said = [];
Object.defineProperty(window, "speechSynthesis", { value: {
  getVoices: () => [{}],
  cancel: () => { window.said.push(["stopped", performance.now()]); },
  speak: (sentence) => {
    window.said.push(["said", performance.now(), sentence.text]);
    setTimeout(() => { window.said.push(["ended", performance.now()]); sentence.onend(); }, 1500);
  },
} });
"""


class Scene:
    """A page that looks through a camera whose scene the test changes."""

    def __init__(self, browser: Browser, server: running.Server, job_id: str, folder: Path, **more: Any) -> None:
        self.context = browser.new_context(
            **{"viewport": PHONE, "service_workers": "block", "reduced_motion": "reduce", **more}
        )
        self.page, self.folder = self.context.new_page(), folder
        self.complaints = watch(self.page, server)
        self.page.add_init_script(CAMERA)
        self.page.add_init_script("if (!localStorage.length) localStorage.setItem('ohmtrail.readback', 'off')")
        self.page.route("**/scene/*", self._give)
        self.server, self.job_id = server, job_id

    def _give(self, route: Route) -> None:
        route.fulfill(path=self.folder / route.request.url.rpartition("/")[2].partition("?")[0])

    def open(self) -> Locator:
        """Open the job and the camera's view; gives the hint."""
        open_job(self.page, self.server, self.job_id)
        self.page.get_by_role("button", name="Photo", exact=True).click()
        self.page.wait_for_function("() => (document.querySelector('#camera video') || {}).videoWidth > 0")
        return self.page.locator("#hint")

    def shows(self, picture: Path | Image.Image | None) -> None:
        """Put something before the camera; None for an even wall."""
        if picture is None:
            self.page.evaluate("window.scene = null")
            return
        opened = Image.open(picture) if isinstance(picture, Path) else picture
        opened.resize(SIZE).save(self.folder / "scene.jpg", quality=95)
        self.page.evaluate("shows('scene.jpg?' + performance.now())")

    def answers(self, count: int) -> None:
        """Wait until so many more frames were answered."""
        self.page.wait_for_function(
            "count => window.frames_sent.filter((f) => f.answered).length >= count",
            arg=self.answered() + count,
            timeout=PATIENCE_MS,
        )

    def answered(self) -> int:
        return len([frame for frame in self.page.evaluate("window.frames_sent") if frame["answered"]])

    def stored(self) -> int:
        """Count the photos on record."""
        return [entry["what"] for entry in trail(self.server, self.job_id)].count("evidence stored")


@pytest.fixture
def scene(chromium: Browser, server: running.Server, job_id: str, tmp_path: Path) -> Iterator[Scene]:
    found = Scene(chromium, server, job_id, tmp_path)
    yield found
    found.context.close()
    assert not found.complaints


def far(photo: Path, share: float) -> Image.Image:
    """Show a photo as from further away, before a wall."""
    wall = Image.new("RGB", SIZE, (128, 128, 128))
    with Image.open(photo) as near:
        small = near.resize((int(SIZE[0] * share), int(SIZE[1] * share)))
    wall.paste(small, ((SIZE[0] - small.width) // 2, (SIZE[1] - small.height) // 2))
    return wall


def test_a_display_held_into_the_picture_becomes_a_proposal_without_a_press(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    """Look through Chromium's own camera at a demo photo; nothing is pressed but what opens the view."""
    camera = tmp_path / "camera.mjpeg"
    with Image.open(METER) as picture:
        picture.resize(SIZE).save(camera, "JPEG", quality=95)
    with running.browser(play, camera=camera) as browser:
        context = browser.new_context(viewport=PHONE, permissions=["camera"])
        page = context.new_page()
        complaints = watch(page, server)
        page.add_init_script("localStorage.setItem('ohmtrail.readback', 'off')")
        open_job(page, server, job_id)
        page.get_by_role("button", name="Photo", exact=True).click()
        shown = TRUTH[f"photos/{METER.name}"]
        expect(page.locator("#value")).to_have_text(f"{shown['main']} Ω", timeout=PATIENCE_MS)
        expect(page.locator("#camera")).to_be_hidden()
        expect(page.locator("#reading")).to_have_class(re.compile("open|doubtful"))
        context.close()
    assert [entry["what"] for entry in trail(server, job_id)].count("evidence stored") == 1, "one photo, the sharpest"
    assert not complaints


def test_the_frame_lies_around_the_display_and_the_hint_says_good(scene: Scene) -> None:
    """Compare the frame on the screen with the corners that the renderer drew."""
    shows = {"main": "230.5", "unit": "V"}
    spec: dict[str, Any] = {"seed": 9, "style": "panel_green", "shows": shows, "spoil": {"share": 0.4}, "size": SIZE}
    made = render(spec)
    photo = scene.folder / "panel.jpg"
    photo.write_bytes(to_jpeg(made, spec))
    hint = scene.open()
    scene.page.get_by_role("button", name="Takes by itself: on").click()
    scene.shows(photo)
    expect(hint).to_have_text("Display framed")
    expect(scene.page.locator("svg.found.good")).to_be_visible()
    drawn = scene.page.locator("svg.found .line").evaluate(
        "line => [...line.points].map((p) => p.matrixTransform(line.getScreenCTM())).map((p) => [p.x, p.y])"
    )
    box = scene.page.locator("#camera video").bounding_box()
    assert box is not None
    scale = min(box["width"] / SIZE[0], box["height"] / SIZE[1])  # fitted whole into its place
    left, top = box["x"] + (box["width"] - SIZE[0] * scale) / 2, box["y"] + (box["height"] - SIZE[1] * scale) / 2
    truth = made.displays[0].quad * scale + [left, top]
    diagonal = np.linalg.norm(truth[2] - truth[0])
    assert np.linalg.norm(np.array(drawn) - truth, axis=1).max() < 0.06 * diagonal
    dashes = scene.page.locator("svg.found .line").evaluate("line => getComputedStyle(line).strokeDasharray")
    assert dashes == "none", "good is told by the line as well as by its colour"


def test_a_far_display_is_asked_to_come_closer_and_nothing_is_taken(scene: Scene) -> None:
    hint = scene.open()
    scene.shows(far(METER, 0.12))
    expect(hint).to_have_text(re.compile("come closer", re.IGNORECASE))
    scene.answers(8)
    expect(hint).to_have_text(re.compile("come closer", re.IGNORECASE))
    assert scene.stored() == 0
    expect(scene.page.locator("#camera")).to_be_visible()
    with scene.page.expect_response(lambda r: r.url.endswith("/evidence"), timeout=PATIENCE_MS):
        scene.page.get_by_role("button", name="Take it").click()  # the person may all the same
    assert scene.stored() == 1


def test_one_after_another_each_display_is_taken_once(scene: Scene) -> None:
    hint = scene.open()
    scene.page.get_by_role("button", name="One after another").click()
    tray = scene.page.get_by_role("list", name="Photos taken")
    scene.shows(METER)
    expect(tray.locator("li.known")).to_have_count(1, timeout=PATIENCE_MS)
    expect(tray.locator("li.known")).to_contain_text(TRUTH[f"photos/{METER.name}"]["main"])
    expect(hint).to_contain_text("Taken")
    scene.answers(8)
    assert scene.stored() == 1, "the same display stays in view"
    scene.shows(None)
    scene.answers(4)
    scene.shows(OTHER)
    expect(tray.locator("li")).to_have_count(2, timeout=PATIENCE_MS)
    expect(tray.locator("li.known")).to_have_count(2, timeout=PATIENCE_MS)
    expect(tray.locator("li").first).to_contain_text(TRUTH[f"photos/{OTHER.name}"]["main"])
    scene.answers(6)
    assert scene.stored() == 2
    scene.page.get_by_role("button", name="Take it").click()  # asked for
    expect(tray.locator("li")).to_have_count(3)
    scene.answers(6)
    assert scene.stored() == 3


def test_taking_by_itself_is_switched_off_and_stays_so(scene: Scene) -> None:
    hint = scene.open()
    switch = scene.page.locator(".by-itself")
    expect(switch).to_have_attribute("aria-pressed", "true")
    switch.click()
    scene.shows(METER)
    expect(hint).to_have_text("Display framed")
    scene.answers(6)
    assert scene.stored() == 0
    scene.page.reload()
    scene.open()
    expect(switch).to_have_text("Takes by itself: off")
    scene.shows(METER)
    scene.answers(6)
    assert scene.stored() == 0
    switch.click()
    expect(scene.page.locator("#value")).to_contain_text(TRUTH[f"photos/{METER.name}"]["main"], timeout=PATIENCE_MS)


def test_frames_are_few_and_none_go_out_where_nobody_looks(scene: Scene) -> None:
    scene.open()
    scene.shows(far(METER, 0.12))
    scene.answers(8)
    frames = scene.page.evaluate("window.frames_sent")
    for one, following in pairwise(frames):
        assert following["at"] - one["at"] >= 1000 / FRAMES_S - 20, "at most three a second"
        assert one["answered"] <= following["at"], "one at a time"
    assert all(frame["bytes"] < 300_000 for frame in frames)

    def none_go_out() -> bool:
        scene.page.wait_for_timeout(600)  # what was under way
        before = len(scene.page.evaluate("window.frames_sent"))
        scene.page.wait_for_timeout(1500)
        return len(scene.page.evaluate("window.frames_sent")) == before

    scene.page.evaluate("window.hidden_now = true")
    assert none_go_out(), "the page is hidden"
    scene.page.evaluate("window.hidden_now = false")
    scene.answers(2)
    scene.page.get_by_role("button", name="Close").click()
    assert none_go_out(), "the view is closed"
    assert scene.page.locator("svg.found.shown").count() == 0


def test_while_the_server_is_away_it_says_so_and_the_person_takes_the_picture(scene: Scene) -> None:
    hint = scene.open()
    scene.shows(METER)
    scene.page.get_by_role("button", name="Takes by itself: on").click()
    scene.answers(2)
    scene.complaints.clear()
    scene.context.set_offline(True)
    expect(hint).to_contain_text("server is away")
    expect(scene.page.locator("svg.found.shown")).to_have_count(0)
    before = len(scene.page.evaluate("window.frames_sent"))
    scene.page.wait_for_timeout(2000)
    assert len(scene.page.evaluate("window.frames_sent")) == before
    scene.context.set_offline(False)
    expect(hint).to_have_text("Display framed", timeout=PATIENCE_MS)
    scene.complaints.clear()  # the browser notes requests that found no network


def test_hints_are_spoken_seldom_and_over_nothing_else(scene: Scene) -> None:
    scene.page.add_init_script(SPEAKING)
    scene.page.add_init_script("localStorage.setItem('ohmtrail.readback', 'on')")
    hint = scene.open()
    scene.shows(far(METER, 0.12))
    expect(hint).to_have_text(re.compile("come closer", re.IGNORECASE))
    scene.page.wait_for_function("() => window.said.filter((s) => /come closer/i.test(s[2])).length >= 1")
    scene.answers(20)
    said = scene.page.evaluate("window.said")
    speaking = False
    times = []
    for what, at, *words in said:
        assert not (what == "stopped" and speaking), "something was cut short"
        speaking = what == "said" or (speaking and what != "ended")
        times += [at] if what == "said" and "closer" in words[0].lower() else []
    assert all(later - sooner >= 5000 for sooner, later in pairwise(times))
    assert "by itself" in next(one[2] for one in said if one[0] == "said")


COUNTED = """e => {
  const words = "Y 3:44: do not touch";
  const write = () => { if (e.textContent !== words) e.textContent = words; };
  new MutationObserver(write).observe(e, { childList: true, characterData: true, subtree: true });
  write();
}"""
"""Writes a discharge as the job does; the job, which has none, would take it away again every second."""


@pytest.mark.parametrize("size", [PHONE, SIDE], ids=["phone", "side"])
@pytest.mark.parametrize("theme", ["light", "dark", "sun"])
def test_hints_can_be_read_in_every_light(
    chromium: Browser, server: running.Server, job_id: str, tmp_path: Path, size: ViewportSize, theme: str
) -> None:
    scene = Scene(chromium, server, job_id, tmp_path, viewport=size)
    hint = scene.open()
    scene.page.get_by_role("button", name="Takes by itself: on").click()
    scene.page.get_by_role("button", name="One after another").click()
    scene.page.locator("#photo").set_input_files(METER)
    expect(scene.page.locator(".tray li.known")).to_have_count(1, timeout=PATIENCE_MS)
    discharge = scene.page.locator("#camera .discharge-short")
    discharge.evaluate(COUNTED)
    scene.page.evaluate("theme => { document.documentElement.dataset.theme = theme }", theme)
    for name, picture in (("far", far(METER, 0.12)), ("good", METER)):
        scene.shows(picture)
        expect(hint).to_have_text(re.compile("Display framed" if name == "good" else "come closer", re.IGNORECASE))
        expect(scene.page.locator("svg.found.shown")).to_have_count(1)
        assert probe(scene.page, "faint", CONTRAST) == []
        assert hint.evaluate("e => parseFloat(getComputedStyle(e).fontSize)") >= 20
        accessible(scene.page, (None,))
        expect(hint).to_be_in_viewport(ratio=1)
        expect(discharge).to_be_in_viewport(ratio=1)
        scene.page.screenshot(path=tmp_path / f"{name}.png")
        for button in scene.page.locator("#camera button").all():
            box = button.bounding_box()
            assert box is None or (box["height"] >= GLOVE_PX and box["x"] + box["width"] <= size["width"])
        shutter, video = (
            scene.page.locator(".shutter").bounding_box(),
            scene.page.locator("#camera video").bounding_box(),
        )
        assert shutter is not None
        assert video is not None
        assert shutter["y"] + shutter["height"] <= size["height"], "the shutter is in sight"
        assert min(video["width"], video["height"]) >= 280, "and so is the picture"
    scene.context.close()
    assert not scene.complaints
