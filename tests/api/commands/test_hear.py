"""`ohmtrail hear`: sound files in, a table or JSON lines out, every bad file named and the others heard."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from api.commands.hear import hear, read_phrases
from tests.capture.speech.recordings import clip, written

CLIPS = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"
program = typer.Typer()
program.command()(hear)


def run(*arguments: str | Path) -> tuple[int, str, str]:
    result = CliRunner().invoke(program, [str(argument) for argument in arguments])
    return result.exit_code, result.stdout, result.stderr


def test_json_has_one_object_a_line_with_the_promised_keys() -> None:
    code, out, _ = run("--json", CLIPS / "c11.flac", CLIPS / "c12.flac")
    assert code == 0
    lines = [json.loads(line) for line in out.splitlines()]
    assert len(lines) == 2
    keys = {"file", "text", "words", "reading", "command", "alternatives", "superseded", "confidence", "doubts"}
    assert all(set(line) == keys for line in lines)
    reading, command = lines
    assert (reading["reading"]["value"], reading["reading"]["unit"]) == ("4000", "MOhm")
    assert reading["reading"]["qualifier"] == ">"
    assert set(reading["words"][0]) == {"word", "start", "end", "confidence"}
    assert " ".join(word["word"] for word in reading["words"]) == reading["text"]
    assert (command["command"], command["reading"]) == ("confirm", None)


def test_a_bad_file_is_named_and_the_others_are_heard(tmp_path: Path) -> None:
    bad = tmp_path / "note.txt"
    bad.write_text("not a sound")
    code, out, _ = run("--json", bad, CLIPS / "c12.flac", tmp_path / "gone.wav")
    assert code == 1
    first, second, third = (json.loads(line) for line in out.splitlines())
    assert "Record" in first["error"]
    assert (first["reading"], first["words"]) == (None, [])
    assert second["command"] == "confirm"
    assert "gone.wav" in third["error"]


def test_the_table_names_file_words_and_meaning() -> None:
    code, out, _ = run(CLIPS / "c12.flac")
    assert code == 0
    assert "c12.flac" in out
    assert "confirm" in out


def test_a_list_of_phrases_restricts_what_is_heard(tmp_path: Path) -> None:
    phrases = tmp_path / "phrases.txt"
    phrases.write_text("# only these\nConfirm\n\nnegative\n", "utf-8")
    assert read_phrases(phrases) == ["confirm", "negative"]
    code, out, _ = run("--json", "--phrases", phrases, CLIPS / "c12.flac")
    assert code == 0
    assert json.loads(out)["text"] == "confirm"


def test_a_list_of_words_allows_any_sequence_of_them(tmp_path: Path) -> None:
    """Digits in a row, which are no reading; which digits this voice seems to say is for the benchmarks to measure."""
    words, sound = tmp_path / "words.txt", tmp_path / "digits.wav"
    digits = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    words.write_text("\n".join(digits), "utf-8")
    subprocess.run(["espeak-ng", "-v", "en-us", "-s", "120", "-w", sound, "7, 3, 6, 1"], check=True)
    code, out, _ = run("--json", "--words", words, sound, CLIPS / "c01.flac")
    assert code == 0
    said, talk = (json.loads(line)["text"].split() for line in out.splitlines())
    assert len(said) == 4
    assert said[:2] == ["seven", "three"]
    assert set(said) | set(talk) <= set(digits)


def test_phrases_and_words_together_are_refused(tmp_path: Path) -> None:
    listed = tmp_path / "list.txt"
    listed.write_text("confirm\n", "utf-8")
    code, _, err = run("--words", listed, "--phrases", listed, CLIPS / "c12.flac")
    assert code == 2
    assert "--phrases or --words" in err


@pytest.mark.parametrize("text", [b"", b"# nothing\n", b"\xff\xfe\x00"])
def test_a_useless_list_of_phrases_is_refused(tmp_path: Path, text: bytes) -> None:
    phrases = tmp_path / "phrases.txt"
    phrases.write_bytes(text)
    code, _, err = run("--phrases", phrases, CLIPS / "c12.flac")
    assert code == 2
    assert "one phrase a line" in err or "one a line" in err


def test_a_missing_model_is_refused(tmp_path: Path) -> None:
    code, _, err = run("--model", tmp_path / "nowhere", CLIPS / "c12.flac")
    assert code == 2
    assert "No speech model" in err


def test_a_long_recording_gives_a_row_for_each_utterance(tmp_path: Path) -> None:
    file = tmp_path / "visit.webm"
    pause = np.zeros(5 * 16_000, np.float32)
    said = ["c02.flac", "c03.flac"] * 5
    file.write_bytes(written(np.concatenate([part for name in said for part in (clip(name), pause)]), "webm"))
    code, out, _ = run("--json", file)
    assert code == 0
    rows = [json.loads(line) for line in out.splitlines()]
    heard = [row["command"] or row["reading"]["value"] for row in rows]
    assert heard == ["1.21", "confirm"] * 5
    assert [row["start_s"] for row in rows] == sorted(row["start_s"] for row in rows)
    _, table, _ = run(file)
    assert "0:00:" in table


def test_a_long_recording_that_breaks_off_gives_what_was_heard_and_says_so(tmp_path: Path) -> None:
    file = tmp_path / "cut.flac"
    pause = np.zeros(30 * 16_000, np.float32)
    whole = written(np.concatenate([clip("c02.flac"), pause, pause, pause, clip("c02.flac")]), "flac")
    file.write_bytes(whole[: len(whole) - 20_000])
    code, out, _ = run("--json", file)
    assert code == 1
    rows = [json.loads(line) for line in out.splitlines()]
    assert rows[0]["reading"]["value"] == "1.21"
    assert "again" in rows[-1]["error"]
