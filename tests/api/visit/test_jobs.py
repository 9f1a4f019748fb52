"""Job descriptions: what is accepted, how units are taken, what is refused with which words."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from api.assessment.grading_adapter import axis_context, meter
from api.errors import BadInput
from api.settings import read_settings
from api.visit.description import read_description
from api.visit.jobs import all_jobs, axis_of, instruments_of, job_of
from api.workspace import Workspace
from grading.measurement import InsulationSystem, MotorKind
from tests.api.makers import JOB


def with_axis(**fields: Any) -> dict[str, Any]:
    return {**JOB, "axes": [{"name": "X", "motor_kind": "ac_servo", **fields}]}


def with_instrument(**fields: Any) -> dict[str, Any]:
    return {**JOB, "instruments": [{"id": "IT-03", "kind": "insulation_tester", **fields}]}


@pytest.mark.parametrize(
    ("description", "words"),
    [
        ({}, "customer: Give the customer's name."),
        ({**JOB, "technician": ""}, "technician"),
        ({**JOB, "axes": []}, "axes"),
        ({**JOB, "humidity": "101"}, "humidity"),
        ({**JOB, "air_c": "400"}, "air_c"),
        ({**JOB, "alram": "x"}, "alram: There is no field of this name"),
        (with_axis(name="first axis"), "An axis name is a letter or a word"),
        (with_axis(rated_voltage="-5"), "rated_voltage"),
        (with_axis(rated_voltage="NaN"), "rated_voltage"),
        (with_axis(carrier={"cycles": 1}), "rated_cycles"),
        (with_axis(thermal_class="Z"), "thermal_class"),
        (with_instrument(range_end="4000 MOHM"), "Unknown unit 'MOHM'"),
        (with_instrument(range_end="4000 V"), "V is not a unit of resistance"),
        (with_instrument(range_end={"500": "much"}), "range_end"),
        (with_instrument(calibration_due="soon"), "calibration_due"),
        (with_instrument(id="no spaces"), "id"),
        ({**JOB, "instruments": JOB["instruments"] * 2}, "The instrument IT-03 is there twice"),
        ({**JOB, "axes": JOB["axes"] * 2}, "The axis X is there twice"),
        ([], "the job"),
    ],
)
def test_what_is_wrong_is_named(description: Any, words: str) -> None:
    with pytest.raises(BadInput) as wrong:
        read_description(description)
    assert words in wrong.value.message
    assert wrong.value.code == "bad_job"


@pytest.mark.parametrize(
    ("kind", "given", "expected"),
    [
        ("insulation_tester", {"range_end": "4000 MOhm"}, dict.fromkeys((50, 100, 250, 500, 1000), Decimal("4e9"))),
        (
            "insulation_tester",
            {"range_end": {"500": "4 GOhm", "250": 1000}},
            {500: Decimal("4e9"), 250: Decimal("1e9")},
        ),
        ("insulation_tester", {"range_end_mohm": {"500": "4000"}}, {500: Decimal("4e9")}),
        ("multimeter", {"range_end": "60 MOhm"}, {0: Decimal("6e7")}),
        ("multimeter", {"range_end": 600}, {0: Decimal(600)}),
        ("ohmmeter", {"range_end_mohm": {"0": "60"}}, {0: Decimal("6e7")}),
        ("milliohm_meter", {}, {}),
    ],
)
def test_range_ends_in_ohms(kind: str, given: dict[str, Any], expected: dict[int, Decimal]) -> None:
    [instrument] = read_description({**JOB, "instruments": [{"id": "A", "kind": kind, **given}]}).instruments
    assert instrument.range_end == expected


@pytest.mark.parametrize(
    ("kind", "given", "expected"),
    [
        ("insulation_tester", {"resolution": "0.01"}, "1e4"),
        ("insulation_tester", {"resolution": "0.01 MOhm"}, "1e4"),
        ("insulation_tester", {"resolution_ohm": 1000}, "1000"),
        ("multimeter", {"resolution": 0.1}, "0.1"),
    ],
)
def test_resolution_in_ohms(kind: str, given: dict[str, Any], expected: str) -> None:
    [instrument] = read_description({**JOB, "instruments": [{"id": "A", "kind": kind, **given}]}).instruments
    assert instrument.resolution_ohm == Decimal(expected)


def test_other_usual_names_are_taken() -> None:
    job = read_description(
        {
            **{name: JOB[name] for name in ("title", "customer", "machine", "technician")},
            "alarm": "ground fault",
            "humidity": 45,
            "axes": [
                {
                    "axis": "spindle",
                    "motor_kind": "brushed_dc",
                    "insulation_system": "thermoset",
                    "insulation_class": "F",
                    "rated_current_a": "10",
                    "nameplate_resistance_ohm": "650 mOhm",
                }
            ],
        }
    )
    [axis] = job.axes
    assert (job.alarm_text, job.humidity_percent) == ("ground fault", Decimal(45))
    assert (axis.name, axis.motor_kind, axis.insulation_system) == (
        "SPINDLE",
        MotorKind.DC_SERVO,
        InsulationSystem.THERMOSETTING,
    )
    assert (axis.thermal_class, axis.rated_current, axis.nameplate_resistance_ohm) == (
        "155",
        Decimal(10),
        Decimal("0.65"),
    )


def test_what_a_job_says_reaches_grading(workspace: Workspace) -> None:
    description = {
        **with_axis(rated_voltage="400", winding_c="25.0", carrier={"cycles": "4500000", "rated_cycles": "5000000"}),
        "instruments": JOB["instruments"],
    }
    job_id = workspace.create_job(description)["id"]
    with workspace.database.read() as session:
        job, axis = job_of(session, job_id), axis_of(session, job_id, "x")
        context = axis_context(axis, job)
        meters = [meter(row) for row in instruments_of(session, job_id)]
        assert axis.winding_c == "25.0", "digits are kept as given"
        assert [found.id for found in all_jobs(session)] == [job_id]
    assert (context.rated_voltage, context.winding_c, context.air_c) == (Decimal(400), Decimal("25.0"), Decimal(24))
    assert context.carrier is not None
    assert context.carrier.cycles == Decimal(4_500_000)
    assert [(found.id, found.range_end) for found in meters] == [
        ("J1-IT-03", {500: Decimal("4e9")}),
        ("J1-MM-11", {0: Decimal("6e7")}),
    ]


def test_settings_come_from_the_environment() -> None:
    settings = read_settings(
        {
            "OHMTRAIL_DATA": "/srv/visits",
            "OHMTRAIL_PORT": "9000",
            "OHMTRAIL_HOST": "0.0.0.0",
            "OHMTRAIL_SPEECH_MODEL": "/srv/model",
            "OHMTRAIL_HOSTS": "Cart.local, 10.0.0.7",
        }
    )
    assert (str(settings.data), settings.port, settings.host) == ("/srv/visits", 9000, "0.0.0.0")
    assert str(settings.speech_model) == "/srv/model"
    assert settings.hosts[-2:] == ("cart.local", "10.0.0.7")
    plain = read_settings({})
    assert (str(plain.data), plain.host, plain.port, plain.speech_model) == ("data", "127.0.0.1", 8765, None)
    for port in ("0", "70000", "http"):
        with pytest.raises(BadInput):
            read_settings({"OHMTRAIL_PORT": port})
