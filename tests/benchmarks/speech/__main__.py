"""Measures hearing: words right, values right, wrong values without a flag, and time to the answer.

    python -m tests.benchmarks.speech                   the demo's clips, clean and in noise
    python -m tests.benchmarks.speech --list FILE       clips of a JSON list of {"file", "words"} instead
    python -m tests.benchmarks.speech --digits FOLDER   real single digits, files named DIGIT_SPEAKER_NUMBER.wav
    python -m tests.benchmarks.speech --model DIRECTORY --misheard

Time counts from the end of the sound, which was fed in tenths of a second, to the understood utterance.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from capture.speech.recogniser import SpeechModel
from tests.benchmarks.speech.measure import DIGITS, Tally, demo, digits, hear, listed, noisy


def table(title: str, lines: dict[str, Tally]) -> Table:
    """One row for each condition."""
    made = Table(title=title)
    for name in ("", "clips", "words right", "values right", "wrong, no flag", "median ms", "p95 ms"):
        made.add_column(name, justify="right" if name else "left")
    for name, tally in lines.items():
        times = np.array(tally.seconds) * 1000
        made.add_row(
            name,
            str(tally.clips),
            f"{100 * (1 - tally.word_errors / tally.words):.1f} %",
            f"{100 * tally.right / tally.clips:.1f} %",
            f"{tally.unflagged} ({100 * tally.unflagged / tally.clips:.1f} %)",
            f"{np.median(times):.0f}",
            f"{np.percentile(times, 95):.0f}",
        )
    return made


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--model", type=Path, help="a vosk model directory instead of the shipped one")
    parser.add_argument("--list", type=Path, help="JSON list of clips instead of the demo's")
    parser.add_argument("--digits", type=Path, help="folder of real single digits")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only every Nth real digit")
    parser.add_argument("--misheard", action="store_true", help="print what was misheard")
    given = parser.parse_args()
    model = SpeechModel(given.model)
    samples = list(demo() if given.list is None else listed(given.list))
    lines = {"clean": hear(samples, model)}
    for snr in (20, 10, 5):
        lines[f"{snr} dB"] = hear(noisy(samples, snr), model)
    console = Console()
    console.print(table("Demo clips" if given.list is None else given.list.name, lines))
    if given.digits is not None:
        only = SpeechModel(given.model, DIGITS)
        for title, listener in (("whole vocabulary", model), ("ten digits only", only)):
            speakers = {name: hear(clips, listener) for name, clips in digits(given.digits, given.every).items()}
            console.print(table(f"Real single digits, {title}, by speaker", speakers))
            lines |= {f"{title}, {name}": tally for name, tally in speakers.items()}
    if given.misheard:
        for name, tally in lines.items():
            for file, spoken, heard in tally.misheard:
                console.print(f"{name}: {file}: {spoken} -> {heard}", markup=False, highlight=False)


if __name__ == "__main__":
    main()
