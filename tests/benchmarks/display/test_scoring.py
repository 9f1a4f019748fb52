"""How the benchmark counts: right, point lost, unit wrong or asked for, wrong; labels and peers get their due."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from PIL import Image
from statsmodels.stats.proportion import proportion_confint

from capture.display.picture import open_picture
from capture.display.second_opinion import loading
from tests.benchmarks.display import bands, curve, failures, readers, sets, tables
from tests.benchmarks.display.cases import Case, Shown
from tests.benchmarks.display.measure import Outcome, counted, grade, interval, wilson
from tests.benchmarks.display.readers import ALONE, NOTHING, Answer
from tests.benchmarks.display.text import number_and_unit


def case(
    main: str = "34.70",
    unit: str | None = "MOhm",
    *,
    data: bytes = b"",
    digits: bool = True,
    readable_unit: bool = True,
) -> Case:
    return Case("one", "seen", "tester_lcd", 1, data, False, (Shown(main, unit, digits, readable_unit),))


def said(text: str, unit: str | None = "MOhm", *, sure: bool = True, score: float = 0.9) -> Answer:
    return Answer(text, unit, sure, True, score, {})


@pytest.mark.parametrize(
    ("answer", "digits", "exact", "asked", "point", "unit", "wrong"),
    [
        (said("34.70"), True, True, False, False, False, False),
        (said("34.70", None, sure=False), True, False, True, False, False, False),
        (said("34.70", "kOhm", sure=False), True, False, True, False, False, False),
        (said("34.70", "kOhm"), True, False, False, False, True, True),
        (said("3470"), False, False, False, True, False, True),
        (said("84.70"), False, False, False, False, False, True),
        (NOTHING, False, False, False, False, False, False),
    ],
)
def test_an_answer_is_judged(
    answer: Answer, digits: bool, exact: bool, asked: bool, point: bool, unit: bool, wrong: bool
) -> None:
    outcome = grade(case(), answer)
    assert (outcome.digits, outcome.exact, outcome.asked) == (digits, exact, asked)
    assert (outcome.point, outcome.unit, outcome.wrong) == (point, unit, wrong)
    assert outcome.missed is (answer is NOTHING)


def test_anything_accepted_where_nothing_is_shown_is_wrong() -> None:
    nothing = Case("none", "nothing", "nothing_label", 1, b"")
    assert grade(nothing, said("12.5")).wrong
    assert not grade(nothing, NOTHING).wrong


def test_a_second_display_read_wrongly_is_wrong() -> None:
    two = Case("two", "seen", "x", 1, b"", False, (Shown("34.70", "MOhm"), Shown("5", "V")))
    right = Answer("34.70", "MOhm", True, True, 0.9, {}, others=(said("5", "V"),))
    bad = Answer("34.70", "MOhm", True, True, 0.9, {}, others=(said("6", "V"),))
    assert not grade(two, right).wrong
    assert grade(two, bad).wrong
    assert grade(two, said("5", "V")).exact


def test_over_range_counts_in_any_spelling_and_a_last_point_says_nothing() -> None:
    assert grade(case("0.L"), said("0L")).exact
    assert grade(case("12."), said("12")).exact
    assert not grade(case("0.L"), said("0")).digits


def test_a_unit_that_nobody_knows_is_not_judged() -> None:
    assert grade(case(unit=""), said("34.70", "kOhm")).exact
    assert grade(case(unit=""), said("34.70", None, sure=False)).exact


def test_counts_of_legible_pictures_leave_the_others_out() -> None:
    outcomes = [
        grade(case(), said("34.70")),
        grade(case(digits=False), said("99")),
        grade(case(readable_unit=False), NOTHING),
    ]
    counts = counted(outcomes)
    assert (counts.pictures, counts.legible, counts.legible_digits, counts.exact, counts.digits) == (3, 1, 2, 1, 1)
    assert (counts.accepted, counts.wrong) == (2, 1)


@pytest.mark.parametrize(("hits", "count"), [(0, 600), (3, 500), (10, 10)])
def test_the_interval_is_that_of_statsmodels(hits: int, count: int) -> None:
    assert interval(hits, count) == pytest.approx(proportion_confint(hits, count, 0.05, "beta"), abs=1e-9)
    assert wilson(hits, count) == pytest.approx(proportion_confint(hits, count, 0.05, "wilson"), abs=1e-9)


def test_no_errors_in_600_show_no_more_than_half_a_per_cent() -> None:
    """The rule of three (Hanley and Lippman-Hand 1983) gives 3 / 600 one-sided; two-sided it is 3.7 / 600."""
    assert interval(0, 600)[1] == pytest.approx(3.689 / 600, rel=0.01)


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("406.587", "406.587", None), ("34.70MΩ", "34.70", "MOhm"), ("34.70 MO", "34.70", "MOhm"),
        ("＞4000 MΩ", ">4000", "MOhm"), ("1,25 kQ", "1.25", "kOhm"), ("O.L", "0.L", None), ("-5.1 °C", "-5.1", "Cel"),
        ("23.4C", "23.4", "Cel"), ("12 KΩ", "12", "kOhm"), ("8 uA", "8", "uA"), ("----", "----", None),
        ("t 1:00", "1:00", "s"), ("1:02:03", "1:02:03", "s"),
    ],
)  # fmt: skip
def test_peers_are_parsed_kindly(text: str, number: str, unit: str | None) -> None:
    assert number_and_unit(text) == (number, unit)


@pytest.mark.parametrize("text", ["", "INSULATION", "MΩ"])
def test_no_number_is_no_answer(text: str) -> None:
    assert number_and_unit(text) is None


def test_the_curve_takes_the_surest_first() -> None:
    outcomes = [grade(case(), said("34.70", score=0.9)), grade(case(), said("1", score=0.5)),
                grade(case(), said("34.70", score=0.7)), grade(case(), NOTHING)]  # fmt: skip
    one = curve.curve(outcomes)
    assert one.coverage == [0.25, 0.5, 0.75]
    assert one.risk == [0.0, 0.0, pytest.approx(1 / 3)]
    assert curve.risk_at(one, 0.5) == 0.0
    assert curve.risk_at(one, 1.0) is None


def test_bands_count_every_reading_once_accepted_or_not() -> None:
    told = [(1.0, "34.70"), (0.99, "34.7"), (0.98, "34.70"), (0.95, "1"), (0.3, "34.70"), (0.0, "2")]
    outcomes = [grade(case(), said(text, score=score)) for score, text in told]
    refused = Answer("34.70", None, False, False, 0.96, {}, "blurred")
    found = bands.bands([*outcomes, grade(case(), refused), grade(case(), NOTHING)])
    assert [(b.count, b.right) for b in found] == [(2, 1), (0, 0), (0, 0), (0, 0), (2, 1), (3, 2)]
    assert found[-1].told == pytest.approx((1.0 + 0.99 + 0.98) / 3)
    assert bands.table({"ours": outcomes}).row_count == len(bands.BOUNDS) - 1


@pytest.mark.parametrize("before", ["", "a folder"])
def test_without_the_second_reader_it_is_off_for_that_picture_only(
    before: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[bool] = []
    monkeypatch.setenv(loading.SETTING, before)
    monkeypatch.setattr(readers, "ours", lambda _case: asked.append(loading.second_reader() is None))
    ALONE.read(case())
    assert asked == [True]
    assert os.environ[loading.SETTING] == before


def test_the_table_of_real_pictures_counts_what_is_read_though_refused() -> None:
    refused = Answer("34.70", None, False, False, 0.96, {}, "blurred")
    shown = tables.real("two", {"ours": [grade(case(), said("34.70")), grade(case(), refused)]})
    cells = [next(iter(column.cells)) for column in shown.columns]
    assert [str(cell).split(" [")[0] for cell in cells[1:6]] == [
        "2", "50.0 % (1/2)", "50.0 % (1/2)", "100.0 % (2/2)", "0.0 % (0/1)",
    ]  # fmt: skip


def picture(path: Path, size: tuple[int, int] = (120, 60)) -> bytes:
    Image.new("RGB", size, (120, 130, 110)).save(path)
    return path.read_bytes()


def test_a_folder_with_labels(tmp_path: Path) -> None:
    picture(tmp_path / "a.png")
    picture(tmp_path / "b.png")
    labels = tmp_path / "labels.csv"
    labels.write_text("file,text,unit\na.png,12.50,MΩ\nb.png,,\n", encoding="utf-8")
    cases = sets.labelled(tmp_path, labels, crop=True)
    assert [(c.name, c.crop, [(s.main, s.unit) for s in c.shown]) for c in cases] == [
        ("a.png", True, [("12.50", "MOhm")]),
        ("b.png", True, []),
    ]
    assert cases[0].legible


@pytest.mark.parametrize(
    ("content", "said_what"),
    [
        ("name,value\n", "file,text"),
        ("file,text\nmissing.png,1\n", "missing.png"),
        ("file,text,unit\na.png,1,furlong\n", "furlong"),
    ],
)
def test_bad_labels_are_said_with_their_line(tmp_path: Path, content: str, said_what: str) -> None:
    picture(tmp_path / "a.png")
    labels = tmp_path / "labels.csv"
    labels.write_text(content, encoding="utf-8")
    with pytest.raises(SystemExit, match=said_what):
        sets.labelled(tmp_path, labels, crop=False)


def test_single_digits_and_their_tiles(tmp_path: Path) -> None:
    for name in ("03", "07", "11"):
        (tmp_path / name).mkdir()
        for i in range(3):
            picture(tmp_path / name / f"{i}.png")
    single = sets.digits(tmp_path)
    assert [c.shown[0].main if c.shown else "" for c in single] == ["3"] * 3 + ["7"] * 3 + [""] * 3
    tiles = sets.tiled(single)
    assert len(tiles) == 3
    assert open_picture(tiles[0].data).pixels.shape == (60, 360, 3)
    assert set(tiles[0].shown[0].main) <= {"3", "7"}


def test_rendered_cases_know_their_truth() -> None:
    (one,) = sets.rendered("seen", 1, folder=None)
    assert one.shown[0].main
    assert one.grade == 1
    assert one.cut_out() is not None
    (crop,) = sets.rendered("crops", 1, folder=None)
    assert crop.crop
    (nothing,) = sets.rendered("nothing", 1, folder=None)
    assert not nothing.shown
    assert nothing.style.startswith("nothing_")


def test_failures_are_written_with_a_sheet(tmp_path: Path) -> None:
    data = picture(tmp_path / "a.png")
    outcomes: list[Outcome] = [
        grade(case(data=data), said("99")),
        grade(case(data=data), NOTHING),
        grade(case(data=data), said("34.70")),
    ]
    assert failures.write(outcomes, tmp_path / "out") == 2
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"wrong-one.jpg", "refused-one.jpg", "notes.txt", "sheet.png"}
    assert "read 99" in (tmp_path / "out" / "notes.txt").read_text(encoding="utf-8")
    assert Image.open(tmp_path / "out" / "sheet.png").size[0] == failures.TILE * failures.ACROSS
