"""Measures how often who is misheard once is misheard alike again: `python -m tests.benchmarks.speech.repeated`.

    --digits FOLDER       real single digits, files named DIGIT_SPEAKER_NUMBER.wav, many of each by each person
    --conditions clean "10 dB" --every 1

What a person says twice is heard by the same ear both times. Of all pairs of recordings of one digit by one person the
table tells how often both come out as the same wrong number without a doubt, given that the first does. That is what
saying a value again instead of "confirm" cannot catch. Numbers stand alone here; a
whole value has more words to err in.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.reading import Doubt
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.loading import second_opinion
from capture.speech.understand import understand
from fixtures.training.speech_model.conditions import CONDITIONS, condition
from tests.benchmarks.speech import recorded

OF_THE_WORDS = frozenset({Doubt.LOW_CONFIDENCE, Doubt.DIGITS_AMBIGUOUS, Doubt.TEEN_OR_TY, Doubt.UNKNOWN_WORDS})
"""Doubts about what was heard; a number alone lacks unit and place anyway."""

Heard = dict[tuple[str, str], Counter[str]]
"""By person and word said: how often each number came out without a doubt; "" where it was asked about."""


def hear(found: list[recorded.Recording], name: str, model: SpeechModel) -> Heard:
    """Hear all recordings under a condition, each with noise of its own."""
    heard: Heard = defaultdict(Counter)
    for number, one in enumerate(track(found, f"{name}: hearing {len(found)} recordings")):
        wave = np.frombuffer(recorded.sound(one.file), np.int16)
        utterance = understand(model.hear(condition(name, wave, wave, number)))
        values = [str(reading.quantity.value) for reading in utterance.readings]
        sure = len(values) == 1 and not OF_THE_WORDS & set(utterance.doubts)
        heard[one.speaker, one.words][values[0] if sure else ""] += 1
    return heard


def row(heard: Heard) -> tuple[int, int, int, float, float]:
    """Count recordings, sure ones, wrong sure ones; chance that a wrong one comes again alike, by pairs, and by luck.

    "By luck" is the same chance if the second were heard as any recording of that digit by the other persons is.
    """
    total = wrong = sure = 0
    again = expected = 0.0
    for (speaker, word), counts in heard.items():
        right, here = str(recorded.DIGITS.index(word)), sum(counts.values())
        others = Counter[str]()
        for (other, same), found in heard.items():
            if same == word and other != speaker:
                others += found
        total, sure = total + here, sure + here - counts[""]
        for value, times in counts.items():
            if value in ("", right):
                continue
            wrong += times
            again += times * (times - 1) / max(1, here - 1)
            expected += times * others[value] / max(1, sum(others.values()))
    return total, sure, wrong, again / max(1, wrong), expected / max(1, wrong)


def main() -> None:
    """Read the command line and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--digits", type=Path, required=True)
    parser.add_argument("--conditions", nargs="+", default=["clean", "10 dB"], choices=list(CONDITIONS))
    parser.add_argument("--every", type=int, default=1)
    told = parser.parse_args()
    model, found = SpeechModel(None, second=second_opinion()), recorded.digits(told.digits, told.every)
    made = Table(title="the same digit said again by the same person", title_justify="left")
    for name in ("condition", "recordings", "sure", "wrong of these", "the same wrong again", "by luck"):
        made.add_column(name, justify="right")
    for name in told.conditions:
        total, sure, wrong, again, luck = row(hear(found, name, model))
        made.add_row(name, str(total), str(sure), str(wrong), f"{again:.1%}", f"{luck:.1%}")
    Console().print(made)


if __name__ == "__main__":
    main()
