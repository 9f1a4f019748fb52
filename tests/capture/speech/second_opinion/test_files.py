"""Without the second engine's files, or with damaged ones, everything goes on, and a sentence says what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from capture.speech.errors import SecondOpinionFileUnknown, SecondOpinionMissing
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion import loading
from capture.speech.second_opinion.files import FILES, default_folder, find_files
from capture.speech.second_opinion.pieces import Pieces
from capture.speech.understand import hear_clip

CLIP = Path(__file__).parents[4] / "fixtures" / "visit" / "clips" / "c11.flac"


def test_without_the_files_a_sentence_says_so_and_hearing_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, speech: SpeechModel
) -> None:
    monkeypatch.setenv(loading.SETTING, str(tmp_path))
    assert "setup.sh" in loading.lacking_second_opinion()
    assert loading.second_opinion() is None
    alone = SpeechModel(second=loading.second_opinion())
    assert hear_clip(CLIP.read_bytes(), None, alone) == hear_clip(CLIP.read_bytes(), None, speech)
    with pytest.raises(SecondOpinionMissing, match=r"encoder_model\.ort"):
        find_files(tmp_path)


def test_a_file_that_is_not_the_one_known_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in FILES:
        (tmp_path / name).write_bytes(b"something else")
    with pytest.raises(SecondOpinionFileUnknown, match="SHA-256"):
        find_files(tmp_path)
    monkeypatch.setenv(loading.SETTING, str(tmp_path))
    assert "damaged or another version" in loading.lacking_second_opinion()
    assert loading.second_opinion() is None


def test_one_flipped_bit_is_found(tmp_path: Path) -> None:
    find_files(default_folder())  # the set-up has put them there
    for name in FILES:
        (tmp_path / name).write_bytes((default_folder() / name).read_bytes())
    broken = bytearray((tmp_path / "tokenizer.bin").read_bytes())
    broken[1000] ^= 1
    (tmp_path / "tokenizer.bin").write_bytes(bytes(broken))
    with pytest.raises(SecondOpinionFileUnknown, match=r"tokenizer\.bin"):
        find_files(tmp_path)


def test_turned_off_it_is_off_without_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(loading.SETTING, "OFF")
    assert loading.lacking_second_opinion() == ""
    assert loading.second_opinion() is None


@pytest.mark.parametrize("data", [b"", b"\x05abc", b"\xff", b"\x02ab\x01c"])
def test_what_is_no_list_of_pieces_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="piece"):
        Pieces(data)
