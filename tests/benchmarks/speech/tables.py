"""The tables: the targets first, then by noise, by kind, by voice, cost, and how far confidences hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from rich.table import Table

from fixtures.training.speech_model.conditions import CONDITIONS
from fixtures.training.speech_model.kinds import KINDS
from tests.benchmarks.speech.after_silence import Lost
from tests.benchmarks.speech.false_triggers import Trigger, hourly
from tests.benchmarks.speech.reliability import bins, expected_error
from tests.benchmarks.speech.run import Footprint
from tests.benchmarks.speech.score import Score, interval, share

UNSEEN = "said-kokoro"
Flag = Callable[[Score], bool]


def picked(scores: Iterable[Score], **wanted: str) -> list[Score]:
    """Pick scores with the given engine, condition, source or kind."""
    return [one for one in scores if all(getattr(one, name) == value for name, value in wanted.items())]


def engines(scores: Sequence[Score]) -> list[str]:
    """List the engines that were run, ours first."""
    return list(dict.fromkeys(one.engine for one in sorted(scores, key=lambda one: one.engine != "ours")))


def common(scores: Sequence[Score]) -> list[Score]:
    """Keep only clips that every engine heard under that condition."""
    names = engines(scores)
    heard = {name: {(one.condition, one.clip) for one in picked(scores, engine=name)} for name in names}
    shared = set.intersection(*heard.values())
    return [one for one in scores if (one.condition, one.clip) in shared]


def _grid(title: str, rows: Iterable[tuple[str, ...]], columns: Sequence[str]) -> Table:
    made = Table(title=title, title_justify="left")
    for number, name in enumerate(columns):
        made.add_column(name, justify="left" if number == 0 else "right", no_wrap=number == 0)
    for row in rows:
        made.add_row(*row)
    return made


def by_noise(scores: Sequence[Score], source: str) -> Table:
    """Tabulate one set: value right, all right and wrong unasked, by condition and engine, on clips that all heard."""
    told = common(picked(scores, source=source))
    rows = []
    for condition in CONDITIONS:
        ours = picked(told, condition=condition, engine="ours")
        for name in engines(told):
            found = picked(told, condition=condition, engine=name)
            if not found:
                continue
            wrong, base = sum(not one.value for one in found), sum(not one.value for one in ours)
            ratio = f"{wrong / base:.1f}" if base else f"{wrong} : 0" if ours else "–"
            flags: tuple[Flag, ...] = (lambda s: s.value, lambda s: s.whole, lambda s: s.wrong, lambda s: s.asked)
            rows.append((condition, name, str(len(found)), *(share(map(flag, found)) for flag in flags), ratio))
    columns = ("", "engine", "n", "value right", "all right", "wrong, not asked", "asked", "errors ÷ ours")
    return _grid(f"{source}: clips that all engines heard; 95 % intervals (Wilson)", rows, columns)


def ours_alone(scores: Sequence[Score]) -> Table:
    """Tabulate our own recogniser on every clip it heard, by set and condition."""
    rows = []
    for source in dict.fromkeys(one.source for one in scores):
        for condition in CONDITIONS:
            found = picked(scores, engine="ours", source=source, condition=condition)
            if found:
                flags: tuple[Flag, ...] = (lambda s: s.value, lambda s: s.whole, lambda s: s.wrong, lambda s: s.asked)
                needless = share(one.asked for one in found if one.value)
                rows.append((source, condition, str(len(found)), *(share(map(f, found)) for f in flags), needless))
    columns = ("set", "", "n", "value right", "all right", "wrong, not asked", "asked", "asked though right")
    return _grid("ours on all clips", rows, columns)


def by_kind(scores: Sequence[Score], condition: str) -> Table:
    """Tabulate value right by kind and engine, held-out voices; unasked errors of ours."""
    told = common(picked(scores, source=UNSEEN, condition=condition))
    names = engines(told)
    rows = []
    for kind in KINDS:
        cells = [share(one.value for one in picked(told, kind=kind, engine=name)) for name in names]
        wrong = [str(sum(one.wrong for one in picked(told, kind=kind, engine=name))) for name in names]
        rows.append((kind, str(len(picked(told, kind=kind, engine=names[0]))), *cells, " / ".join(wrong)))
    return _grid(f"{UNSEEN}, {condition}: value right by kind", rows, ("", "n", *names, "wrong, not asked"))


def by_voice(scores: Sequence[Score]) -> Table:
    """Tabulate value right by voice, ours."""
    rows = []
    told = picked(scores, engine="ours")
    for source, voice in dict.fromkeys((one.source, one.voice) for one in told):
        found = picked(told, source=source, voice=voice)
        cells = [share(one.value for one in picked(found, condition=condition)) for condition in ("clean", "10 dB")]
        rows.append((source, voice, *cells))
    return _grid("ours by voice: value right", sorted(rows), ("set", "voice", "clean", "10 dB"))


def cost(scores: Sequence[Score], prints: dict[str, Footprint]) -> Table:
    """Tabulate time and memory by engine."""
    rows = []
    for name in engines(scores):
        found, told = picked(common(scores), engine=name), prints[name]
        cpu = np.mean([one.cpu_s for one in found])
        ends = ([one.late_s for one in found], [one.late_cpu_s for one in found])
        late = (f"{1000 * np.median(some):.0f} / {1000 * np.percentile(some, 95):.0f}" for some in ends)
        place = (f"{told.size / 1e6:.1f}", f"{told.load_s:.2f}", f"{told.memory / 1e6:.0f}")
        rows.append((name, *late, f"{cpu:.2f}", *place))
    columns = (
        "", "end of speech to meaning, ms, p50 / p95", "of it processor", "CPU s a clip", "MB on disk", "s to load",
        "MB of memory",
    )  # fmt: skip
    return _grid("cost, under the load of this run", rows, columns)


def reliability(scores: Sequence[Score]) -> Table:
    """Tabulate confidence against the share right, ours, where a reading or command came out."""
    found = confident(scores)
    told = bins([one.confidence for one in found], [one.value for one in found])
    rows = [(f"{b.low:.1f}–{b.high:.1f}", str(b.count), f"{b.confidence:.3f}", f"{b.right:.3f}") for b in told]
    error = expected_error(told)
    title = f"reliability of ours, all sets and conditions: expected calibration error {error:.3f}"
    return _grid(title, rows, ("confidence", "n", "mean told", "share right"))


def confident(scores: Iterable[Score]) -> list[Score]:
    """Keep our answers that claim something."""
    return [one for one in picked(scores, engine="ours") if one.confidence > 0]


def triggers(found: Sequence[Trigger]) -> Table:
    """Tabulate what was set off, per hour and in all."""
    rows = []
    for engine in dict.fromkeys(one.engine for one in found):
        ours = [one for one in found if one.engine == engine]
        for source in [*dict.fromkeys(one.source for one in ours), "all"]:
            told = [one for one in ours if source in {one.source, "all"}]
            cells = []
            for kind, asked in (("reading", True), ("reading", False), ("place", None), ("command", None)):
                count, rate = hourly(told, kind, asked=asked)
                cells.append(f"{count} ({rate:.1f})")
            cells.append(str(sum(one.at_rest for one in told)))
            name = source.rpartition("/")[2]
            rows.append((engine, name, f"{sum(one.seconds for one in told) / 60:.1f}", *cells))
    columns = (
        "engine",
        "",
        "minutes",
        "readings asked about",
        "readings not asked",
        "settings",
        "commands",
        "heeded at rest",
    )
    return _grid("talk that is no reading, noise, music: triggered in all (an hour)", rows, columns)


def waits(found: dict[str, Lost]) -> Table:
    """Tabulate words lost after a wait."""
    rows = [(name, str(lost.clips), str(lost.words), str(lost.lost)) for name, lost in found.items()]
    return _grid("a phrase after 3 s of silence or noise", rows, ("", "clips", "words", "lost words"))


def targets(
    scores: Sequence[Score], prints: dict[str, Footprint], found: Sequence[Trigger], lost: dict[str, Lost]
) -> Table:
    """Tabulate each target beside what was measured: ours on all clips, the peers on theirs."""
    names = engines(scores)

    def of(flag: Flag, **wanted: str) -> list[str]:
        return [share(map(flag, picked(scores, engine=name, source=UNSEEN, **wanted))) for name in names]

    rows: list[tuple[str, ...]] = []
    for condition, aim in (("clean", 99), ("20 dB", 98), ("10 dB", 96), ("5 dB", 88)):
        rows.append((f"value right, {condition}", f"≥ {aim} %", *of(lambda s: s.value, condition=condition)))
    rows.append(("wrong, not asked, 10 dB", "≤ 0.5 %", *of(lambda s: s.wrong, condition="10 dB")))
    for condition, aim in (("clean", 99), ("10 dB", 95)):
        cells = of(lambda s: s.value, condition=condition, kind="teen or ty")
        rows.append((f"-teen/-ty right, {condition}", f"≥ {aim} %", *cells))
    for condition in ("clean", "10 dB"):
        cells = of(lambda s: s.value, condition=condition, kind="command")
        rows.append((f"commands right, {condition}", "≥ 99 %", *cells))
    confused = [
        f"{sum(s.confused for s in told)} of {len(told)}"
        for told in (picked(scores, engine=name, source=UNSEEN, kind="command") for name in names)
    ]
    rows.append(("commands confused, all conditions", "0", *confused))
    rows.append(("triggered by talk, noise, music, an hour", "≤ 1", *(_hourly(found, name) for name in names)))
    if lost:
        words = str(sum(one.lost for one in lost.values()))
        rows.append(("lost words after 3 s of silence or noise", "0", words, *("–" for _ in names[1:])))
    told = [picked(scores, engine=name) for name in names]
    late = [1000 * np.percentile([one.late_s for one in some], 95) for some in told]
    own = [1000 * np.percentile([one.late_cpu_s for one in some], 95) for some in told]
    cells = [f"{wall:.0f} ms, processor {cpu:.0f} ms" for wall, cpu in zip(late, own, strict=True)]
    rows.append(("end of speech to meaning, p95", "≤ 300 ms", *cells))
    rows.append(("model on disk", "≤ 20 MB", *(f"{prints[name].size / 1e6:.1f} MB" for name in names)))
    rows.append(("time to load", "≤ 0.3 s", *(f"{prints[name].load_s:.2f} s" for name in names)))
    rows.append(("memory", "≤ 120 MB", *(f"{prints[name].memory / 1e6:.0f} MB" for name in names)))
    return _grid("targets (held-out voices; each engine on all clips it heard)", rows, ("", "target", *names))


def _hourly(found: Sequence[Trigger], name: str) -> str:
    told = [one for one in found if one.engine == name]
    counts = [hourly(told, kind)[0] for kind in ("reading", "command")]
    low, high = interval(sum(counts), max(1, len(told)))
    hours = sum(one.seconds for one in told) / 3600
    if not told:
        return "–"
    return f"{sum(counts) / hours:.1f} ({low * len(told) / hours:.1f}–{high * len(told) / hours:.1f})"
