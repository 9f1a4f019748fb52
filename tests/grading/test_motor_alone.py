"""The motor alone at 40 °C: rows of IEEE 43-2013, Table 3, corrections, dew point."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from grading.facts import Fact
from grading.finding import Urgency, Verdict
from grading.measurement import InsulationSystem, MotorKind, WindingKind
from grading.prose.axis import cost_text, headline_found
from grading.prose.findings import finding_text
from grading.steps import StepKind
from tests.grading.making import MOTOR, ir
from tests.grading.whole_axes import BAD, OK, UNSURE, D, graded, kinds, of


def test_armature_limit_of_two_editions_is_told_apart() -> None:
    verdict = graded(ir(MOTOR, "7.50"), motor=MotorKind.DC_SERVO)
    found = of(verdict, "insulation.winding")
    assert found.verdict is OK
    assert found.limit is not None
    assert found.limit.source == "IEEE 43-2013"
    assert found.limit.value == 5


def test_service_limit_lies_between_the_floor_and_the_winding_limit() -> None:
    verdict = graded(ir(MOTOR, "3.20"))
    assert (verdict.verdict, verdict.urgency) == (BAD, Urgency.SERVICE_LIMIT)
    assert of(verdict, "insulation.machine").verdict is OK
    assert "only at the risk of a sudden failure" in headline_found(verdict.summary).lower()
    assert "take the drive along" in cost_text(verdict.summary)


def test_unknown_system_passes_by_the_lower_fails_by_both_and_names_both() -> None:
    """10 MΩ at 20 °C is 7.6 MΩ by one correction and 2.5 MΩ by the other: sound windings read so, and bad ones."""
    verdict = graded(ir(MOTOR, "10.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20)
    found = of(verdict, "insulation.winding")
    assert found.verdict is UNSURE
    assert kinds(verdict)[0] is StepKind.FIND_INSULATION_SYSTEM
    low = graded(ir(MOTOR, "4.00"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20)
    assert of(low, "insulation.winding").verdict is BAD
    high = graded(ir(MOTOR, "30.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20)
    assert of(high, "insulation.winding").verdict is OK
    assert "thermosetting 0.7622; thermoplastic 0.25" in finding_text(found)
    modern = graded(ir(MOTOR, "10.0"), insulation_system=InsulationSystem.UNKNOWN, winding_c=20, made_year=2005)
    assert of(modern, "insulation.winding").verdict is OK
    assert "assumed for a motor of 2005" in finding_text(of(modern, "insulation.winding"))


@pytest.mark.parametrize(("text", "outcome"), [("550", OK), ("0.20", BAD), ("6.00", UNSURE)])
def test_without_a_winding_temperature_only_clear_cases_are_judged(text: str, outcome: Verdict) -> None:
    verdict = graded(ir(MOTOR, text), winding_c=None)
    assert of(verdict, "insulation.winding").verdict is outcome
    if outcome is UNSURE:
        assert StepKind.MEASURE_WINDING_TEMPERATURE in kinds(verdict)


def test_outside_the_range_of_the_correction_nothing_is_corrected() -> None:
    for celsius in (5, 95):
        found = of(graded(ir(MOTOR, "550"), winding_c=celsius, humidity_percent=None), "insulation.temperature")
        assert found.verdict is UNSURE
        assert found.fact is Fact.NOT_COMPARABLE
        assert "not comparable" in finding_text(found)


def test_over_range_is_corrected_as_a_bound() -> None:
    found = of(graded(ir(MOTOR, ">4000"), winding_c=20), "insulation.winding")
    # 4000 MΩ x K(18 °C) = 0.7405, the winding at 20 ± 2 °C
    assert "calculated at least 2.96 GΩ" in finding_text(found)
    low = of(graded(ir(MOTOR, ">4.00"), winding_c=20), "insulation.winding")
    assert low.verdict is UNSURE
    assert low.next_step is not None
    assert low.next_step.action.kind is StepKind.NOTE_RANGE_END


def test_damp_motor_is_neither_judged_nor_corrected() -> None:
    verdict = graded(ir(MOTOR, "550"), air_c=30, humidity_percent=80, winding_c=25)
    assert of(verdict, "insulation.dew_point").verdict is UNSURE
    assert "insulation.winding" not in {f.rule for f in verdict.findings}
    air = graded(ir(MOTOR, "550"), air_c=22, humidity_percent=95, winding_c=None)
    assert of(air, "insulation.dew_point").fact is Fact.AIR_NEAR_DEW_POINT


def test_a_wet_value_below_the_floor_still_keeps_the_drive_off() -> None:
    verdict = graded(ir(MOTOR, "0.50"), air_c=30, humidity_percent=80, winding_c=25)
    assert (verdict.verdict, verdict.drive.verdict) == (BAD, BAD)


@pytest.mark.parametrize(
    ("fields", "limit", "value"),
    [
        ({"winding_kind": WindingKind.FIELD}, "insulation.field", D("1.4")),
        ({"made_year": 1962}, "insulation.field", D("1.4")),
        ({"made_year": 1970}, "insulation.random_wound", D(5)),
        ({"winding_kind": WindingKind.FORM_WOUND}, "insulation.form_wound_low_voltage", D(5)),
        ({"winding_kind": WindingKind.FORM_WOUND, "rated_voltage": 3300}, "insulation.form_wound", D(100)),
        ({}, "insulation.random_wound", D(5)),
    ],
)
def test_row_of_table_3_follows_the_winding(fields: dict[str, Any], limit: str, value: Decimal) -> None:
    """IEEE 43-2013, Table 3 (rows secondary, quoted or from memory as each limit says)."""
    context = {"winding_c": 40} | fields
    found = of(graded(ir(MOTOR, "900", test_voltage_set=1000), **context), "insulation.winding")
    assert found.limit is not None
    assert (found.limit.id, found.limit.value) == (limit, value)


def test_ten_minute_value_does_not_judge_in_place_of_the_one_minute_value() -> None:
    verdict = graded(ir(MOTOR, "4.00"), ir(MOTOR, "12.0", elapsed_s=600))
    assert of(verdict, "insulation.winding").verdict is BAD
