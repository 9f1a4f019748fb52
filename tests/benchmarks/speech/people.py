"""Recordings of real people through the very path of `ohmtrail hear`, with and without a list of phrases."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from rich.table import Table

from capture.language.parse import parse
from capture.language.vocabulary import ENTRIES
from capture.language.written import spoken
from capture.speech.hearing import quiet
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.loading import second_opinion
from capture.speech.understand import hear_clip, understand
from tests.benchmarks.speech import recorded, run
from tests.benchmarks.speech.engines import OURS, Engine, missing
from tests.benchmarks.speech.recorded import Recording
from tests.benchmarks.speech.score import share

STRINGS = "digit strings, ten digits allowed"
_SAME = {"oh": "zero", "niner": "nine"}  # the whole vocabulary has two words for these digits


@dataclass(frozen=True)
class Batch:
    """Recordings that one engine hears, with only `phrases`, or any sequence of `words`, allowed if there are any."""

    engine: str
    group: str
    phrases: tuple[str, ...]
    recordings: tuple[Recording, ...]
    model: Path | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """One recording heard: the words, and whether anything asks about them."""

    engine: str
    group: str
    speaker: str
    words: str
    text: str
    asked: bool

    @property
    def right(self) -> bool:
        """Exactly the words said."""
        return self.text == self.words

    @property
    def rejected(self) -> bool:
        """Nothing was taken as heard."""
        return not self.text.replace("[unk]", "").strip()


@cache
def _ours(model: Path | None, phrases: tuple[str, ...], words: tuple[str, ...], judged: bool) -> SpeechModel:
    second = second_opinion() if judged else None
    return SpeechModel(model, phrases or None, words=words or None, second=second)


@cache
def _peer(name: str, phrases: tuple[str, ...], words: tuple[str, ...]) -> Engine:
    from tests.benchmarks.speech.peers import remembered

    return remembered(name, phrases, words)


def hear(batch: Batch) -> list[Outcome]:
    """Hear one batch; peers get a third of a second of near silence around recordings that are cut tight."""
    made = []
    for one in batch.recordings:
        if batch.engine in OURS:
            speech = _ours(batch.model, batch.phrases, batch.words, batch.engine == OURS[0])
            if one.file.suffix == ".raw":
                utterance = understand(speech.hear(recorded.sound(one.file)))
            else:
                utterance = hear_clip(one.file.read_bytes(), None, speech)
            text, asked = utterance.heard.text, bool(set(utterance.doubts) - set(parse(one.words).doubts))
        else:
            pad = quiet(0.3)
            answer = _peer(batch.engine, batch.phrases, batch.words).hear(pad + recorded.sound(one.file) + pad)
            text, asked = spoken(answer.text), False
        listed = batch.phrases or batch.words
        words = text.split() if listed else [_SAME.get(word, word) for word in text.split()]
        text = " ".join(words).replace("_", " ")
        made.append(Outcome(batch.engine, batch.group, one.speaker, one.words, text, asked))
    return made


def _groups(told: argparse.Namespace) -> Iterator[tuple[str, tuple[str, ...], list[Recording]]]:
    """List each group with the phrases allowed, none for the whole vocabulary; of `STRINGS` with the words allowed."""
    if told.strings:
        found = recorded.strings(told.strings, 4 if told.quick else 1)
        yield STRINGS, recorded.DIGITS, found
        yield "digit strings, whole vocabulary", (), found
    if told.digits:
        found = recorded.digits(told.digits, 10 if told.quick else 1)
        yield "single digits, ten digits allowed", recorded.DIGITS, found
        yield "single digits, whole vocabulary", (), found
    for kind in ("numbers", "letters"):
        one_woman = [one for one in recorded.prompts() if one.speaker == kind]
        if one_woman:
            yield f"telephone prompts, {kind} allowed", tuple(one.words for one in one_woman), one_woman
            yield f"telephone prompts, {kind}, whole vocabulary", (), one_woman
    listed = recorded.listed(told.numbers) if told.numbers else []
    numeric, alone = set(recorded.number_words()), {" ".join(entry.plain) for entry in ENTRIES.values()}
    rows = [*recorded.connected(), *(one for one in listed if set(one.words.split()) <= numeric)]
    words = [one for one in listed if one.words in alone and one not in rows]
    for group, found in (("numbers in a row", rows), ("words of the vocabulary", words)):
        if found:
            yield f"{group}, whole vocabulary", (), found


def outcomes(names: Sequence[str], told: argparse.Namespace) -> list[Outcome]:
    """Hear all groups; peers only those with a list of phrases, and each third single digit."""
    todo: list[Batch] = []
    for group, phrases, found in _groups(told):
        for name in names:
            if name not in OURS and not phrases:
                continue
            kept = found[::3] if name not in OURS and len(found) > 300 else found
            only = (phrases, ()) if group != STRINGS else ((), phrases)
            todo += [
                Batch(name, group, only[0], tuple(kept[at : at + run.HANDFUL]), told.model, only[1])
                for at in range(0, len(kept), run.HANDFUL)
            ]
    heard = run.spread("real people", hear, todo, told.jobs, lambda batch: len(batch.recordings))
    return [one for some in heard for one in some]


def tables(names: Sequence[str], told: argparse.Namespace) -> Iterator[Table | str]:
    """Tabulate the outcomes by group, engine and speaker, and what was misheard most."""
    found = outcomes([name for name in names if not missing(name)], told)
    if not found:
        return
    made = Table(title="recordings of real people (never tuned on)", title_justify="left")
    for name in ("", "engine", "who", "n", "right", "rejected", "wrong", "wrong, not asked"):
        made.add_column(name, justify="left" if name in ("", "engine", "who") else "right")
    for group, engine in sorted({(one.group, one.engine) for one in found}, key=lambda pair: (pair[0], pair[1])):
        some = [one for one in found if (one.group, one.engine) == (group, engine)]
        speakers = sorted({one.speaker for one in some})
        for who in ["all", *(speakers if 1 < len(speakers) <= 6 else [])]:
            part = [one for one in some if who in ("all", one.speaker)]
            flags: tuple[Callable[[Outcome], bool], ...] = (
                lambda o: o.right,
                lambda o: o.rejected,
                lambda o: not o.right and not o.rejected,
                lambda o: not o.right and not o.rejected and not o.asked,
            )
            made.add_row(group, engine, who, str(len(part)), *(share(map(flag, part)) for flag in flags))
    yield made
    for group in sorted({one.group for one in found}):
        wrong = [f"{one.words} → {one.text or 'nothing'}" for one in found
                 if one.group == group and one.engine == "ours" and not one.right]  # fmt: skip
        most = sorted(set(wrong), key=lambda text: -wrong.count(text))[:12]
        told_most = "; ".join(f"{text} ({wrong.count(text)})" for text in most)
        yield f"{group}, ours misheard: {told_most or 'none'}".replace("[", r"\[")
