"""Shop profiles and the table of limits: tightened freely, loosened only with a name and a reason."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

import grading
from grading.finding import Verdict
from grading.limit import Direction, Origin, SourceStatus
from grading.limits import FIXED, LIMITS
from grading.measurement import MotorKind
from grading.notices import NoticeKind
from grading.plan import plan_axis
from grading.prose.findings import finding_text
from grading.prose.notices import notice_text
from grading.rulebook import REFERENCE, RULES
from grading.shop import ShopProfile, ShopProfileError, read_profile
from grading.sources import sources_of
from grading.terms.quantity import UNITS
from grading.verdict import grade_axis, grade_job
from tests.grading.making import CABLE, METERS, MOTOR, WHOLE, axis, ir, ll


def profile(text: str) -> ShopProfile:
    return read_profile(tomllib.loads(text))


def test_a_tightened_limit_is_applied_and_needs_no_reason() -> None:
    tight = profile('[limits."insulation.machine"]\nvalue = "2"')
    reading = ir(WHOLE, "1.50")
    assert grade_axis([reading], axis(), METERS, profile=tight).verdict is Verdict.UNACCEPTABLE
    assert grade_axis([reading], axis(), METERS).verdict is Verdict.MARGINAL
    assert tight.notices == ()


LOOSE = """
[limits."insulation.machine"]
value = "0.7"
decided_by = "Head of maintenance"
reason = "old conductor bars"
"""


def test_a_loosened_limit_is_in_every_report_and_citation() -> None:
    loose = profile(LOOSE)
    job = grade_job([ir(WHOLE, "0.90")], {"X": axis()}, METERS, profile=loose)
    assert [n.limit for n in job.notices if n.kind is NoticeKind.LIMIT_LOOSENED] == [loose.limits["insulation.machine"]]
    said = " ".join(notice_text(n) for n in job.notices)
    assert "loosened from 1 to 0.7 MOhm by Head of maintenance: old conductor bars" in said
    finding = next(f for f in job.axes[0].findings if f.rule == "insulation.machine")
    assert finding.verdict is Verdict.ACCEPTABLE
    assert "(shop); loosened from 1" in finding_text(finding)
    (row,) = [source for source in sources_of(job) if source.origin is Origin.SHOP]
    assert "Head of maintenance; old conductor bars; loosened from 1 MOhm" in row.remark
    assert job.axes[0].drive.verdict is Verdict.UNACCEPTABLE  # the floor for the drive stands


@pytest.mark.parametrize("left_out", ["decided_by", "reason"])
def test_loosening_without_name_or_reason_is_refused(left_out: str) -> None:
    text = "\n".join(line for line in LOOSE.splitlines() if not line.startswith(left_out))
    with pytest.raises(ShopProfileError, match="is looser than 1 MOhm of IEC 60204-1"):
        profile(text)


def test_looser_means_higher_where_the_limit_is_an_upper_one() -> None:
    with pytest.raises(ShopProfileError, match="looser"):
        profile('[limits."winding.unbalance_random"]\nvalue = "3"')
    assert profile('[limits."winding.unbalance_random"]\nvalue = "1"').notices == ()


EXTRA = """
[[extra]]
id = "shop.cable"
quantity = "insulation resistance of the cable"
section = "cable_alone"
motor_kind = "ac_servo"
value = "100"
unit = "MOhm"
"""


def test_a_limit_of_the_shops_own_applies_where_it_says() -> None:
    own = profile(EXTRA)
    on_cable = grade_axis([ir(CABLE, "60.0")], axis(), METERS, profile=own)
    found = next(f for f in on_cable.findings if f.rule == "insulation.shop")
    assert found.verdict is Verdict.UNACCEPTABLE
    assert found.limit is not None
    assert found.limit.citation() == "Shop profile (set by the shop)"
    on_whole = grade_axis([ir(WHOLE, "60.0")], axis(), METERS, profile=own)
    assert "insulation.shop" not in {f.rule for f in on_whole.findings}
    anywhere = profile('[[extra]]\nid = "shop.all"\nvalue = 5')
    assert "insulation.shop" in {
        f.rule for f in grade_axis([ir(WHOLE, "60.0")], axis(), METERS, profile=anywhere).findings
    }


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"limit": {}}, "not a section"),
        ({"limits": {"insulation.none": {"value": "1"}}}, "no limit of this id"),
        ({"limits": {"energy.gate_voltage": {"value": "10"}}}, "no shop sets this one"),
        ({"limits": {"insulation.machine": "2"}}, "must be a table"),
        ({"limits": []}, r"\[limits\] must be a table"),
        ({"limits": {"insulation.machine": {"value": "abc"}}}, "positive decimal"),
        ({"limits": {"insulation.machine": {"value": 1.5}}}, "positive decimal"),
        ({"limits": {"insulation.machine": {"value": "-1"}}}, "positive decimal"),
        ({"limits": {"insulation.machine": {"value": "Infinity"}}}, "positive decimal"),
        ({"limits": {"insulation.machine": {}}}, "positive decimal"),
        ({"extra": {"id": "x"}}, "double brackets"),
        ({"extra": ["x"]}, "must be a table"),
        ({"extra": [{"value": "1"}]}, "an id of its own"),
        ({"extra": [{"id": "insulation.machine", "value": "1"}]}, "an id of its own"),
        ({"extra": [{"id": "x", "value": "1", "unit": "MOHM"}]}, "Unknown unit"),
        ({"extra": [{"id": "x", "value": "1", "unit": "V"}]}, "one of resistance"),
        ({"extra": [{"id": "x", "value": "1", "section": "lid"}]}, "use one of through_cable"),
        ({"extra": [{"id": "x", "value": "1", "motor_kind": "stepper"}]}, "use one of dc_servo"),
        ({"rules": {"require_tim": True}}, "no setting"),
        ({"rules": {"require_time": "yes"}}, "true or false"),
    ],
)
def test_every_problem_is_named(data: dict[str, Any], message: str) -> None:
    with pytest.raises(ShopProfileError, match=message):
        read_profile(data)


def test_all_problems_come_at_once() -> None:
    with pytest.raises(ShopProfileError) as caught:
        read_profile({"nope": 1, "limits": {"a": {}, "insulation.machine": {"value": "0.1"}}, "rules": {"x": 1}})
    assert len(caught.value.problems) == 4


def test_an_empty_profile_is_the_published_limits() -> None:
    assert read_profile({}) == ShopProfile()


def test_the_spread_of_an_armature_is_judged_by_the_limit_in_force() -> None:
    """Readings that spread by some 9 % are even by the published 20 %, and not by a shop's own 5 %."""
    tight = profile('[limits."winding.armature_spread"]\nvalue = "5"')
    values = ("0.84", "0.80", "0.87", "0.83", "0.82", "0.82", "0.84", "0.83")
    readings = [ll(MOTOR, v, "A1-A2", position=str(i + 1)) for i, v in enumerate(values)]
    context = axis(MotorKind.DC_SERVO)
    published, own = (
        next(f for f in grade_axis(readings, context, METERS, profile=shop).findings if f.rule == "winding.armature")
        for shop in (ShopProfile(), tight)
    )
    assert published.verdict is Verdict.ACCEPTABLE
    assert own.verdict is Verdict.MARGINAL
    assert own.limit == tight.limits["winding.armature_spread"]


@pytest.mark.parametrize(("name", "value", "before", "after"), [
    ("winding.armature_outlier", "10", Verdict.ACCEPTABLE, Verdict.MARGINAL),
    ("winding.armature_spread", "12", Verdict.ACCEPTABLE, Verdict.MARGINAL),
])  # fmt: skip
def test_limits_of_an_armature_reach_the_rule(name: str, value: str, before: Verdict, after: Verdict) -> None:
    values = ("0.80", "0.81", "0.80", "0.90", "0.80", "0.79", "0.80", "0.80")
    readings = [ll(MOTOR, v, "A1-A2") for v in values]
    shop = profile(f'[limits."{name}"]\nvalue = "{value}"')
    for limits, verdict in ((ShopProfile(), before), (shop, after)):
        findings = grade_axis(readings, axis(MotorKind.DC_SERVO), METERS, profile=limits).findings
        assert next(f for f in findings if f.rule == "winding.armature").verdict is verdict


def test_a_shop_may_ask_for_a_longer_time_and_more_positions_and_the_plan_says_so() -> None:
    shop = profile('[limits."insulation.time"]\nvalue = "90"\n[limits."winding.armature_positions"]\nvalue = "12"\n')
    tasks = plan_axis([], axis(MotorKind.DC_SERVO), METERS, profile=shop).tasks
    assert {t.point.seconds for t in tasks} == {0, 90}
    assert {t.point.positions for t in tasks} == {1, 12}


# The table itself.


def test_every_limit_names_its_source_and_how_it_was_seen() -> None:
    for name, limit in LIMITS.items():
        assert name == limit.id
        assert limit.quantity
        assert limit.condition
        assert limit.source
        assert limit.value > 0 or limit.unit == "Cel"
        assert limit.unit in {*UNITS, "1", "W", "uC", "mo"}
        published = limit.source not in ("Program's rule", "Common practice")
        own = limit.status in (SourceStatus.HOUSE_RULE, SourceStatus.COMMON_PRACTICE)
        assert not (published and own), name


def test_citations_say_what_is_a_rule_of_the_program_and_what_is_from_memory() -> None:
    assert LIMITS["insulation.watch_brushed"].citation() == "program's rule, no source"
    assert LIMITS["insulation.drive_floor"].citation() == "common practice, no source"
    assert "from memory" in LIMITS["tester.step_drop"].citation()
    assert LIMITS["tester.operating_error"].citation() == "IEC 61557-2:2019, 6.2 (read in the document)"


def test_every_printed_limit_says_in_one_word_where_it_is_from() -> None:
    """The long remark stands in the table of sources, once."""
    words = {name: limit.cited() for name, limit in LIMITS.items()}
    assert words["insulation.machine"] == "IEC 60204-1, 18.3 (quoted)"
    assert words["tester.operating_error"] == "IEC 61557-2:2019, 6.2 (read)"
    assert words["insulation.watch_brushed"] == words["insulation.drive_floor"] == "practice"
    assert {limit.origin for limit in LIMITS.values()} == set(Origin) - {Origin.SHOP}
    job = grade_job([ir(WHOLE, "0.90"), ir(MOTOR, "4.00"), ir(CABLE, "30")], {"X": axis()}, METERS)
    said = " ".join(finding_text(f) for f in job.axes[0].findings)
    assert "secondary text" not in said
    assert "document not opened" not in said
    remarks = {source.document: source.remark for source in sources_of(job)}
    assert remarks["IEC 60204-1, 18.3"] == "read in a secondary text"
    assert job.to_dict()["sources"][0].keys() == {"document", "origin", "remark", "limits"}
    own = profile('[limits."insulation.machine"]\nvalue = "2"')
    tight = grade_job([ir(WHOLE, "1.50")], {"X": axis()}, METERS, profile=own)
    assert Origin.SHOP in {source.origin for source in sources_of(tight)}


def test_rules_and_limits_refer_to_each_other() -> None:
    used = {name for rule in RULES.values() for name in rule.limits}
    assert used | REFERENCE == set(LIMITS)
    assert not used & REFERENCE
    assert all(rule.title and rule.source for rule in RULES.values())


def test_upper_limits_are_marked_as_such() -> None:
    assert LIMITS["winding.unbalance_random"].direction is Direction.AT_MOST
    assert LIMITS["insulation.machine"].direction is Direction.AT_LEAST


def test_every_limit_that_a_shop_may_set_is_one_that_a_rule_asks_for() -> None:
    """A profile must not hold figures that nothing looks at."""
    package = Path(grading.__file__).parent
    others = [f for f in package.rglob("*.py") if f.name not in ("limits.py", "entry_limits.py", "rulebook.py")]
    text = "".join(f.read_text(encoding="utf-8") for f in others)
    rows = (package / "limits.py").read_text(encoding="utf-8").split("LIMITS: Mapping", 1)[1]
    asked = {name for name in LIMITS if f'"{name}"' in text + rows}
    assert {name for name in LIMITS if name not in FIXED} <= asked
