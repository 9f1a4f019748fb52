"""The table as CSV and the short text: every value and verdict, units and limits, in forms that other programs read."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli import app
from api.report.build import read_content
from api.report.content import Report
from api.report.short import short_text
from api.report.table import COLUMNS, evidence_csv, table_csv
from api.visit.readings import reading_of
from api.visit.records import all_records
from grading.terms.quantity import UnitError
from tests.api.report import sample, visit


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[visit.Visit]:
    found = visit.make(tmp_path_factory.mktemp("visit"))
    yield found
    found.workspace.close()


@pytest.fixture(scope="module")
def report(made: visit.Visit) -> Report:
    with made.database.read() as session:
        return read_content(session, made.store.read, made.job_id)


def lines(data: bytes) -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf"), "spreadsheets tell UTF-8 by its mark"
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_table_holds_every_record_with_its_value_in_ohms(made: visit.Visit, report: Report) -> None:
    found = {line["record"]: line for line in lines(table_csv(report))}
    with made.database.read() as session:
        records = {r.id: r.row for r in all_records(session, made.job_id)}
    assert set(found) == set(records)
    for record_id, row in records.items():
        quantity = reading_of(row).quantity
        assert found[record_id]["value_as_shown"] == quantity.display()
        try:
            ohms = quantity.in_unit("Ohm")
        except UnitError:
            ohms = None
        assert (Decimal(found[record_id]["ohms"]) if found[record_id]["ohms"] else None) == ohms
        assert found[record_id]["taken_at"] == row.captured_at
    assert found["J1-R1"]["state"] == "replaced"
    assert found["J1-R5"]["bound"] == "above"
    assert found["J1-R2"]["bound"] == "equal"


def test_each_limit_has_a_line_with_its_source_and_result(report: Report) -> None:
    found = lines(table_csv(report))
    low = next(line for line in found if line["record"] == "J1-R2")
    assert (low["limit"], low["source"], low["how_sure"], low["result"]) == (
        "at least 1 MΩ, as measured", "IEC 60204-1, 18.3", "quoted", "not met"
    )  # fmt: skip
    assert len(found) == sum(max(1, len(v.limits)) for v in report.values)


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-2", "@SUM(A1)"])
def test_text_is_no_formula(text: str) -> None:
    # OWASP, "CSV Injection": cells that begin with =, +, - or @ are run by spreadsheets.
    (line,) = lines(table_csv(sample.report(sample.value(confirmed_by=text))))
    assert line["confirmed_by"] == f"'{text}"


def test_quotes_commas_and_lines_stay_one_cell() -> None:
    (line,) = lines(table_csv(sample.report(sample.value(instrument='a "b", c'))))
    assert line["instrument"] == 'a "b", c'
    assert set(line) == set(COLUMNS)


def test_evidence_is_listed_with_its_hash(report: Report) -> None:
    assert [line["sha256"] for line in lines(evidence_csv(report))] == [e.sha256 for e in report.exhibits]


def test_the_short_form_says_what_page_one_says(report: Report) -> None:
    said = short_text(report).decode()
    for axis in report.axes:
        assert f"{axis.name}: {axis.verdict.text}" in said
        assert axis.headline in said
        assert all(action in said for action in axis.actions)
        assert all(left in said for left in axis.not_tested)
    assert "Nothing here says that something is safe to touch" in said
    assert report.proof.head in said
    assert said.endswith(f"END of report {report.number}\n")


@pytest.mark.parametrize(
    ("arguments", "name", "starts"),
    [
        (["--as", "html"], "report-J1.html", b"<!doctype html>"),
        (["--as", "pdf"], "report-J1.pdf", b"%PDF-1.7"),
        (["--as", "pdf", "--paper", "letter"], "report-J1-letter.pdf", b"%PDF-1.7"),
        (["--as", "short"], "report-J1-short.txt", b"Servo axis"),
        (["--as", "csv"], "report-J1.csv", b"\xef\xbb\xbfreport,"),
    ],
)
def test_one_command_each(made: visit.Visit, arguments: list[str], name: str, starts: bytes) -> None:
    result = CliRunner().invoke(app, ["report", "J1", "--data", str(made.workspace.folder), *arguments])
    assert result.exit_code == 0, result.output
    place = made.workspace.folder / name
    assert place.read_bytes().startswith(starts)
    assert str(place.resolve()) in result.output.replace("\n", "")


def test_files_lie_beside_the_report(made: visit.Visit, report: Report, tmp_path: Path) -> None:
    command = ["report", "J1", "--data", str(made.workspace.folder), "--files", "--out", str(tmp_path / "r.html")]
    assert CliRunner().invoke(app, command).exit_code == 0
    found = {path.name: path.read_bytes() for path in (tmp_path / "r-files").iterdir()}
    assert found == {e.file: made.store.read(e.sha256) for e in report.exhibits}


def test_a_logo_stands_on_page_one(made: visit.Visit, tmp_path: Path) -> None:
    (tmp_path / "logo.jpg").write_bytes(sample.jpeg(200, 80))
    command = ["report", "J1", "--data", str(made.workspace.folder), "--logo", str(tmp_path / "logo.jpg")]
    assert CliRunner().invoke(app, [*command, "--out", str(tmp_path / "r.html")]).exit_code == 0
    assert b'class="logo"' in (tmp_path / "r.html").read_bytes()
