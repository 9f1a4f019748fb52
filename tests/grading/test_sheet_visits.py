"""Several visits in one sheet: the newest is judged, the earlier ones feed the trend, in any order of rows."""

from __future__ import annotations

import random

import pytest

from grading.facts import Fact
from grading.finding import Verdict
from grading.outcome import AxisVerdict
from grading.sheet import Sheet, read_sheet
from grading.verdict import grade_job

HEAD = (
    "axis,quantity,value,unit,section,terminals,test_voltage,seconds,motor,winding_temperature,record,visit,"
    "done_before\n"
)
# Vector TV-J01 of the domain reference: 900, 620, 410, 300, 190 MΩ over four years (least squares on log10).
COURSE = [("2022", "900"), ("2023", "620"), ("2024", "410"), ("2025", "300"), ("2026", "190")]
ROWS = [
    f"X,insulation,{value},MOhm,cabinet,U+V+W-PE,500,60,ac_servo,25,r{year},{year}-11-25,\n" for year, value in COURSE
]


def grade(sheet: Sheet) -> AxisVerdict:
    job = grade_job(
        sheet.measurements, sheet.contexts, sheet.instruments, history=sheet.history, left_out=sheet.problems
    )
    (axis,) = job.axes
    return axis


def test_earlier_visits_feed_the_trend() -> None:
    sheet = read_sheet(HEAD + "".join(ROWS))
    assert [m.record_id for m in sheet.measurements] == ["r2026"]
    assert [[m.record_id for m in visit.measurements] for visit in sheet.history["X"]] == [
        ["r2022"], ["r2023"], ["r2024"], ["r2025"]
    ]  # fmt: skip
    assert sheet.rows == len(ROWS)
    facts = {f.fact for f in grade(sheet).findings}
    assert {Fact.COMPARED_BEFORE, Fact.NOT_REACHED, Fact.FORECAST} & facts


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_the_rows_changes_nothing(seed: int) -> None:
    rows = list(ROWS)
    random.Random(seed).shuffle(rows)
    assert grade(read_sheet(HEAD + "".join(rows))).findings == grade(read_sheet(HEAD + "".join(ROWS))).findings


def test_a_fall_since_the_visit_before_is_found() -> None:
    fallen = [ROWS[0], "X,insulation,80,MOhm,cabinet,U+V+W-PE,500,60,,25,now,2026-11-25,\n"]
    assert Fact.FELL_A_DECADE in {f.fact for f in grade(read_sheet(HEAD + "".join(fallen))).findings}
    cleaned = [*fallen[:1], fallen[1].replace("2026-11-25,", "2026-11-25,cleaned")]
    assert Fact.FELL_A_DECADE not in {f.fact for f in grade(read_sheet(HEAD + "".join(cleaned))).findings}


def test_what_was_done_before_an_earlier_visit_starts_the_trend_anew() -> None:
    rows = [row.replace("2025-11-25,", "2025-11-25,new cable") for row in ROWS]
    assert read_sheet(HEAD + "".join(rows)).history["X"][-1].note == "new cable"


def test_a_row_that_does_not_say_its_visit_is_named() -> None:
    lost = ROWS[-1].replace("2026-11-25", "").replace("r2026", "lost")
    sheet = read_sheet(HEAD + "".join([*ROWS, lost]))
    assert [(p.line, p.axis) for p in sheet.problems] == [(7, "X")]
    assert "Column visit is empty" in sheet.problems[0].reason
    assert grade(sheet).verdict is Verdict.INCONCLUSIVE


def test_each_visit_has_its_own_temperature_and_the_motor_that_any_of_them_names() -> None:
    rows = [ROWS[0].replace("ac_servo,25", ",18"), ROWS[-1]]
    sheet = read_sheet(HEAD + "".join(rows))
    assert [(str(v.context.winding_c), v.context.motor_chosen) for v in sheet.history["X"]] == [("18", True)]
    assert str(sheet.contexts["X"].winding_c) == "25"


def test_the_time_of_a_row_must_be_on_the_day_of_its_visit() -> None:
    text = HEAD.replace("done_before", "at") + ROWS[0].replace("2022-11-25,", "2022-11-25,2022-12-25")
    assert "column visit says 2022-11-25" in read_sheet(text).problems[0].reason
