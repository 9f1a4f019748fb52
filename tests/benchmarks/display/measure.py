"""Asks a reader about pictures with known content and counts what was right, refused and wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import cv2

from capture.display.strings import bare, parse_main
from grading.terms.quantity import Qualifier
from tests.benchmarks.display.cases import Case, Shown
from tests.benchmarks.display.readers import OURS, Answer, Reader, Spent, clocked


@dataclass(frozen=True)
class Outcome:
    """One answer, graded.

    Attributes:
        case: The picture.
        answer: What was said.
        digits: Accepted, and sign, digits and point are right.
        exact: The unit is right as well and was not asked for (where a unit is not known: as `digits`).
        asked: Digits and point are right, and the unit is asked for.
        point: The digits are right, but the point is not.
        unit: Digits and point are right, and another unit is claimed.
        wrong: Something accepted is not what the picture shows.
        small_right: Further fields read rightly.
        small_all: Further fields there are, where the digits are right.
        spent: Time.
    """

    case: Case
    answer: Answer
    digits: bool = False
    exact: bool = False
    asked: bool = False
    point: bool = False
    unit: bool = False
    wrong: bool = False
    small_right: int = 0
    small_all: int = 0
    spent: Spent = field(default_factory=Spent)

    @property
    def missed(self) -> bool:
        """A careful eye could have read digits and point, and they were not read."""
        return bool(self.case.shown) and self.case.shown[0].digits and not self.digits and not self.wrong


def same_digits(text: str, shown: str) -> bool:
    """Tell whether two main strings say the same number: "OL" in any spelling is one, "12." is "12"."""
    meant, said = parse_main(shown, None), parse_main(text, None)
    if meant is not None and said is not None and meant.digits is None and shown:
        return said.digits is None and said.qualifier is meant.qualifier
    return text.removesuffix(".") == shown.removesuffix(".")


def _right(answer: Answer, shown: Shown) -> bool:
    """Tell whether nothing claimed about this display is wrong."""
    return same_digits(answer.text, shown.main) and _unit_right(answer, shown)


def _unit_right(answer: Answer, shown: Shown) -> bool:
    if not answer.unit_claimed or shown.unit == "" or not _valued(shown):
        return True
    return answer.unit == shown.unit


def _valued(shown: Shown) -> bool:
    meant = parse_main(shown.main, None)
    return meant is not None and meant.qualifier is not Qualifier.NONE


def grade(case: Case, answer: Answer, spent: Spent | None = None) -> Outcome:
    """Grade one answer."""
    spent = spent or Spent()
    if not answer.accepted:
        return Outcome(case, answer, spent=spent)
    every = (answer, *answer.others)
    wrong = any(not any(_right(a, shown) for shown in case.shown) for a in every)
    matching = [(a, s) for a in every for s in case.shown if same_digits(a.text, s.main)]
    if not matching:
        digits = bare(answer.text)
        point = any(digits and digits == bare(shown.main) for shown in case.shown)
        return Outcome(case, answer, point=point, wrong=True, spent=spent)
    said, shown = next(((a, s) for a, s in matching if _unit_right(a, s)), matching[0])
    claimed = _unit_right(said, shown)
    asked = not said.unit_claimed and _valued(shown) and shown.unit != ""
    right = sum(said.small.get(name) == text for name, text in shown.small.items())
    return Outcome(
        case, answer, True, claimed and not asked, asked, False, not claimed, wrong, right, len(shown.small), spent
    )  # fmt: skip


def _one(case: Case) -> Outcome:
    cv2.setNumThreads(1)
    return ask(OURS, [case])[0]


def own(cases: Sequence[Case], workers: int = 1) -> Iterator[Outcome]:
    """Yield Ohmtrail's outcomes in order, read by so many processes of one thread each."""
    if workers <= 1:
        yield from map(_one, cases)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_one, cases, chunksize=2)


def ask(reader: Reader, cases: Iterable[Case]) -> list[Outcome]:
    """Ask about every picture that the reader can be asked about."""
    outcomes = []
    for case in cases:
        with clocked() as spent:
            answer = reader.read(case)
        if answer is not None:
            outcomes.append(grade(case, answer, spent))
    return outcomes


def interval(hits: int, count: int) -> tuple[float, float]:
    """Give the exact 95 % interval of a share (Clopper and Pearson 1934); (0, 1) without anything counted."""
    from scipy.stats import binomtest

    if not count:
        return 0.0, 1.0
    bounds = binomtest(hits, count).proportion_ci(0.95, "exact")
    return float(bounds.low), float(bounds.high)


def wilson(hits: int, count: int) -> tuple[float, float]:
    """Give the 95 % interval of a share by the score (Wilson 1927); (0, 1) without anything counted."""
    from scipy.stats import binomtest

    if not count:
        return 0.0, 1.0
    bounds = binomtest(hits, count).proportion_ci(0.95, "wilson")
    return float(bounds.low), float(bounds.high)


def said_right(outcome: Outcome) -> bool:
    """Tell whether digits and point are what some display of the picture shows, accepted or not."""
    return any(same_digits(outcome.answer.text, shown.main) for shown in outcome.case.shown)


@dataclass(frozen=True)
class Counts:
    """Outcomes counted. Shares of legible pictures count only these; `wrong` and `accepted` count all."""

    pictures: int
    legible: int
    legible_digits: int
    exact: int
    digits: int
    asked: int
    point: int
    unit: int
    accepted: int
    wrong: int
    small_right: int
    small_all: int


def counted(outcomes: Iterable[Outcome]) -> Counts:
    """Count outcomes."""
    every = list(outcomes)
    whole = [o for o in every if o.case.legible]
    digits = [o for o in every if o.case.shown and o.case.shown[0].digits]
    return Counts(
        len(every), len(whole), len(digits), sum(o.exact for o in whole), sum(o.digits for o in digits),
        sum(o.asked for o in every), sum(o.point for o in every), sum(o.unit for o in every),
        sum(o.answer.accepted for o in every), sum(o.wrong for o in every),
        sum(o.small_right for o in every), sum(o.small_all for o in every),
    )  # fmt: skip


def reasons(outcomes: Iterable[Outcome]) -> Counter[str]:
    """Count why legible pictures were refused."""
    return Counter(o.answer.reason for o in outcomes if o.missed)
