"""`ohmtrail export`, `import`, `witness`, `keys` and `verify`, one after the other, as somebody types them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.cli import app
from tests.api.proof.test_witness import server, service

__all__ = ["server", "service"]


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.output


@pytest.fixture
def data(sealed_visit: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sealed_visit, tmp_path / "data"))


def test_from_export_to_import(data: Path, tmp_path: Path) -> None:
    code, said = run("export", "J1", tmp_path / "bag.zip", "--data", data)
    assert (code, "2 records" in said, "check.py" in said) == (0, True, True)
    assert run("import", tmp_path / "bag.zip", "--look", "--data", tmp_path / "shop")[0] == 0
    code, said = run("import", tmp_path / "bag.zip", "--data", tmp_path / "shop")
    assert (code, "2 records, intact" in said) == (0, True)
    digits = said.split()[-1]
    assert digits[:16] in run("import", "--list", "--data", tmp_path / "shop")[1]
    assert run("export", digits, tmp_path / "back.zip", "--imported", "--data", tmp_path / "shop")[0] == 0
    assert (tmp_path / "back.zip").read_bytes() == (tmp_path / "bag.zip").read_bytes()
    shutil.unpack_archive(tmp_path / "bag.zip", tmp_path / "unpacked")
    records = tmp_path / "unpacked" / "bag" / "data" / "records.csv"
    records.write_bytes(records.read_bytes().replace(b"1.08", b"7.08"))
    code, said = run("import", tmp_path / "unpacked" / "bag", "--look", "--data", tmp_path / "shop")
    assert (code, "NOT VERIFIED data/records.csv was changed." in said) == (1, True)


def test_from_key_to_verification(data: Path, tmp_path: Path, server: str, service: Path) -> None:
    assert "signs now" in run("keys", "--public", tmp_path / "key.pem", "--data", data)[1]
    assert (tmp_path / "key.pem").read_text().startswith("-----BEGIN PUBLIC KEY-----")
    assert "endorsed by the one before; signs now" in run("keys", "--rotate", "--data", data)[1]
    code, said = run("witness", "--head", tmp_path / "head.json", "--server", server, "--data", data)
    assert (code, "stamped at" in said) == (0, True)
    code, said = run(
        "witness", "--sign", tmp_path / "head.json", "--out", tmp_path / "signed", "--by", "Second shop", "--data",
        tmp_path / "shop",
    )  # fmt: skip
    assert code == 0
    assert "witnessed" in run("witness", "--add", tmp_path / "signed", "--data", data)[1]
    code, said = run("verify", "--head", tmp_path / "head.json", "--trust", service / "root.pem", "--data", data)
    assert code == 0
    for word in ("by a time-stamp.", "were seen by Second shop", "head.json: entries 1 to", "not proved:", "in words"):
        assert word in said, word
    assert run("verify", "--hash", "0" * 64, "--data", data)[0] == 1
    words = next(line for line in said.splitlines() if line.startswith("Head in words")).rpartition(", ")[2]
    for typed in (("--words", words), words.split()):
        code, said = run("verify", *typed, "--data", data)
        assert code == 0
        assert "are found at entry" in said


def test_a_time_stamp_by_file(data: Path, tmp_path: Path, service: Path) -> None:
    from tests.api.proof.test_witness import stamp

    assert run("witness", "--request", tmp_path / "head.tsq", "--data", data)[0] == 0
    (tmp_path / "head.tsr").write_bytes(stamp(service, (tmp_path / "head.tsq").read_bytes()))
    assert "stamped at" in run("witness", "--add", tmp_path / "head.tsr", "--data", data)[1]
    assert run("verify", "--data", data)[0] == 0
