"""What is counted for one clip: value right, all right, wrong and not asked about, one command taken for another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from capture.language.parse import parse
from capture.reading import Context, Utterance
from fixtures.training.speech_model.clips import Clip
from fixtures.training.speech_model.kinds import place, plain
from tests.benchmarks.speech.engines import Answer


@dataclass(frozen=True)
class Score:
    """How one engine did on one clip under one condition.

    Attributes:
        engine, condition: Who heard it, and how it sounded.
        source, number, kind, voice: Set of the clip, its number there, what was said, who said it.
        value: The value (digits, unit, comparison), the command or the setting came out exactly right.
        whole: So did everything else: axis, section, test point, test voltage, time.
        wrong: A wrong value, command or setting came out and nothing asks about it.
        confused: A command came out that is not the one said.
        asked: A doubt came out that the words themselves, heard rightly, would not raise.
        confidence: What the engine's own utterance says, 0..1.
        late_s, cpu_s, late_cpu_s: See `Answer`.
        words, text: Said and heard.
    """

    engine: str
    condition: str
    source: str
    number: int
    kind: str
    voice: str
    value: bool
    whole: bool
    wrong: bool
    confused: bool
    asked: bool
    confidence: float
    late_s: float
    cpu_s: float
    late_cpu_s: float
    words: str
    text: str

    @property
    def clip(self) -> tuple[str, int]:
        """Which clip it was, whoever heard it."""
        return self.source, self.number


def score(engine: str, condition: str, clip: Clip, answer: Answer) -> Score:
    """Compare an answer with the truth that the clip was made from."""
    said = " ".join(clip.words)
    got = meaning(answer.utterance)
    value = _value(got) == _value(clip.truth)
    expected = set(parse(said).doubts)
    asked = bool(set(answer.utterance.doubts) - expected)
    source, _, number = clip.name.rpartition(" ")
    return Score(
        engine=engine,
        condition=condition,
        source=source,
        number=int(number),
        kind=clip.kind,
        voice=clip.voice,
        value=value,
        whole=value and _rest(got) == _rest(clip.truth),
        wrong=bool(got) and not value and not asked and not _only_lost(got, clip.truth),
        confused="command" in got and got != clip.truth,
        asked=asked,
        confidence=answer.utterance.confidence,
        late_s=answer.late_s,
        cpu_s=answer.cpu_s,
        late_cpu_s=answer.late_cpu_s,
        words=said.replace("_", " "),
        text=answer.text,
    )


def meaning(utterance: Utterance) -> dict[str, Any]:
    """Give what an utterance would do, in the form of `speech_model.kinds.truth` of the fixtures; empty if nothing."""
    if utterance.command is not None:
        return {"command": utterance.command.value}
    if utterance.readings:
        found = [plain(reading) for reading in utterance.readings]
        return {"reading": found[0], "more": found[1:]} if len(found) > 1 else {"reading": found[0]}
    return {"place": place(utterance.context)} if utterance.context != Context() and place(utterance.context) else {}


def _value(meant: dict[str, Any]) -> object:
    """Give the part that a wrong answer would be wrong about: a number as such, so that "0.50" equals ".5"."""
    found = meant.get("reading")
    if found is None:
        return meant
    digits = None if found["value"] is None else Decimal(found["value"])
    return digits, found["unit"], found["qualifier"], len(meant.get("more", ()))


def _rest(meant: dict[str, Any]) -> object:
    found = meant.get("reading")
    if found is None:
        return None
    return {name: Decimal(told) if name.startswith(("test_", "elapsed")) and told else told
            for name, told in found.items() if name not in {"value", "unit", "qualifier"}}  # fmt: skip


def _only_lost(got: dict[str, Any], truth: dict[str, Any]) -> bool:
    """Tell whether what came out is true as far as it goes: the place of a reading whose value was not heard."""
    wanted = truth.get("reading") or truth.get("place")
    return (
        "place" in got and wanted is not None and all(wanted.get(name) == told for name, told in got["place"].items())
    )


def interval(count: int, total: int) -> tuple[float, float]:
    """Give 95 % interval of a share by Wilson's method (Wilson 1927), 0..1."""
    from scipy.stats import binomtest

    if not total:
        return 0.0, 1.0
    found = binomtest(count, total).proportion_ci(0.95, method="wilson")
    return float(found.low), float(found.high)


def share(flags: Iterable[bool]) -> str:
    """Write a share of clips as "96.2 % (94-97, n 312)"."""
    told = list(flags)
    low, high = interval(sum(told), len(told))
    return f"{100 * sum(told) / len(told):.1f} % ({100 * low:.0f}–{100 * high:.0f})" if told else "–"
