"""Exports, checked by others: the reference of BagIt, `sha256sum`, the enclosed verifier without Ohmtrail, openssl."""

from __future__ import annotations

import base64
import csv
import io
import json
import shutil
import subprocess
import sys
import wave
from pathlib import Path

import bagit
import pytest
from PIL import Image

from api.exchange.bag import open_bag
from api.exchange.errors import ExportExists
from api.exchange.export import export_job
from api.exchange.record_table import COLUMNS
from api.exchange.reduce import MARGIN_S
from api.exchange.verify_bag import verify_bag
from api.ledger.verify import verify_folder
from api.workspace import Workspace
from tests.api.exchange.makers import LENGTH_S, OTHER_CUSTOMER, POSITION
from tests.api.report.parsed import one, parse, text


def enclosed(bag: Path, *more: str) -> subprocess.CompletedProcess[str]:
    """Run the enclosed verifier in a Python without any package, ours included."""
    command = [sys.executable, "-S", "-E", "check.py", ".", *more]
    return subprocess.run(command, cwd=bag, capture_output=True, text=True, check=False, env={})


@pytest.mark.parametrize("name", ["bag", "reduced"])
def test_others_find_it_whole(exported: Path, name: str) -> None:
    bag = exported / name
    bagit.Bag(str(bag)).validate()
    sums = ["sha256sum", "--check", "--strict", "--quiet", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
    assert subprocess.run(sums, cwd=bag, check=False).returncode == 0
    ended = enclosed(bag)
    assert (ended.returncode, ended.stderr, ended.stdout.splitlines()[-1]) == (0, "", "INTACT"), ended.stdout
    with open_bag(bag) as opened:
        assert verify_bag(opened).problems == []


def test_the_enclosed_verifier_stands_alone_and_is_short(exported: Path) -> None:
    for name in ("check.py", "ed25519.py"):
        text = (exported / "bag" / name).read_text()
        assert len(text.splitlines()) < 200
        assert "api" not in text.replace("capital", "")
    with_no_packages = [sys.executable, "-S", "-E", "-c", "import cryptography"]
    assert subprocess.run(with_no_packages, capture_output=True, check=False, env={}).returncode != 0


def test_the_signature_is_one_for_openssl(exported: Path, tmp_path: Path) -> None:
    head = json.loads((exported / "bag" / "data" / "tree-head.json").read_text())
    signature = bytes.fromhex(head.pop("signature"))
    text = json.dumps(head, sort_keys=True, separators=(",", ":")).encode()
    for name, data in (("text", text), ("signature", signature), ("changed", text + b" ")):
        (tmp_path / name).write_bytes(data)
    key = str(exported / "bag" / "data" / "public-key.pem")

    def holds(name: str) -> bool:
        command = [
            "openssl",
            "pkeyutl",
            "-verify",
            "-pubin",
            "-inkey",
            key,
            "-rawin",
            "-in",
            name,
            "-sigfile",
            "signature",
        ]
        return subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode == 0

    assert holds("text")
    assert not holds("changed")


def test_the_zip_holds_the_same_payload(exported: Path, tmp_path: Path) -> None:
    shutil.unpack_archive(exported / "bag.zip", tmp_path)
    assert enclosed(tmp_path / "bag").returncode == 0
    for name in ("data/trail.jsonl", "data/records.csv"):
        assert (tmp_path / "bag" / name).read_bytes() == (exported / "bag" / name).read_bytes()


def test_another_customer_is_in_no_export(exported: Path) -> None:
    for path in (exported / "bag").rglob("*"):
        if path.is_file():
            assert OTHER_CUSTOMER.encode() not in path.read_bytes(), path


def test_the_table_is_as_its_schema_says(exported: Path) -> None:
    """Hold the table to Table Schema 1: names and order of the header are those of the fields, ids are unique."""
    data = exported / "bag" / "data"
    package = json.loads((data / "datapackage.json").read_text())
    fields = [field["name"] for field in package["resources"][0]["schema"]["fields"]]
    rows = list(csv.DictReader(io.StringIO((data / "records.csv").read_text(), newline="")))
    assert list(rows[0]) == fields == [*COLUMNS, "status", "entry"]
    assert len({row["id"] for row in rows}) == len(rows) == 2
    assert [row["value"] for row in rows] == ["1.08", "550"]
    for row in rows:
        assert next((data / "evidence").glob(f"{row['clip_sha256']}.*")).is_file()


def test_a_printed_hash_is_found_or_not(exported: Path) -> None:
    row = json.loads((exported / "bag" / "data" / "proof.json").read_text())["reports"][0]
    assert "that of entry" in enclosed(exported / "bag", row["hash"]).stdout
    missed = enclosed(exported / "bag", "0" * 64)
    assert (missed.returncode, "is not in this trail" in missed.stdout) == (1, True)


def test_a_reduced_export_holds_no_position_and_only_the_words(exported: Path) -> None:
    reduced, whole = exported / "reduced" / "data" / "evidence", exported / "bag" / "data" / "evidence"
    assert any(POSITION in path.read_bytes() for path in whole.iterdir()), "the original says where it was taken"
    for path in reduced.iterdir():
        data = path.read_bytes()
        assert POSITION not in data
        if path.suffix == ".wav":
            with wave.open(io.BytesIO(data)) as clip:
                assert clip.getnframes() / 16_000 == pytest.approx(0.5 + 2 * MARGIN_S) != LENGTH_S
        else:
            assert not Image.open(io.BytesIO(data)).getexif()
    told = enclosed(exported / "reduced").stdout
    assert told.count("derived; original") == len(list(reduced.iterdir())) == 7
    assert (verify_folder(exported / "data").problems, verify_folder(exported / "data").notes) == ([], [])


def test_a_reduced_export_encloses_a_report_of_its_own_files(exported: Path) -> None:
    data = exported / "reduced" / "data"
    (report,) = (data / "reports").iterdir()
    page = parse(report.read_bytes())
    assert "This report was made for a reduced export" in text(one(page, "#s-reduced"))
    played = [base64.b64decode(str(tag["src"]).partition(",")[2]) for tag in page.select("audio")]
    assert played
    enclosed_files = {path.read_bytes() for path in (data / "evidence").iterdir()}
    assert all(clip in enclosed_files for clip in played), "clips play from what is enclosed"
    pictures = [base64.b64decode(str(tag["src"]).partition(",")[2]) for tag in page.select("img")]
    assert pictures
    assert not any(POSITION in picture or Image.open(io.BytesIO(picture)).getexif() for picture in pictures)
    whole = {path.read_bytes() for path in (exported / "bag" / "data" / "reports").iterdir()}
    assert report.read_bytes() not in whole


def test_the_report_shows_no_position(exported: Path) -> None:
    assert POSITION not in next((exported / "bag" / "data" / "reports").iterdir()).read_bytes()


def test_nothing_is_replaced_and_nothing_left_behind(exported: Path, tmp_path: Path) -> None:
    workspace = Workspace.attach(exported / "data")
    (tmp_path / "there").write_text("x")
    with pytest.raises(ExportExists):
        export_job(workspace.database, workspace.evidence, workspace.reports, "J1", tmp_path / "there")
    with pytest.raises(Exception, match="J9"):
        export_job(workspace.database, workspace.evidence, workspace.reports, "J9", tmp_path / "none")
    workspace.close()
    assert [path.name for path in tmp_path.iterdir()] == ["there"]


def test_each_value_has_its_way_in_a_line_and_in_prov(exported: Path) -> None:
    data = exported / "bag" / "data"
    lines = (data / "provenance.txt").read_text().splitlines()
    assert [line.split(":")[0] for line in lines] == ["J1-R1", "J1-R2"]
    for row, line in zip(json.loads((data / "records.json").read_text()), lines, strict=True):
        for part in (row["clip_sha256"][:12], "1.00 to 1.50 s", row["proposal_id"], row["confirmed_by"], "graded in"):
            assert part in line
    assert "correct by" in lines[1]
    prov = json.loads((data / "provenance.json").read_text())
    known = prov["entity"].keys() | prov["activity"].keys() | prov["agent"].keys()
    for kind in ("used", "wasGeneratedBy", "wasDerivedFrom", "wasAssociatedWith", "wasAttributedTo"):
        for relation in prov[kind].values():
            assert set(relation.values()) <= known, relation
    reached, waiting = set(), ["ot:J1-R1"]
    steps = [(r["prov:generatedEntity"], r["prov:usedEntity"]) for r in prov["wasDerivedFrom"].values()]
    made = {r["prov:entity"]: r["prov:activity"] for r in prov["wasGeneratedBy"].values()}
    uses = [(r["prov:activity"], r["prov:entity"]) for r in prov["used"].values()]
    while waiting:
        here = waiting.pop()
        reached.add(here)
        waiting += [to for start, to in (*steps, *made.items(), *uses) if start == here and to not in reached]
    clip = json.loads((data / "records.json").read_text())[0]["clip_sha256"]
    assert f"sha256:{clip}" in reached, "the record leads back to its clip"
