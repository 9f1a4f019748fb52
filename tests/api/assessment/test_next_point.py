"""What comes next, spoken and on the page: grading's plan over the records (see `tests/grading/test_plan.py`).

Axis X of the makers' job is a d.c. servo of 90 V, axis Y an a.c. servo of 400 V. The laws: a good whole clears both
parts, since they lie in parallel (Ohm's law); a test voltage is never raised over a fault that a lower one shows
(program's rule).
"""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.assessment.next_point import plan_for_page
from api.dialogue.actions import Confirm
from api.dialogue.turn import context_of
from api.errors import NotFound
from api.report.build import read_content
from api.server.app import create_app
from capture.language.say import cardinal
from grading.measurement import MotorKind
from grading.plan_table import PLANS
from tests.api.conftest import Visit

INSULATION = {"test_voltage_set": "500", "test_voltage_built": "500", "elapsed_s": "60"}


def record(visit: Visit, quantity: str, value: str | None, terminals: str, **more: Any) -> None:
    """Type a reading and confirm it."""
    fields: Any = {"axis": "X", "section": "through_cable", "kind": quantity, "value": value, "terminals": terminals}
    fields |= {"unit": "MOhm"} if value else {"qualifier": "open"}
    fields |= INSULATION if quantity == "insulation_resistance" else {}
    asked = visit.type_in(fields | more)["proposals"][0]
    visit.workspace.act(asked["id"], Confirm(asked["revision"]))


def cabinet(visit: Visit) -> None:
    """Everything without test voltage, through the cable of X."""
    record(visit, "winding_resistance", "1.08", "A1-A2", unit="Ohm")
    for lead in ("A1", "A2"):
        record(visit, "resistance_to_ground", None, f"{lead}-PE")


def tasks(visit: Visit, axis: str = "X") -> list[dict[str, Any]]:
    with visit.workspace.database.read() as session:
        [found] = [plan for plan in plan_for_page(session, visit.job) if plan["axis"] == axis]
    return list(found["tasks"])


def upcoming(visit: Visit) -> list[tuple[str, str, str]]:
    """Tell what is still to be measured of X."""
    left = [task for task in tasks(visit) if task["state"] in ("next", "due")]
    return [(task["section"], task["kind"], task["terminals"]) for task in left]


def test_next_names_the_point_and_why_and_the_work_moves_there(visit: Visit) -> None:
    assert visit.say("next")["message"] == (
        "Next: X-ray axis, through the cable, winding resistance, A one to A two. "
        "Shows an open or unequal winding, a loose joint or a broken core without any test voltage."
    )
    visit.say("one point zero eight ohms")
    visit.say("confirm")
    assert visit.say("next")["message"].startswith("Next: X-ray axis, through the cable, ohmmeter, A one to ground. ")
    visit.say("over range")
    visit.say("confirm")
    assert visit.say("next")["message"].startswith("Next: X-ray axis, through the cable, ohmmeter, A two to ground. ")
    visit.say("over range")
    visit.say("confirm")
    said = visit.say("next")["message"]
    assert said.startswith("Next: X-ray axis, through the cable, insulation, A one and A two to ground, at ")
    with visit.workspace.database.read() as session:
        context = context_of(session, visit.job)
    [step] = [task for task in tasks(visit) if task["state"] == "next"]
    assert (context.axis, context.terminals, f"{context.test_voltage_set:f}") == ("X", "A1+A2-PE", step["test_voltage"])
    assert [found["terminals"] for found in visit.records()] == ["A1-A2", "A1-PE", "A2-PE"]


def test_a_good_whole_stops_the_axis_says_so_and_moves_on(visit: Visit) -> None:
    cabinet(visit)
    visit.make_safe()
    record(visit, "insulation_resistance", "900", "A1+A2-PE")
    assert upcoming(visit) == []
    apart = {task["skipped"] for task in tasks(visit) if task["section"] != "through_cable"}
    assert apart == {"the whole has not failed"}
    assert visit.say("next")["message"].startswith(
        "X-ray axis: The whole is good, which clears motor and cable at this position. "
        "Next: Yankee axis, through the cable, winding resistance, U to V. "
    )
    with visit.workspace.database.read() as session:
        assert context_of(session, visit.job).axis == "Y"


def test_a_bad_whole_adds_the_parts(visit: Visit) -> None:
    cabinet(visit)
    visit.make_safe()
    record(visit, "insulation_resistance", "0.80", "A1+A2-PE")
    assert {section for section, _, _ in upcoming(visit)} == {"motor_alone", "cable_alone"}
    assert visit.say("next")["message"].split(", ")[1] in ("motor alone", "cable alone")


def test_a_path_to_earth_that_the_ohmmeter_finds_is_not_met_with_the_judging_voltage(visit: Visit) -> None:
    record(visit, "winding_resistance", "1.08", "A1-A2", unit="Ohm")
    for lead in ("A1", "A2"):
        record(visit, "resistance_to_ground", "820", f"{lead}-PE", unit="kOhm")
    steps = [task for task in tasks(visit) if task["section"] == "through_cable" and task["test_voltage"]]
    assert (steps[-1]["state"], steps[-1]["skipped"]) == ("skipped", "the ohmmeter already shows a path to earth")


def test_a_brushed_winding_alone_is_asked_for_at_every_shaft_position(visit: Visit) -> None:
    for lead in ("A1", "A2"):
        record(visit, "resistance_to_ground", None, f"{lead}-PE")
    visit.make_safe()
    record(visit, "insulation_resistance", "900", "A1+A2-PE")
    record(visit, "winding_resistance", None, "A1-A2")
    [point] = [task for task in tasks(visit) if (task["section"], task["terminals"]) == ("motor_alone", "A1-A2")]
    assert (point["positions"], point["state"]) == (8, "next")  # program's rule
    assert ", at eight shaft positions. " in visit.say("next")["message"]


def test_nothing_left_anywhere_says_so(visit: Visit) -> None:
    visit.make_safe("X")
    visit.make_safe("Y")
    cabinet(visit)
    record(visit, "insulation_resistance", "900", "A1+A2-PE")
    for pair in ("U-V", "V-W", "W-U"):
        record(visit, "winding_resistance", "1.20", pair, unit="Ohm", axis="Y")
    for lead in "UVW":
        record(visit, "resistance_to_ground", None, f"{lead}-PE", axis="Y")
    record(visit, "insulation_resistance", "900", "U+V+W-PE", axis="Y")
    said = visit.say("next")["message"]
    assert said.startswith("Yankee axis: The whole is good")
    assert said.endswith("Every axis has been through its plan. Look at the findings for what remains.")


def test_a_record_taken_back_is_due_again(visit: Visit) -> None:
    cabinet(visit)
    before = upcoming(visit)
    visit.say("take it back")
    assert upcoming(visit) == [("through_cable", "resistance_to_ground", "A2-PE"), *before]


def test_the_plan_over_http_holds_every_point_of_grading(visit: Visit) -> None:
    with TestClient(create_app(visit.workspace), base_url="http://localhost") as client:
        found = client.get(f"/api/jobs/{visit.job}/plan").json()
        assert client.get("/api/jobs/J9/plan").status_code == 404
    assert [plan["axis"] for plan in found] == ["X", "Y"]
    points = [point for part in PLANS[MotorKind.DC_SERVO].values() for point in part]
    expected = {(point.section.value, point.kind.value, point.terminals) for point in points}
    assert {(task["section"], task["kind"], task["terminals"]) for task in found[0]["tasks"]} == expected
    assert [task["state"] for task in found[0]["tasks"]].count("next") == 1
    assert found[0]["tasks"][0]["prepare"][0].startswith("Lock out")


def test_photo_and_words_of_the_point_that_next_named_are_joined_although_the_words_name_no_lead(visit: Visit) -> None:
    cabinet(visit)
    visit.make_safe()
    visit.say("next")
    visit.show("900", "MOhm", secondary={"test_voltage": "100 V"})
    asked = visit.say("lead to ground nine hundred megohms")["proposals"][0]
    assert (asked["source"], asked["agreement"], asked["terminals"]) == ("speech+photo", "agree", "A1+A2-PE")


def test_an_unknown_job_has_no_plan(visit: Visit) -> None:
    with visit.workspace.database.read() as session, pytest.raises(NotFound):
        plan_for_page(session, "J9")


def test_page_speech_and_report_name_the_same_points(visit: Visit) -> None:
    """One source for what is left: a report of the same records names what the page calls due, and nothing else."""
    for quantity, terminals in (("winding_resistance", "A1-A2"), ("resistance_to_ground", "A1-PE"), (None, "")):
        with visit.workspace.database.read() as session:
            made = read_content(session, visit.workspace.evidence.read, visit.job)
        for axis in made.axes:
            due = [task for task in tasks(visit, axis.name) if task["state"] in ("next", "due")]
            named = sum(line.count("; ") + line.count(", ") + 1 for line in axis.not_tested)
            assert named == len({(t["kind"], t["section"], t["test_voltage"], t["terminals"]) for t in due})
        said = visit.say("what is left")["message"]
        assert f"X-ray axis {' '.join(cardinal(len(upcoming(visit))))}" in said
        if quantity:
            record(visit, quantity, None if "PE" in terminals else "1.08", terminals, unit="Ohm")
