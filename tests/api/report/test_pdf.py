"""The PDF: same bytes, tagged PDF/A-3 with the evidence attached, every value of the records and no other.

The structure is read by pikepdf (qpdf) and the text by pdfium, neither of which made the file. No PDF/A validator is
to be had from a registry that this project uses, so what ISO 19005-3 asks for is checked by hand, clause by clause
(clauses from memory).
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterator

import pikepdf
import pypdfium2
import pytest

from api.assessment.grade_job import job_verdict
from api.ledger.tables import RecordRow
from api.report.build import read_content
from api.report.content import Report
from api.report.pdf import pdf_of
from api.report.render import LONG
from api.visit.readings import reading_of
from api.visit.records import all_records
from grading.finding import plain
from tests.api.report import sample, visit

A4, LETTER = (595, 842), (612, 792)  # points: ISO 216; ANSI/ASME Y14.1
OHMS = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?) ?(GΩ|MΩ|kΩ|Ω)")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[visit.Visit]:
    found = visit.make(tmp_path_factory.mktemp("visit"))
    yield found
    found.database.close()


@pytest.fixture(scope="module")
def report(made: visit.Visit) -> Report:
    with made.database.read() as session:
        return read_content(session, made.store.read, made.job_id)


@pytest.fixture(scope="module")
def data(made: visit.Visit, report: Report) -> bytes:
    return pdf_of(report, made.store.read)


@pytest.fixture(scope="module")
def document(data: bytes) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(data)) as found:
        yield found


@pytest.fixture(scope="module")
def said(data: bytes) -> str:
    return text_of(data)


def text_of(data: bytes) -> str:
    """Give the text of every page as pdfium reads it, with every run of space as one."""
    document = pypdfium2.PdfDocument(data)
    pages = [document[i].get_textpage().get_text_bounded() for i in range(len(document))]
    return " ".join(" ".join(pages).split())


@pytest.fixture(scope="module")
def records(made: visit.Visit) -> dict[str, RecordRow]:
    with made.database.read() as session:
        return {record.id: record.row for record in all_records(session, made.job_id)}


def test_the_same_content_gives_the_same_bytes(made: visit.Visit, report: Report, data: bytes) -> None:
    assert pdf_of(report, made.store.read) == data
    assert pdf_of(sample.report(), sample.read_file) != pdf_of(
        sample.report(sample.value(shown="0.81 MΩ")), sample.read_file
    )


def test_it_says_what_it_is(document: pikepdf.Pdf) -> None:
    with document.open_metadata() as metadata:
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")  # 6.6.4
    assert document.pdf_version == "1.7"
    assert not document.is_encrypted  # 6.1.3
    assert "/ID" in document.trailer  # 6.1.3


def test_colours_have_a_profile(document: pikepdf.Pdf) -> None:
    (intent,) = document.Root.OutputIntents  # 6.2.3
    assert intent.S == "/GTS_PDFA1"
    assert intent.DestOutputProfile.read_bytes()[36:40] == b"acsp", "an ICC profile (ICC.1:2010, 7.2)"


def test_nothing_runs_and_nothing_is_elsewhere(document: pikepdf.Pdf) -> None:
    forbidden = {"/JavaScript", "/Launch", "/URI", "/Sound", "/Movie", "/ImportData", "/SubmitForm"}  # 6.5.1
    for found in document.objects:
        if isinstance(found, pikepdf.Dictionary):
            assert found.get("/S") not in forbidden
            assert "/AA" not in found
    assert "/OpenAction" not in document.Root


def test_every_font_is_embedded_and_maps_to_unicode(document: pikepdf.Pdf) -> None:
    fonts = [o for o in document.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"]
    assert fonts
    assert all(any(key in font for key in ("/FontFile", "/FontFile2", "/FontFile3")) for font in fonts)  # 6.2.11.4
    composite = [o for o in document.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Subtype") == "/Type0"]
    assert composite
    assert all("/ToUnicode" in font for font in composite)  # 6.2.11.7


def test_it_has_tags_a_language_and_texts_for_its_pictures(document: pikepdf.Pdf) -> None:
    assert document.Root.MarkInfo.Marked  # 6.7.2
    assert str(document.Root.Lang) == "en"  # 6.7.4
    kinds: dict[str, int] = {}
    figures = []

    def walk(node: pikepdf.Object) -> None:
        if isinstance(node, pikepdf.Array):
            for kid in list(node):
                walk(kid)
        elif isinstance(node, pikepdf.Dictionary) and "/S" in node:
            kinds[str(node.S)] = kinds.get(str(node.S), 0) + 1
            if node.S == "/Figure":
                figures.append(node)
            if "/K" in node:
                walk(node.K)

    walk(document.Root.StructTreeRoot.K)
    assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD", "/Figure", "/L", "/LI", "/P"} <= set(kinds)
    assert figures
    assert all(str(figure.get("/Alt", "")) for figure in figures)


def test_evidence_of_the_records_is_attached_byte_for_byte(
    document: pikepdf.Pdf, records: dict[str, RecordRow], report: Report
) -> None:
    held = {name: spec.get_file().read_bytes() for name, spec in document.attachments.items()}
    digests = {hashlib.sha256(content).hexdigest() for content in held.values()}
    wanted = {sha for row in records.values() for sha in (row.clip_sha256, row.photo_sha256) if sha}
    assert wanted <= digests
    assert {f"values-{report.number}.csv", f"evidence-{report.number}.csv"} <= set(held)
    for spec in document.Root.AF:  # 6.8: every file has a relationship
        assert spec.AFRelationship in ("/Data", "/Source")
    assert {e.file for e in report.exhibits if e.attached} < set(held)


def test_its_text_holds_every_value_of_the_records(said: str, records: dict[str, RecordRow]) -> None:
    for record in records.values():
        assert reading_of(record).quantity.display() in said


def test_its_text_holds_no_resistance_of_any_other_origin(
    said: str, records: dict[str, RecordRow], report: Report, made: visit.Visit
) -> None:
    """Each resistance in it is a record's, an open proposal's, a limit or figure of a finding, or a plot's scale."""
    with made.database.read() as session:
        graded = job_verdict(session, made.job_id)
    known = {match.groups() for row in records.values() for match in OHMS.finditer(reading_of(row).quantity.display())}
    known |= {match.groups() for p in report.open_proposals for match in OHMS.finditer(p.text)}
    known |= {match.groups() for e in report.exhibits for match in OHMS.finditer(e.heard)}
    texts = [limit.text + limit.compared + limit.margin for v in report.values for limit in v.limits]
    texts += [s.text for axis in report.axes for s in axis.statements] + [v.corrected for v in report.values]
    texts += [axis.figures + axis.drive + " ".join(axis.steps) for axis in report.axes] + ["“> 4000 MΩ”"]
    texts += [limit for source in report.sources for limit in source.limits]
    known |= {match.groups() for words in texts for match in OHMS.finditer(words)}
    scale = {(f"{10**power}", unit) for power in range(3) for unit in ("GΩ", "MΩ", "kΩ", "Ω")}
    assert {match.groups() for match in OHMS.finditer(said)} <= known | scale
    # What the findings compute stands in the grading's own figures: nothing was put in by the report.
    numbers = str(plain(graded))
    for value in report.values:
        for limit in value.limits:
            for figure, _ in OHMS.findall(limit.text):
                assert f"'{figure}'" in numbers


def test_links_lead_from_each_value_to_its_evidence(document: pikepdf.Pdf, records: dict[str, RecordRow]) -> None:
    targets = {str(name) for name in list(document.Root.Names.Dests.Names)[::2]}
    links = [
        str(annotation.Dest)
        for page in document.pages
        for annotation in page.get("/Annots", [])
        if annotation.get("/Subtype") == "/Link"
    ]
    assert set(links) <= targets
    for record in records.values():
        for sha in filter(None, (record.clip_sha256, record.photo_sha256)):
            assert f"evidence-{sha[:16]}" in links


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("letter", LETTER)])
def test_page_one_holds_verdict_cautions_and_people(
    made: visit.Visit, report: Report, paper: str, size: tuple[int, int]
) -> None:
    document = pypdfium2.PdfDocument(pdf_of(report, made.store.read, paper))
    assert [round(side) for side in document[0].get_size()] == list(size)
    first = " ".join(document[0].get_textpage().get_text_bounded().split())
    for words in ("Fail: not to be energised", "What to do", "What was not tested", "Cautions", "date, signature"):
        assert words in first
    second = document[1].get_textpage().get_text_bounded()
    assert "Axis X" in second
    assert "Caution." in second


def test_a_long_visit_has_a_line_for_each_value_and_its_evidence_in_a_table() -> None:
    values = [sample.value(f"J1-R{n}", shown=f"{n + 1000} MΩ", crop=None) for n in range(LONG + 1)]
    data = pdf_of(sample.report(*values), sample.read_file)
    said = text_of(data)
    assert all(value.shown in said for value in values)
    with pikepdf.open(io.BytesIO(data)) as document:
        table = document.attachments["evidence-J1-1.csv"].get_file().read_bytes().decode("utf-8-sig")
    assert sample.PHOTO in table
    assert sample.CLIP in table


def test_grey_paper_keeps_every_verdict(data: bytes) -> None:
    """Printed without colour, dark stays dark and white stays white."""
    picture = pypdfium2.PdfDocument(data)[0].render(scale=2).to_pil().convert("L")
    histogram = picture.histogram()
    assert sum(histogram[250:]) > sum(histogram) * 0.7, "paper stays white"
    assert sum(histogram[:100]) > 1000, "ink stays dark"


def test_progress_is_told(made: visit.Visit, report: Report) -> None:
    told: list[tuple[str, int]] = []
    pdf_of(report, made.store.read, progress=lambda what, done, _: told.append((what, done)))
    assert ("Pages", 2) in told
