"""Fifty proposals answered by keys in the Review, in a real Chromium: how many keys, and how long page and server take.

    python -m tests.benchmarks.day.keys [--readings 50] [--kept FOLDER] [--shots FOLDER]

The afternoon is taken in twice, as recorded and with its memos in noise of 20 dB, by the real engines. Whoever answers
here knows the truth (`fixtures/afternoon/truth.json`) and presses what leads to it: Enter where the value stands
rightly, the digit of the right answer where something is asked, C and the value where no answer fits, X where the place
or kind is wrong and nothing asks. What a person needs to look and to think is in no figure but the last: what is left
for it of five minutes.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import tempfile
import time
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from statistics import median
from typing import Any

import httpx2 as httpx
from playwright.sync_api import Page, sync_playwright
from rich.console import Console

from api.day.batch import DayWishes, take_day
from api.intake.pooled import PooledEngines
from api.workspace import Workspace
from fixtures.afternoon.make_memos import SNR_DB
from grading.terms.quantity import Qualifier, Quantity, unit
from grading.terms.terminals import pair
from tests.benchmarks.day.kept import KeptEngines
from tests.benchmarks.day.renderings import Rendering, rendered
from tests.benchmarks.day.score import NEAR_S, Truth, is_value, jobs_made, truths
from tests.e2e import running

AIM_S = 300.0
"""Fifty readings in five minutes: the aim."""

LOOK = """() => {
  const r = window.review, step = r && r.safety.asks ? r.safety.steps[0] : null;
  const drawn = document.getElementById("count");
  return { ready: !!r && !r.busy && !r.safety.busy && !!drawn && drawn.textContent !== "",
    pressed: r ? r.pressed : 0, p: (r && r.proposal) || null,
    offers: ((r && r.offered) || []).map(({ label, place = null, action, body }) => ({ label, place, action, body })),
    step: step && { unit: step.value_unit || null, axis: r.safety.axis } };
}"""


class Person:
    """Answers what the page shows by keys, and counts."""

    def __init__(self, page: Page, shots: Path | None) -> None:
        self.page, self.shots = page, shots
        self.keys: Counter[str] = Counter()
        self._tried: set[str] = set()
        self.waits_s: list[float] = []
        self.done: Counter[str] = Counter()
        self._shot: set[str] = set()

    def job(self, job: str, most: int) -> None:
        """Answer up to so many readings of a job."""
        while self.done.total() < most:
            seen = self._ready()
            p = seen["p"]
            if seen["step"]:
                self._shoot("safety")
                self._safety(seen["step"])
            elif p is None:
                return
            else:
                self._shoot(p["doubts"][0] if p["doubts"] else "plain")
                self._answer(job, p, seen["offers"])

    def _answer(self, job: str, p: dict[str, Any], offers: list[dict[str, Any]]) -> None:
        true = truth_of(job, p)
        if true is None:
            self._settled("x", "no reading, rejected")
            return
        if not p["doubts"]:
            if stands(true, p):
                self._settled("Enter", "confirmed")
            elif stands(true, {**p, "value": None}, value=False):
                self._typed(true)
            else:
                self._settled("x", "place or kind wrong and not asked about: rejected")
            return
        fitting = [n for n, offer in enumerate(offers, 1) if leads(true, p, offer)]
        tried = f"{p['id']} {p['revision']}" in self._tried
        self._tried.add(f"{p['id']} {p['revision']}")
        if fitting and not tried:
            self._press(str(fitting[0]), "digits that settle a doubt")
        elif not tried:
            self._typed(true)
        else:
            self._settled("x", "nothing settled it: rejected")

    def _settled(self, key: str, outcome: str) -> None:
        before = self._ready()["p"]["id"]
        self._press(key, "Enter" if key == "Enter" else "X")
        now = self._ready()
        if now["step"] is None and (now["p"] is None or now["p"]["id"] != before):
            self.done[outcome] += 1

    def _typed(self, true: Truth) -> None:
        """Type the value in the unit that the form shows."""
        self._press("c", "to correct")
        code = self.page.locator("#focus form select[name=unit]").input_value()
        if not code or true.value is None:
            self.page.keyboard.press("Escape")
            self._settled("x", "could not be typed by value alone: rejected")
            return
        digits = format((true.value / unit(code).factor).normalize(), "f")
        for letter in digits:
            self.page.keyboard.press(letter)
        self.keys["typed"] += len(digits) + 1
        self.page.keyboard.press("Enter")

    def _safety(self, step: Mapping[str, Any]) -> None:
        if step["unit"]:
            self.page.keyboard.press("3")
            self.page.keyboard.press("Enter")
            self.keys["safety questions"] += 2
        else:
            self._press("y", "safety questions")

    def _press(self, key: str, what: str) -> None:
        before = self._ready()["pressed"]
        begun = time.monotonic()
        self.page.keyboard.press(key)
        self.keys[what] += 1
        end = begun + 30
        while self._look()["pressed"] == before and time.monotonic() < end:
            time.sleep(0.005)
        self._ready()
        self.waits_s.append(time.monotonic() - begun)

    def _look(self) -> dict[str, Any]:
        found: dict[str, Any] = self.page.evaluate(LOOK)
        return found

    def _ready(self) -> dict[str, Any]:
        end = time.monotonic() + 60
        while not (seen := self._look())["ready"]:
            if time.monotonic() > end:
                raise TimeoutError("The page answers no more.")
            time.sleep(0.005)
        return seen

    def _shoot(self, name: str) -> None:
        if self.shots is not None and name not in self._shot:
            self._shot.add(name)
            self.page.screenshot(path=self.shots / f"review-{name}.png")


def truth_of(job: str, p: Mapping[str, Any]) -> Truth | None:
    """Find what was really said: a reading of the job within `NEAR_S`, best one that the proposal is right about.

    The clock that was found is some seconds off, and readings lie hardly further apart than that.
    """
    at = dt.datetime.fromisoformat(p["captured_at"])
    near = [(abs((at - one.instant).total_seconds()), n, one) for n, one in enumerate(truths()) if one.job == job]
    near = [one for one in near if one[0] <= NEAR_S]
    best = min(
        near, default=None, key=lambda one: (not stands(one[2], p), not stands(one[2], p, value=False), *one[:2])
    )
    return None if best is None else best[2]


def stands(true: Truth, p: Mapping[str, Any], *, value: bool = True) -> bool:
    """Tell whether a proposal stands where it was said, and with the value that was said."""
    axis, section, kind, terminals = true.place
    same = p["terminals"] == terminals or (
        "-" in terminals and "-" in (p["terminals"] or "") and pair(p["terminals"]) == pair(terminals)
    )
    placed = same and (p["axis"], p["section"], p["kind"]) == (axis, section, kind)
    return placed and (not value or _is_value(true, p))


def _is_value(true: Truth, p: Mapping[str, Any]) -> bool:
    return is_value(true, Quantity(p["value"], p["unit"], Qualifier(p["qualifier"])))


def leads(true: Truth, p: Mapping[str, Any], offer: Mapping[str, Any]) -> bool:
    """Tell whether an answer that is offered leads to what was really said."""
    if offer["place"]:
        return (offer["place"]["axis"], offer["place"]["section"]) == true.place[:2]
    if offer["action"] == "choose":
        chosen = p["choices"][offer["body"]["index"]]["reading"]
        return _is_value(true, chosen)
    given = offer["body"]["reading"]
    if "unit" in given:
        return _is_value(true, {**p, **given})
    told = dict(zip(("axis", "section", "kind", "terminals"), true.place, strict=True))
    return all(told.get(name) == what for name, what in given.items() if name in told)


def filled(data: Path, place: Path, kept: Path) -> None:
    """Take the afternoon in twice."""
    with closing(PooledEngines()) as engines, closing(Workspace.open(data, engines=engines)) as workspace:
        jobs_made(workspace)
        # The second time the photos are known and tell nothing of the clock: it is said, as `truth.json` has it.
        for how, clock in ((Rendering(SNR_DB), None), (Rendering(20), "recorder +3480s")):
            files = rendered(place / f"at{how.snr_db:g}", how)
            asked = KeptEngines(engines, kept)
            take_day(workspace, [files], DayWishes(clock=clock), workers=len(engines.pool.workers), engines=asked)


def main() -> None:
    """Answer, and print what it took."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.day.keys", description=__doc__)
    parser.add_argument("--readings", type=int, default=50)
    parser.add_argument("--kept", type=Path, default=None)
    parser.add_argument("--shots", type=Path, default=None, help="put a screenshot of each kind of question here")
    given = parser.parse_args()
    console = Console(width=120)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        filled(place / "data", place, given.kept or place / "kept")
        with running.server(place) as server, sync_playwright() as play, running.browser(play) as browser:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            person, begun = Person(page, given.shots), time.monotonic()
            for job in ("J1", "J2", "J3"):
                page.goto(f"{server.url}/page/review.html#{job}")
                page.reload()
                person.job(job, given.readings)
            wall = time.monotonic() - begun
            wrong = sum(
                not stands(true, record)
                for job in ("J1", "J2", "J3")
                for record in httpx.get(f"{server.url}/api/jobs/{job}/records", timeout=30).json()
                if (true := truth_of(job, record)) is not None
            )
    count, pressed = person.done.total(), person.keys.total()
    waits = sorted(person.waits_s)
    console.print(
        f"{count} readings, {pressed} keys: {dict(person.keys.most_common())}. {dict(person.done.most_common())}"
    )
    console.print(
        f"From key to page: median {1000 * median(waits):.0f} ms, p95 {1000 * waits[int(0.95 * len(waits))]:.0f} ms; "
        f"in all {wall:.0f} s. Of {AIM_S:.0f} s that leaves {(AIM_S - wall) / max(count, 1):.1f} s a reading to look "
        f"and press. Wrong among the records: {wrong}. Load {os.getloadavg()[0]:.0f}."
    )


if __name__ == "__main__":
    main()
