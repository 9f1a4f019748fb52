"""What a report proves: its signed head, read off the paper again, lies on the trail; each value's way is told.

The QR code is read back by another library (OpenCV's decoder) from the page as pdfium draws it.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from api.ledger.tables import TrailEntryRow
from api.ledger.verification.witnesses import Outside
from api.ledger.verify import verify_folder
from api.proof.witness import read_head_text
from api.proof.words import words_of
from api.report.build import build_report, read_content
from api.report.issued import Form, Wanted
from api.visit.records import all_records
from tests.api.report import visit
from tests.api.report.parsed import attr, one, parse, section, text


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[visit.Visit]:
    found = visit.make(tmp_path_factory.mktemp("visit"))
    yield found
    found.database.close()


def test_the_head_is_read_off_the_paper_and_lies_on_the_trail(made: visit.Visit) -> None:
    row = made.workspace.make_report(made.job_id, Wanted(Form.PDF))
    page = pypdfium2.PdfDocument(io.BytesIO(made.workspace.reports.read(row.sha256)))[0]
    # 400 dots an inch, as an office scanner gives it (a PDF point is 1/72 inch)
    picture = np.array(page.render(scale=400 / 72).to_pil().convert("L"))
    # OpenCV's other detector loses one code in five, whatever its size.
    said, _, _ = cv2.QRCodeDetectorAruco().detectAndDecode(picture[:, picture.shape[1] // 2 :])
    head = read_head_text("page one", said)
    assert (head.size, head.hash) == (row.trail_seq, row.trail_hash)
    found = verify_folder(made.workspace.folder, outside=Outside(heads=(("page one", head),)))
    assert not found.problems
    assert any(f"entries 1 to {head.size}" in sentence for sentence in found.witnesses)
    words = " ".join(page.get_textpage().get_text_bounded().split())
    assert words_of(head.root) in words
    with made.database.read() as session:
        entry = session.get_one(TrailEntryRow, row.trail_seq + 1)
    assert json.loads(entry.body)["note"]["tree_head"] == head.to_json(), "the trail keeps what the paper says"


def test_the_same_records_and_key_give_the_same_bytes(made: visit.Visit) -> None:
    with made.database.read() as session:
        first, again = (
            build_report(session, made.store, made.job_id, key=made.database.signing_key()) for _ in range(2)
        )
    assert first == again


def test_each_value_has_its_way(made: visit.Visit) -> None:
    with made.database.read() as session:
        page = parse(build_report(session, made.store, made.job_id, key=made.database.signing_key()))
        records = {record.id: record.row for record in all_records(session, made.job_id)}
    ways = {attr(item, "data-way"): text(item) for item in section(page, "s-evidence").select(".ways li")}
    assert set(ways) == set(records)
    for number, record in records.items():
        for sha in filter(None, (record.clip_sha256, record.photo_sha256)):
            assert sha[:12] in ways[number]
        assert f"confirmed by {record.confirmed_by}, spoken, 2026-11-24 09:" in ways[number]
    assert "superseded by J1-R2" in ways["J1-R1"]


def test_without_a_key_it_says_that_nothing_signed_it(tmp_path: Path) -> None:
    made = visit.make(tmp_path)
    with made.database.read() as session:
        content = read_content(session, made.store.read, made.job_id)
        page = parse(build_report(session, made.store, made.job_id))
    made.database.close()
    assert content.proof.words == ""
    assert "It is not signed: the signing key is not there" in text(one(page, ".signed"))
