"""Every formula against another way of computing it: another library, a closed form, or a simulation.

Oracles: `uncertainties` (first-order propagation), `scipy` (distributions, optimisation, Monte Carlo), `statsmodels`
(least squares), `pint` (units), and circuit equations solved as a linear system with `numpy`.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import numpy as np
import pint
import pytest
import scipy.optimize
import scipy.stats
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from grading import energy, interval, temperature, uncertainty, winding
from grading.interval import Interval
from grading.measurement import InsulationSystem
from grading.student import t_cdf, t_quantile
from grading.terms.quantity import UNITS
from grading.trend import Point, fit

D = Decimal
RESISTANCE = st.decimals("0.01", "100000", places=2)
SEED = 20261125


def close(found: object, expected: float, relative: float = 1e-9) -> bool:
    return math.isclose(float(str(found)), expected, rel_tol=relative, abs_tol=1e-12)


@given(RESISTANCE, RESISTANCE, st.floats(0.001, 0.1), st.floats(0.001, 0.1))
def test_inferred_branch_and_its_uncertainty(motor: Decimal, cable: Decimal, ut: float, uk: float) -> None:
    """First-order propagation by `uncertainties` through the same circuit."""
    whole = interval.parallel([motor, cable])
    if cable - whole < D("0.001") * cable:
        return
    assert close(interval.infer_branch(whole, cable), float(motor), 1e-6)
    total, known = ufloat(float(whole), ut * float(whole)), ufloat(float(cable), uk * float(cable))
    oracle = 1 / (1 / total - 1 / known)
    found = uncertainty.inferred_relative(whole, D(str(ut)), cable, D(str(uk)))
    assert close(found, oracle.std_dev / oracle.nominal_value, 1e-6)


def test_inferred_interval_holds_every_simulated_branch() -> None:
    """Monte Carlo over the whole interval of both readings; the ends are reached, not only enclosed."""
    rng = np.random.default_rng(SEED)
    total, known = rng.uniform(76, 84, 200_000), rng.uniform(380, 420, 200_000)
    simulated = 1 / (1 / total - 1 / known)
    found = interval.infer_interval(Interval(D(76), D(84)), Interval(D(380), D(420)))
    assert float(found.low) <= simulated.min() < float(found.low) * 1.005
    assert float(found.high) * 0.995 < simulated.max() <= float(found.high)


def test_expanded_uncertainty_covers_a_rectangular_error() -> None:
    """Two standard uncertainties of a rectangular distribution cover all of it (2a/√3 > a)."""
    rng = np.random.default_rng(SEED)
    half = uncertainty.half_width(D("1.20"), D(3), D(5), D("0.01"))
    errors = rng.uniform(-float(half), float(half), 400_000)
    standard = uncertainty.standard_uncertainty(half)
    assert close(standard, float(errors.std()), 5e-3)
    assert np.abs(errors).max() < float(uncertainty.expanded_uncertainty(standard))


def test_corrected_uncertainty_against_simulation() -> None:
    """Reading and winding temperature together, thermoplastic: the spread of the simulated values at 40 °C."""
    from grading.case import build_case
    from grading.rules.motor import correct
    from tests.grading.making import METERS, MOTOR, axis, ir

    rng = np.random.default_rng(SEED)
    context = axis(insulation_system=InsulationSystem.THERMOPLASTIC, winding_c=25, winding_c_uncertainty=2)
    case = build_case((ir(MOTOR, "14.20"),), context, METERS)
    (reading,) = case.readings
    assert reading.value is not None
    assert reading.half_width is not None
    found = correct(case, reading)
    values = rng.uniform(float(reading.interval.low), float(reading.interval.high), 400_000)
    simulated = values * 0.5 ** ((40 - rng.uniform(23, 27, 400_000)) / 10)
    assert close(found.standard, float(simulated.std()), 0.02)
    assert float(found.interval.low) <= simulated.min()
    assert simulated.max() <= float(found.interval.high)


@given(st.decimals("0.5", "1.5", places=3), st.decimals("0.001", "0.3", places=3))
def test_probability_of_conformity(value: Decimal, standard: Decimal) -> None:
    """JCGM 106: the normal distribution of `scipy`, to the four places given."""
    oracle = scipy.stats.norm.cdf((float(value) - 1) / float(standard))
    assert abs(float(uncertainty.probability_at_least(value, D(1), standard)) - oracle) <= 0.00005001


@given(st.lists(st.decimals("0.001", "10", places=3), min_size=1, max_size=6))
def test_combined_uncertainty(parts: list[Decimal]) -> None:
    first, *others = (ufloat(0, float(p)) for p in parts)
    total: Any = sum(others, first)
    assert close(uncertainty.combined(parts), total.std_dev, 1e-9)
    assert close(uncertainty.mean_uncertainty(parts), (total / len(parts)).std_dev, 1e-9)


@given(st.lists(RESISTANCE, min_size=1, max_size=5))
def test_parallel_by_node_equation(branches: list[Decimal]) -> None:
    """One volt over all branches: the current is their sum, and R = U/I."""
    current = sum(1 / float(r) for r in branches)
    assert close(interval.parallel(branches), 1 / current, 1e-9)


@given(RESISTANCE, RESISTANCE, RESISTANCE)
def test_star_and_delta_by_nodal_analysis(a: Decimal, b: Decimal, c: Decimal) -> None:
    """Lead-to-lead readings of a delta, solved from its conductance matrix, give back star and delta."""
    g = {frozenset({0, 1}): 1 / float(a), frozenset({1, 2}): 1 / float(b), frozenset({2, 0}): 1 / float(c)}
    matrix = np.zeros((3, 3))
    for pair, conductance in g.items():
        i, j = sorted(pair)
        matrix[[i, j], [i, j]] += conductance
        matrix[[i, j], [j, i]] -= conductance
    inverse = np.linalg.pinv(matrix)

    def between(i: int, j: int) -> Decimal:
        e = np.zeros(3)
        e[i], e[j] = 1, -1
        return D(str(float(e @ inverse @ e)))

    readings = (between(0, 1), between(1, 2), between(2, 0))
    if max(float(a), float(b), float(c)) > 1e4 * min(float(a), float(b), float(c)):
        return  # the pseudo-inverse itself loses the digits there
    found = winding.delta_phases(*readings)
    assert all(close(got, float(expected), 1e-5) for got, expected in zip(found, (a, b, c), strict=True))
    star = winding.star_phases(*readings)
    assert close(star[0] + star[1], float(readings[0]), 1e-9)


@given(st.floats(10, 85))
def test_temperature_factors_in_floating_point(celsius: float) -> None:
    """The same laws in binary floating point, written apart."""
    t = D(str(celsius))
    assert close(temperature.factor_thermoplastic(t), 2 ** ((celsius - 40) / 10), 1e-9)
    slope = 4230 if celsius >= 40 else 1245
    assert close(temperature.factor_thermosetting(t), math.exp(slope / 313 - slope / (273 + celsius)), 1e-9)


@pytest.mark.parametrize(("air", "humidity"), [(25, 60), (5, 30), (35, 95), (-10, 80), (50, 10)])
def test_dew_point_inverts_the_vapour_pressure(air: int, humidity: int) -> None:
    """Solved numerically from Magnus' vapour pressure: the dew point is where the air is saturated."""

    def pressure(t: float) -> float:
        return 6.112 * math.exp(17.62 * t / (243.12 + t))

    oracle = scipy.optimize.brentq(lambda t: pressure(t) - humidity / 100 * pressure(air), -100, 60)
    assert close(temperature.dew_point_c(D(air), D(humidity)), oracle, 1e-7)


@given(st.floats(0.6, 0.9999), st.integers(1, 200))
@settings(max_examples=60)
def test_student_against_scipy(probability: float, dof: int) -> None:
    assert math.isclose(t_quantile(probability, dof), scipy.stats.t.ppf(probability, dof), rel_tol=1e-9)
    assert math.isclose(t_cdf(1.3, dof), scipy.stats.t.cdf(1.3, dof), rel_tol=1e-12)


SERIES: list[tuple[list[float], list[float]]] = [
    ([0, 1, 2, 3, 4], [900, 620, 410, 300, 190]),
    ([0, 0.5, 2, 3.1, 4, 6.5], [5000, 4200, 3900, 2100, 2500, 900]),
    ([0, 1, 2, 3], [500, 520, 480, 530]),
]


@pytest.mark.parametrize(("years", "values"), SERIES)
def test_trend_against_statsmodels(years: list[float], values: list[float]) -> None:
    found = fit([Point(t, v) for t, v in zip(years, values, strict=True)])
    oracle = sm.OLS(np.log10(values), sm.add_constant(np.array(years, dtype=float))).fit()
    assert close(found.intercept, oracle.params[0])
    assert close(found.slope, oracle.params[1])
    assert close(found.residual, math.sqrt(oracle.mse_resid))
    assert close(found.r_squared, oracle.rsquared)
    covariance = oracle.cov_params()
    assert np.allclose(found.covariance, [covariance[0, 0], covariance[0, 1], covariance[1, 1]], rtol=1e-9)
    low, high = oracle.conf_int(0.05)[1]
    assert close(found.slope_half_width, (high - low) / 2)
    frame = oracle.get_prediction([[1.0, 7.0]]).summary_frame(alpha=0.05)
    assert np.allclose(found.prediction(7), 10 ** frame[["obs_ci_lower", "obs_ci_upper"]].to_numpy()[0], rtol=1e-9)
    assert np.allclose(found.confidence(7), 10 ** frame[["mean_ci_lower", "mean_ci_upper"]].to_numpy()[0], rtol=1e-9)


@pytest.mark.parametrize("limit", [1.0, 5.0, 50.0])
def test_fieller_band_is_where_the_confidence_band_meets_the_limit(limit: float) -> None:
    """Both ends of the band, found instead by crossing the statsmodels confidence curve with the limit."""
    years, values = SERIES[0]
    found = fit([Point(t, v) for t, v in zip(years, values, strict=True)])
    oracle = sm.OLS(np.log10(values), sm.add_constant(np.array(years, dtype=float))).fit()

    def gap(t: float, column: str) -> float:
        frame = oracle.get_prediction([[1.0, t]]).summary_frame(alpha=0.05)
        return float(frame[column].iloc[0]) - math.log10(limit)

    early = scipy.optimize.brentq(gap, 4, 60, args=("mean_ci_lower",))
    late = scipy.optimize.brentq(gap, 4, 60, args=("mean_ci_upper",))
    band = found.band(limit)
    assert band is not None
    assert np.allclose(band, (early, late), rtol=1e-7)


def _censored_series(seed: int) -> list[Point]:
    rng = np.random.default_rng(seed)
    points = []
    for year in range(8):
        value = 10 ** (4.0 - 0.25 * year + rng.normal(0, 0.1))
        points.append(Point(year, min(value, 4000), over=value >= 4000))
    return points


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_censored_trend_against_direct_maximum_likelihood(seed: int) -> None:
    """The likelihood written apart and maximised by `scipy`; covariance from its numerical Hessian."""
    points = _censored_series(seed)
    assert any(p.over for p in points)

    def loss(theta: np.ndarray[Any, Any]) -> float:
        a, b, log_sigma = theta
        total = 0.0
        for p in points:
            z = (math.log10(p.ohm) - a - b * p.years) / math.exp(log_sigma)
            total += scipy.stats.norm.logsf(z) if p.over else scipy.stats.norm.logpdf(z) - log_sigma
        return -total

    found = fit(points)
    start = np.array([found.intercept + 0.2, found.slope * 0.8, math.log(0.3)])
    oracle = scipy.optimize.minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20000}
    )
    assert np.allclose([found.intercept, found.slope, math.log(found.residual)], oracle.x, atol=2e-5)
    step = 1e-4
    hessian = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            e_i, e_j = np.eye(3)[i] * step, np.eye(3)[j] * step
            corners = [(a, b, loss(oracle.x + a * e_i + b * e_j)) for a in (1, -1) for b in (1, -1)]
            hessian[i, j] = sum(a * b * value for a, b, value in corners) / (4 * step * step)
    exact = sum(not p.over for p in points)
    covariance = np.linalg.inv(hessian) * exact / (exact - 2)  # two degrees of freedom spent on the line
    assert np.allclose(found.covariance, [covariance[0, 0], covariance[0, 1], covariance[1, 1]], rtol=2e-3)


def test_slope_interval_has_its_coverage() -> None:
    """In 2000 simulated series of five visits the 95 % interval of the slope holds the true one 95 % of the time."""
    rng = np.random.default_rng(SEED)
    hits = 0
    for _ in range(2000):
        logs = 3 - 0.1 * np.arange(5) + rng.normal(0, 0.05, 5)
        found = fit([Point(t, float(10**y)) for t, y in enumerate(logs)])
        hits += abs(found.slope + 0.1) <= found.slope_half_width
    assert scipy.stats.binomtest(hits, 2000, 0.95).pvalue > 0.001


def test_censored_slope_interval_has_its_coverage() -> None:
    """With the first visits over range, the interval holds the true slope at least about as often as it says."""
    rng = np.random.default_rng(SEED)
    hits, runs = 0, 400
    for _ in range(runs):
        values = 10 ** (3.9 - 0.15 * np.arange(6) + rng.normal(0, 0.08, 6))
        points = [Point(t, min(v, 5000), over=bool(v >= 5000)) for t, v in enumerate(map(float, values))]
        found = fit(points)
        hits += abs(found.slope + 0.15) <= found.slope_half_width
    assert 0.92 <= hits / runs <= 0.995


@given(st.floats(1, 1e6), st.floats(1e-9, 1e-2), st.floats(60, 800), st.floats(1, 50))
def test_discharge_time_and_voltage_undo_each_other(ohm: float, farad: float, start: float, end: float) -> None:
    r, c, v0, vf = (D(str(x)) for x in (ohm, farad, start, end))
    seconds = energy.discharge_time_s(r, c, v0, vf)
    assert close(seconds, ohm * farad * math.log(start / end), 1e-9)
    assert close(energy.voltage_after_v(r, c, v0, seconds), end, 1e-9)


@pytest.mark.parametrize(("code", "name"), [
    ("uOhm", "microohm"), ("mOhm", "milliohm"), ("Ohm", "ohm"), ("kOhm", "kiloohm"), ("MOhm", "megaohm"),
    ("GOhm", "gigaohm"), ("TOhm", "teraohm"), ("mV", "millivolt"), ("V", "volt"), ("kV", "kilovolt"),
    ("uA", "microampere"), ("mA", "milliampere"), ("A", "ampere"), ("nF", "nanofarad"), ("uF", "microfarad"),
    ("s", "second"), ("min", "minute"), ("h", "hour"),
])  # fmt: skip
def test_units_against_pint(code: str, name: str) -> None:
    registry: Any = pint.UnitRegistry()
    base = {"resistance": "ohm", "voltage": "volt", "current": "ampere", "capacitance": "farad", "time": "second"}
    dimension = UNITS[code].dimension
    assert close(UNITS[code].factor, registry.Quantity(1, name).to(base[dimension]).magnitude)


@given(st.lists(st.decimals("0.5", "2", places=3), min_size=3, max_size=3))
def test_unbalance_against_numpy(values: list[Decimal]) -> None:
    numbers = np.array([float(v) for v in values])
    oracle = 100 * np.abs(numbers - numbers.mean()).max() / numbers.mean()
    assert close(winding.unbalance_percent(values), float(oracle), 1e-9)
    assert close(winding.spread_percent(values), float(100 * np.ptp(numbers) / numbers.mean()), 1e-9)


def test_resistance_method_gives_back_the_temperature() -> None:
    hot = temperature.resistance_at(D("0.80"), D(22), D("60.5"), D("234.5"))
    assert close(temperature.temperature_from_resistance(D("0.80"), D(22), hot, D("234.5")), 60.5)
