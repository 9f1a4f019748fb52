"""A job at rest in a real browser with the real recogniser: talk nearby is answered by nothing, a call wakes it.

Rule checked: DESIGN of the product (nothing said is lost; a microphone that is open all day does not interrupt people).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from playwright.sync_api import Playwright, expect

from tests.e2e import running
from tests.e2e.conftest import watch
from tests.e2e.person import Person, spoken
from tests.e2e.test_by_voice import job_id

__all__ = ["job_id"]

TALK = "did you see the football match last weekend"


def heard(person: Person) -> list[dict[str, Any]]:
    """List the trail's answers to what was said."""
    entries: list[dict[str, Any]] = person.ask("/trail?limit=500")["entries"]
    return [entry for entry in entries if entry["what"] == "asked"]


def test_talk_at_rest_is_answered_by_nothing_and_a_call_wakes_it(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    with running.browser(play) as browser:
        person = Person(browser, server, job_id, tmp_path, voice="rms")
        complaints = watch(person.page, server)
        person.page.get_by_role("button", name="More", exact=True).click()
        person.page.get_by_label("Rest between readings").check()
        person.until(lambda state: bool(state["rests"]), "the setting")
        person.page.get_by_role("button", name="Close").click()
        person.says("yankee axis motor alone")
        expect(person.page.locator(".now .state")).to_have_text("AT REST", timeout=90_000)
        person.page.screenshot(path=tmp_path / "rest.png", full_page=True)

        before, answers = person.ask("/dialogue"), len(heard(person))
        person.sounds(spoken(tmp_path, TALK, "rms"))
        person.until(lambda _state: len(heard(person)) > answers, TALK)
        after = person.ask("/dialogue")
        assert (after["message"], after["updated_at"], after["questions"]) == (
            before["message"],
            before["updated_at"],
            [],
        )
        expect(person.page.locator(".now .state")).to_have_text("AT REST", timeout=20_000)

        person.says("resume listening")
        assert person.ask("/dialogue")["state"] == "ready"

        # Whoever presses Speak means to be heard.
        expect(person.page.locator(".now .state")).to_have_text("AT REST", timeout=90_000)
        person.page.get_by_role("button", name="Stop").click()
        person.page.get_by_role("button", name="Speak").click()
        person.until(lambda state: state["state"] == "ready", "a press of Speak")
        person.context.close()
    assert not complaints
