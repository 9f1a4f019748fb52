"""Measures what it is worth to know what was asked: answers to each question, heard with and without the question.

    python -m tests.benchmarks.speech.states [--each 20] [--conditions clean "10 dB"] [--digits FOLDER]

Answers are drawn by `capture.language.answers` with a seed of their own and spoken by flite and espeak-ng, voices that
nothing was trained or fitted on. --digits names a folder of real digit strings with `manifest.jsonl` (file, text,
speaker) and tar files, which are heard as answers to "say it digit by digit": one for each speaker.
"""

from __future__ import annotations

import argparse
import json
import random
import tarfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.expectation import Asked, Expectation
from capture.language.answers import MAKERS
from capture.language.numbers import DIGITS
from capture.language.parse import parse
from capture.language.vocabulary import UNKNOWN, plain_text
from capture.reading import Context, Heard, Utterance
from capture.speech.audio import load_clip
from capture.speech.recogniser import SpeechModel
from capture.speech.understand import understand
from fixtures.training.speech_model.clips import program
from fixtures.training.speech_model.conditions import condition
from tests.benchmarks.speech.score import share

SEED = 991_021  # far from the seed of the grammar


@dataclass(frozen=True)
class Answer:
    """One answer: the question, the condition, the words said (plain), and the sound."""

    asked: Asked
    heard_in: str
    said: str
    pcm: bytes


@dataclass(frozen=True)
class Outcome:
    """What came of one answer: right, wrong with nothing asking, asked without need, truth among the alternatives."""

    right: bool
    wrong: bool
    asked: bool
    listed: bool
    cpu_s: float


def spoken(each: int, conditions: list[str]) -> Iterator[Answer]:
    """Speak answers to every question."""
    voices = [program("flite"), program("espeak-ng")]
    for asked, makers in MAKERS.items():
        rng = random.Random(f"{SEED} {asked.value}")
        for number in range(each if makers else 0):
            maker = rng.choices([one for one, _ in makers], [weight for _, weight in makers])[0]
            words = maker(rng).words
            wave, _ = voices[number % 2](words, number // 2)
            for at, name in enumerate(conditions):
                sound = condition(name, wave, wave[::-1].copy(), SEED + 2 * number + at)
                yield Answer(asked, name, " ".join(plain_text(" ".join(words))), sound)


def recorded(folder: Path) -> Iterator[Answer]:
    """Read the first digit string of each speaker."""
    rows = map(json.loads, (folder / "manifest.jsonl").read_text("utf-8").splitlines())
    strings = [row for row in rows if len(row["text"].split()) > 1 and set(row["text"].lower().split()) <= set(DIGITS)]
    for row in {row["speaker"]: row for row in reversed(strings)}.values():
        with tarfile.open(folder / row["part"]) as file:
            name = next(one for one in file.getnames() if one.endswith(row["file"]))
            member = file.extractfile(name)
            assert member is not None
            yield Answer(Asked.VALUE, "real people", row["text"].lower(), load_clip(member.read()).pcm)


def does(utterance: Utterance) -> tuple[object, ...]:
    """Give what an utterance would do; of one that does nothing, its words ("meg" alone answers a question too)."""
    values = tuple((one.quantity.value, one.quantity.unit, one.quantity.qualifier) for one in utterance.readings)
    if values or utterance.command is not None or utterance.context != Context():
        return values, utterance.command, None if values else utterance.context
    return (" ".join(word for word in utterance.heard.text.split() if word != UNKNOWN),)


def outcome(answer: Answer, heard: Heard, context: Context, cpu_s: float) -> Outcome:
    """Compare what was understood with what was said."""
    utterance, truth = understand(heard, context), parse(answer.said, Context())
    right = does(utterance) == does(truth)
    asked = bool(set(utterance.doubts) - set(truth.doubts))
    acts = bool(utterance.readings or utterance.command or utterance.context != Context())
    listed = any(does(parse(one.text, Context())) == does(truth) for one in heard.alternatives)
    return Outcome(right, acts and not right and not asked, asked, listed, cpu_s)


def heard_both_ways(model: SpeechModel, answer: Answer) -> tuple[Outcome, Outcome]:
    """Hear one answer without and with its question."""
    found = []
    for asked in (Asked.NOTHING, answer.asked):
        begin = time.process_time()
        heard = model.hear(answer.pcm, asked)
        cpu = time.process_time() - begin
        found.append(outcome(answer, heard, Context(expects=Expectation(asked)), cpu))
    return found[0], found[1]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--each", type=int, default=20, help="answers to each question")
    parser.add_argument("--conditions", nargs="*", default=["clean", "10 dB"])
    parser.add_argument("--digits", type=Path, help="real digit strings: manifest.jsonl and tar files")
    told = parser.parse_args()
    model = SpeechModel()
    answers = [*spoken(told.each, told.conditions), *(recorded(told.digits) if told.digits else ())]
    found: dict[tuple[str, str], list[tuple[Outcome, Outcome]]] = {}
    for answer in track(answers, "hearing", console=Console(stderr=True)):
        both = heard_both_ways(model, answer)
        for name in (answer.asked.value, "all") if answer.heard_in != "real people" else ("digits",):
            found.setdefault((name, answer.heard_in), []).append(both)
    table = Table("asked", "heard", "n", "led", "right", "wrong, not asked", "asked", "truth listed", "CPU, s")
    for (name, where), rows in sorted(found.items()):
        for at, led in enumerate(("no", "yes")):
            one = [both[at] for both in rows]
            figures = [share(flag) for flag in ([o.right for o in one], [o.wrong for o in one], [o.asked for o in one],
                                                [o.listed for o in one])]  # fmt: skip
            table.add_row(name, where, str(len(one)), led, *figures, f"{sum(o.cpu_s for o in one) / len(one):.2f}")
    Console(width=150).print(table)


if __name__ == "__main__":
    main()
