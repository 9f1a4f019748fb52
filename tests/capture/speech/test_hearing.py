"""Hearing with the shipped model: the demo's clips, spoken by voices that it never heard in training."""

from __future__ import annotations

import io
import json
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from capture.language.parse import parse
from capture.reading import Command, Context, Utterance
from capture.speech.audio import load_clip
from capture.speech.hearing import quiet
from capture.speech.recogniser import SpeechModel
from capture.speech.stream import Listener
from capture.speech.understand import hear_clip, understand

FIXTURES = Path(__file__).parents[3] / "fixtures" / "visit"
CLIPS: list[dict[str, Any]] = json.loads((FIXTURES / "truth.json").read_text("utf-8"))["clips"]


def meaning(utterance: Utterance) -> tuple[object, ...]:
    values = [(reading.quantity, reading.axis, reading.terminals) for reading in utterance.readings]
    return values, utterance.command, None if values else utterance.context


@pytest.fixture(scope="module")
def heard(speech: SpeechModel) -> list[tuple[dict[str, Any], Utterance]]:
    return [(clip, hear_clip((FIXTURES / clip["file"]).read_bytes(), None, speech)) for clip in CLIPS]


def test_the_demo_is_heard_as_it_was_spoken(heard: list[tuple[dict[str, Any], Utterance]]) -> None:
    """The demo's voices are clean; the target for unseen clean voices is 99 values of 100."""
    wrong = [
        (clip["file"], clip["words"], utterance.heard.text)
        for clip, utterance in heard
        if meaning(parse(clip["words"])) != meaning(parse(utterance.heard.text))
    ]
    assert len(wrong) <= len(heard) // 100, wrong


def test_few_demo_clips_are_doubted_that_were_heard_rightly(heard: list[tuple[dict[str, Any], Utterance]]) -> None:
    """Measured with one engine: 3 of 72, each time "insulation set five hundred volts", a setting that acts at once."""
    doubted = [
        (clip["file"], utterance.heard.text, utterance.confidence)
        for clip, utterance in heard
        if meaning(parse(clip["words"])) != meaning(utterance)
    ]
    assert len(doubted) <= 4, doubted


def test_no_demo_clip_gives_a_wrong_value_unflagged(heard: list[tuple[dict[str, Any], Utterance]]) -> None:
    for clip, utterance in heard:
        if meaning(parse(clip["words"])) != meaning(utterance):
            assert utterance.doubts, (clip, utterance)


def test_commands_are_heard_and_never_taken_for_another(heard: list[tuple[dict[str, Any], Utterance]]) -> None:
    spoken = [(parse(clip["words"]).command, utterance.command) for clip, utterance in heard]
    assert sum(said is Command.CONFIRM for said, _ in spoken) > 20
    for said, understood in spoken:
        assert understood in (said, None)


def test_words_have_times_and_confidences_inside_the_clip(heard: list[tuple[dict[str, Any], Utterance]]) -> None:
    for _, utterance in heard:
        before = 0.0
        for word in utterance.heard.words:
            assert 0 <= before <= word.start + 0.05
            assert word.start <= word.end <= utterance.heard.duration_s
            assert 0 <= word.confidence <= 1
            before = word.start


def clip_bytes(number: int) -> bytes:
    return Path(FIXTURES / str(CLIPS[number]["file"])).read_bytes()


def test_silence_and_quiet_noise_are_no_reading_and_no_command(speech: SpeechModel) -> None:
    rng = np.random.default_rng(4)
    for samples in (np.zeros(48_000), rng.normal(0, 30, 48_000), rng.normal(0, 1500, 48_000)):
        utterance = understand(speech.hear(samples.astype("<i2").tobytes()))
        assert utterance.readings == ()
        assert utterance.command is None


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000])
def test_other_sample_rates_are_heard_the_same(speech: SpeechModel, rate: int) -> None:
    samples, own = soundfile.read(io.BytesIO(clip_bytes(10)), dtype="float32")
    file = io.BytesIO()
    soundfile.write(file, soxr.resample(samples, own, rate), rate, format="WAV")
    assert hear_clip(file.getvalue(), None, speech).readings == hear_clip(clip_bytes(10), None, speech).readings


def test_a_clip_cut_tight_around_the_words_loses_none(speech: SpeechModel) -> None:
    pcm = np.frombuffer(load_clip(clip_bytes(10)).pcm, "<i2")
    loud = np.flatnonzero(np.abs(pcm.astype(int)) > 300)
    tight = understand(speech.hear(pcm[loud[0] : loud[-1]].tobytes()))
    assert tight.heard.text == hear_clip(clip_bytes(10), None, speech).heard.text


def test_a_reading_after_three_seconds_of_silence_loses_no_word(speech: SpeechModel) -> None:
    pcm = load_clip(clip_bytes(10)).pcm
    assert speech.hear(quiet(3.0) + pcm).text == speech.hear(pcm).text


@pytest.mark.parametrize("chunk", [333, 3200, 8000])
def test_a_stream_hears_what_a_clip_hears(speech: SpeechModel, chunk: int) -> None:
    """Odd chunk sizes too: a network may split a sample in two."""
    pcm = load_clip(clip_bytes(10)).pcm
    listener = Listener(speech)
    partials = [listener.accept(pcm[at : at + chunk]) for at in range(0, len(pcm), chunk)]
    utterance = listener.finish()
    assert utterance.readings == understand(speech.hear(pcm)).readings
    assert any(partials)
    final = utterance.heard.text
    assert partials[-1].split()[:2] == final.split()[:2]
    assert utterance.heard.duration_s == pytest.approx(len(pcm) / 2 / 16_000, abs=0.001)


def test_a_stream_notices_the_end_of_speech(speech: SpeechModel) -> None:
    pcm = load_clip(clip_bytes(10)).pcm + quiet(3.0)
    listener = Listener(speech)
    ended_at = None
    for at in range(0, len(pcm), 3200):
        listener.accept(pcm[at : at + 3200])
        if listener.ended and ended_at is None:
            ended_at = at / 2 / 16_000
    assert ended_at is not None
    assert listener.finish().readings


def test_many_threads_share_one_model(speech: SpeechModel) -> None:
    numbers = [0, 1, 2, 10, 18, 27]
    alone = [hear_clip(clip_bytes(number), None, speech).heard.text for number in numbers]
    together: dict[int, str] = {}

    def listen(number: int) -> None:
        together[number] = hear_clip(clip_bytes(number), None, speech).heard.text

    threads = [threading.Thread(target=listen, args=(number,)) for number in numbers * 2]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [together[number] for number in numbers] == alone


def test_context_fills_the_place(speech: SpeechModel) -> None:
    utterance = hear_clip(clip_bytes(1), Context(axis="Y"), speech)
    assert utterance.readings[0].axis == "Y"


def test_only_listed_phrases_come_out() -> None:
    listed = [CLIPS[1]["words"].replace("_", " "), "confirm"]
    model = SpeechModel(phrases=listed)
    assert hear_clip(clip_bytes(1), None, model).heard.text == listed[0]
    assert hear_clip(clip_bytes(2), None, model).heard.text == "confirm"
    other = hear_clip(clip_bytes(10), None, model).heard.text
    assert other in listed or set(other.split()) <= {"[unk]"}
