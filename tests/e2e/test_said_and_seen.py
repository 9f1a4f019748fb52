"""What was said held against what is seen, and said again, in a real browser with the real recogniser and reader.

Rules checked: DESIGN of the product (voice and photo that disagree need a choice; a record only by a person's yes).
"""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Playwright, expect

from tests.e2e import running
from tests.e2e.conftest import fixtures, watch
from tests.e2e.person import Person
from tests.e2e.test_by_voice import job_id

__all__ = ["job_id"]

SHOWN = fixtures() / "photos" / "p01.jpg"
"""A milliohm meter that shows 1.210 Ω (`fixtures/visit/truth.json`)."""


def test_a_photo_that_contradicts_the_voice_is_settled_by_saying_which(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    with running.browser(play) as browser:
        person = Person(browser, server, job_id, tmp_path, voice="rms")  # says "U to V" clearly
        complaints = watch(person.page, server)
        person.says("yankee axis motor alone")
        person.proposes("u to v one point three one ohms", "U to V: one point three one ohms")
        before = person.ask("/dialogue")["updated_at"]
        person.page.locator("#photo").set_input_files(str(SHOWN))
        asked = person.until(lambda state: state["updated_at"] != before, "the photo")
        assert "Voice and photo disagree" in asked["message"]
        expect(person.page.locator("[data-proposal]")).to_have_count(1)
        expect(person.page.locator("#asked").get_by_role("button", name="1.210 Ω")).to_be_visible(timeout=20_000)
        person.page.screenshot(path=tmp_path / "conflict.png", full_page=True)
        person.says("confirm")
        assert person.ask("/records") == [], "a word settles no disagreement"
        record = person.keeps("one point two one ohms", "confirm")
        # The display's digits are finer than what was said of them; both are kept as evidence.
        assert (record["value"], record["agreement"], record["source"]) == ("1.210", "agree", "speech+photo")
        person.context.close()
    assert not complaints


def test_a_value_said_again_is_confirmed_and_a_word_is_not_enough(
    play: Playwright, server: running.Server, job_id: str, tmp_path: Path
) -> None:
    with running.browser(play) as browser:
        person = Person(browser, server, job_id, tmp_path, voice="rms")  # says "U to V" clearly
        person.page.get_by_role("button", name="More", exact=True).click()
        person.page.get_by_label("Confirm spoken values by saying them again").check()
        person.until(lambda state: bool(state["said_twice"]), "the setting")
        person.page.get_by_role("button", name="Close").click()
        person.says("yankee axis motor alone")
        for value in ("two point five", "three point five", "five point two"):  # the first that is not in doubt anyway
            asked = person.says(f"u to v {value} ohms")
            if asked["message"].endswith("Again?"):
                break
            person.says("negative")
        person.says("confirm")
        assert person.ask("/records") == []
        person.page.screenshot(path=tmp_path / "again.png", full_page=True)
        record = person.keeps(f"{value} ohms")
        assert record["agreement"] == "said_again"
        person.context.close()
