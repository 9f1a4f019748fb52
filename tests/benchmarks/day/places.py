"""Simulated visits, dictated to an ear that loses, mangles and mistakes places: do values stand where they belong?

    python -m tests.benchmarks.day.places [--visits N] [--seed N]

Words, not sound: what is measured is what the rules about places (`api/day/places.py`) make of an ear that errs at
rates that are set here. Values are heard rightly throughout, so that whatever is wrong is wrong by its place. The
visits are drawn at random; the afternoon's story is none of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from rich.console import Console
from rich.table import Table

from api.day.jobs import JobAxes, JobPlan
from api.day.values import SpokenAt, understood
from capture.reading import Doubt, Heard, OwnTranscript, Word
from capture.speech.confidence import ConfidenceModel
from capture.speech.memo import Span

BEGUN = dt.datetime.fromisoformat("2026-11-24T13:00:00+01:00")
SECTIONS = {
    "through_cable": "through the cable", "motor_alone": "motor alone", "cable_alone": "cable alone",
}  # fmt: skip
AXES = {
    "X": "x axis", "Y": "y axis", "Z": "zulu axis", "A": "alfa axis", "B": "bravo axis", "C": "charlie axis",
}  # fmt: skip
TALK = (
    "did you see the match last night", "the coffee machine is broken again you know",
    "i will be with you in a minute",
    "somebody left the door of the hall open", "no that was on the other side last week",
)  # fmt: skip
NOISE = ("[unk]", "[unk] the", "one", "two [unk]", "so", "[unk] [unk]")


@dataclass(frozen=True)
class Ear:
    """How often, of 1, a place or setting is not heard at all, mangled, taken for another; and a value is not heard."""

    gone: float
    mangled: float
    swapped: float
    value_gone: float


@dataclass
class Visit:
    """A visit being dictated: what is said when, and what is true of it."""

    rng: random.Random
    ear: Ear
    at: float = 5.0
    spans: list[Span] = field(default_factory=list)
    truth: list[tuple[float, tuple[str, str, str, str], str]] = field(default_factory=list)

    def heard(self, words: str, free: str | None = None) -> None:
        """Let words be heard as they are given; `free` is what the second engine writes, where one was asked."""
        listed = words.split()
        length = 0.4 * len(listed)
        second = None if free is None else OwnTranscript("free", free, -5.0, 8)
        timed = tuple(Word(w, i * 0.4, (i + 1) * 0.4, 0.99) for i, w in enumerate(listed))
        self.spans.append(Span(self.at, self.at + length, Heard(words, timed, (), length, second=second), b""))

    def place(self, words: str, others: list[str]) -> None:
        """Say a place or a setting, which the ear may spoil."""
        draw, ear = self.rng.random(), self.ear
        if draw < ear.gone:
            pass
        elif draw < ear.gone + ear.mangled:
            self.heard(self.rng.choice(NOISE), self.rng.choice([None, "uh", "though the", "more to alone", words]))
        elif draw < ear.gone + ear.mangled + ear.swapped and others:
            self.heard(self.rng.choice(others))
        else:
            self.heard(words)
        self.at += 6 + self.rng.random() * 4

    def read(self, words: str, place: tuple[str, str, str, str], job: str) -> None:
        """Say a value."""
        self.truth.append((self.at, place, job))
        if self.rng.random() >= self.ear.value_gone:
            self.heard(words)
        self.at += 12 + self.rng.random() * 6

    def talk(self) -> None:
        """Let somebody talk."""
        words = self.rng.choice(TALK)
        self.heard(" ".join(["[unk]"] * self.rng.randrange(1, 4)), words)
        self.at += 6


def _value(rng: random.Random, unit: str) -> str:
    digits = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    return f"{rng.choice(digits)} point {rng.choice(digits)} {rng.choice(digits)} {unit}"


def dictated(rng: random.Random, ear: Ear) -> tuple[Visit, JobPlan]:
    """Dictate a visit to some machines with two axes each; people differ in what they measure and how they say it."""
    visit = Visit(rng, ear)
    names = rng.sample(list(AXES), 6)
    jobs = [
        JobAxes(f"J{i + 1}", {name: name for name in names[2 * i : 2 * i + 2]}) for i in range(rng.choice([1, 2, 3]))
    ]
    said_apart, windings_at = rng.random() < 0.3, rng.choice([["through_cable"], ["motor_alone"], list(SECTIONS)[:2]])
    per_lead, insulation_at = rng.random() < 0.3, rng.sample(list(SECTIONS), rng.choice([1, 2, 3, 3]))
    for job in jobs:
        for axis in job.said:
            parts = [one for one in SECTIONS if one in {*windings_at, *insulation_at}]
            for number, part in enumerate(parts):
                others = [SECTIONS[one] for one in SECTIONS if one != part]
                if number == 0 and said_apart:
                    visit.place(AXES[axis], [AXES[one] for j in jobs for one in j.said if one != axis])
                    visit.place(SECTIONS[part], others)
                elif number == 0:
                    visit.place(f"{AXES[axis]} {SECTIONS[part]}", [f"{AXES[axis]} {one}" for one in others])
                else:
                    visit.place(SECTIONS[part], others)
                if rng.random() < 0.3:
                    visit.talk()
                if part in windings_at:
                    for one, other in (("u", "v"), ("v", "w"), ("w", "u")):
                        point = (axis, part, "winding_resistance", f"{one.upper()}-{other.upper()}")
                        visit.read(f"{one} to {other} {_value(rng, 'ohms')}", point, job.id)
                if part in insulation_at:
                    visit.place("insulation set five hundred volts", [])
                    for lead in ("u", "v", "w") if per_lead else ("",):
                        words, name = (
                            (f"{lead} to ground", f"{lead.upper()}-PE") if lead else ("lead to ground", "lead-ground")
                        )
                        point = (axis, part, "insulation_resistance", name)
                        visit.read(f"{words} {_value(rng, 'gig')}", point, job.id)
    return visit, JobPlan(tuple(jobs))


def counted(rng: random.Random, ear: Ear) -> Counter[str]:
    """Dictate one visit, have it understood, and count."""
    visit, plan = dictated(rng, ear)
    spoken = [SpokenAt(BEGUN + dt.timedelta(seconds=span.start_s), "memo", span) for span in visit.spans]
    found = {value.spoken.span.start_s: value for value in understood(spoken, plan, ConfidenceModel()).values}
    counts: Counter[str] = Counter()
    stretch_before: object = None
    for at, place, job in visit.truth:
        value = found.get(at)
        if value is None:
            counts["missed"] += 1
            continue
        reading, doubts = value.reading, set(value.given.doubts)
        kind, section = reading.kind and reading.kind.value, reading.section and reading.section.value
        stands = (reading.axis, section, kind, reading.terminals)
        right = stands == place and value.job is not None and value.job.id == job
        lacks = None in stands or value.job is None
        asked = bool(doubts) or lacks
        before = bool(doubts - {Doubt.PLACE_UNSURE}) or lacks
        counts["right" if right else "wrong"] += 1
        counts["right, asked about" if right else "wrong, asked about"] += asked
        counts["wrong and not asked about, before"] += not right and not before
        if Doubt.PLACE_UNSURE in doubts and value.stretch is not stretch_before:
            counts["stretches asked about"] += 1
        stretch_before = value.stretch
    return counts


def interval(hits: int, of: int) -> tuple[float, float]:
    """Give the interval of 95 % around a share (Wilson, E. B., J. Am. Stat. Assoc. 22 (1927), 209)."""
    z, n = 1.959964, max(of, 1)
    middle, spread = hits + z * z / 2, z * (hits * (n - hits) / n + z * z / 4) ** 0.5
    return (middle - spread) / (n + z * z), (middle + spread) / (n + z * z)


EARS = {
    "none": Ear(0, 0, 0, 0), "not heard 5 %": Ear(0.05, 0, 0, 0.02), "mangled 10 %": Ear(0, 0.1, 0, 0.02),
    "for another 3 %": Ear(0, 0, 0.03, 0.02), "all three": Ear(0.05, 0.1, 0.03, 0.05),
    "very bad": Ear(0.15, 0.25, 0.05, 0.15),
}  # fmt: skip


def rows(visits: int, seed: int) -> Iterator[list[str]]:
    """Give the rows of the table."""
    for name, ear in EARS.items():
        rng = random.Random(f"{seed} {name}")
        total: Counter[str] = Counter()
        for _ in range(visits):
            total += counted(rng, ear)
        taken = total["right"] + total["wrong"]
        silent = total["wrong"] - total["wrong, asked about"]
        low, high = interval(silent, taken)
        yield [
            name, str(taken), str(total["wrong"]), str(total["wrong and not asked about, before"]), str(silent),
            f"{100 * silent / taken:.2f} % ({100 * low:.2f}-{100 * high:.2f})", str(total["right, asked about"]),
            f"{10 * total['stretches asked about'] / taken:.2f}", str(total["missed"]),
        ]  # fmt: skip


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.day.places", description=__doc__)
    parser.add_argument("--visits", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    table = Table(
        "ear", "values", "wrong place", "not asked, without the rules", "not asked", "share", "right, asked about",
        "stretches asked about of 10 values", "missed", title=f"{given.visits} simulated visits an ear",
    )  # fmt: skip
    for row in rows(given.visits, given.seed):
        table.add_row(*row)
    Console(width=150).print(table)


if __name__ == "__main__":
    main()
