"""A job corrected after it was made: nothing is written over, records keep their axis, the trail verifies."""

from __future__ import annotations

from typing import Any

import pytest
from sqlmodel import select

from api.assessment.grading_adapter import read_inputs
from api.assessment.job_list import list_jobs
from api.assessment.next_point import next_point, plan_for_page
from api.dialogue.actions import Confirm
from api.dialogue.turn import context_of
from api.errors import BadInput, OhmtrailError, Refused
from api.ledger.canonical import parsed, sha256_hex
from api.ledger.sent import AnsweredBeforeError, SentAction
from api.ledger.tables import AxisRow, EvidenceRow, JobRow, RecordRow
from api.report.build import build_report
from api.visit.changes import changes_of, state_of
from api.visit.description import read_description
from api.visit.errors import BadJobDescription
from api.visit.jobs import axes_of, axis_of, job_of
from api.visit.readings import ReadingFields
from api.visit.records import current_records
from api.workspace import Workspace
from capture.reading import Context
from tests.api.conftest import Visit
from tests.api.makers import JOB, change, clip, photo


def edit(visit: Visit, how: Any) -> dict[str, Any]:
    return visit.workspace.desk.edit(visit.job, change(visit.workspace, visit.job, how))


def axis(index: int, **fields: Any) -> Any:
    return lambda described: described["axes"][index].update(fields)


def confirmed(visit: Visit) -> None:
    """Measure and confirm one value of axis X."""
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.say("confirm")


def test_every_wrong_field_is_named_in_words_of_its_own() -> None:
    """Compare with what this form must say; the checking library's words ("Field required", "Input should be") not."""
    wrong = {
        "machine": "", "customer": "C" * 201, "technician": "T\nU", "air_c": "warm", "humidity_percent": "101",
        "colour": "red",
        "axes": [
            {"name": "first axis"}, {"name": "Y", "motor_kind": "steam", "rated_voltage": "-5", "winding_c": "400"},
        ],
        "instruments": [
            {"id": "no spaces", "kind": "ruler", "calibration_due": "soon", "range_end": "4000 V",
             "iec_61557_2": "perhaps"},
        ],
    }  # fmt: skip
    with pytest.raises(BadJobDescription) as refused:
        read_description(wrong)
    fields = refused.value.to_json()["fields"]
    assert fields == {
        "machine": "Say which machine it is.",
        "customer": "Use at most 200 characters.",
        "technician": "Character 2 (U+000A) is a line break, a control character, half a character or turns the "
        "direction of writing. Leave it out.",
        "air_c": "Write a number, such as 400 or 0.5, without its unit.",
        "humidity_percent": "Write a number of at most 100.",
        "colour": "There is no field of this name. Correct its spelling or leave it out.",
        "axes.0.name": 'An axis name is a letter or a word such as "X" or "SPINDLE".',
        "axes.1.motor_kind": "Choose one of 'dc_servo', 'ac_servo', 'spindle' or 'unknown'.",
        "axes.1.rated_voltage": "Write a number above 0.",
        "axes.1.winding_c": "Write a number of at most 250.",
        "instruments.0.id": "Use letters, digits, dots, dashes and underscores, without spaces, at most 31: for "
        "example IT-03.",
        "instruments.0.kind": "Choose one of 'insulation_tester', 'multimeter', 'milliohmmeter', 'thermometer', "
        "'hygrometer' or 'other'.",
        "instruments.0.calibration_due": "Write the date as year, month and day: 2027-03-31.",
        "instruments.0.range_end.0": "V is not a unit of resistance; use Ohm, kOhm, MOhm or GOhm.",
        "instruments.0.iec_61557_2": "Answer yes or no (true or false).",
    }
    with pytest.raises(BadJobDescription) as empty:
        read_description({"axes": [{}], "instruments": [{}]})
    assert empty.value.to_json()["fields"] == {
        "customer": "Give the customer's name.", "machine": "Say which machine it is.",
        "technician": "Give the name of who works on it.", "axes.0.name": "Give the axis a name, such as X or SPINDLE.",
        "instruments.0.id": "Give the instrument the number or name that it is known by.",
        "instruments.0.kind": "Choose what kind of instrument it is.",
    }  # fmt: skip


def test_a_job_sent_twice_under_one_id_is_made_once(workspace: Workspace) -> None:
    sent = SentAction("a" * 16, sha256_hex("body"), 201)
    first = workspace.desk.make(JOB, sent)
    with pytest.raises(AnsweredBeforeError) as again:
        workspace.desk.make(JOB, sent)
    assert again.value.answer == first
    with workspace.database.read() as session:
        assert len(session.exec(select(JobRow)).all()) == 1
    assert workspace.verify().intact


def test_a_motor_of_unknown_kind_has_only_the_points_that_every_kind_has(workspace: Workspace) -> None:
    """No lead has a name and no winding is measured before somebody chose the kind; then the whole plan follows."""
    job = workspace.create_job({**JOB, "axes": [{"name": "X"}]})["id"]
    visit = Visit.of(workspace, job)
    with workspace.database.read() as session:
        [plan] = plan_for_page(session, job)
        assert not read_inputs(session, job).contexts["X"].motor_chosen
    assert {task["terminals"] for task in plan["tasks"]} == {"lead-ground"}
    assert {task["kind"] for task in plan["tasks"]} == {"resistance_to_ground", "insulation_resistance"}
    visit.make_safe()
    place: ReadingFields = {"axis": "X", "section": "through_cable", "terminals": "lead-ground", "unit": "MOhm"}
    visit.type_in({**place, "kind": "resistance_to_ground", "value": "55"})
    visit.say("confirm")
    for volts in ("250", "500"):
        voltage: ReadingFields = {"test_voltage_set": volts, "test_voltage_built": volts, "elapsed_s": "60"}
        visit.type_in({**place, "kind": "insulation_resistance", "value": "900", **voltage})
        visit.say("confirm")
    with workspace.database.read() as session:
        said = next_point(session, job, Context(axis="X")).sentence
        [plan] = plan_for_page(session, job)
    assert "say which kind" in plan["stop"], plan
    assert "say which kind" in said
    edit(visit, axis(0, motor_kind="dc_servo"))
    with workspace.database.read() as session:
        [plan] = plan_for_page(session, job)
    assert "A1-A2" in {task["terminals"] for task in plan["tasks"]}
    assert workspace.verify().intact


def test_a_correction_keeps_what_was_and_who_changed_it(visit: Visit) -> None:
    confirmed(visit)
    graded = visit.workspace.grade(visit.job)
    edit(visit, lambda d: (d.update(machine="Machining centre 5"), d["axes"][0].update(motor_kind="ac_servo")))
    visit.workspace.grade(visit.job)
    with visit.workspace.database.read() as session:
        job, axis_x = job_of(session, visit.job), axis_of(session, visit.job, "X")
        assert (job.machine, axis_x.motor_kind) == ("Machining centre 5", "ac_servo")
        assert (session.get_one(JobRow, visit.job).machine, session.get_one(AxisRow, axis_x.id).motor_kind) == (
            JOB["machine"], "dc_servo",
        ), "the rows of before stay as they were"  # fmt: skip
        found = changes_of(session, visit.job)
    assert [(c.subject_id, parsed(c.before_json), parsed(c.after_json), c.by, c.reason) for c in found] == [
        (
            visit.job,
            {"machine": JOB["machine"]},
            {"machine": "Machining centre 5"},
            JOB["technician"],
            "seen on the plate",
        ),
        ("J1-X", {"motor_kind": "dc_servo"}, {"motor_kind": "ac_servo"}, JOB["technician"], "seen on the plate"),
    ]
    assert graded["axes"]
    assert visit.whats().count("job changed") == 1
    # Both gradings follow from what was known when each was made.
    assert visit.workspace.verify().problems == []


def test_records_keep_belonging_to_an_axis_that_gets_another_name(visit: Visit) -> None:
    visit.make_safe()
    confirmed(visit)
    visit.say("insulation set five hundred volts lead to ground five hundred megohms")  # waits for a yes
    edit(visit, axis(0, name="Z"))
    with visit.workspace.database.read() as session:
        [record] = current_records(session, visit.job)
        assert (record.reading.axis, record.row.axis) == ("Z", "X")
        assert [one.name for one in axes_of(session, visit.job)] == ["Z", "Y"]
        assert context_of(session, visit.job).axis == "Z"
        assert [m.axis for m in read_inputs(session, visit.job).measurements] == ["Z"]
        assert axis_of(session, visit.job, "X").id == "J1-X", "what waits in a phone still finds it"
    said = visit.say("confirm")  # its safety answers hold still
    assert [r["axis"] for r in said["records"]] == ["Z"], said
    place: ReadingFields = {"axis": "X", "section": "motor_alone", "terminals": "A1-A2"}
    late = visit.type_in({"kind": "winding_resistance", "value": "1.1", "unit": "Ohm", **place})
    assert late["proposals"][0]["axis"] == "Z"
    for taken in (axis(1, name="X"), axis(1, name="Z"), lambda d: d["axes"].append({"name": "X"})):
        with pytest.raises(BadInput, match=r"name of another axis|is there twice"):
            edit(visit, taken)
    visit.workspace.grade(visit.job)
    with visit.workspace.database.read() as session:
        page = build_report(session, visit.workspace.evidence, visit.job).decode()
    assert page.count('data-record="J1-R1"') == 1
    assert "name: X → Z (seen on the plate)" in page
    edit(visit, axis(0, name="X"))
    with visit.workspace.database.read() as session:
        assert {record.reading.axis for record in current_records(session, visit.job)} == {"X"}
    assert visit.workspace.verify().problems == []


def test_axes_and_instruments_are_added_later_and_none_is_left_out(visit: Visit) -> None:
    edit(
        visit,
        lambda d: (d["axes"].append({"name": "B"}), d["instruments"].append({"id": "TH-1", "kind": "thermometer"})),
    )
    with visit.workspace.database.read() as session:
        assert [(one.name, one.motor_kind) for one in axes_of(session, visit.job)][-1] == ("B", "unknown")
    with pytest.raises(BadInput, match="J1-X"):
        visit.workspace.desk.edit(visit.job, _without_first(visit))
    with pytest.raises(BadInput, match="Nothing is different"):
        edit(visit, dict.copy)
    stale = change(visit.workspace, visit.job, lambda d: d.update(title="A"))
    edit(visit, lambda d: d.update(title="B"))
    with pytest.raises(Refused, match="somebody else"):
        visit.workspace.desk.edit(visit.job, stale)


def _without_first(visit: Visit) -> Any:
    from dataclasses import replace

    given = change(visit.workspace, visit.job, lambda d: d["axes"].pop(0))
    return replace(given, axis_ids=given.axis_ids[1:])


def test_a_closed_job_takes_nothing_until_it_is_reopened(visit: Visit) -> None:
    confirmed(visit)
    visit.say("y axis u to v one point two ohms")
    desk, workspace = visit.workspace.desk, visit.workspace
    with pytest.raises(Refused, match="1 values wait for your yes"):
        desk.move(visit.job, "close")
    visit.say("confirm")
    desk.move(visit.job, "close", "done")
    late = clip("x ray axis a one to a two two ohms", 77)
    for refused in (
        lambda: visit.say("x ray axis a one to a two two ohms"),
        lambda: workspace.take_clip(visit.job, late),
        lambda: visit.type_in({"value": "1", "unit": "Ohm", "axis": "X"}),
        lambda: visit.make_safe("Y"),
        lambda: workspace.withdraw("J1-R1"),
        lambda: edit(visit, lambda d: d.update(title="B")),
        lambda: desk.picture(visit.job, "machine_plate", "", photo(None, None)),
        lambda: desk.move(visit.job, "close"),
    ):
        with pytest.raises(Refused, match="closed"):
            refused()
    with workspace.database.read() as session:
        assert session.get(EvidenceRow, sha256_hex(late)) is not None, "what came too late is kept as evidence"
        assert len(session.exec(select(RecordRow)).all()) == 2
    workspace.grade(visit.job)
    workspace.make_report(visit.job)
    with pytest.raises(Refused, match="only a closed one"):
        desk.move(visit.job, "restore")
    with pytest.raises(BadInput, match="burn"):
        desk.move(visit.job, "burn")
    desk.move(visit.job, "archive")
    with workspace.database.read() as session:
        assert list_jobs(session) == []
        assert [job["state"] for job in list_jobs(session, archived=True)] == ["archived"]
    desk.move(visit.job, "restore")
    desk.move(visit.job, "reopen", "one more axis")
    assert workspace.take_clip(visit.job, late)["proposals"]
    with workspace.database.read() as session:
        assert state_of(session, visit.job).value == "open"
        assert [c.action for c in changes_of(session, visit.job)] == ["closed", "archived", "restored", "reopened"]
        assert "reopened (one more axis)" in build_report(session, workspace.evidence, visit.job).decode()
    assert workspace.verify().problems == []


def test_jobs_are_found_by_machine_customer_day_axis_and_serial(workspace: Workspace) -> None:
    first = workspace.create_job(
        {**JOB, "serial": "SN-4711", "instruments": [{"id": "IT-9", "kind": "other", "serial": "C99"}]}
    )
    workspace.create_job({**JOB, "machine": "Lathe 2", "axes": [{"name": "SPINDLE", "nameplate": "Type 7 no. 123"}]})
    workspace.desk.move(first["id"], "close")

    def found(words: str) -> list[str]:
        with workspace.database.read() as session:
            return [job["id"] for job in list_jobs(session, words)]

    assert found("") == ["J2", "J1"]  # the open one first
    assert found("lathe") == ["J2"]
    assert (found("sn-4711"), found("c99"), found("no. 123"), found("spindle")) == (["J1"], ["J1"], ["J2"], ["J2"])
    assert found("brackwater") == ["J2", "J1"]
    assert found(first["created_at"][:10]) == ["J2", "J1"]
    assert found("lathe sn-4711") == []
    with workspace.database.read() as session:
        open_one, closed = list_jobs(session)
    assert open_one["left"]["SPINDLE"] > 0
    assert "left" not in closed


def test_a_nameplate_is_evidence_and_never_a_reading(visit: Visit) -> None:
    plate, second = photo("1.080", "Ohm", salt=1), photo("2.080", "Ohm", salt=2)
    desk, workspace = visit.workspace.desk, visit.workspace
    desk.picture(visit.job, "motor_plate", "X", plate)
    desk.picture(visit.job, "motor_plate", "X", second)
    desk.picture(visit.job, "instrument_plate", "IT-03", plate)
    logo = desk.picture(visit.job, "logo", "", photo(None, None, salt=3))
    with workspace.database.read() as session:
        assert session.get_one(EvidenceRow, logo["shown_sha256"]).parent_sha256 == logo["sha256"]
        page = build_report(session, workspace.evidence, visit.job).decode()
    assert workspace.evidence.read(logo["shown_sha256"])[:3] == b"\xff\xd8\xff"  # a JPEG of our own making
    assert "Nameplate of the motor, axis X" in page
    assert "Plate of the instrument IT-03" in page
    assert 'class="logo"' in page
    assert sha256_hex(second) in page
    assert not visit.records()
    assert "proposed" not in visit.whats()
    desk.picture(visit.job, "motor_plate", "X", None)
    for use, subject, data in (
        ("motor_plate", "Q", plate), ("logo", "X", plate), ("photo", "", plate), ("logo", "", b"GIF89a"),
        ("machine_plate", "", clip("one")), ("machine_plate", "", b""), ("logo", "", bytes(2_000_001)),
    ):  # fmt: skip
        with pytest.raises(OhmtrailError) as refused:
            desk.picture(visit.job, use, subject, data)
        assert refused.value.status in (400, 413), (use, refused.value)
    assert workspace.verify().problems == []


def test_a_value_confirmed_after_the_kind_changed_is_graded_by_the_new_kind(visit: Visit) -> None:
    """The history of a machine compares motors of one kind only; the kind that counts is the corrected one."""
    confirmed(visit)
    edit(visit, axis(0, motor_kind="spindle"))
    visit.say("x ray axis u to v one point one ohms")
    [waiting] = visit.type_in({"value": "1.1", "unit": "Ohm", "axis": "X", "terminals": "V-W"})["proposals"]
    visit.workspace.act(waiting["id"], Confirm(waiting["revision"]))
    with visit.workspace.database.read() as session:
        assert read_inputs(session, visit.job).contexts["X"].motor_kind.value == "spindle"
