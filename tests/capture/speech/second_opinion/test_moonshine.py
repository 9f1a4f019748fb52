"""The second engine itself, on clips of the demo: what it writes, and that it prefers what was said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from capture.reading import Command
from capture.speech.audio import load_clip
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.moonshine import Moonshine
from capture.speech.stream import Listener
from capture.speech.understand import hear_clip

VISIT = Path(__file__).parents[4] / "fixtures" / "visit"
CLIPS: dict[str, dict[str, Any]] = {
    clip["file"]: clip for clip in json.loads((VISIT / "truth.json").read_text("utf-8"))["clips"]
}
READING, COMMAND = "clips/c11.flac", "clips/c12.flac"


@pytest.fixture(scope="module")
def engine() -> Moonshine:
    return Moonshine()


@pytest.fixture(scope="module")
def judged(engine: Moonshine) -> SpeechModel:
    return SpeechModel(second=engine)


def test_it_prefers_what_was_said(engine: Moonshine) -> None:
    sound = engine.listen(load_clip((VISIT / READING).read_bytes()).pcm)
    said = "lead to ground greater than four thousand megohms"
    others = [
        said.replace("four", "five"),
        said.replace("greater", "less"),
        said.replace("mega", "giga")[:-8],
        "confirm",
    ]
    told = sound.log_p([said, *others])
    assert max(told) == told[0]
    own = sound.own()
    assert "4,000" in own.text
    assert own.tokens > 5
    assert own.log_p > told[0]  # what it would write itself is likelier than our way to write it


def test_a_batch_judges_as_one_by_one(engine: Moonshine) -> None:
    """Within what 8-bit activations scaled over a batch move it by; a wrong mask or cache would move it by far more."""
    sound = engine.listen(load_clip((VISIT / READING).read_bytes()).pcm)
    texts = ["greater than four thousand", "confirm", "lead to ground greater than four thousand megohms", ""]
    together, alone = sound.log_p(texts), [sound.log_p([text])[0] for text in texts]
    assert together == pytest.approx(alone, abs=1.5)
    assert sound.log_p([]) == []


def test_no_sound_worth_the_name_is_still_judged(engine: Moonshine) -> None:
    sound = engine.listen(bytes(3200))
    assert sound.own().tokens >= 1
    assert len(sound.log_p(["confirm"])) == 1


def test_a_clip_is_heard_with_both_opinions(judged: SpeechModel) -> None:
    for file in (READING, COMMAND):
        utterance = hear_clip((VISIT / file).read_bytes(), None, judged)
        assert utterance.heard.text == " ".join(CLIPS[file]["words"].replace("_", " ").split())
        assert utterance.heard.second is not None
        assert all(other.judged is not None for other in utterance.heard.alternatives)
    assert utterance.command is Command.CONFIRM


def test_live_sound_gets_the_same_opinion(judged: SpeechModel) -> None:
    pcm = load_clip((VISIT / READING).read_bytes()).pcm
    listener = Listener(judged)
    words = [listener.accept(pcm[at : at + 3200]) for at in range(0, len(pcm), 3200)]
    utterance = listener.finish()
    assert any(words), "the first words come before the second opinion"
    assert utterance.heard.second is not None
    assert utterance.heard.text == words[-1] or utterance.heard.text.startswith(words[-1].rsplit(" ", 1)[0])
