"""What the vectors of `vectors.jsonl` call: thin wrappers that put plain numbers into grading and take plain ones out.

Insulation in MΩ and windings in Ω, as in the vectors; nothing is computed here that grading could compute.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from grading import absorption, advice, energy, interval, isolation, temperature, uncertainty, voltage, winding
from grading.case import build_case, hold_at_least
from grading.details import Absorption
from grading.facts import Fact
from grading.finding import Finding, Urgency
from grading.interval import INFINITY, ContradictionError, Interval
from grading.limits import LIMITS, field_limit
from grading.measurement import AxisContext, CarrierUse, InsulationSystem, Measurement, MotorKind, Visit
from grading.prose.findings import finding_text
from grading.reading import bound
from grading.rules.absorption import judge_absorption
from grading.steps import Reason, ReasonKind
from grading.terms.quantity import UNITS, Quantity, UnitError, unit
from grading.trend import Fit, Point, fit
from grading.verdict import grade_axis
from grading.words import number
from tests.grading import making
from tests.grading.making import METERS, MOTOR, WHOLE, axis, ir, lg, ll

D = Decimal


def dec(value: Any) -> Decimal:
    """Make a decimal from a number or text as it stands in the vectors."""
    return Decimal(str(value))


def decs(values: list[Any]) -> list[Decimal]:
    """Give the same for a list."""
    return [dec(v) for v in values]


def line(years: list[float], values: list[float]) -> Fit:
    """Make a trend through values in any unit."""
    return fit([Point(t, v) for t, v in zip(years, values, strict=True)])


def between(pair: list[Any]) -> Interval:
    """Give an interval; None is unbounded."""
    return Interval(dec(pair[0]), INFINITY if pair[1] is None else dec(pair[1]))


def as_list(found: Interval) -> list[Decimal | None]:
    """Give an interval as a list; unbounded is None."""
    return [found.low, found.high if found.bounded else None]


def only(findings: list[Finding] | tuple[Finding, ...], rule: str) -> Finding:
    """Give the one finding of a rule."""
    (found,) = [f for f in findings if f.rule == rule]
    return found


def word(finding: Finding) -> str:
    """Give the verdict, or "information" where the finding judges nothing."""
    return "information" if finding.urgency is Urgency.INFORMATION else finding.verdict.value


def time_to_threshold(years: list[float], values: list[float], limit: float) -> dict[str, float]:
    found = line(years, values)
    band = found.band(limit)
    assert band is not None
    return {"t": found.reaches(limit) or 0.0, "lo": band[0], "hi": band[1]}


def gate_bus(bus: float, before: bool, after: bool, clipped: list[str]) -> bool:
    return energy.gate(bus_v=dec(bus), proved_before=before, proved_after=after, drive_disconnected=True,
                       vertical_supported=True, clipped=clipped).may_start  # fmt: skip


def choice(rated: float | None) -> list[Decimal]:
    found = voltage.choose(None if rated is None else dec(rated))
    return [found.screening, found.judging, found.ceiling]


def overshoot(selected: float, built: float) -> list[Any]:
    reading = ir(WHOLE, ">4000", test_voltage_set=selected, test_voltage_built=built)
    rules = [f.rule for f in grade_axis([reading], axis(), METERS).findings]
    return [voltage.overshoot_ratio(dec(selected), dec(built)), "voltage.overshoot" in rules]


def against(name: str, megohm: float) -> str:
    value = dec(megohm) * 1_000_000
    return hold_at_least(Interval(value, value), value, None, LIMITS[name])[0].value


def by_analogy(power: int) -> bool:
    verdict = grade_axis([ir(MOTOR, "550")], axis(rated_power_w=power), METERS)
    return "By analogy" in finding_text(only(verdict.findings, "insulation.winding"))


def corrected(system: str, megohm: float, celsius: float) -> list[Decimal]:
    factor = temperature.factors(InsulationSystem(system), dec(celsius))[InsulationSystem(system)]
    return [factor, factor * dec(megohm)]


def corrected_pair(first: float, first_c: float, second: float, second_c: float) -> list[Decimal]:
    a, b = corrected("thermosetting", first, first_c)[1], corrected("thermosetting", second, second_c)[1]
    return [a, b, b / a]


def comparable(system: str, celsius: float) -> bool:
    try:
        temperature.factors(InsulationSystem(system), dec(celsius))
    except temperature.NotComparableError:
        return False
    return True


def branches_meet() -> float:
    """Give the cold branch just below 40 °C against the hot branch at 40 °C."""
    below = temperature.factor_thermosetting(D(40) - D("1e-12"))
    return abs(float(below - temperature.factor_thermosetting(D(40))))


def may_judge(air: float, humidity: float, winding_c: float) -> bool:
    verdict = grade_axis([ir(MOTOR, "550")], axis(air_c=air, humidity_percent=humidity, winding_c=winding_c), METERS)
    return "insulation.dew_point" not in [f.rule for f in verdict.findings]


def _absorption(*readings: Measurement, thermal_class: str | None = None) -> list[Finding]:
    return list(judge_absorption(build_case(readings, axis(thermal_class=thermal_class), METERS)))


def pi_verdict(first: str, last: str, thermal_class: str) -> list[str]:
    # The vectors name no tester; the usual one of the tests shows no more than 4000 MΩ.
    early, late = (ir(MOTOR, text, elapsed_s=s, instrument_id=None) for text, s in ((first, 60), (last, 600)))
    found = only(_absorption(early, late, thermal_class=thermal_class), "absorption.pi")
    if found.fact is Fact.INDEX_UNDEFINED:
        return ["", "undefined"]
    assert isinstance(found.detail, Absorption)
    value = found.detail.ratio.value
    meaningless = found.reason is not None and found.reason.kind is ReasonKind.INDEX_MEANINGLESS
    return ["" if value is None else number(value), "not meaningful" if meaningless else word(found)]


def pi_low(first: str, last: str) -> Decimal:
    early, late = (bound(ir(MOTOR, text), None).interval for text in (first, last))
    exact = Interval(dec(first) * 1_000_000, dec(first) * 1_000_000)
    assert early.low < exact.low < early.high
    return absorption.ratio_of_intervals(late, exact)[0]


def pi_interval(first: float, last: float, error: float) -> list[Decimal]:
    low, high = (1 - dec(error), 1 + dec(error))
    early, late = (Interval(dec(v) * low, dec(v) * high) for v in (first, last))
    return list(absorption.ratio_of_intervals(late, early))


def dar_band(early: float, late: float) -> list[Any]:
    value = absorption.ratio(dec(late), dec(early))
    return [value, absorption.dar_band(value)]


def ratio_name(early: int, late: int) -> str:
    found = only(_absorption(ir(MOTOR, "100", elapsed_s=early), ir(MOTOR, "160", elapsed_s=late)), "absorption.dar")
    assert found.urgency is Urgency.INFORMATION
    assert found.reason == Reason(ReasonKind.NO_TABLE)
    return absorption.AbsorptionRatio(D(late), D(early), D(0), INFINITY, None).name


def unbalance_verdict(values: list[str]) -> list[Any]:
    pairs = ("U-V", "V-W", "W-U")
    readings = [ll(MOTOR, value, pair) for value, pair in zip(values, pairs, strict=True)]
    found = only(grade_axis(readings, axis(), METERS).findings, "winding.unbalance")
    return [winding.unbalance_percent(decs(values)), found.verdict.value]


def delta_open_phase(phase: float) -> list[Decimal]:
    p = dec(phase)
    return [interval.parallel([INFINITY, 2 * p]), interval.parallel([p, INFINITY]), interval.parallel([INFINITY, p])]


def star_open_phase() -> list[str]:
    readings = [ll(MOTOR, "OL", "U-V"), ll(MOTOR, "OL", "W-U"), ll(MOTOR, "1.20", "V-W")]
    findings = grade_axis(readings, axis(), METERS).findings
    by_id = {f.record_ids[0]: f for f in findings if f.rule == "winding.open"}
    return ["open" if by_id[r.record_id].verdict.value == "unacceptable" else "closed" for r in readings]


def armature(values: list[float]) -> list[Any]:
    found = winding.survey_armature(decs(values))
    return [found.median, found.smallest, found.largest, found.spread_percent, found.outliers[0], found.pattern]


def nameplate_off(value: float, at: float, reference: float, plate: float) -> list[Decimal]:
    brought = temperature.resistance_at(dec(value), dec(at), dec(reference), D("234.5"))
    context = axis(winding_c=at, nameplate_resistance_ohm=plate, nameplate_c=reference)
    found = only(grade_axis([ll(MOTOR, str(value))], context, METERS).findings, "winding.nameplate")
    assert found.margin is not None
    assert found.margin.value is not None
    assert found.verdict.value == "marginal"
    return [brought, found.margin.value]


def infer_interval(total: list[Any], known: list[Any]) -> Any:
    try:
        return as_list(interval.infer_interval(between(total), between(known)))
    except ContradictionError:
        return "contradiction"


def whole_clears(text: str) -> list[Any]:
    verdict = grade_axis([ir(WHOLE, text)], axis(), METERS)
    whole = bound(ir(WHOLE, text), None).interval
    return [whole.low / 1_000_000, verdict.fault.value]


def hidden_path(motor: float, cable: float, whole: float) -> Decimal:
    return interval.infer_branch(dec(whole), interval.parallel([dec(motor), dec(cable)]))


def amplification_usable(total: float, known: float) -> bool:
    return interval.amplification(dec(total), dec(known)) <= LIMITS["compare.amplification"].value


_SIGNS = {"-": isolation.State.LOW, "+": isolation.State.OK, ".": isolation.State.UNMEASURED}


def table(signs: str) -> str:
    return isolation.locate(*(_SIGNS[s] for s in signs)).fault.value


def carrier_score(*parts: str) -> Decimal:
    return advice.carrier_score(CarrierUse(*(dec(p) for p in parts)))


def cable_order() -> list[str]:
    uses = {"Y": "3e6 5e6 1 1 1", "Z": "6e6 10e6 1 1 1", "B": "0.75e6 1e6 1 1.5 1", "X": "4.5e6 5e6 1 1 1.5"}
    contexts = {
        name: AxisContext(name, MotorKind.AC_SERVO, carrier=CarrierUse(*(dec(p) for p in parts.split())))
        for name, parts in uses.items()
    }
    return list(advice.cable_order(contexts))


def collapse_bounds_ohm(built: float, least_a: float, most_a: float) -> list[Decimal | None]:
    return as_list(voltage.collapse_estimate(dec(built), dec(least_a) * 1000, dec(most_a) * 1000))


def collapsed(selected: float, built: float) -> list[Any]:
    reading = bound(ir(WHOLE, "collapsed", test_voltage_set=selected, test_voltage_built=built), None)
    estimate = voltage.collapse_estimate(dec(built))
    return [reading.interval.high, estimate.low, estimate.high]


def collapse_reading(selected: float, built: float, megohm: str) -> list[Any]:
    reading = ir(WHOLE, megohm, test_voltage_set=selected, test_voltage_built=built)
    current = voltage.implied_current_ma(dec(built), dec(megohm) * 1_000_000)
    return [grade_axis([reading], axis(), METERS).verdict.value, current]


def step(low_v: int, low: str, high_v: int, high: str) -> list[Any]:
    readings = [ir(MOTOR, low, test_voltage_set=low_v), ir(MOTOR, high, test_voltage_set=high_v)]
    found = only(_absorption(*readings), "voltage.steps")
    return [voltage.step_drop_percent(dec(low), dec(high)), word(found)]


def ohm_against_ir(meter: str, tester: str, volts: int) -> list[str]:
    built = 80 if tester == "collapsed" else volts
    readings = [lg(WHOLE, meter), ir(WHOLE, tester, test_voltage_set=volts, test_voltage_built=built)]
    verdict = grade_axis(readings, axis(), METERS)
    found = only(verdict.findings, "ground.compare")
    phrases = {
        Fact.CONDUCTS_UNDER_VOLTAGE: "only under voltage",
        Fact.METERS_DISAGREE: "disagree",
        Fact.METERS_AGREE: "agree",
        Fact.METERS_AGREE_AS_FAR: "agree",
        Fact.METERS_AGREE_WITHIN: "agree",
    }
    phrase = phrases[found.fact]
    return [verdict.verdict.value, phrase]


def drop(before: str, now: str) -> str:
    then = dt.datetime(2025, 11, 25, tzinfo=dt.UTC)
    context = axis()
    visit = Visit(then, (ir(MOTOR, before, at=then),), context)
    verdict = grade_axis([ir(MOTOR, now, at=then.replace(year=2026))], context, METERS, history=[visit])
    return word(only(verdict.findings, "trend.drop"))


def no_trend(years: list[float], values: list[float]) -> list[float]:
    found = line(years, values)
    assert not found.has_trend
    return [found.slope, found.slope_half_width]


def fit_refused(years: list[float], values: list[float]) -> bool:
    try:
        line(years, values)
    except ValueError:
        return True
    return False


def censored_not_substituted() -> bool:
    """Refuse three visits alone; with a fourth the fit differs from one that took the bound as a value."""
    points = [Point(0, 900), Point(1, 4000, over=True), Point(2, 410)]
    try:
        fit(points)
    except ValueError:
        points.append(Point(3, 300))
        taken_as_value = [replace(p, over=False) for p in points]
        return abs(fit(points).intercept - fit(taken_as_value).intercept) > 0.001
    return False


def _spec(text: str) -> tuple[Decimal, Decimal]:
    """Give the value in MΩ and its U under ±(3 % + 5 counts)."""
    half = uncertainty.half_width(dec(text), D(3), D(5), D("0.01"))
    return dec(text), uncertainty.expanded_uncertainty(uncertainty.standard_uncertainty(half))


def conformity(text: str) -> list[Any]:
    value, wide = _spec(text)
    return [uncertainty.conformity_at_least(value, D(1), wide).value, wide, 1 + wide]


def p_conform_at(text: str) -> Decimal:
    value, wide = _spec(text)
    return uncertainty.probability_at_least(value, D(1), wide / 2)


def u_and_big_u(half: float) -> list[Decimal]:
    standard = uncertainty.standard_uncertainty(dec(half))
    return [standard, uncertainty.expanded_uncertainty(standard)]


def mean_u(parts: list[float]) -> list[Decimal]:
    mean = uncertainty.mean_uncertainty(decs(parts))
    return [mean, uncertainty.expanded_uncertainty(mean)]


def straddles(text: str, celsius: float, error: float) -> str:
    context = axis(MotorKind.DC_SERVO, insulation_system=InsulationSystem.THERMOPLASTIC, winding_c=celsius,
                   winding_c_uncertainty=error)  # fmt: skip
    tester = replace(making.TESTER, accuracy_percent=D(5), accuracy_counts=D(0))
    verdict = grade_axis([ir(MOTOR, text, terminals="A1+A2-PE")], context, {tester.id: tester})
    return only(verdict.findings, "insulation.winding").verdict.value


def unit_known(code: str) -> bool:
    try:
        unit(code)
    except UnitError:
        return False
    return True


def convert(digits: str, source: str, target: str) -> str:
    value = Quantity(digits, source).in_unit(target)
    assert value is not None
    return format(value.normalize(), "f")


def limit_of(name: str) -> list[str]:
    return [format(LIMITS[name].value, "f"), LIMITS[name].unit]


FUNCTIONS: dict[str, Callable[..., Any]] = {
    "kt_thermoplastic": lambda t: temperature.factor_thermoplastic(dec(t)),
    "kt_thermoset": lambda t: temperature.factor_thermosetting(dec(t)),
    "dew_point_C": lambda t, rh: temperature.dew_point_c(dec(t), dec(rh)),
    "r_at_temp": lambda r, a, b, k: temperature.resistance_at(dec(r), dec(a), dec(b), dec(k)),
    "temp_from_r": lambda r, t, hot, k: temperature.temperature_from_resistance(dec(r), dec(t), dec(hot), dec(k)),
    "unbalance_pct": lambda v: winding.unbalance_percent(decs(v)),
    "wye_phases": lambda *v: list(winding.star_phases(*decs(list(v)))),
    "delta_phases": lambda *v: list(winding.delta_phases(*decs(list(v)))),
    "parallel": lambda v: interval.parallel(decs(v)),
    "infer_branch": lambda t, k: interval.infer_branch(dec(t), dec(k)),
    "infer_rel_u": lambda t, ut, k, uk: uncertainty.inferred_relative(dec(t), dec(ut), dec(k), dec(uk)),
    "rc_time_s": lambda r, c, a, b: energy.discharge_time_s(dec(r), dec(c), dec(a), dec(b)),
    "rc_voltage_v": lambda r, c, v, t: energy.voltage_after_v(dec(r), dec(c), dec(v), dec(t)),
    "charge_uc": lambda c, v: energy.charge_uc(dec(c), dec(v)),
    "exempt": lambda c, v: energy.exempt_from_five_seconds(energy.charge_uc(dec(c), dec(v))),
    "earth_time_s": lambda t: energy.earth_time_s(dec(t)),
    "energy_mj": lambda c, v: energy.energy_mj(dec(c), dec(v)),
    "gate_bus": gate_bus,
    "ieee43_voltage": lambda u: list(voltage.ieee43_test_voltage(dec(u))),
    "choice": choice,
    "limit": limit_of,
    "open_circuit_most": lambda u: voltage.open_circuit_most(dec(u)),
    "overshoot": overshoot,
    "full_voltage_load": lambda u: voltage.full_voltage_load_ohm(dec(u)),
    "withstand": lambda u, p: list(voltage.withstand_voltage(dec(u), dec(p))),
    "field_limit": lambda u: field_limit(LIMITS["insulation.field"], dec(u)).value,
    "against": against,
    "by_analogy": by_analogy,
    "corrected": corrected,
    "corrected_pair": corrected_pair,
    "comparable": comparable,
    "branches_meet": branches_meet,
    "may_judge": may_judge,
    "pi": lambda a, b: absorption.ratio(dec(b), dec(a)),
    "dar": lambda a, b: absorption.ratio(dec(b), dec(a)),
    "pi_verdict": pi_verdict,
    "pi_low": pi_low,
    "pi_interval": pi_interval,
    "dar_band": dar_band,
    "ratio_name": ratio_name,
    "unbalance_verdict": unbalance_verdict,
    "lead_compensated": lambda r, leads: winding.lead_compensated(dec(r), dec(leads)),
    "phase_star": lambda r: winding.phase_of_star(dec(r)),
    "phase_delta": lambda r: winding.phase_of_delta(dec(r)),
    "delta_open_phase": delta_open_phase,
    "star_open_phase": star_open_phase,
    "cable_loop": lambda m, a: winding.cable_loop_ohm(dec(m), dec(a)),
    "joint_residual": lambda a, b, c: winding.joint_residual(dec(a), dec(b), dec(c)),
    "expected_armature": lambda u, i: list(winding.expected_armature_ohm(dec(u), dec(i))),
    "two_path_open": lambda r: interval.parallel([2 * dec(r), INFINITY]),
    "armature": armature,
    "nameplate_off": nameplate_off,
    "infer_interval": infer_interval,
    "parallel_intervals": lambda *v: as_list(interval.parallel_intervals(between(p) for p in v)),
    "whole_clears": whole_clears,
    "hidden_path": hidden_path,
    "amplification_usable": amplification_usable,
    "per_length": lambda r, m: interval.per_kilometre(dec(r), dec(m)),
    "table": table,
    "carrier_score": carrier_score,
    "cable_order": cable_order,
    "collapse_bounds_ohm": collapse_bounds_ohm,
    "collapsed": collapsed,
    "implied_ma": lambda u, r: voltage.implied_current_ma(dec(u), dec(r)),
    "collapse_reading": collapse_reading,
    "step": step,
    "step_drop_pct": lambda a, b: voltage.step_drop_percent(dec(a), dec(b)),
    "charge_time": lambda c, u, i: voltage.charge_time_s(dec(c), dec(u), dec(i)),
    "ohm_against_ir": ohm_against_ir,
    "ols_log10": lambda t, v: {"slope": line(t, v).slope, "intercept": line(t, v).intercept, "s": line(t, v).residual},
    "time_to_threshold": time_to_threshold,
    "r_squared": lambda t, v: line(t, v).r_squared,
    "halving": lambda t, v: [line(t, v).halving_years, line(t, v).yearly_factor],
    "halving_to": lambda start, end: line([0, 1, 2], [start, start / 2, start / 4]).reaches(end),
    "prediction": lambda t, v, at: [line(t, v).at(at), *line(t, v).prediction(at)],
    "drop": drop,
    "no_trend": no_trend,
    "fit_refused": fit_refused,
    "censored_not_substituted": censored_not_substituted,
    "spec_halfwidth": lambda x, p, n, res: uncertainty.half_width(dec(x), dec(p), dec(n), dec(res)),
    "U_k2_rect": lambda a: uncertainty.expanded_uncertainty(uncertainty.standard_uncertainty(dec(a))),
    "u_and_U": u_and_big_u,
    "conformity": conformity,
    "p_conform_at": p_conform_at,
    "p_conform_lower": lambda y, limit, u: uncertainty.probability_at_least(dec(y), dec(limit), dec(u)),
    "min_reading_op_uncert": lambda limit, e: uncertainty.minimum_reading(dec(limit), dec(e)),
    "mean_u": mean_u,
    "straddles": straddles,
    "unit_ratio": lambda a, b: UNITS[a].factor / UNITS[b].factor,
    "unit_known": unit_known,
    "convert": convert,
}
