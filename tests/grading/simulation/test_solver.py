"""The solver of the simulation against closed forms and against solvers that work another way."""

from __future__ import annotations

import random

import numpy as np
import pytest
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import spsolve

from tests.grading.simulation.solver import OPEN_OHM, Branch, resistance, settled


def net(*branches: tuple[str, str, float]) -> list[Branch]:
    return [Branch(start, end, ohm, "motor") for start, end, ohm in branches]


def test_series_and_parallel() -> None:
    # Kirchhoff's laws: R1 + R2, and R1 R2/(R1 + R2); TV-G01 of the domain reference: 5 MΩ and 500 MΩ give 4.950 MΩ.
    assert resistance(net(("a", "m", 2.0), ("m", "b", 3.0)), ["a"], ["b"]) == pytest.approx(5.0)
    assert resistance(net(("a", "b", 5e6), ("a", "b", 500e6)), ["a"], ["b"]) == pytest.approx(4.950495e6)


def test_a_balanced_star_and_delta() -> None:
    # Handbook: lead to lead 2 R of a star, 2/3 R of a delta (TV-F12, TV-F13).
    star = net(("U", "n", 0.6), ("V", "n", 0.6), ("W", "n", 0.6))
    delta = net(("U", "V", 1.2), ("V", "W", 1.2), ("W", "U", 1.2))
    assert resistance(star, ["U"], ["V"]) == pytest.approx(1.20)
    assert resistance(delta, ["U"], ["V"]) == pytest.approx(0.80)


def test_a_delta_with_one_phase_open() -> None:
    # TV-F15: phases of 1.20 Ω, one open: 2.40, 1.20, 1.20 Ω.
    delta = net(("U", "V", OPEN_OHM), ("V", "W", 1.2), ("W", "U", 1.2))
    found = [resistance(delta, [a], [b]) for a, b in ("UV", "VW", "WU")]
    assert found == pytest.approx([2.4, 1.2, 1.2])


def test_a_star_with_one_phase_open() -> None:
    # TV-F16: two pairs over range, the third 2 R.
    star = net(("U", "n", OPEN_OHM), ("V", "n", 0.6), ("W", "n", 0.6))
    assert resistance(star, ["V"], ["W"]) == pytest.approx(1.2)
    assert resistance(star, ["U"], ["V"]) >= 0.99 * OPEN_OHM


@pytest.mark.parametrize("ohms", [(1.0, 2.0, 3.0), (0.64, 0.56, 0.65), (5.0, 5.0, 0.01)])
def test_star_delta_conversion(ohms: tuple[float, float, float]) -> None:
    # A. E. Kennelly, Electrical World and Engineer 34, 1899: R_ab = (Ra Rb + Rb Rc + Rc Ra)/Rc, and so on round.
    a, b, c = ohms
    sum_of_products = a * b + b * c + c * a
    star = net(("U", "n", a), ("V", "n", b), ("W", "n", c))
    delta = net(("U", "V", sum_of_products / c), ("V", "W", sum_of_products / a), ("W", "U", sum_of_products / b))
    for one, other in ("UV", "VW", "WU"):
        assert resistance(star, [one], [other]) == pytest.approx(resistance(delta, [one], [other]), rel=1e-12)


def test_a_wheatstone_bridge() -> None:
    # A balanced bridge carries nothing in its middle, whatever stands there: (1 + 2) parallel to (2 + 4) is 2 Ω.
    for middle in (1e-3, 1.0, 1e9):
        bridge = net(("a", "x", 1.0), ("x", "b", 2.0), ("a", "y", 2.0), ("y", "b", 4.0), ("x", "y", middle))
        assert resistance(bridge, ["a"], ["b"]) == pytest.approx(2.0)


def test_a_cube_of_equal_resistances() -> None:
    # A classical figure: 5/6 R between opposite corners of a cube, 7/12 R along an edge.
    corners = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    edges = [
        (str(p), str(q), 1.0)
        for p in corners
        for q in corners
        if p < q and sum(i != j for i, j in zip(p, q, strict=True)) == 1
    ]
    assert resistance(net(*edges), [str(corners[0])], [str(corners[7])]) == pytest.approx(5 / 6)
    assert resistance(net(*edges), [str(corners[0])], [str(corners[1])]) == pytest.approx(7 / 12)


def draw(rng: random.Random, low: float, high: float) -> tuple[list[Branch], list[str]]:
    count = rng.randrange(3, 14)
    names = [f"n{i}" for i in range(count)]
    made = [(names[rng.randrange(i)], names[i], low * (high / low) ** rng.random()) for i in range(1, count)]
    for _ in range(rng.randrange(20)):
        one, other = rng.sample(names, 2)
        made.append((one, other, low * (high / low) ** rng.random()))
    return net(*made), names


def laplacian(branches: list[Branch], names: list[str]) -> np.ndarray:
    matrix = np.zeros((len(names), len(names)))
    for branch in branches:
        i, j = names.index(branch.start), names.index(branch.end)
        siemens = 1 / branch.ohm
        matrix[i, i] += siemens
        matrix[j, j] += siemens
        matrix[i, j] -= siemens
        matrix[j, i] -= siemens
    return matrix


@pytest.mark.parametrize("seed", range(40))
def test_against_the_pseudoinverse_and_a_sparse_nodal_solution(seed: int) -> None:
    # R_ab = (e_a - e_b)' L+ (e_a - e_b): D. J. Klein, M. Randić, J. Math. Chem. 12, 1993. The sparse one injects 1 A.
    rng = random.Random(seed)
    branches, names = draw(rng, 0.1, 1e4)
    one, other = rng.sample(range(len(names)), 2)
    matrix = laplacian(branches, names)
    across = np.zeros(len(names))
    across[one], across[other] = 1, -1
    by_inverse = float(across @ np.linalg.pinv(matrix) @ across)
    kept = [i for i in range(len(names)) if i != other]
    volts = spsolve(csc_matrix(matrix[np.ix_(kept, kept)]), across[kept])
    by_nodes = float(np.atleast_1d(volts)[kept.index(one)])
    found = resistance(branches, [names[one]], [names[other]])
    assert found == pytest.approx(by_inverse, rel=1e-7)
    assert found == pytest.approx(by_nodes, rel=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_rayleigh(seed: int) -> None:
    # Making a branch larger never makes the whole smaller, over the fifteen decades that the simulation uses.
    rng = random.Random(seed)
    branches, names = draw(rng, 1e-3, 1e12)
    one, other = rng.sample(names, 2)
    before = resistance(branches, [one], [other])
    for number, branch in enumerate(branches):
        larger = Branch(branch.start, branch.end, branch.ohm * 10, branch.part)
        changed = [*branches[:number], larger, *branches[number + 1 :]]
        assert resistance(changed, [one], [other]) >= before * (1 - 1e-12)


def test_a_small_leak_behind_a_small_winding_keeps_its_digits() -> None:
    # 10 GΩ to earth behind 10 mΩ: thirteen decades that double precision loses where nodal equations are subtracted.
    branches = net(("U", "V", 0.01), ("V", "W", 0.01), ("W", "E", 1e10), ("U", "E", 3e10))
    assert resistance(branches, ["U", "V", "W"], ["E"]) == pytest.approx(7.5e9, rel=1e-12)


def test_groups_must_be_apart() -> None:
    with pytest.raises(ValueError, match="Two separate groups"):
        resistance(net(("a", "b", 1.0)), ["a"], ["a"])
    with pytest.raises(ValueError, match="Two separate groups"):
        resistance(net(("a", "b", 1.0)), [], ["a"])


def test_a_source_of_limited_current() -> None:
    # TV-H01: 500 V selected, 100 V built at 1 mA: 0.100 MΩ; and nothing gives way above 1000 Ω/V (IEC 61557-2, 6.4).
    assert settled(lambda _: 1e5, 500, 1e-3) == pytest.approx((100, 1e5), rel=1e-5)
    assert settled(lambda _: 5.01e5, 500, 1e-3) == (500, 5.01e5)


def test_a_leak_that_needs_voltage() -> None:
    leak = [Branch("U", "E", 1000.0, "motor", onset_v=100.0)]
    assert resistance(leak, ["U"], ["E"], 3.0) > 1e7
    assert resistance(leak, ["U"], ["E"], 100.0) == pytest.approx(2000)
    assert resistance(leak, ["U"], ["E"], 500.0) == pytest.approx(1000, rel=0.01)
    built, ohm = settled(lambda volts: resistance(leak, ["U"], ["E"], volts), 500, 1e-3)
    assert built / ohm == pytest.approx(1e-3, rel=0.01)
