"""Fifty readings of a day answered in the Review by single keys: how many keys, and how long the machine takes.

    python -m tests.benchmarks.day.keys

A program presses the keys, as fast as the page takes them, and knows what is true. So the keys are what a person would
press who never hesitates; the time is the machine's alone and no person's: nobody looked at anything.
"""

from __future__ import annotations

import datetime as dt
import os
import random
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright
from rich.console import Console

from tests.api.day.afternoon import BEGUN, memo, opened, picture, proposed, take
from tests.e2e import running

AXES = {"X": "x axis", "Y": "y axis", "Z": "zulu axis", "A": "alfa axis"}
SECTIONS = {
    "through_cable": "through the cable", "motor_alone": "motor alone", "cable_alone": "cable alone",
}  # fmt: skip
MANGLED = (3, 7)
"""Places, counted from 0, that are not understood."""

STEPS_MOST = 1000


def described() -> dict[str, Any]:
    """Describe the job."""
    axis = {"motor_kind": "ac_servo", "rated_voltage": "400", "winding_c": "25"}
    return {
        "title": "Four axes", "customer": "Brackwater Gearworks (invented)", "machine": "Machining centre 4",
        "technician": "Technician 7", "air_c": "24", "humidity_pct": "45",
        "axes": [{"name": name, **axis} for name in AXES],
        "instruments": [{"id": "IT-03", "kind": "insulation_tester", "accuracy_percent": "3", "accuracy_counts": "5"},
                        {"id": "LR-02", "kind": "milliohm_meter", "accuracy_percent": "0.25", "accuracy_counts": "3"}],
    }  # fmt: skip


def filled(folder: Path, readings: int, rng: random.Random) -> dict[str, tuple[str, str]]:
    """Lay a recording of so many readings and half as many photos into a folder; returns the true places by value."""
    folder.mkdir()
    said: list[tuple[float, str]] = []
    true: dict[str, tuple[str, str]] = {}
    at, places = 5.0, 0
    digits = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    for axis, axis_words in AXES.items():
        for section, words in SECTIONS.items():
            whole = f"{axis_words} {words}" if section == "through_cable" else words
            said.append((at, "able along" if places in MANGLED else whole))
            places, at = places + 1, at + 8
            winding = [] if section == "cable_alone" else ["u to v", "v to w", "w to u"]
            for point in [*winding, "u to ground", "v to ground", "w to ground"]:
                if len(true) == readings:
                    continue
                first, second, third = (rng.randrange(9) for _ in range(3))
                unit, code = ("ohms", "Ohm") if point in winding else ("gig", "GOhm")
                number = f"{first + 1}.{second + 1}{third + 1}"
                value = f"{digits[first]} point {digits[second]} {digits[third]}"
                kind = "insulation " if point == "u to ground" else ""
                said.append((at, f"{kind}{point} {value} {unit}"))
                true[f"{at:.0f}"] = (axis, section)
                if len(true) % 2:
                    other = len(true) % 25 == 13  # the display shows something else
                    shown = f"{first + 1}.{second + 1}{(third + 1) % 9 + 1}" if other else number
                    taken = BEGUN + dt.timedelta(seconds=at + 5)
                    (folder / f"IMG_{at:.0f}.png").write_bytes(picture(shown, code, taken))
                at += 14
    (folder / f"{BEGUN:%Y%m%d-%H%M%S}.wav").write_bytes(memo(tuple(said), at + 10))
    return true


def _answered(page: Page, true: dict[str, tuple[str, str]], keys: Counter[str]) -> None:
    """Press keys until nothing waits."""
    for _ in range(STEPS_MOST):
        seen = page.evaluate(
            """() => { const r = window.review, p = r.proposal; if (r.busy || r.safety.busy) return {busy: true};
               const typed = document.querySelector('#safety-question input');
               if (r.safety.asks) return {asks: r.safety.steps.length, input: Boolean(typed)};
               if (!p) return {empty: true};
               return {id: p.id, at: p.captured_at, doubts: p.doubts, axis: p.axis, section: p.section,
                       offers: r.offered.map((o) => o.place || null)}; }"""
        )
        if seen.get("empty"):
            return
        if seen.get("busy"):
            page.wait_for_timeout(10)
            continue
        keys[_pressed(page, seen, true)] += 1
    raise AssertionError(f"not done after {STEPS_MOST} steps: {keys}")


def _pressed(page: Page, seen: dict[str, Any], true: dict[str, tuple[str, str]]) -> str:
    if seen.get("asks"):
        if seen["input"]:
            page.locator("#safety-question input").fill("3")
            page.keyboard.press("Enter")
            page.wait_for_function(f"window.review.safety.steps.length !== {seen['asks']}")
            page.locator("h1").click()
            return "safety, typed"
        page.keyboard.press("y")
        page.wait_for_function(f"window.review.safety.steps.length !== {seen['asks']}")
        return "safety"
    if not seen["doubts"]:
        page.keyboard.press("Enter")
        return "confirmed"
    if "place_unsure" in seen["doubts"]:
        said_at = dt.datetime.fromisoformat(seen["at"]) - BEGUN
        axis, section = true[min(true, key=lambda at: abs(float(at) - said_at.total_seconds()))]
        page.keyboard.press(str(1 + seen["offers"].index({"axis": axis, "section": section})))
        page.wait_for_function(f"!window.review.busy && window.review.proposal.id === '{seen['id']}'")
        return "place of a stretch"
    page.keyboard.press("1")
    return "another doubt"


def main() -> None:
    """Print what it took."""
    rng, keys = random.Random(11), Counter[str]()
    running.START_S = 300.0  # nobody waits for a benchmark
    with tempfile.TemporaryDirectory() as place:
        files = Path(place) / "files"
        true = filled(files, 50, rng)
        workspace = opened(Path(place) / "data", job=described())
        take(workspace, files)
        waiting = proposed(workspace)
        workspace.close()
        asked = sum(bool(one["doubts"]) for one in waiting)
        with running.server(Path(place)) as server, sync_playwright() as play, running.browser(play) as browser:
            page = browser.new_page()
            page.goto(f"{server.url}/page/review.html#J1")
            page.locator("#focus .value").wait_for()
            page.locator("h1").click()
            begun = time.monotonic()
            _answered(page, true, keys)
            took = time.monotonic() - begun
    Console(width=140).print(
        f"{len(waiting)} readings, {asked} asked about: {sum(keys.values())} keys ({dict(keys)}); "
        f"{took:.0f} s of this machine's time at a load of {os.getloadavg()[0]:.0f}, no person's."
    )


if __name__ == "__main__":
    main()
