"""Why a test may not start, in words: each reason says what to do."""

from __future__ import annotations

from grading.energy import GATE_V, Gate, GateReason
from grading.prose.wording import need

_REASONS: dict[GateReason, str] = {
    GateReason.BUS_NOT_MEASURED: "Measure the d.c. bus of the drive first.",
    GateReason.BUS_LIVE: "The bus still carries {bus} V; wait and measure again until it is below {gate} V.",
    GateReason.NOT_PROVED_BEFORE: "Prove the meter on a known source before measuring dead.",
    GateReason.NOT_PROVED_AFTER: "Prove the meter on a known source again after measuring dead.",
    GateReason.DRIVE_CONNECTED: "Take the motor leads off the drive; never test through it.",
    GateReason.AXIS_NOT_SUPPORTED: "Support the vertical axis on blocks.",
    GateReason.AUXILIARY_CONNECTED: ("Take {leads} out of the test: feedback, brake and sensor leads stay off."),
}


def gate_texts(gate: Gate) -> tuple[str, ...]:
    """Write what is missing or wrong, one sentence for each reason."""
    return tuple(_write(gate, reason) for reason in gate.reasons)


def _write(gate: Gate, reason: GateReason) -> str:
    bus = f"{need(gate.bus_v):f}" if reason is GateReason.BUS_LIVE else ""
    return _REASONS[reason].format(bus=bus, gate=f"{GATE_V:f}", leads=", ".join(gate.auxiliary))
