"""Entries that cannot be and rows left out: nothing raises, each is named, and its axis stays inconclusive."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any, TypeVar

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from grading.admission import AXIS, INSTRUMENT, READING, Domain, admit_context, why_not
from grading.entries import Impossible, LeftOutRow, LeftOutValue, Subject
from grading.finding import Verdict
from grading.measurement import CarrierUse, Measurement, Visit
from grading.outcome import AxisVerdict
from grading.plan import plan_axis
from grading.prose.findings import finding_text
from grading.sheet import read_sheet
from grading.verdict import grade_axis, grade_job
from tests.grading.making import CABLE, METERS, MOTOR, TESTER, WHOLE, axis, ir
from tests.grading.random_entries import jobs
from tests.grading.random_sheets import main as random_sheets
from tests.grading.whole_axes import D

T = TypeVar("T")
BAD_NUMBERS = ["NaN", "sNaN", "Infinity", "-Infinity", "-10", "1E+999999", "1E-999999", "-1E+999999"]


def refusals(verdict: AxisVerdict) -> list[LeftOutValue]:
    return [f.detail for f in verdict.findings if f.rule == "quantity.possible" and isinstance(f.detail, LeftOutValue)]


def changed(entry: T, field: str, value: Any) -> T:
    changes: dict[str, Any] = {field: value}
    return replace(entry, **changes)  # type: ignore[type-var]


def sound() -> list[Measurement]:
    return [ir(WHOLE, "350"), ir(MOTOR, "600"), ir(CABLE, "900")]


@pytest.mark.parametrize("given", BAD_NUMBERS)
@pytest.mark.parametrize("field", [name for name, domain in AXIS.items() if domain is not Domain.YEAR])
def test_a_number_about_the_axis_that_cannot_be(field: str, given: str) -> None:
    if (field, given) in {("winding_c", "-10"), ("air_c", "-10"), ("nameplate_c", "-10")} or (
        given == "1E-999999" and AXIS[field] is Domain.CELSIUS
    ):
        return  # a temperature may be below or near zero
    context = changed(axis(), field, D(given))
    verdict = grade_axis(sound(), context, METERS)
    assert [(r.subject, r.field, r.given) for r in refusals(verdict)] == [(Subject.AXIS, field, given)]
    assert verdict.verdict is Verdict.INCONCLUSIVE
    assert verdict.drive.verdict is Verdict.INCONCLUSIVE
    assert "cannot be, since it is" in finding_text(verdict.findings[0])
    assert verdict.to_dict()["verdict"] == "inconclusive"
    plan_axis(sound(), context, METERS)


@pytest.mark.parametrize(("field", "given", "words"), [
    ("rated_current", "-10", "rated current, -10, cannot be, since it is negative"),
    ("winding_c", "-300", "winding in °C, -300, cannot be, since it is below -100 °C"),
    ("core_mm2", "-2.5", "core in mm², -2.5, cannot be, since it is negative"),
    ("rated_voltage", "0", "rated voltage, 0, cannot be, since it is not above zero"),
    ("humidity_percent", "101", "humidity in %, 101, cannot be, since it is above 100 %"),
])  # fmt: skip
def test_what_is_said_of_it(field: str, given: str, words: str) -> None:
    verdict = grade_axis(sound(), changed(axis(), field, D(given)), METERS)
    assert words in finding_text(verdict.findings[0])


@pytest.mark.parametrize("given", BAD_NUMBERS)
@pytest.mark.parametrize("field", [name for name, domain in READING.items() if domain is not Domain.TIME])
def test_a_reading_with_a_number_that_cannot_be_is_left_out(field: str, given: str) -> None:
    if READING[field] is Domain.CELSIUS and given in ("-10", "1E-999999"):
        return
    bad = changed(ir(WHOLE, "0.02"), field, D(given))
    verdict = grade_axis([*sound(), bad], axis(), METERS)
    (found,) = refusals(verdict)
    assert (found.subject, found.name, found.field) == (Subject.READING, bad.record_id, field)
    assert verdict.verdict is Verdict.INCONCLUSIVE
    assert bad.record_id in verdict.record_ids


@pytest.mark.parametrize("given", BAD_NUMBERS)
@pytest.mark.parametrize("field", [*INSTRUMENT, "range_end"])
def test_an_instrument_with_a_number_that_cannot_be(field: str, given: str) -> None:
    value: Any = {500: D(given)} if field == "range_end" else D(given)
    meter = changed(TESTER, field, value)
    verdict = grade_axis(sound(), axis(), {meter.id: meter})
    assert [(r.subject, r.name, r.field) for r in refusals(verdict)] == [(Subject.INSTRUMENT, meter.id, field)]
    unused = grade_axis([replace(m, instrument_id=None) for m in sound()], axis(), {meter.id: meter})
    assert refusals(unused) == []  # nothing was measured with it


@pytest.mark.parametrize(("carrier", "years"), [(CarrierUse(D(1), D(0)), None), (None, 10**400), (None, 1066)])
def test_what_wears_the_cable_and_when_the_motor_was_made(carrier: CarrierUse | None, years: int | None) -> None:
    context = replace(axis(), carrier=carrier, made_year=years)
    verdict = grade_axis(sound(), context, METERS)
    assert len(refusals(verdict)) == 1
    kept, _ = admit_context(context)
    assert (kept.carrier, kept.made_year) == (None, None)
    assert grade_job(sound(), {"X": context}, METERS).cable_order == ("X",)


def test_times_without_zone_and_years_that_cannot_be() -> None:
    naive, early = dt.datetime(2026, 11, 25, 14), dt.datetime(1, 1, 1, tzinfo=dt.UTC)
    for at, why in ((naive, Impossible.NO_TIME_ZONE), (early, Impossible.BELOW)):
        assert refusals(grade_axis([*sound(), replace(ir(WHOLE, "0.02"), at=at)], axis(), METERS))[0].why is why
        visit = Visit(at, tuple(sound()), axis())
        (found,) = refusals(grade_axis([*sound()], axis(), METERS, history=[visit]))
        assert (found.subject, found.why) == (Subject.VISIT, why)


def test_earlier_visits_may_come_in_any_order() -> None:
    now = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)
    days = [now - dt.timedelta(365 * n) for n in (3, 2, 1)]
    visits = [
        Visit(day, (replace(ir(WHOLE, v), at=day),), axis()) for day, v in zip(days, ("900", "620", "410"), strict=True)
    ]
    today = [replace(ir(WHOLE, "200"), at=now)]
    assert grade_axis(today, axis(), METERS, history=visits) == grade_axis(today, axis(), METERS, history=visits[::-1])


def test_a_row_left_out_leaves_its_axis_inconclusive() -> None:
    """A row that names no axis may belong to any; one of an axis that was not read otherwise is still that axis's."""
    row = LeftOutRow(7, "Unknown unit 'MOHM'.", "X")
    contexts = {"X": axis(), "Y": replace(axis(), axis="Y")}
    readings = [*sound(), *(replace(m, axis="Y") for m in sound())]
    job = grade_job(readings, contexts, METERS, left_out=[row])
    assert {a.axis: a.verdict for a in job.axes} == {"X": Verdict.INCONCLUSIVE, "Y": Verdict.ACCEPTABLE}
    (first,) = [f for f in job.axes[0].findings if f.rule == "quantity.left_out"]
    assert "line 7 was left out. Unknown unit 'MOHM'." in finding_text(first)
    assert job.axes[0].drive.verdict is Verdict.INCONCLUSIVE
    anybody = grade_job(readings, contexts, METERS, left_out=[LeftOutRow(9, "No object.")])
    assert {a.verdict for a in anybody.axes} == {Verdict.INCONCLUSIVE}
    assert "may belong to this one" in finding_text(anybody.axes[0].findings[0])
    alone = grade_job(readings, contexts, METERS, left_out=[replace(row, axis="Z")])
    assert {a.axis for a in alone.axes if a.verdict is Verdict.INCONCLUSIVE} == {"Z"}


def test_a_fault_stays_a_fault_beside_a_row_left_out() -> None:
    verdict = grade_axis([*sound(), ir(WHOLE, "0.02")], axis(), METERS, left_out=[LeftOutRow(7, "?", "X")])
    assert verdict.verdict is Verdict.UNACCEPTABLE


HEAD = "axis,quantity,value,unit,section,terminals,test_voltage,seconds,motor,rated_current,winding_temperature\n"
GOOD = "X,insulation,550,MOhm,cabinet,U+V+W-PE,500,60,ac_servo,,25\n"


@pytest.mark.parametrize(("row", "words"), [
    ("X,insulation,550,MOhm,cabinet,U-PE,500,60,,-10,\n", "-10 in column rated_current must not be negative"),
    ("X,insulation,550,MOhm,cabinet,U-PE,500,60,,0,\n", "0 in column rated_current must be above 0"),
    ("X,insulation,550,MOhm,cabinet,U-PE,500,60,,,-300\n", "-300 in column winding_temperature cannot be: it is below"),
    ("X,insulation,550,MOhm,cabinet,U-PE,1e400,60,,,\n", "1e400 in column test_voltage cannot be: it is above"),
    ("X,insulation,0.02,MOHM,cabinet,U-PE,500,60,,,\n", "Unknown unit 'MOHM'"),
])  # fmt: skip
def test_a_sheet_names_the_line_and_the_axis(row: str, words: str) -> None:
    sheet = read_sheet(HEAD + GOOD + row)
    (problem,) = sheet.problems
    assert (problem.line, problem.axis) == (3, "X")
    assert words in problem.reason
    job = grade_job(sheet.measurements, sheet.contexts, sheet.instruments, left_out=sheet.problems)
    assert job.verdict is Verdict.INCONCLUSIVE
    assert "line 3 was left out" in finding_text(job.axes[0].findings[0])


def test_a_value_that_two_rows_give_differently_is_used_from_neither() -> None:
    rows = [
        "X,insulation,550,MOhm,cabinet,U-PE,500,60,ac_servo,5,25\n",
        "X,insulation,551,MOhm,cabinet,V-PE,500,60,,50,25\n",
    ]
    for order in (rows, rows[::-1]):
        sheet = read_sheet(HEAD + "".join(order))
        assert sheet.contexts["X"].rated_current is None
        assert [(p.line, p.whole) for p in sheet.problems] == [(2, False), (3, False)]
        assert "rated current of axis X differs from row to row: 5" in sheet.problems[0].reason
        assert len(sheet.measurements) == 2


def test_bounds_of_what_can_be() -> None:
    """Relative humidity by its definition; the rest are program's rules and lie far beyond anything measured."""
    assert why_not(D(100), Domain.HUMIDITY) is None
    assert why_not(D(0), Domain.NOT_NEGATIVE) is None
    assert why_not(D("250"), Domain.CELSIUS) is None
    assert why_not(2026, Domain.YEAR) is None


@settings(
    max_examples=100, deadline=None, phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(jobs())
def test_no_typed_input_makes_grading_raise(job: dict[str, Any]) -> None:
    """Numbers of any size and sign, times with and without zone, units that do not fit: a verdict for every axis."""
    verdict = grade_job(**job)
    assert {a.axis for a in verdict.axes} >= set(job["contexts"])
    verdict.to_dict()
    for name, context in job["contexts"].items():
        plan_axis([m for m in job["measurements"] if m.axis == name], context, job["instruments"])


def test_random_rows_are_graded_or_named(capsys: pytest.CaptureFixture[str]) -> None:
    """A sample of what `python -m tests.grading.random_sheets` does with 100,000 rows."""
    assert random_sheets(["--rows", "600", "--seed", "7"]) == 0
    assert "none ended with a trace" in capsys.readouterr().out
