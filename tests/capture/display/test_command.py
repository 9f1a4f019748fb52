"""`ohmtrail see`: tables, JSON lines, folders, files that are no photos."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from api import cli
from api.commands.see import see
from fixtures.training.displays.photo import render, to_jpeg

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
    assert Image.open(out / "good.jpg").size == (800, 600)


def test_a_file_that_is_not_there_is_named_and_the_others_are_read(photos: Path) -> None:
    result = runner.invoke(
        app, ["--json", str(photos / "none.jpg"), str(photos / "notes.txt"), str(photos / "good.jpg")]
    )
    assert result.exit_code == 1
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert [bool(line["displays"]) for line in lines] == [False, False, True]
    assert "no such file" in lines[0]["reason"]
    assert "no photo" in lines[1]["reason"]
    assert "2 of 3 files" in result.stderr


def test_every_line_has_the_promised_keys(photos: Path) -> None:
    result = runner.invoke(app, ["--json", str(photos / "good.jpg")])
    (line,) = [json.loads(line) for line in result.stdout.splitlines()]
    assert set(line) == {"file", "displays", "reason"}
    assert set(line["displays"][0]) == {
        "text", "value", "unit", "qualifier", "secondary", "secondary_seen", "confidence", "accepted", "reason", "quad",
        "doubts", "unit_by_profile",
    }  # fmt: skip


def test_an_empty_folder_is_said(tmp_path: Path) -> None:
    result = runner.invoke(app, [str(tmp_path)])
    assert result.exit_code == 1
    assert "no photo" in result.stderr


def test_pictures_of_one_name_from_two_folders_are_both_annotated(photos: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        (photos / name).mkdir()
        (photos / name / "good.jpg").write_bytes((photos / "good.jpg").read_bytes())
    out = tmp_path / "marked"
    (photos / "broken.jpg").unlink()
    assert runner.invoke(app, ["--annotate", str(out), str(photos)]).exit_code == 0
    assert {path.name for path in out.iterdir()} >= {"good.jpg", "one-good.jpg", "two-good.jpg"}


def test_an_annotated_picture_shows_where_the_display_is(photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "marked"
    result = runner.invoke(app, ["--json", "--annotate", str(out), str(photos / "good.jpg")])
    quad = json.loads(result.stdout.splitlines()[0])["displays"][0]["quad"]
    marked = np.asarray(Image.open(out / "good.jpg").convert("RGB"), int)
    (ax, ay), (bx, by) = quad[0], quad[1]
    for share in (0.3, 0.5, 0.7):  # the line is two pixels wide and lies within a pixel of where it is said to be
        x, y = round(ax + share * (bx - ax)), round(ay + share * (by - ay))
        red, green = (marked[y - 1 : y + 2, x - 1 : x + 2, channel] for channel in (0, 1))
        assert ((green > 120) & (green > red + 60)).any()


def test_a_burst_gives_one_object_with_every_frame_in_it(photos: Path) -> None:
    spec = {**SPEC, "spoil": {"share": 0.4, "yaw": 3}}
    (photos / "again.jpg").write_bytes(to_jpeg(render(spec), spec))
    result = runner.invoke(app, ["--json", "--burst", str(photos / "good.jpg"), str(photos / "again.jpg")])
    assert result.exit_code == 0, result.output
    (line,) = [json.loads(line) for line in result.stdout.splitlines()]
    assert line["displays"][0]["value"] == "12.5"
    assert [Path(frame["file"]).name for frame in line["burst"]] == ["good.jpg", "again.jpg"]
    with_broken = runner.invoke(app, ["--json", "--burst", str(photos / "good.jpg"), str(photos / "broken.jpg")])
    assert with_broken.exit_code == 1
    line = json.loads(with_broken.stdout.splitlines()[0])
    assert line["displays"][0]["value"] == "12.5"
    assert "damaged" in line["burst"][1]["reason"]


def test_a_profile_refuses_what_the_meter_cannot_show(photos: Path) -> None:
    own = photos / "own.toml"
    own.write_text('name = "own"\n[[range]]\nunit = "V"\ntop = "9.99"\n', "utf-8")
    result = runner.invoke(app, ["--json", "--profile", str(own), str(photos / "good.jpg")])
    assert result.exit_code == 0
    display = json.loads(result.stdout.splitlines()[0])["displays"][0]
    assert display["accepted"] is False
    assert "cannot show 12.5 V" in display["reason"]
    wrong = runner.invoke(cli.app, ["see", "--profile", "nonsense", str(photos / "good.jpg")])
    assert wrong.exit_code != 0
