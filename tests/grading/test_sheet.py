"""Sheets typed by hand: good rows are graded, bad rows are named with line and reason; and the command around them."""

from __future__ import annotations

import contextlib
import json
from decimal import Decimal
from pathlib import Path

import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from api.commands.grade import HELP, grade
from grading.measurement import InsulationSystem, MotorKind
from grading.sheet import SheetError, read_sheet
from grading.sheet_columns import COLUMNS
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, QuantityKind
from grading.terms.section import Section
from grading.verdict import grade_job

HEAD = "axis,quantity,value,unit,section,terminals,test_voltage,built_voltage,seconds"
GOOD = f"""{HEAD},motor,rated_voltage,winding_temperature,instrument,accuracy_percent,accuracy_counts
X,winding,1.08,Ohm,cabinet,A1-A2,,,,dc_servo,90,25,,,
X,insulation,0.80,MOhm,cabinet,A1+A2-PE,500,500,60,,,,IT-03,3,5
X,insulation,550,MΩ,motor,A1+A2-PE,500,,60,,,,IT-03,,
X,insulation,0.80,MOhm,cable,A1+A2-PE,500,,60,,,,IT-03,,
Y,insulation,>4000,MOhm,cabinet,U+V+W-PE,500,512,60,ac_servo,400,,,,
"""


def row(value: str, unit: str = "MOhm", quantity: str = "insulation", section: str = "cabinet") -> str:
    return f"{HEAD}\nX,{quantity},{value},{unit},{section},U-PE,500,,60\n"


def test_rows_become_measurements_with_what_is_known_of_the_axis() -> None:
    sheet = read_sheet(GOOD)
    assert sheet.problems == []
    assert [m.record_id for m in sheet.measurements] == [f"line {n}" for n in range(2, 7)]
    first, second = sheet.measurements[:2]
    assert (first.kind, first.section, first.quantity.digits) == (
        QuantityKind.WINDING_RESISTANCE,
        Section.THROUGH_CABLE,
        "1.08",
    )
    assert second.quantity.digits == "0.80"  # the last zero is kept
    assert second.test_voltage_set == 500
    context = sheet.contexts["X"]
    assert (context.motor_kind, context.rated_voltage, context.winding_c) == (
        MotorKind.DC_SERVO,
        Decimal(90),
        Decimal(25),
    )
    assert sheet.instruments["IT-03"].accuracy_percent == 3
    job = grade_job(sheet.measurements, sheet.contexts, sheet.instruments)
    assert {a.axis: a.fault.value for a in job.axes} == {"X": "cable", "Y": "neither"}


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_other_separators_and_a_byte_order_mark(delimiter: str) -> None:
    sheet = read_sheet("\ufeff" + GOOD.replace(",", delimiter))
    assert len(sheet.measurements) == 5
    assert sheet.problems == []


def test_json_says_the_same_and_keeps_noughts() -> None:
    rows = [{"axis": "X", "quantity": "insulation", "value": 0, "unit": "MOhm", "section": "cabinet", "seconds": None}]
    text = json.dumps({"readings": rows}).replace('"value": 0', '"value": 0.80')
    sheet = read_sheet(text, as_json=True)
    assert sheet.measurements[0].quantity.digits == "0.80"
    assert sheet.measurements[0].record_id == "line 1"
    assert read_sheet(json.dumps(rows), as_json=True).measurements[0].quantity.digits == "0"


@pytest.mark.parametrize(
    ("value", "qualifier", "digits"),
    [(">4000", Qualifier.ABOVE, "4000"), ("> 4000", Qualifier.ABOVE, "4000"), ("<0.01", Qualifier.BELOW, "0.01"),
     ("OL", Qualifier.OPEN, None), ("short", Qualifier.SHORT, None), ("collapsed", Qualifier.COLLAPSED, None),
     ("none", Qualifier.NONE, None), ("0.80", Qualifier.EQUAL, "0.80")],
)  # fmt: skip
def test_values(value: str, qualifier: Qualifier, digits: str | None) -> None:
    (found,) = read_sheet(row(value)).measurements
    assert (found.quantity.qualifier, found.quantity.digits) == (qualifier, digits)


@pytest.mark.parametrize(
    ("symbol", "code"), [("MΩ", "MOhm"), ("M\u2126", "MOhm"), ("kΩ", "kOhm"), ("Ω", "Ohm"), ("GOhm", "GOhm")]
)
def test_symbols_of_units(symbol: str, code: str) -> None:
    (found,) = read_sheet(row("5", symbol)).measurements
    assert found.quantity.unit == code


BAD = [
    (row("3,4").replace("3,4", '"3,4"'), "decimal point"),
    (row("5", "MOHM"), "Unknown unit 'MOHM'"),
    (row("5", "V"), "does not fit insulation resistance; use one of uOhm"),
    (row("5", ""), "a number without its unit"),
    (row("five"), "plain decimal"),
    (row("1e3"), "plain decimal"),
    (row(""), "Column value is empty"),
    (row("5", quantity="megging"), "use one of insulation, winding, ground"),
    (row("5", section="lid"), "use one of cabinet"),
    (row("5", section=""), "say cabinet, motor or cable"),
    (row("5").replace("500", "high"), "no number; it must hold test voltage selected"),
    (row("5").replace("500", "-500"), "must not be negative"),
    (row("5").replace("500", "NaN"), "no number"),
    (row("5").replace("\n", ",at\n", 1).replace(",60\n", ",60,yesterday\n"), "no date or time"),
    (row("5").replace("\n", ",noted\n", 1).replace(",60\n", ",60,wobbly\n"), "use one of unsteady"),
    (row("5").replace("\n", ",motor\n", 1).replace(",60\n", ",60,stepper\n"), "use one of dc_servo"),
    (row("5").replace("\n", ",calibration_due\n", 1).replace(",60\n", ",60,soon\n"), "write 2027-03-31"),
    (row("5").replace(",60\n", ",60,extra\n"), "This row has 10 cells, the header 9"),
]


@pytest.mark.parametrize(("text", "reason"), BAD)
def test_a_bad_row_is_named_and_the_others_stand(text: str, reason: str) -> None:
    bad = text.splitlines()[1]
    good = row("550").splitlines()[1]
    sheet = read_sheet("\n".join([text.splitlines()[0], good, bad, good]))
    assert len(sheet.measurements) == 2
    assert [p.line for p in sheet.problems] == [3]
    assert reason in sheet.problems[0].reason


@pytest.mark.parametrize(
    ("text", "as_json", "reason"),
    [
        ("", False, "must name the columns"),
        ("axis,value\nX,5", False, "Columns missing: quantity"),
        ("axis,axis,quantity,value\n", False, "Columns named twice: axis"),
        ("{", True, "no JSON"),
        ('{"rows": []}', True, 'under "readings"'),
        ("5", True, "a list of readings"),
        ("x" * 200_000, False, "first line cannot be read as CSV"),
        ("[" * 100_000, True, "no JSON"),
        (f"{HEAD}\n" + 'X,insulation,"5\n' * 1 + "x" * 200_000, False, "cannot be read as CSV"),
    ],
)
def test_what_is_no_sheet_is_refused(text: str, as_json: bool, reason: str) -> None:
    with pytest.raises(SheetError, match=reason):
        read_sheet(text, as_json=as_json)


def test_too_many_rows_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("grading.sheet.MAX_ROWS", 2)
    with pytest.raises(SheetError, match="split the file"):
        read_sheet(GOOD)
    with pytest.raises(SheetError, match="split the file"):
        read_sheet("[1, 2, 3]", as_json=True)


def test_json_readings_that_are_no_objects_are_named() -> None:
    sheet = read_sheet('[5, {"axis": "X"}]', as_json=True)
    assert [p.line for p in sheet.problems] == [1, 2]


def test_unknown_columns_are_named_once() -> None:
    assert read_sheet(row("5").replace("seconds", "minutes")).ignored == ("minutes",)
    assert read_sheet('[{"axis": "X", "colour": "red"}, {"colour": "red"}]', as_json=True).ignored == ("colour",)


def test_a_record_number_stands_for_one_reading_only() -> None:
    text = f"{HEAD},record\n" + "X,insulation,5,MOhm,cabinet,U-PE,500,,60,r1\n" * 2 + "\n"
    sheet = read_sheet(text)
    assert [m.record_id for m in sheet.measurements] == ["r1"]
    assert "stands here twice" in sheet.problems[0].reason


def test_everything_else_that_may_stand_in_a_row() -> None:
    text = (
        f"{HEAD},noted,position,insulation_system,range_end,calibration_due,at\n"
        "X,insulation,OL,,cabinet,,500,,60,unsteady flexed,full left,thermoplastic,4000,2027-03-31,2026-11-25\n"
        "X,winding,1.2,Ohm,motor,,,,,,,,60,,2026-11-25T14:05:00-05:00\n"
    )
    sheet = read_sheet(text)
    first, second = sheet.measurements
    assert first.circumstances == {Circumstance.UNSTEADY, Circumstance.FLEXED}
    assert (first.position, first.terminals, second.terminals) == ("full left", "lead-ground", "lead-lead")
    assert first.at is not None
    assert first.at.tzinfo is not None
    assert sheet.contexts["X"].insulation_system is InsulationSystem.THERMOPLASTIC
    meter = sheet.instruments["unnamed"]
    assert meter.range_end == {500: Decimal("4e9"), 0: Decimal("6e7")}
    assert str(meter.calibration_due) == "2027-03-31"


@given(st.text(max_size=300), st.booleans())
def test_no_text_makes_reading_fail_otherwise(text: str, as_json: bool) -> None:
    with contextlib.suppress(SheetError):
        read_sheet(text, as_json=as_json)
    with contextlib.suppress(SheetError):
        read_sheet(f"{HEAD}\n{text}")


# The command.

RUNNER = CliRunner()


def run(*arguments: str) -> tuple[int, str, str]:
    app = typer.Typer()
    app.command()(grade)
    result = RUNNER.invoke(app, list(arguments), env={"COLUMNS": "200"})
    return result.exit_code, result.stdout, result.stderr


def test_command_shows_verdicts_steps_and_the_way_they_were_reached(tmp_path: Path) -> None:
    file = tmp_path / "visit.csv"
    file.write_text(GOOD, encoding="utf-8")
    code, out, _ = run(str(file))
    assert code == 0
    for words in ("the cable is the failed part", "1. Replace the cable", "Decision rule", "5 readings graded"):
        assert words in out


def test_command_names_bad_rows_and_still_grades_the_good_ones(tmp_path: Path) -> None:
    file = tmp_path / "visit.csv"
    file.write_text(GOOD.replace("Y,", "Y,", 1) + "Z,insulation,5,MOHM,cabinet,,500,,60,,,,,,\n", encoding="utf-8")
    code, out, err = run(str(file), "--json")
    assert code == 1
    data = json.loads(out)
    assert [(a["axis"], a["verdict"]) for a in data["axes"]] == [
        ("X", "unacceptable"),
        ("Z", "inconclusive"),
        ("Y", "acceptable"),
    ]
    assert data["left_out"][0]["line"] == 7
    assert "visit.csv, line 7: left out. Unknown unit 'MOHM'" in err
    extra = tmp_path / "extra.csv"
    extra.write_text(GOOD.replace("seconds", "minutes", 1), encoding="utf-8")
    assert "Columns not known and not used: minutes." in run(str(extra))[2]


def test_command_takes_a_shop_profile(tmp_path: Path) -> None:
    file, limits = tmp_path / "visit.json", tmp_path / "shop.toml"
    file.write_text('[{"axis":"X","quantity":"insulation","value":"1.5","unit":"MOhm","section":"cabinet",'
                    '"test_voltage":500,"seconds":60,"accuracy_percent":3}]', encoding="utf-8")  # fmt: skip
    limits.write_text('[limits."insulation.machine"]\nvalue = "2"\n', encoding="utf-8")
    code, out, _ = run(str(file), "--profile", str(limits), "--json")
    assert (code, json.loads(out)["verdict"]) == (0, "unacceptable")
    limits.write_text('[limits."insulation.machine"]\nvalue = "0.2"\n', encoding="utf-8")
    code, _, err = run(str(file), "--profile", str(limits))
    assert (code, "is looser than" in " ".join(err.split())) == (2, True)
    limits.write_text("[", encoding="utf-8")
    assert "is no TOML" in " ".join(run(str(file), "--profile", str(limits))[2].split())


def test_command_refuses_what_it_cannot_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(str(tmp_path / "nothing.csv"))[0] == 2
    latin = tmp_path / "latin.csv"
    latin.write_bytes("axis,quantity,value\nX,résistance,5\n".encode("latin-1"))
    code, _, err = run(str(latin))
    assert (code, "no UTF-8 text" in " ".join(err.split())) == (2, True)
    monkeypatch.setattr("api.commands.grade.MAX_BYTES", 5)
    big = tmp_path / "big.csv"
    big.write_text(GOOD, encoding="utf-8")
    assert "split it" in " ".join(run(str(big))[2].split())


def test_help_documents_every_column() -> None:
    out = run("--help")[1]
    for name in COLUMNS:
        assert name in HELP
        assert name in out
