"""From confirmed records to findings, over the worked case of the domain reference (section 15).

Axis X, 90 V d.c. servo, thermosetting, winding 25 °C: 0.80 MΩ through the cable, 550 MΩ motor alone, 0.80 MΩ cable
alone, all at 500 V: the cable is the failed part.
"""

from __future__ import annotations

from typing import Any

from api.assessment.grade_job import findings_of, newest_grading
from api.dialogue.actions import Confirm
from api.ledger.canonical import canonical, sha256_hex
from api.visit.jobs import job_of
from tests.api.conftest import Visit

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
    asked = visit.workspace.type_reading(visit.job, reading)
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


def test_a_confirmed_winding_temperature_counts_before_the_described_one(visit: Visit) -> None:
    from api.assessment.grading_adapter import axis_context
    from api.visit.jobs import axis_of
    from api.visit.records import current_records

    visit.workspace.type_reading(visit.job, {"kind": "temperature", "value": "31.5", "unit": "Cel", "axis": "X"})
    visit.workspace.act(f"{visit.job}-P1", Confirm(1))
    with visit.workspace.database.read() as session:
        records = current_records(session, visit.job)
        context = axis_context(axis_of(session, visit.job, "X"), job_of(session, visit.job), records)
    assert str(context.winding_c) == "31.5"
