"""`ohmtrail see`: tables, JSON lines, folders, files that are no photos."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from api.commands.see import see
from fixtures.displays.photo import render, to_jpeg

app = typer.Typer()
app.command()(see)
runner = CliRunner()

SPEC = {
    "seed": 21,
    "style": "panel_green",
    "shows": {"main": "12.5", "unit": "V"},
    "spoil": {"share": 0.4},
    "size": (800, 600),
}


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    (tmp_path / "good.jpg").write_bytes(to_jpeg(render(SPEC), SPEC))
    (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 nothing more")
    (tmp_path / "notes.txt").write_text("not picked up from a folder")
    return tmp_path


def test_json_lines_for_a_folder_and_exit_code(photos: Path) -> None:
    result = runner.invoke(app, ["--json", str(photos)])
    assert result.exit_code == 1
    lines = [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]
    assert [Path(line["file"]).name for line in lines] == ["broken.jpg", "good.jpg"]
    broken, good = lines
    assert broken["displays"] == []
    assert "damaged" in broken["reason"]
    display = good["displays"][0]
    assert (display["value"], display["unit"], display["qualifier"], display["accepted"]) == ("12.5", "V", "=", True)
    assert set(display["confidence"]) == {"value", "dot", "unit"}
    assert len(display["quad"]) == 4


def test_table_says_the_reading(photos: Path) -> None:
    result = runner.invoke(app, [str(photos / "good.jpg")])
    assert result.exit_code == 0
    assert "12.5 V" in result.stdout


def test_annotated_pictures_are_written(photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "marked"
    assert runner.invoke(app, ["--annotate", str(out), str(photos / "good.jpg")]).exit_code == 0
    assert Image.open(out / "good.png").size == (800, 600)


def test_unknown_file_is_an_error(tmp_path: Path) -> None:
    assert runner.invoke(app, [str(tmp_path / "none.jpg")]).exit_code == 2
