"""Edges: what each formula refuses, and what it says; gates before a test; test points by name; purity."""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

import grading
from grading import absorption, advice, energy, interval, student, temperature, uncertainty, voltage, winding, words
from grading.facts import MeasuredValue
from grading.finding import plain
from grading.interval import INFINITY, ContradictionError, Interval
from grading.limits import LIMITS
from grading.measurement import CarrierUse
from grading.prose.gate import gate_texts
from grading.reading import Shape, bound
from grading.steps import Reason, ReasonKind
from grading.terms.quantity import Qualifier, Quantity, UnitError, parse_digits
from grading.terms.terminals import auxiliary, ends, leads, pair, to_earth
from tests.grading.making import CABLE, CORE, TESTER, WHOLE, ir, lg, ll, made

D = Decimal
REFUSALS: list[tuple[Callable[[], Any], type[Exception], str]] = [
    (lambda: Interval(D(2), D(1)), ValueError, "low <= high"),
    (lambda: Interval(D(-1), D(1)), ValueError, "low <= high"),
    (lambda: interval.infer_branch(D(2), D(1)), ContradictionError, "repeat"),
    (lambda: interval.infer_interval(Interval(D(2), D(3)), Interval(D(1), D(1))), ContradictionError, "repeat"),
    (lambda: interval.amplification(D(2), D(1)), ContradictionError, "repeat"),
    (lambda: uncertainty.inferred_relative(D(2), D(0), D(2), D(0)), ValueError, "Nothing can be inferred"),
    (lambda: uncertainty.minimum_reading(D(1), D(1)), ValueError, "fraction"),
    (lambda: absorption.ratio(D(1), D(0)), ValueError, "above 0"),
    (lambda: absorption.minimum_pi("warm"), ValueError, "use 105"),
    (lambda: voltage.ieee43_test_voltage(D(0)), ValueError, "above 0 V"),
    (lambda: voltage.step_drop_percent(D(0), D(1)), ValueError, "above 0"),
    (lambda: winding.unbalance_percent([D(1)]), ValueError, "two readings"),
    (lambda: winding.unbalance_percent([D(0), D(0)]), ValueError, "not all be 0"),
    (lambda: winding.star_phases(D(1), D(1), D(3)), winding.InconsistentWindingError, "fit no star"),
    (lambda: winding.cable_loop_ohm(D(1), D(0)), ValueError, "mm²"),
    (lambda: winding.expected_armature_ohm(D(90), D(0)), ValueError, "above 0 A"),
    (lambda: winding.survey_armature([D(1)] * 2), ValueError, "three shaft positions"),
    (lambda: winding.survey_armature([D(0)] * 3), ValueError, "above 0"),
    (lambda: temperature.dew_point_c(D(20), D(0)), ValueError, "humidity"),
    (lambda: temperature.dew_point_c(D(20), D(101)), ValueError, "humidity"),
    (lambda: temperature.dew_point_c(D(70), D(50)), ValueError, "-45 to 60"),
    (lambda: temperature.resistance_at(D(1), D(-300), D(20), D("234.5")), ValueError, "above -234.5"),
    (lambda: temperature.temperature_from_resistance(D(0), D(20), D(1), D("234.5")), ValueError, "above 0"),
    (lambda: energy.discharge_time_s(D(1), D(1), D(10), D(20)), ValueError, "not above the start"),
    (lambda: energy.discharge_time_s(D(1), D(1), D(10), D(0)), ValueError, "above 0"),
    (lambda: advice.carrier_score(CarrierUse(D(1), D(0))), ValueError, "rated cycles"),
    (lambda: student.t_cdf(1.0, 0), ValueError, "degree of freedom"),
    (lambda: student.t_quantile(0.4, 3), ValueError, "between 0.5 and 1"),
    (lambda: parse_digits("1e5"), ValueError, "plain decimal"),
    (lambda: parse_digits("1.2.3"), ValueError, "plain decimal"),
    (lambda: Quantity("1", None).in_unit("Ohm"), UnitError, "no unit"),
    (lambda: plain(object()), TypeError, "no plain form"),
]


@pytest.mark.parametrize(("call", "error", "message"), REFUSALS)
def test_refusals_say_what_to_do(call: Callable[[], Any], error: type[Exception], message: str) -> None:
    with pytest.raises(error, match=message):
        call()


def test_ends_of_intervals() -> None:
    assert interval.parallel([D(0), D(5)]) == 0
    assert interval.reciprocal(D(0)) == INFINITY
    assert interval.amplification(D(5), INFINITY) == 1
    assert interval.amplification(D(5), D(5)) == INFINITY
    assert interval.amplification(D(80), D(100)) == 5
    assert uncertainty.probability_at_least(D(2), D(1), D(0)) == 1
    assert uncertainty.probability_at_least(D(0), D(1), D(0)) == 0
    assert voltage.implied_current_ma(D(5), D(0)) == INFINITY
    assert absorption.dar_band(D("1.1")) == "unreliable"
    assert absorption.dar_band(D("1.7")) == "excellent"
    assert absorption.minimum_pi("h") == 2
    assert absorption.minimum_pi("A") == D("1.5")


def test_gate_names_everything_that_is_missing() -> None:
    """Live-dead-live, 50 V (29 CFR 1910.333), drive disconnected, vertical axis supported; the gate: program's rule."""
    shut = energy.gate(bus_v=None, proved_before=False, proved_after=False, drive_disconnected=False,
                       vertical_supported=False, clipped=["ENC A"])  # fmt: skip
    assert not shut.may_start
    assert len(shut.reasons) == 6
    assert energy.GateReason.DRIVE_CONNECTED in shut.reasons
    assert any("Take ENC out of the test" in r for r in gate_texts(shut))
    live = energy.gate(bus_v=D(50), proved_before=True, proved_after=True, drive_disconnected=True,
                       vertical_supported=True)  # fmt: skip
    assert gate_texts(live) == ("The bus still carries 50 V; wait and measure again until it is below 50 V.",)


@pytest.mark.parametrize(
    ("text", "both", "names", "earth"),
    [
        ("U-PE", ("U", "PE"), ("U",), True),
        ("u+v+w-pe", ("U+V+W", "PE"), ("U", "V", "W"), True),
        ("A1 to ground", ("A1", "GROUND"), ("A1",), True),
        ("A1/A2", ("A1", "A2"), ("A1", "A2"), False),
        ("A1 A2", ("A1", "A2"), ("A1", "A2"), False),
        ("lead-ground", ("LEAD", "GROUND"), ("LEAD",), True),
        ("U", ("U", ""), ("U",), True),
        ("", ("", ""), (), True),
        ("B+-B-", ("B+", "B-"), ("B+", "B-"), False),
    ],
)
def test_test_points(text: str, both: tuple[str, str], names: tuple[str, ...], earth: bool) -> None:
    assert ends(text) == both
    assert leads(text) == names
    assert to_earth(text) is earth
    assert pair(text) == pair("-".join(reversed(both))) or not both[1] or "+" in text


@pytest.mark.parametrize(("text", "found"), [
    ("U-PE", ()), ("U+V+W-PE", ()), ("A1+A2-PE", ()), ("B-PE", ()), ("C-PE", ()), ("BRAKE-PE", ("BRAKE",)),
    ("B+-PE", ("B+",)), ("PTC-PE", ("PTC",)), ("U+ENC-PE", ("ENC",)), ("TH1-TH2", ("TH1", "TH2")),
    ("tacho-pe", ("TACHO",)), ("fan to frame", ("FAN",)),
])  # fmt: skip
def test_auxiliary_leads(text: str, found: tuple[str, ...]) -> None:
    assert auxiliary(text) == found


@pytest.mark.parametrize(
    ("reading", "shape"),
    [
        (ir(WHOLE, "-5"), Shape.NONE),
        (ir(WHOLE, "5", "V"), Shape.NONE),
        (made(CORE, CABLE, "0.20", "Ohm", terminals="U-U"), Shape.POINT),
        (lg(WHOLE, ">60"), Shape.OVER),
        (ll(WHOLE, "<0.1"), Shape.UNDER),
    ],
)
def test_shapes(reading: Any, shape: Shape) -> None:
    assert bound(reading, TESTER).shape is shape


def test_values_without_digits() -> None:
    empty = ir(WHOLE, "5")
    no_digits = bound(type(empty)(**{**vars(empty), "quantity": Quantity(None, "MOhm")}), TESTER)
    assert (no_digits.shape, no_digits.basis) == (Shape.NONE, Reason(ReasonKind.NO_DIGITS))
    assert no_digits.expanded_uncertainty is None
    assert Quantity(None, "MOhm").resolution is None
    odd = Quantity("0.5", "Ohm", Qualifier.SHORT)
    assert odd.display() == "short (below resolution), 0.5 Ω"


def test_fewer_digits_than_the_display_are_rounding_not_counts() -> None:
    """Half a megohm, so spoken; the tester shows 0.01 MΩ: 3 % + 5 counts of 0.01 + half of the 0.1 spoken."""
    spoken, shown = bound(ir(WHOLE, "0.5"), TESTER), bound(ir(WHOLE, "0.50"), TESTER)
    assert spoken.half_width == D(15_000 + 50_000 + 50_000)
    assert shown.half_width == D(15_000 + 50_000)


def test_below_range_takes_the_instruments_resolution() -> None:
    assert bound(ir(WHOLE, "short"), TESTER).interval.high == 10_000
    assert bound(ir(WHOLE, "short"), None).interval.high == 100_000
    assert bound(lg(WHOLE, "short"), TESTER).interval.high == 10


def test_words() -> None:
    assert words.ohms(D("0.80456")) == "0.805 Ω"
    assert words.ohms(D(70_456)) == "0.0705 MΩ"
    assert words.ohms(D(8204)) == "8.20 kΩ"
    assert words.ohms(INFINITY) == "over range"
    assert words.span(Interval.at_least(D(4_000_000_000))) == "above 4.00 GΩ"
    assert words.span(Interval.at_most(D(500_000))) == "below 0.500 MΩ"
    assert words.span(Interval(D(0), INFINITY)) == "not known"
    assert words.span(Interval(D(900), D(1100))) == "900 Ω to 1.10 kΩ"
    assert words.number(INFINITY) == "∞"
    assert words.number(D(0)) == "0"
    assert words.sentence("done.") == "Done."
    assert words.limit_value(LIMITS["energy.exempt_charge"]) == "60 µC"
    assert words.limit_value(LIMITS["insulation.scope_power"]) == "750 W"
    built_only = ir(WHOLE, "5", test_voltage_set=None, test_voltage_built=480)
    assert words.measured(MeasuredValue.of(built_only)) == "measured 5 MΩ at 480 V after 60 s"


def test_plain_data() -> None:
    @dataclass(frozen=True)
    class Holder:
        inside: Any

    assert plain(Holder({"b", "a"})) == {"inside": ["a", "b"]}
    assert plain({Qualifier.ABOVE: D("1E+3")}) == {">": "1000"}


def test_grading_imports_nothing_but_the_standard_library_and_itself() -> None:
    root = Path(grading.__file__).parent
    for file in root.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                top = name.split(".")[0]
                assert top == "grading" or top in sys.stdlib_module_names, f"{file.name} imports {name}"
                assert top not in {"os", "pathlib", "time", "random", "socket", "subprocess", "logging"}, file.name
