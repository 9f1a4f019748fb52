"""How well the confidence holds: what was given 80 % should be right four times of five.

    python -m tests.benchmarks.speech.reliability --people FOLDER --out capture/speech/model/reliability.png

draws it for real people whom neither training nor fits heard (`fixtures.training.speech_model.people.MEASURED`): rows
of digits as recorded and in noise, and talk, of which nothing that is taken is right.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from capture.reading import Context
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.loading import second_opinion
from capture.speech.understand import best_meaning
from fixtures.training.speech_model.answers import meaning, value_right
from fixtures.training.speech_model.hearings import AS_RECORDED, hearings
from fixtures.training.speech_model.people import MEASURED, people

FOLDER = Path(__file__).resolve().parents[3] / ".cache" / "speech-measured"
_TALK = {"commands": 100, "learners": 60, "wakewords": 30, "orders": 15}

BINS = 10


@dataclass(frozen=True)
class Bin:
    """Readings of like confidence: bounds 0..1, how many, their mean confidence, the share that is right."""

    low: float
    high: float
    count: int
    confidence: float
    right: float


def bins(confidences: Sequence[float], right: Sequence[bool]) -> list[Bin]:
    """Sort into ten bins of equal width; empty ones are left out."""
    sure, true = np.asarray(confidences), np.asarray(right, float)
    at = np.minimum((sure * BINS).astype(int), BINS - 1)
    return [
        Bin(k / BINS, (k + 1) / BINS, int((at == k).sum()), float(sure[at == k].mean()), float(true[at == k].mean()))
        for k in range(BINS)
        if (at == k).any()
    ]


def expected_error(found: Sequence[Bin]) -> float:
    """Give the expected calibration error (Naeini, Cooper and Hauskrecht 2015): weighted mean gap, 0..1."""
    return sum(b.count * abs(b.confidence - b.right) for b in found) / max(1, sum(b.count for b in found))


def picture(found: Sequence[Bin], path: Path) -> None:
    """Draw the bins as a PNG: bars of how often right, the diagonal they should reach, counts at the foot."""
    from PIL import Image, ImageDraw

    side, edge = 480, 50
    image = Image.new("RGB", (side + 2 * edge, side + 2 * edge), "white")
    draw = ImageDraw.Draw(image)

    def point(x: float, y: float) -> tuple[float, float]:
        return edge + x * side, edge + (1 - y) * side

    for b in found:
        draw.rectangle([point(b.low + 0.005, b.right), point(b.high - 0.005, 0)], fill="#7aa6c2")
        draw.text((point(b.low, 0)[0] + 4, edge + side - 14), str(b.count), fill="black")
    draw.line([point(0, 0), point(1, 1)], fill="#b03a2e", width=2)
    draw.rectangle([point(0, 1), point(1, 0)], outline="black")
    for tick in (0, 0.25, 0.5, 0.75, 1):
        draw.text((point(tick, 0)[0] - 8, edge + side + 6), f"{tick:g}", fill="black")
        draw.text((edge - 32, point(0, tick)[1] - 6), f"{tick:g}", fill="black")
    draw.text((edge + side / 2 - 60, edge + side + 24), "confidence as told", fill="black")
    draw.text((edge, edge - 24), "share right (bars), expected error "
              f"{expected_error(found):.3f}", fill="black")  # fmt: skip
    image.save(path)


def of_people(folder: Path, model: SpeechModel) -> Iterator[tuple[float, bool]]:
    """Hear real people kept apart; yields confidence and whether it is right of all that means something."""
    clips = list(people(folder, MEASURED, _TALK))
    rows = [clip for clip in clips if clip.kind == "digits"]
    for heard in (*hearings(model, clips, [AS_RECORDED], FOLDER), *hearings(model, rows, ["10 dB"], FOLDER)):
        utterance, ranking = best_meaning(heard.heard, Context(), model.confidence_model.doubt_cost)
        if meaning(utterance):
            told = model.confidence_model.assess(utterance, ranking).confidence
            yield told, value_right(utterance, heard.clip.truth)


def main() -> None:
    """Read the command line, hear, print the bins and draw them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--people", type=Path, required=True, help="folder of real speech")
    parser.add_argument("--model", type=Path, help="another model directory")
    parser.add_argument("--out", type=Path, help="PNG file")
    told = parser.parse_args()
    confidences, right = zip(*of_people(told.people, SpeechModel(told.model, second=second_opinion())), strict=True)
    found = bins(confidences, right)
    for b in found:
        print(f"{b.low:.1f} to {b.high:.1f}: told {b.confidence:.2f}, right {b.right:.2f}, {b.count} hearings")
    print(f"expected calibration error {expected_error(found):.3f}, {len(right)} hearings")
    if told.out:
        picture(found, told.out)


if __name__ == "__main__":
    main()
