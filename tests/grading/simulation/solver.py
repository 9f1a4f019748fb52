"""What an ideal instrument shows between two groups of terminals of a resistor network. Nothing here is from grading.

The network is reduced to the two groups by eliminating one inner node after the other (star-mesh transformation,
A. Rosen 1924; the handbooks' star-delta conversion is its case of three branches). Each step adds and multiplies
positive conductances and subtracts nothing, so a leak of 10 GΩ behind a winding of 10 mΩ keeps all its digits, where
the usual solution of the nodal equations would lose them to a condition number of 10^12.

The resistance between two groups never falls when any branch is made larger (Rayleigh's monotonicity law: P. G. Doyle,
J. L. Snell, "Random Walks and Electric Networks", 1984, 1.4). So its bounds over independent tolerances are its values
with every branch at its least and with every branch at its most: two solutions give exact bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

OPEN_OHM = 1e15
"""What an interrupted branch is taken for, ohm: three decades above anything an instrument here can tell."""


@dataclass(frozen=True)
class Branch:
    """One resistance of a network.

    Attributes:
        start: Node.
        end: Node.
        ohm: Resistance, ohm, above 0.
        part: What it belongs to: "motor", "cable" or "joint" (there only while the plug is in).
        onset_v: Volts at which half of its conductance is there; 0 for a resistance that does not depend on voltage.
        creeps: Its conductance grows in proportion to the time under voltage (`ohm` is that after a minute).
    """

    start: str
    end: str
    ohm: float
    part: str
    onset_v: float = 0.0
    creeps: bool = False

    def siemens(self, volts: float) -> float:
        """Give its conductance at a voltage between its ends; it rises with the cube, as dust and cracks break down."""
        if not self.onset_v:
            return 1 / self.ohm
        share = volts**3 / (volts**3 + self.onset_v**3) if volts > 0 else 0.0
        return max(share / self.ohm, 1 / OPEN_OHM)


def resistance(branches: Iterable[Branch], first: Sequence[str], second: Sequence[str], volts: float = 0.0) -> float:
    """Give the resistance between two groups of nodes, each joined in itself, ohm (`OPEN_OHM` and more: none at all).

    Args:
        branches: The network.
        first: Nodes joined at one terminal.
        second: Nodes joined at the other.
        volts: Test voltage, for branches that depend on it: each of them ties a tested lead straight to earth or to
            another lead, so it sees the whole of it.

    Raises:
        ValueError: The groups share a node, or one is empty.
    """
    if not first or not second or set(first) & set(second):
        raise ValueError(f"Two separate groups of terminals are needed, not {first} and {second}.")
    name = dict.fromkeys(first, "+") | dict.fromkeys(second, "-")
    near: dict[str, dict[str, float]] = {"+": {}, "-": {}}
    for branch in branches:
        one, other = name.get(branch.start, branch.start), name.get(branch.end, branch.end)
        if one != other:
            siemens = branch.siemens(volts)
            _add(near, one, other, siemens)
    inner = set(near) - {"+", "-"}
    while inner:
        # The node with the fewest neighbours first, so that the mesh stays small; the result is the same in any order.
        node = min(inner, key=lambda n: (len(near[n]), n))
        inner.remove(node)
        towards = [*near.pop(node).items()]
        total = sum(siemens for _, siemens in towards)
        for number, (one, siemens) in enumerate(towards):
            del near[one][node]
            for other, further in towards[:number]:
                _add(near, one, other, siemens * further / total)
    return 1 / max(near["+"].get("-", 0.0), 1 / (10 * OPEN_OHM))


def _add(near: dict[str, dict[str, float]], one: str, other: str, siemens: float) -> None:
    to, back = near.setdefault(one, {}), near.setdefault(other, {})
    to[other] = back[one] = to.get(other, 0.0) + siemens


def settled(shown: Callable[[float], float], set_volts: float, limit_a: float) -> tuple[float, float]:
    """Give the voltage that a source of limited current builds, and the resistance there.

    Args:
        shown: The resistance at a voltage, ohm; it may fall with the voltage, never rise.
        set_volts: Voltage selected, V.
        limit_a: Current at which the source gives way, A.

    Returns:
        Volts and ohm. The current rises with the voltage, so the point where it meets the limit is found by halving.
    """
    full = shown(set_volts)
    if set_volts / full <= limit_a:
        return set_volts, full
    low, high = 0.0, set_volts
    for _ in range(24):
        middle = (low + high) / 2
        if middle / shown(middle) > limit_a:
            high = middle
        else:
            low = middle
    return low, shown(low if low > 0 else high)


def connected(branches: Iterable[Branch], parts: Mapping[str, bool]) -> list[Branch]:
    """Give the branches of the parts that are there."""
    return [branch for branch in branches if parts.get(branch.part, False)]
