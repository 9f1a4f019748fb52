"""Temperature and humidity belong to the reading; the axis's own value is a default, and is said to be one."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from grading.case import build_case
from grading.details import Corrected40
from grading.finding import Verdict
from grading.measurement import Measurement
from grading.prose.findings import finding_text
from grading.sheet import read_sheet
from grading.terms.quantity import QuantityKind
from grading.verdict import grade_axis
from tests.grading.making import METERS, MOTOR, axis, ir, made
from tests.grading.whole_axes import D, of

START = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)


def at(minutes: int) -> dt.datetime:
    return START + dt.timedelta(minutes=minutes)


def warm(value: str, **fields: Any) -> Measurement:
    return made(QuantityKind.TEMPERATURE, MOTOR, value, "Cel", terminals="", **fields)


def corrected(*readings: Measurement, **context: Any) -> list[tuple[str, bool]]:
    """Give the temperature that each reading of the motor was corrected with, and whether it is its own."""
    verdict = grade_axis(readings, axis(**context), METERS)
    details = [f.detail for f in verdict.findings if f.rule == "insulation.winding"]
    return [(str(d.correction.winding_c), d.correction.winding_own) for d in details if isinstance(d, Corrected40)]


def test_a_reading_keeps_its_own_temperature_whatever_was_measured_last() -> None:
    """100 MΩ at 20 °C is 76.2 MΩ at 40 °C, at 60 °C it is 225 MΩ (IEEE 43-2013, 6.3, constants from memory)."""
    cold = ir(MOTOR, "100.0", winding_c=D(20), terminals="U-PE")
    hot = ir(MOTOR, "100.0", winding_c=D(60), terminals="V-PE")
    for order in ((cold, hot), (hot, cold)):
        assert sorted(corrected(*order)) == [("20", True), ("60", True)]


def test_a_temperature_measured_about_the_time_of_a_reading_is_its_own() -> None:
    readings = [
        warm("22", at=at(0)),
        ir(MOTOR, "100", at=at(10), terminals="U-PE"),
        warm("60", at=at(100)),
        ir(MOTOR, "100", at=at(95), terminals="V-PE"),
    ]
    assert sorted(corrected(*readings)) == [("22", True), ("60", True)]
    assert sorted(corrected(*readings[::-1])) == [("22", True), ("60", True)]


def test_what_was_measured_long_before_is_only_a_default_and_is_said_to_be_one() -> None:
    """Half an hour is a program's rule: a motor that was stopped cools noticeably in less."""
    readings = [warm("22", at=at(0)), ir(MOTOR, "600", at=at(31))]
    assert corrected(*readings) == [("22", False)]
    found = of(grade_axis(readings, axis(), METERS), "insulation.winding")
    assert "at 22 ± 2 °C, the axis's, not noted with this reading" in finding_text(found)
    own = of(grade_axis([ir(MOTOR, "600", winding_c=D(22))], axis(), METERS), "insulation.winding")
    assert "at 22 ± 2 °C; limit" in finding_text(own)


def test_the_described_temperature_is_the_default_where_none_was_measured() -> None:
    assert corrected(ir(MOTOR, "600")) == [("25", False)]


def test_several_temperatures_without_times_leave_it_unknown() -> None:
    """Which of them held is not known: only what passes or fails at any temperature is judged."""
    readings = [warm("20"), warm("60"), ir(MOTOR, "6.0")]
    assert corrected(*readings) == [("None", True)]
    assert grade_axis(readings, axis(), METERS).verdict is Verdict.INCONCLUSIVE
    assert corrected(warm("20"), warm("20.0"), ir(MOTOR, "600")) == [("20", False)]


def test_a_reading_near_the_dew_point_does_not_taint_the_others() -> None:
    """Dew point of 25 °C and 90 % is 23.2 °C by the Magnus formula; a winding at 24 °C is within 3 °C of it."""
    wet = ir(MOTOR, "600", winding_c=D(24), air_c=D(25), humidity_percent=D(90), terminals="U-PE")
    dry = ir(MOTOR, "600", winding_c=D(24), air_c=D(25), humidity_percent=D(40), terminals="V-PE")
    verdict = grade_axis([wet, dry], axis(), METERS)
    assert of(verdict, "insulation.dew_point").record_ids == (wet.record_id,)
    assert of(verdict, "insulation.winding").record_ids == (dry.record_id,)


def test_nameplate_resistance_is_brought_from_each_readings_own_temperature() -> None:
    """0.71 Ω at 31 °C is 0.694 Ω at 25 °C (k = 234.5); the same winding reads 0.809 Ω at 69.5 °C."""
    from tests.grading.making import ll

    readings = [ll(MOTOR, "0.710", winding_c=D(31)), ll(MOTOR, "0.813", "V-W", winding_c=D("69.5"))]
    found = of(
        grade_axis(readings, axis(nameplate_resistance_ohm=D("0.694"), nameplate_c=25), METERS), "winding.nameplate"
    )
    assert found.verdict is Verdict.ACCEPTABLE


HEAD = "axis,quantity,value,unit,section,terminals,test_voltage,seconds,motor,winding_temperature,at\n"


def test_a_sheet_gives_each_row_its_own_and_the_others_the_default() -> None:
    rows = [
        "X,insulation,100,MOhm,motor,U-PE,500,60,ac_servo,20,\n",
        "X,insulation,100,MOhm,motor,V-PE,500,60,,,\n",
    ]
    for order in (rows, rows[::-1]):
        sheet = read_sheet(HEAD + "".join(order))
        case = build_case(tuple(sheet.measurements), sheet.contexts["X"])
        known = {r.measurement.terminals: case.conditions(r) for r in case.readings}
        assert (known["U-PE"].winding_c, "winding_c" in known["U-PE"].own) == (D(20), True)
        assert (known["V-PE"].winding_c, "winding_c" in known["V-PE"].own) == (D(20), False)


def test_a_sheet_with_two_temperatures_has_no_default() -> None:
    text = HEAD + "".join(
        f"X,insulation,100,MOhm,motor,{p}-PE,500,60,,{c},\n" for p, c in (("U", 20), ("V", 60), ("W", ""))
    )
    assert read_sheet(text).contexts["X"].winding_c is None


@pytest.mark.parametrize(("quantity", "section", "field"), [("temperature,27,Cel", "motor", "winding_c"),
                                                            ("temperature,24,Cel", "", "air_c"),
                                                            ("humidity,45,%", "", "humidity_percent")])  # fmt: skip
def test_temperature_and_humidity_rows_are_what_they_say(quantity: str, section: str, field: str) -> None:
    text = f"{HEAD}X,{quantity},{section},,,,,,\nX,insulation,5,MOhm,motor,U-PE,500,60,,,\n"
    sheet = read_sheet(text)
    case = build_case(tuple(sheet.measurements), sheet.contexts["X"])
    value = getattr(case.conditions(case.readings[0]), field)
    assert str(value) == quantity.split(",")[1]
