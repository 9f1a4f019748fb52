"""Measures hearing beside its peers on the same clips: `python -m tests.benchmarks.speech`.

    --quick                   a small set, about three minutes
    --engines ours            without the peers (they need the extra `bench`)
    --strings FOLDER          real digits in a row: tar files with manifest.jsonl
    --digits FOLDER           real single digits, files named DIGIT_SPEAKER_NUMBER.wav
    --numbers FOLDER          real recordings with transcripts.tsv (file, words)
    --noise FOLDER            noises that must trigger nothing
    --model DIRECTORY --misheard 40 --plot reliability.png --json figures.json

The clips are spoken on the first run and kept in `.cache/speech-clips/`; that takes ten minutes and goes on where it
was broken off. Time counts from the end of the sound, which is fed in tenths of a second, to the meaning.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console

from fixtures.training.speech_model.clips import build, rounds
from fixtures.training.speech_model.conditions import CONDITIONS
from fixtures.training.speech_model.kinds import ROUND
from tests.benchmarks.speech import after_silence, false_triggers, people, recorded, run, tables
from tests.benchmarks.speech.engines import NAMES, missing
from tests.benchmarks.speech.reliability import bins, picture
from tests.benchmarks.speech.score import Score

SETS = ("said-kokoro", "said-flite", "said-espeak")


@dataclass(frozen=True)
class Plan:
    """How much is measured.

    Attributes:
        each: Lines of every kind by the held-out voices.
        conditions: What the held-out voices are heard under, half of them with other troubles than shop noise; the
            other two sets only clean and at 10 dB.
        every: Peers hear each so-many-th of our clips of the held-out voices, and half as many of the others.
        talk: Ours hears each so-many-th piece of made talk and music, and all real talk and noise (with 4); the peers
            a sixth of that.
        waits: Clips heard after a wait.
    """

    each: int = 18
    conditions: tuple[str, ...] = tuple(CONDITIONS)
    every: int = 2
    talk: int = 4
    waits: int = 40

    def count(self, source: str) -> int:
        """Count the clips of a set that are heard; the set itself may hold more from a larger run."""
        return ROUND * rounds(source, self.each)


QUICK = Plan(5, ("clean", "10 dB"), 3, 32, 4)


def batches(plan: Plan, names: Sequence[str], model: Path | None) -> list[run.Batch]:
    """List everything to hear, ours first so that a broken-off run has told most."""
    made: list[run.Batch] = []
    for name in names:
        peer = name != "ours"
        for source in SETS:
            first = source == SETS[0]
            heard = plan.conditions if first else [c for c in ("clean", "10 dB") if c in plan.conditions]
            every = (plan.every if first else 2 * plan.every) if peer else 1
            for condition in heard:
                extra = condition not in ("clean", "20 dB", "10 dB", "5 dB")
                numbers = range(0, plan.count(source), 2 * every if extra else every)
                made += run.batches(name, condition, source, numbers, model)
    return made


def measured(plan: Plan, names: Sequence[str], jobs: int, model: Path | None) -> list[Score]:
    """Hear the phrases."""
    found = run.spread("phrases", run.hear, batches(plan, names, model), jobs, lambda batch: len(batch.numbers))
    return [one for some in found for one in some]


def triggered(plan: Plan, names: Sequence[str], jobs: int, told: argparse.Namespace) -> list[false_triggers.Trigger]:
    """Hear what is no reading."""
    todo = [
        batch
        for name in names
        for source in false_triggers.sources(told.noise)
        for batch in false_triggers.batches(name, source, _step(plan, name, source), told.model)
    ]
    found = run.spread("talk, noise, music", false_triggers.hear, todo, jobs, lambda batch: len(batch.numbers))
    return [one for some in found for one in some]


def _step(plan: Plan, name: str, source: str) -> int:
    """Choose which piece in a row is heard: real talk and noise are few, music costs ten times as long to decode."""
    plenty = source in false_triggers.SPOKEN or source == "music"
    return (plan.talk if plenty else max(1, plan.talk // 4)) * (1 if name == "ours" else 6)


def waited(plan: Plan, jobs: int, model: Path | None) -> dict[str, after_silence.Lost]:
    """Hear phrases after a wait."""
    todo = [after_silence.Task(number, model) for number in range(plan.waits)]
    table: dict[str, after_silence.Lost] = {}
    for found in run.spread("after silence", after_silence.measure, todo, jobs, lambda _task: 1):
        for name, lost in found.items():
            table[name] = table.get(name, after_silence.Lost()) + lost
    return table


def arguments() -> argparse.ArgumentParser:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--quick", action="store_true", help="a small set, about three minutes")
    parser.add_argument("--engines", nargs="+", choices=NAMES, default=list(NAMES))
    parser.add_argument("--each", type=int, help="lines of every kind by the held-out voices")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--model", type=Path, help="a vosk model directory instead of the shipped one")
    parser.add_argument("--strings", type=Path, help="folder of real people with manifest.jsonl: digits in a row")
    parser.add_argument("--digits", type=Path, help="folder of real single digits")
    parser.add_argument("--numbers", type=Path, help="folder of real recordings with transcripts.tsv")
    parser.add_argument("--noise", type=Path, help="folder of noises")
    parser.add_argument("--only-real", action="store_true", help="only the recordings of real people")
    parser.add_argument("--misheard", type=int, default=0, metavar="N", help="print up to N misheard clips of ours")
    parser.add_argument("--plot", type=Path, help="write the reliability picture (PNG) here")
    parser.add_argument("--json", type=Path, help="write every score here")
    return parser


def main() -> None:
    """Measure and print."""
    told = arguments().parse_args()
    console = Console(width=150)
    plan = QUICK if told.quick else Plan()
    plan = Plan(told.each, plan.conditions, plan.every, plan.talk, plan.waits) if told.each else plan
    for lack in filter(None, (missing(name) for name in told.engines)):
        console.print(lack, style="yellow", markup=False)
    names = [name for name in NAMES if name in told.engines and not missing(name)]
    if lack := recorded.fetch():
        console.print(lack, style="yellow", markup=False)
    if not told.only_real:
        spoken_part(console, plan, names, told)
    for table in people.tables(names, told):
        console.print(table)


def spoken_part(console: Console, plan: Plan, names: Sequence[str], told: argparse.Namespace) -> None:
    """Hear everything on made clips."""
    build(each=plan.each)
    if not names:
        raise SystemExit("There is no engine to measure.")
    scores = measured(plan, names, told.jobs, told.model)
    found = triggered(plan, names, told.jobs, told)
    lost = waited(plan, told.jobs, told.model) if "ours" in names else {}
    prints = {name: run.alone(run.footprint, (name, told.model)) for name in names}
    console.print(tables.targets(scores, prints, found, lost))
    for source in SETS:
        console.print(tables.by_noise(scores, source))
    console.print(tables.by_kind(scores, "clean"), tables.by_kind(scores, "10 dB"))
    if "ours" in names:
        console.print(tables.ours_alone(scores), tables.by_voice(scores))
        console.print(tables.reliability(scores), tables.waits(lost))
    console.print(tables.cost(scores, prints), tables.triggers(found))
    console.print(*misheard(scores, told.misheard), sep="\n", markup=False, highlight=False)
    if told.plot:
        sure = tables.confident(scores)
        picture(bins([one.confidence for one in sure], [one.value for one in sure]), told.plot)
    if told.json:
        rows = {"scores": [asdict(one) for one in scores], "triggers": [asdict(one) for one in found]}
        told.json.write_text(json.dumps(rows, ensure_ascii=False), "utf-8")


def misheard(scores: Iterable[Score], limit: int) -> list[str]:
    """Show our misheard clips, those that nobody would ask about first."""
    wrong = sorted((one for one in scores if one.engine == "ours" and not one.value), key=lambda one: not one.wrong)
    return [
        f"{one.condition}, {one.voice}{', NOT ASKED' if one.wrong else ''}: {one.words} → {one.text}"
        for one in wrong[:limit]
    ]


if __name__ == "__main__":
    main()
