"""A missing, incomplete or damaged model gives one clear error; a foreign one is used as far as it goes."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from capture.errors import ModelError
from capture.language.say import ONES
from capture.language.vocabulary import WORDS
from capture.reading import Command
from capture.speech.hearing import quiet
from capture.speech.model_files import MODEL_SETTING, default_model_path, whole_graph
from capture.speech.recogniser import SpeechModel, speech_model
from capture.speech.understand import hear_clip

SHIPPED = default_model_path()
FIXTURES = Path(__file__).parents[3] / "fixtures" / "visit"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    target = tmp_path / "model"
    shutil.copytree(SHIPPED, target)
    for file in target.rglob("*"):
        file.chmod(0o755 if file.is_dir() else 0o644)
    return target


def refused(path: Path) -> str:
    with pytest.raises(ModelError) as caught:
        SpeechModel(path)
    assert str(path) in str(caught.value)
    assert str(caught.value).endswith(".")
    return caught.value.code


def test_no_directory(tmp_path: Path) -> None:
    assert refused(tmp_path / "nowhere") == "model_missing"


def test_an_empty_directory_names_what_it_lacks(tmp_path: Path) -> None:
    assert refused(tmp_path) == "model_incomplete"
    with pytest.raises(ModelError, match=r"am/final\.mdl.*words\.txt"):
        SpeechModel(tmp_path)


@pytest.mark.parametrize("name", ["am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/words.txt"])
@pytest.mark.parametrize("how", ["gone", "empty", "cut", "noise"])
def test_each_file_missing_or_damaged(copy: Path, name: str, how: str) -> None:
    """Vosk 0.3.45 ends the process over a damaged HCLr.fst, so this must be caught before it sees the file."""
    file = copy / name
    whole = file.read_bytes()
    if how == "gone":
        file.unlink()
    else:
        file.write_bytes({"empty": b"", "cut": whole[: len(whole) // 2], "noise": bytes(range(256)) * 8}[how])
    assert refused(copy) == ("model_incomplete" if how == "gone" else "model_damaged")


def test_the_graph_check_knows_a_whole_graph_from_a_cut_one(tmp_path: Path) -> None:
    graph = SHIPPED / "graph/HCLr.fst"
    assert whole_graph(graph)
    cut = tmp_path / "cut.fst"
    cut.write_bytes(graph.read_bytes()[:-100])
    assert not whole_graph(cut)


def test_a_foreign_model_with_fewer_words_names_what_cannot_be_said(copy: Path) -> None:
    words = copy / "graph/words.txt"
    lines = words.read_text("utf-8").splitlines()
    dropped = {"seventy", "dead_short", "spindle"}
    kept = [line for line in lines if line.split()[0] not in dropped]
    assert len(lines) - len(kept) == len(dropped)
    words.write_text("\n".join(kept) + "\n", "utf-8")
    model = SpeechModel(copy)
    assert set(model.missing_words) == dropped
    said = model.describe_missing()
    assert all(word in said for word in ("seventy", '"dead short"', "spindle"))
    assert not any("seventy" in line.split() for line in model.grammar.phrases)


def test_a_model_of_few_words_is_used_for_what_it_knows_and_the_rest_is_named_by_kind(copy: Path) -> None:
    """A vocabulary of digits, one unit and one command: everything else is named at start, and nothing is guessed."""
    few = {*ONES, "point", "megohms", "confirm", "<eps>", "[unk]", "#0"}
    words = copy / "graph/words.txt"
    lines = words.read_text("utf-8").splitlines()
    # Numbers stay as they are, since the graph holds them; a word without a name can then not be asked for.
    words.write_text("".join(f"{line}\n" for line in lines if line.split()[0] in few), "utf-8")
    model = SpeechModel(copy)
    assert set(model.missing_words) == set(WORDS) - few - {"niner"}  # which can be said "nine"
    told = model.describe_missing()
    assert f"So {len(model.missing_words)} things cannot be said to it" in told
    for kind in ("unit: ", "command: ", "axis: ", "teen: ", '"scratch that"', '"kilohms"', '"thirteen"'):
        assert kind in told
    assert '"confirm"' not in told
    assert '"megohms"' not in told
    allowed = few - {"<eps>", "#0"}
    assert {word for line in model.grammar.phrases for word in line.split()} <= allowed
    truth = json.loads((FIXTURES / "truth.json").read_text("utf-8"))["clips"]
    confirm = next(clip for clip in truth if clip["words"] == "confirm")
    other = next(clip for clip in truth if clip["words"].endswith("o_l"))
    heard = hear_clip((FIXTURES / confirm["file"]).read_bytes(), None, model)
    assert heard.command is Command.CONFIRM
    assert hear_clip((FIXTURES / other["file"]).read_bytes(), None, model).readings == ()


def test_a_foreign_model_without_joined_words_is_told_the_plain_ones(copy: Path) -> None:
    """Its word for ground stands alone; "to ground" is then two words to it and still one test point to the parser."""
    words = copy / "graph/words.txt"
    text = words.read_text("utf-8")
    words.write_text(text.replace("\nto_ground ", "\nground "), "utf-8")
    model = SpeechModel(copy)
    assert "to_ground" not in model.missing_words
    assert any("to ground" in line for line in model.grammar.phrases)


def test_a_model_that_takes_no_grammar_is_used_without_one(copy: Path) -> None:
    """Large models come with a fixed HCLG graph; ours without its grammar is such a graph: any word after any other."""
    (copy / "graph/HCLr.fst").rename(copy / "graph/HCLG.fst")
    (copy / "graph/Gr.fst").unlink()
    model = SpeechModel(copy)
    assert model.fixed_graph
    assert not SpeechModel(SHIPPED).fixed_graph
    assert model.hear(quiet(1.0)).text in ("", "[unk]")


def test_a_model_of_another_language_is_refused(copy: Path) -> None:
    words = copy / "graph/words.txt"
    lines = [line.split() for line in words.read_text("utf-8").splitlines()]
    words.write_text("".join(f"wort{number} {number}\n" for _, number in lines), "utf-8")
    assert refused(copy) == "model_vocabulary"


def test_the_setting_names_another_model(copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(MODEL_SETTING, str(copy))
    assert default_model_path() == copy
    assert SpeechModel().path == copy
    monkeypatch.delenv(MODEL_SETTING)
    assert default_model_path().parts[-3:] == ("capture", "speech", "model")


def test_a_model_is_loaded_once(copy: Path) -> None:
    assert speech_model(copy) is speech_model(copy)
