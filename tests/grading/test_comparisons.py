"""Values against each other: absorption, voltage steps, ohmmeter and tester, before and after cleaning."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from grading.details import TrueValue
from grading.facts import Fact, StatementBasis
from grading.finding import Urgency, Verdict
from grading.measurement import MotorKind
from grading.prose.findings import finding_text
from grading.prose.steps import settles_text
from grading.steps import Reason, ReasonKind, StepKind
from grading.verdict import grade_axis
from tests.grading.making import MOTOR, TESTER, WHOLE, axis, ir, lg
from tests.grading.whole_axes import BAD, OK, UNSURE, WATCH, D, facts, graded, kinds, of


def test_falling_values() -> None:
    ratio = graded(ir(WHOLE, "2.00", elapsed_s=30), ir(WHOLE, "1.60"))
    assert of(ratio, "absorption.dar").verdict is WATCH
    found = of(ratio, "absorption.dar")
    assert found.basis is StatementBasis.INDICATES
    assert "moisture or creeping breakdown" in finding_text(found)
    noted = graded(ir(WHOLE, "550", noted=("falling",)))
    assert of(noted, "absorption.dar").verdict is WATCH


@pytest.mark.parametrize(("early", "late", "words"), [
    ("2100", "2800", "not graded above 1000 MΩ"), (">4000", ">4000", "undefined"), ("210", "280", "called fair"),
    ("550", ">4000", "above"), (">4000", "550", "below"),
])  # fmt: skip
def test_absorption_ratio_words(early: str, late: str, words: str) -> None:
    found = of(graded(ir(WHOLE, early, elapsed_s=30), ir(WHOLE, late)), "absorption.dar")
    assert words in finding_text(found)


@pytest.mark.parametrize(("early", "late", "fields", "words"), [
    ("120", "130", {"thermal_class": "F"}, "no fault by itself"),
    ("80", "112", {}, "thermal class not recorded"),
    ("80", "112", {"thermal_class": "warm"}, "thermal class not recorded"),
    ("80", "112", {"motor": MotorKind.DC_SERVO, "thermal_class": "F"}, "brushed armature"),
    ("80", ">4000", {"thermal_class": "F"}, "above"),
])  # fmt: skip
def test_polarization_index_that_judges_nothing(early: str, late: str, fields: dict[str, Any], words: str) -> None:
    found = of(graded(ir(MOTOR, early), ir(MOTOR, late, elapsed_s=600), **fields), "absorption.pi")
    assert found.urgency is Urgency.INFORMATION
    assert words in finding_text(found)


def test_voltage_dependent_leakage_asks_for_cleaning() -> None:
    verdict = graded(ir(WHOLE, "40.0", test_voltage_set=250), ir(WHOLE, "28.0"))
    found = of(verdict, "voltage.steps")
    assert found.verdict is WATCH
    assert found.next_step is not None
    assert "equal within 25 %" in settles_text(found.next_step.settles)


def test_brush_dust_is_named_on_a_brushed_motor_only() -> None:
    pair = [lg(WHOLE, "OL"), ir(WHOLE, "0.50")]
    brushed, brushless = graded(*pair, motor=MotorKind.DC_SERVO), graded(*pair)
    assert "carbon dust from the brushes" in finding_text(of(brushed, "ground.compare"))
    assert of(brushless, "ground.compare").reason == Reason(ReasonKind.DUST_OR_TRACKING)
    assert StepKind.VACUUM_AND_RETEST in kinds(brushed)


@pytest.mark.parametrize(("text", "outcome"), [
    ("0.000004", BAD), ("0.50", BAD), ("20.0", WATCH), ("OL", OK), ("none", UNSURE), ("short", BAD),
])  # fmt: skip
def test_ohmmeter_alone(text: str, outcome: Verdict) -> None:
    assert of(graded(lg(WHOLE, text)), "ground.ohmmeter").verdict is outcome


def test_ohmmeter_above_the_insulation_tester_opens_with_voltage() -> None:
    verdict = graded(lg(WHOLE, "50.0"), ir(WHOLE, "5.00"))
    found = of(verdict, "ground.compare")
    assert found.verdict is UNSURE
    assert found.next_step is not None
    assert found.next_step.reason.kind is ReasonKind.OPENS_WITH_VOLTAGE
    close = graded(lg(WHOLE, "50.0"), ir(WHOLE, "30.0"))
    assert of(close, "ground.compare").fact is Fact.METERS_AGREE_WITHIN


def test_unequal_polarity_indicates_moisture() -> None:
    verdict = graded(lg(WHOLE, "8.0"), lg(WHOLE, "2.0", noted=("reversed",)), ir(WHOLE, "10.0"))
    assert Fact.DEPENDS_ON_POLARITY in facts(verdict)
    over = graded(lg(WHOLE, "8.0"), lg(WHOLE, "OL", noted=("reversed",)), ir(WHOLE, "10.0"))
    assert Fact.DEPENDS_ON_POLARITY not in facts(over)


def test_cleaning_replaces_what_was_read_before() -> None:
    before, after = ir(MOTOR, "0.50"), ir(MOTOR, "550", noted=("after_cleaning",))
    verdict = graded(before, after)
    assert verdict.verdict is OK
    assert Fact.BEFORE_CLEANING in facts(verdict)
    assert graded(before, replace(after, circumstances=frozenset())).verdict is BAD


@pytest.mark.parametrize(("before", "after", "fact", "verdict"), [
    ("0.50", "550", Fact.CLEANING_HELPED, OK), ("3.00", "3.20", Fact.CLEANING_CHANGED_NOTHING, OK),
    ("3.00", "1.50", Fact.CLEANING_CHANGED_NOTHING, WATCH), ("3.00", "6.00", Fact.CLEANING_COMPARED, OK),
    (">4000", "900", Fact.CLEANING_CHANGED_NOTHING, WATCH), ("OL", "900", Fact.CLEANING_CHANGED_NOTHING, WATCH),
    ("collapsed", "900", Fact.CLEANING_HELPED, OK),
])  # fmt: skip
def test_what_cleaning_changed(before: str, after: str, fact: Fact, verdict: Verdict) -> None:
    """Program's rule: twice the value confirms surface dirt or moisture; no change indicates the insulation itself."""
    found = of(graded(ir(MOTOR, before), ir(MOTOR, after, noted=("after_cleaning",))), "insulation.cleaning")
    assert found.fact is fact
    assert found.verdict is verdict


def test_collapse_is_estimated_from_the_testers_current() -> None:
    """R = U/I; the bound of 1000 Ω/V stands beside it."""
    low = ir(WHOLE, "0.07", test_voltage_built=70)
    known = grade_axis([low], axis(), {"IT-03": replace(TESTER, current_limit_ma=D("1.0"))})
    statement = finding_text(of(known, "insulation.machine"))
    assert "below 0.500 MΩ, estimated 0.0700 MΩ from the tester's 1.0 mA" in statement
    assert "means 1.00 mA, which fits" in statement
    unknown = finding_text(of(graded(ir(WHOLE, "collapsed", test_voltage_built=100)), "insulation.machine"))
    assert "estimated 6.67 kΩ to 0.100 MΩ from the 1 to 15 mA that a tester drives" in unknown
    odd = finding_text(of(graded(ir(WHOLE, "0.001", test_voltage_built=100)), "insulation.machine"))
    assert "means 100 mA, which does not fit" in odd
    without = of(graded(ir(WHOLE, "collapsed")), "insulation.machine").detail
    assert isinstance(without, TrueValue)
    assert without.estimate is None
