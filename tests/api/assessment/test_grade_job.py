"""From confirmed records to findings, over the worked case of the domain reference (section 15).

Axis X, 90 V d.c. servo, thermosetting, winding 25 °C: 0.80 MΩ through the cable, 550 MΩ motor alone, 0.80 MΩ cable
alone, all at 500 V: the cable is the failed part.
"""

from __future__ import annotations

from typing import Any

from api.assessment.grade_job import findings_of, newest_grading
from api.dialogue.actions import Confirm
from api.ledger.canonical import canonical, sha256_hex
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB

WORKED = [("through_cable", "0.80"), ("motor_alone", "550"), ("cable_alone", "0.80")]


def measure(visit: Visit, section: str, value: str, **more: Any) -> str:
    reading: Any = {
        "kind": "insulation_resistance",
        "value": value,
        "unit": "MOhm",
        "axis": "X",
        "section": section,
        "terminals": "lead-ground",
        "test_voltage_set": "500",
        "test_voltage_built": "500",
        "elapsed_s": "60",
        **more,
    }
    asked = visit.type_in(reading)
    done = visit.workspace.act(asked["proposals"][0]["id"], Confirm(1))
    return str(done["records"][0]["id"])


def test_the_worked_case_gives_the_cable(visit: Visit) -> None:
    visit.make_safe()
    ids = [measure(visit, section, value) for section, value in WORKED]
    graded = visit.workspace.grade(visit.job)
    [axis] = [axis for axis in graded["axes"] if axis["axis"] == "X"]
    assert (axis["verdict"], axis["fault"]) == ("unacceptable", "cable")
    assert set(ids) <= set(axis["record_ids"])


def test_findings_can_be_computed_again_and_their_hash_is_in_the_trail(visit: Visit) -> None:
    visit.make_safe()
    for section, value in WORKED:
        measure(visit, section, value)
    visit.workspace.grade(visit.job)
    with visit.workspace.database.read() as session:
        run = newest_grading(session, visit.job)
        again = canonical(findings_of(session, visit.job))
    assert run is not None
    assert again == run.findings_json
    assert sha256_hex(again) == run.findings_sha256
    assert visit.whats()[-1] == "graded"


def test_only_records_in_force_count(visit: Visit) -> None:
    visit.make_safe()
    record = measure(visit, "through_cable", "0.80")
    visit.workspace.withdraw(record)
    graded = visit.workspace.grade(visit.job)
    assert all(record not in axis["record_ids"] for axis in graded["axes"])


def test_a_confirmed_temperature_belongs_to_the_readings_about_its_time(visit: Visit) -> None:
    """The motor's readings use the one measured beside them, not the described one."""
    visit.make_safe()
    for value in ("31.5", "29.0"):
        warm: Any = {"kind": "temperature", "value": value, "unit": "Cel", "axis": "X"}
        asked = visit.type_in(warm)
        visit.workspace.act(asked["proposals"][0]["id"], Confirm(1))
    measure(visit, "motor_alone", "550")
    graded = visit.workspace.grade(visit.job)
    [axis] = [axis for axis in graded["axes"] if axis["axis"] == "X"]
    [winding] = [f for f in axis["findings"] if f["rule"] == "insulation.winding"]
    assert winding["detail"]["correction"]["winding_own"] is True
    assert winding["detail"]["correction"]["winding_c"] in ("29.0", "31.5")


def test_what_can_hardly_be_is_a_question_until_it_was_checked(workspace: Workspace) -> None:
    """5 W on a nameplate will be 5 kW: the axis is inconclusive until somebody says that it was looked up."""
    for checked, codes in (([], ["kilowatt_for_watt"]), (["rated_power_w"], [])):
        named = {"name": "X", "motor_kind": "ac_servo", "rated_power_w": "5", "checked": checked}
        job = workspace.create_job({**JOB, "axes": [named]})["id"]
        [axis] = workspace.grade(job)["axes"]
        assert [question["code"] for question in axis["questions"]] == codes
    assert axis["verdict"] == "inconclusive"  # nothing was measured yet
