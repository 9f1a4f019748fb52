"""A job that rests between readings: what is sure is heeded, what is in doubt or said to others is answered by nothing.

Rule checked: DESIGN of the product (nothing said is lost: what is not heeded is kept as evidence all the same).
"""

from __future__ import annotations

from typing import Any

import pytest

from api.dialogue.attention import REST_AFTER_S
from api.dialogue.page import dialogue_for_page
from tests.api.conftest import Visit
from tests.api.makers import clip

SURE = "x ray axis through the cable a one to a two one point zero eight ohms"
TALK = "see you at lunch then"


@pytest.fixture
def resting(visit: Visit) -> Visit:
    """Give a visit that rests between readings, and stands on an axis."""
    visit.workspace.rest_between(visit.job, True, captured_at=visit._later(1))
    listen(visit, "x ray axis through the cable", after=1)
    return visit


def listen(visit: Visit, words: str, after: float = 20) -> dict[str, Any]:
    """Hear words through the open microphone, which names each utterance."""
    moment = visit._later(after)
    data = clip(words, int(visit.now) + 1)
    return visit.workspace.intake.take(visit.job, data, moment, utterance=f"live-{visit.now}")


def state(visit: Visit, after: float = 0) -> dict[str, object]:
    with visit.workspace.database.read() as session:
        return dict(dialogue_for_page(session, visit.job, visit._later(after)))


def test_talk_is_answered_before_the_rest_and_not_at_rest(resting: Visit) -> None:
    assert listen(resting, TALK, after=REST_AFTER_S - 5)["message"]
    before = state(resting)
    said = listen(resting, TALK, after=REST_AFTER_S + 1)
    assert (said["heeded"], said["message"], said["spoken"], said["tone"]) == (False, "", "", "")
    now = state(resting)
    assert (now["message"], now["updated_at"]) == (before["message"], before["updated_at"])
    assert now["state"] == "resting"


def test_talk_that_is_not_understood_keeps_nothing_awake(resting: Visit) -> None:
    for _ in range(4):
        listen(resting, TALK, after=REST_AFTER_S / 2)
    assert state(resting)["state"] == "resting"


def test_what_is_not_heeded_is_kept_as_evidence_and_named_in_the_trail(resting: Visit) -> None:
    said = listen(resting, TALK, after=REST_AFTER_S + 1)
    assert resting.workspace.evidence.read(said["sha256"])
    assert resting.whats()[-2:] == ["recognised", "asked"]
    assert resting.workspace.verify().intact


@pytest.mark.parametrize("words", ["confirm", "undo that", "stop listening", "make a note", "take a picture", "yes"])
def test_no_other_command_is_obeyed_at_rest(resting: Visit, words: str) -> None:
    said = listen(resting, words, after=REST_AFTER_S + 1)
    assert (said["heeded"], said["message"], said["action"]) == (False, "", "")
    assert state(resting)["state"] == "resting"


def test_resume_listening_wakes_it(resting: Visit) -> None:
    assert listen(resting, "resume listening", after=REST_AFTER_S + 1)["message"]
    assert state(resting)["state"] == "ready"
    assert listen(resting, TALK, after=5)["message"]


@pytest.mark.parametrize("words", [SURE, "yankee axis motor alone"])
def test_what_is_sure_is_heeded_at_rest_and_wakes_it(resting: Visit, words: str) -> None:
    said = listen(resting, words, after=REST_AFTER_S + 1)
    assert said["heeded"]
    assert said["message"]
    assert state(resting)["state"] in ("asking", "ready")


def test_a_value_in_doubt_is_not_asked_about_at_rest(resting: Visit) -> None:
    listen(resting, "one point zero eight", after=REST_AFTER_S + 1)  # no unit: five minutes, or five megohms
    assert state(resting)["questions"] == []
    assert listen(resting, "one point zero eight", after=1)["heeded"] is False


def test_it_does_not_rest_while_something_is_asked(resting: Visit) -> None:
    listen(resting, SURE)
    assert state(resting, after=10 * REST_AFTER_S)["rests_in_s"] is None
    listen(resting, "confirm", after=10 * REST_AFTER_S)
    assert [record["value"] for record in resting.records()] == ["1.08"]


def test_a_job_that_does_not_rest_answers_everything(visit: Visit) -> None:
    said = listen(visit, TALK, after=10 * REST_AFTER_S)
    assert said["heeded"]
    assert said["message"]


def test_a_clip_that_comes_late_makes_it_rest_no_earlier(resting: Visit) -> None:
    heeded = resting.now
    listen(resting, "yankee axis motor alone", after=20)
    resting.now = heeded
    listen(resting, "x ray axis motor alone", after=1)  # said before the last one, sent after it
    resting.now = heeded
    assert state(resting, after=20 + REST_AFTER_S - 5)["state"] == "ready"


def test_a_clip_that_somebody_sends_is_answered_at_rest(resting: Visit) -> None:
    said = resting.say(TALK, after=REST_AFTER_S + 1)
    assert said["heeded"]
    assert said["message"]


def test_turned_on_and_off_it_is_in_the_trail_once_each(visit: Visit) -> None:
    for wanted in (True, True, False):
        visit.workspace.rest_between(visit.job, wanted, captured_at=visit._later(1))
    assert visit.whats().count("attention set") == 2
