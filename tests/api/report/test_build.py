"""The report of a real database: every value is a record, every finding has its source, every proof its hash."""

from __future__ import annotations

import base64
import hashlib
import io
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile
from bs4 import BeautifulSoup, Tag
from PIL import Image
from sqlmodel import col, select

from api.assessment.grade_job import job_verdict
from api.errors import NotFound
from api.ledger.tables import ConfirmationEventRow, RecordRow, TrailEntryRow
from api.report.build import build_report
from api.visit.description import read_description
from api.visit.jobs import create_job
from api.visit.readings import reading_of
from api.visit.records import all_records
from grading.facts import Fact
from grading.outcome import JobVerdict
from grading.prose.axis import headline_found, headline_values
from grading.prose.findings import finding_caveat, finding_reason
from grading.terms.section import Section
from tests.api.report import visit
from tests.api.report.parsed import attr, one, parse, row_of, section, summaries, text

ISSUED = "2026-11-24T10:00:00+01:00"
# domain wording: a report states what was measured; these words promise (ISO/IEC 17025:2017, 7.8.7, from memory).
FORBIDDEN = re.compile(r"\bsafe\b|\bsafely\b|\bguarantee\w*|\bgood for\b|\baccredited by\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[visit.Visit]:
    found = visit.make(tmp_path_factory.mktemp("visit"))
    yield found
    found.database.close()


def build(made: visit.Visit, issued: str | None = ISSUED) -> bytes:
    with made.database.read() as session:
        return build_report(session, made.store, made.job_id, issued=issued)


@pytest.fixture(scope="module")
def page(made: visit.Visit) -> BeautifulSoup:
    return parse(build(made))


@pytest.fixture(scope="module")
def records(made: visit.Visit) -> dict[str, RecordRow]:
    with made.database.read() as session:
        return {record.id: record.row for record in all_records(session, made.job_id)}


@pytest.fixture(scope="module")
def decided(made: visit.Visit) -> dict[str, str]:
    """When each confirmation was given, by the device's clock."""
    with made.database.read() as session:
        return {event.id: event.captured_at for event in session.exec(select(ConfirmationEventRow)).all()}


@pytest.fixture(scope="module")
def graded(made: visit.Visit) -> JobVerdict:
    with made.database.read() as session:
        return job_verdict(session, made.job_id)


def embedded(tag: Tag) -> bytes:
    """Give the content of a data URI."""
    return base64.b64decode(attr(tag, "src").partition(",")[2])


def test_every_record_is_there_with_exactly_its_value(page: BeautifulSoup, records: dict[str, RecordRow]) -> None:
    shown = {attr(row, "data-record"): one(row, ".shown").get_text() for row in page.select("tr[data-record]")}
    assert shown == {record_id: reading_of(record).quantity.display() for record_id, record in records.items()}
    assert shown["J1-R2"] == "0.80 MΩ", "the trailing zero of the display is evidence"
    assert shown["J1-R5"] == "> 4000 MΩ", "over range is no number"


def test_every_record_says_where_how_and_by_whom(
    page: BeautifulSoup, records: dict[str, RecordRow], decided: dict[str, str]
) -> None:
    for record_id, record in records.items():
        said = text(row_of(page, record_id))
        if record.kind == "insulation_resistance":
            volts = "".join(one(row_of(page, record_id), ".volts").stripped_strings)
            assert volts == f"{record.test_voltage_set} V asked,{record.test_voltage_built} V built"
            assert f"after {record.elapsed_s} s" in said
            assert "IT-03" in said
        assert record.confirmed_by in said
        times = [attr(time, "datetime") for time in row_of(page, record_id).select("time")]
        assert times == [record.captured_at, decided[record.confirmation_id]], "all by the device's clock"
        assert "confirmed by voice" in said


def test_a_value_without_an_axis_stands_under_the_conditions(page: BeautifulSoup) -> None:
    assert "24.5 °C" in text(section(page, "s-conditions"))
    assert "24.5 °C" not in text(section(page, "axis-1"))


def test_every_value_leads_to_its_evidence(page: BeautifulSoup, records: dict[str, RecordRow]) -> None:
    for record_id, record in records.items():
        row = row_of(page, record_id)
        links = {attr(a, "href") for a in row.select("td.evidence a")}
        for sha in filter(None, (record.clip_sha256, record.photo_sha256)):
            assert f"#evidence-{sha[:16]}" in links
            exhibit = one(page, f"#evidence-{sha[:16]}")
            assert one(exhibit, "code.full").get_text() == sha
            assert sha[:12] in text(exhibit), "the name of the whole file"
        assert bool(row.select("img.crop")) == bool(record.photo_sha256)


def test_the_embedded_clip_is_the_stored_one_byte_for_byte(page: BeautifulSoup, records: dict[str, RecordRow]) -> None:
    clips = [embedded(player) for player in page.select("audio")]
    hashes = {hashlib.sha256(clip).hexdigest() for clip in clips}
    assert hashes >= {record.clip_sha256 for record in records.values()}
    samples, rate = soundfile.read(io.BytesIO(clips[0]))
    assert rate == 16000
    assert abs(samples).max() > 0.25


def test_embedded_pictures_are_copies_that_open(page: BeautifulSoup) -> None:
    images = page.select("img")
    assert images
    for image in images:
        picture = Image.open(io.BytesIO(embedded(image)))
        assert picture.format == "JPEG"
        assert picture.size == (int(attr(image, "width")), int(attr(image, "height")))


def test_replaced_value_is_struck_through_and_used_by_no_finding(page: BeautifulSoup, graded: JobVerdict) -> None:
    row = row_of(page, "J1-R1")
    assert one(row, "s.shown").get_text() == "0.08 MΩ"
    assert not row.select(".verdict")
    assert one(row, 'a[href="#record-J1-R2"]')
    used = {record_id for axis in graded.axes for finding in axis.findings for record_id in finding.record_ids}
    assert "J1-R1" not in used
    assert "J1-R2" in used
    statements = " ".join(text(s) for s in page.select("[data-finding]"))
    assert not re.search(r"J1-R1\b", statements)


def test_verdict_of_each_value_and_axis_is_the_graded_one(page: BeautifulSoup, graded: JobVerdict) -> None:
    # 0.80 MΩ lies below 1 MΩ, 550 and > 4000 MΩ above (IEC 60204-1, 18.3: quoted second-hand).
    assert one(row_of(page, "J1-R2"), ".verdict.fail")
    assert one(row_of(page, "J1-R4"), ".verdict.fail")
    assert not row_of(page, "J1-R3").select(".verdict.fail")
    assert not row_of(page, "J1-R5").select(".verdict.fail")
    rows = summaries(page)
    assert set(rows) == {axis.axis for axis in graded.axes} == {"X", "Y", "Z"}
    for axis in graded.axes:
        if axis.record_ids:
            assert headline_found(axis.summary) in rows[axis.axis]
            assert headline_values(axis.summary) in rows[axis.axis]


def test_every_limit_names_its_document_and_how_well_it_is_known(page: BeautifulSoup, graded: JobVerdict) -> None:
    expected = {
        (f"{f.limit.source}, {f.limit.clause}" if f.limit.clause else f.limit.source, f.limit.origin.value)
        for axis in graded.axes
        for f in axis.findings
        if f.limit is not None
    }
    assert expected
    rows = [[text(cell) for cell in row.select("th, td")] for row in page.select("table.sources tbody tr")]
    assert expected <= {(source, word) for _, source, word, *_ in rows}
    marks = {source: mark for mark, source, *_ in rows}
    for axis in graded.axes:
        for finding in axis.findings:
            if finding.limit is not None and len(finding.record_ids) == 1:
                row = row_of(page, finding.record_ids[0])
                assert marks[finding.limit.document] in {text(link) for link in row.select("a.mark")}


def test_the_remark_behind_the_word_stands_once_in_the_table_of_sources(page: BeautifulSoup) -> None:
    said = text(one(page, "main"))
    table = one(page, "table.sources")
    remarks = {text(row.select("td")[0]): text(row.select("td")[2]) for row in table.select("tbody tr")}
    assert remarks["IEC 60204-1, 18.3"] == "read in a secondary text"
    assert said.count("read in a secondary text") == list(remarks.values()).count("read in a secondary text")
    marks = {attr(row, "id") for row in table.select("tr[id]")}
    assert {attr(link, "href")[1:] for link in page.select("a.mark")} <= marks


def test_every_comparison_says_what_it_means(page: BeautifulSoup, graded: JobVerdict) -> None:
    """A caveat (lower test voltage, too short a time, scope of a standard) stands in the finding's own words."""
    single = [
        f for axis in graded.axes for f in axis.findings if f.limit is not None and len(f.record_ids) == 1
    ]  # fmt: skip
    assert len(single) > 3
    for finding in single:
        lines = [text(tag) for tag in row_of(page, finding.record_ids[0]).select("ul.limits > li")]
        word = {Fact.BELOW_LIMIT: "not met", Fact.WITHIN_LIMITS: "met"}.get(finding.fact)
        said = finding_caveat(finding) if word else finding_reason(finding)
        assert any(said in line and (word or "") in line for line in lines)


def test_every_limit_has_the_mark_of_its_source(page: BeautifulSoup) -> None:
    found = page.select("[data-finding]")
    assert found
    for limit in page.select("ul.limits > li"):
        assert one(limit, "a.mark").get_text(strip=True)


def test_every_finding_is_in_the_report(page: BeautifulSoup, graded: JobVerdict) -> None:
    listed = len(page.select("[data-finding]")) + len(page.select("ul.limits > li"))
    assert listed == sum(len(axis.findings) for axis in graded.axes)


def test_isolation_names_the_cable(page: BeautifulSoup) -> None:
    # Worked case: whole 0.80 MΩ, motor 550 MΩ, cable 0.80 MΩ: the cable (parallel paths, Ohm's law).
    assert "the cable is the failed part" in summaries(page)["X"].lower()
    assert "The cable is the failed part." in text(one(section(page, "axis-1"), "ul.statements"))


def test_no_word_promises_anything(page: BeautifulSoup) -> None:
    said = text(one(page, "main"))
    for denied in ("says that something is safe to touch, energise or run", "says that something is safe to touch"):
        said = said.replace(denied, "")
    assert not FORBIDDEN.findall(said)


def test_nothing_points_outside(made: visit.Visit) -> None:
    html = build(made).decode()
    assert not re.search(r"(?:src|href)=[\"'](?!data:|#)", html)
    assert "http:" not in html
    assert "https:" not in html


def test_title_with_markup_is_text(page: BeautifulSoup) -> None:
    assert "Ground fault on X <after> a leak & a reset" in text(one(page, "header"))
    assert not page.find_all("after")


def test_open_and_unread_are_listed_and_not_counted(page: BeautifulSoup) -> None:
    said = text(section(page, "s-open"))
    assert "15 MΩ" in said
    assert "-teen" in said
    assert "Glare covers the digits." in said
    values = [tag.get_text() for tag in page.select("tr[data-record] .shown")]
    assert "15 MΩ" not in values


def test_untested_axis_says_so(page: BeautifulSoup) -> None:
    assert "Not tested" in summaries(page)["Z"]


def test_points_left_out_are_named(page: BeautifulSoup) -> None:
    said = text(section(page, "axis-1"))
    assert "Motor and cable together: winding resistance A1–A2" in said
    assert "Motor and cable together: winding resistance A1–A2" in text(one(page, "section.first"))


def test_a_good_whole_needs_no_parts(page: BeautifulSoup) -> None:
    # Motor and cable are parallel to ground, so the whole never measures above either part (Ohm's law).
    said = text(section(page, "axis-2"))
    assert "neither can measure lower than both together" in said
    assert "Insulation resistance, motor alone." not in said


def test_calibration_is_held_against_the_day_of_test(page: BeautifulSoup) -> None:
    lines = [text(row) for row in section(page, "s-conditions").select("tbody tr")]
    rows = {line.split()[0]: line for line in lines}
    assert "in date on the day of test" in rows["IT-03"]
    assert "out of date on the day of test" in rows["MM-11"]


def test_who_issued_it_and_with_what_is_said(page: BeautifulSoup) -> None:
    # Wanted by a warranty desk: who issued it, the motor's nameplate, serial and certificate of the instrument.
    head = text(one(page, "header"))
    assert "Quayside Field Service (invented)" in head
    assert "service desk, +00 555 0100" in head
    assert "Nameplate: type QDM-09, serial 55071." in text(section(page, "axis-1"))
    assert "Nameplate: not recorded." in text(section(page, "axis-2"))
    tester = next(row for row in section(page, "s-conditions").select("tbody tr") if "IT-03" in text(row))
    assert {"T-2291", "CAL-2026-0331"} <= {text(cell) for cell in tester.select("td")}


def test_list_of_fields_is_complete_and_claims_nothing(page: BeautifulSoup) -> None:
    fields = section(page, "s-fields")
    items = [one(row, "td").get_text() for row in fields.select("tbody tr")]
    assert items == [f"{letter})" for letter in "abcdefghijklmnop"]  # ISO/IEC 17025:2017, 7.8.2.1, items a to p (read)
    assert "was not issued under an accreditation" in text(fields)


def test_head_hash_is_that_of_the_newest_entry(page: BeautifulSoup, made: visit.Visit) -> None:
    with made.database.read() as session:
        head = session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq).desc())).first()
    assert head is not None
    assert one(page, "#head-hash").get_text() == head.hash
    assert hashlib.sha256(head.body.encode()).hexdigest() == head.hash
    assert "the chain was intact" in text(one(page, "main"))
    assert f"of this job was number {head.seq}, with the hash {head.hash}" in text(one(page, "main"))


def test_same_records_give_the_same_bytes(made: visit.Visit) -> None:
    assert build(made) == build(made)
    assert build(made, None) == build(made, None)
    assert build(made) != build(made, "2026-11-24T10:00:01+01:00"), "the time of issue is printed"


def test_unknown_job_is_refused(made: visit.Visit) -> None:
    with made.database.read() as session, pytest.raises(NotFound):
        build_report(session, made.store, "J9")


def test_a_changed_trail_is_printed_as_such(tmp_path: Path) -> None:
    made = visit.make(tmp_path)
    with sqlite3.connect(made.database.path) as connection:
        connection.execute("DROP TRIGGER trail_entry_no_update")
        seq = connection.execute("SELECT min(seq) FROM trail_entry WHERE body LIKE '%\"0.80\"%'").fetchone()[0]
        connection.execute("UPDATE trail_entry SET body = replace(body, '0.80', '8.80') WHERE seq = ?", (seq,))
    connection.close()
    page = parse(build(made))
    made.database.close()
    assert f"was NOT intact: entry {seq} was changed" in text(one(page, "main"))


def test_a_missing_file_is_named_and_stops_nothing(tmp_path: Path) -> None:
    made = visit.make(tmp_path)
    with made.database.read() as session:
        record = all_records(session, made.job_id)[1]
    assert record.status == "current"
    assert record.row.photo_sha256
    made.store.path(record.row.photo_sha256).unlink()
    page = parse(build(made))
    made.database.close()
    assert "The stored file is missing" in text(section(page, "s-open"))
    assert one(row_of(page, record.id), ".shown").get_text() == "0.80 MΩ"


class SecondVisit(visit.Visit):
    """A visit to the same machine ninety days later."""

    def at(self, minutes: float) -> str:
        """Make a time of that day."""
        return super().at(90 * 24 * 60 + minutes)


def test_the_plot_shows_the_value_of_an_earlier_visit(tmp_path: Path) -> None:
    made = visit.make(tmp_path)
    with made.database.write() as transaction:
        create_job(transaction, read_description(visit.DESCRIPTION))
    later = SecondVisit(made.workspace, "J2")
    visit.answer_safety(later, ("X",))
    later.say(visit.insulation("X", Section.MOTOR_ALONE, "120"), 2, words="motor alone one hundred twenty meg")
    with made.database.read() as session:
        axis = section(parse(build_report(session, made.store, "J2")), "axis-1")
    made.database.close()
    assert len(axis.select("path.before")) == 1
    assert "2026-11-24" in text(one(axis, "svg.plot")), "the day of the first visit"
    assert "A diamond: value of an earlier visit." in text(one(axis, "figcaption"))
    said = text(one(axis, ".note"))
    assert "2027-02-22 09:32:00 +01:00" in said, "a time as people read it"
