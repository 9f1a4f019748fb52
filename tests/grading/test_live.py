"""Voltage and current where there must be none: every pass stops, every fault stands, and making it dead comes first.

50 V: 29 CFR 1910.333(a)(1) (read). 20 V of return voltage: common practice. 0.5 mA: IEC 61140:2016, 5.2.6, from memory.
"""

from __future__ import annotations

import pytest

from grading.facts import Fact
from grading.measurement import Measurement
from grading.prose.axis import headline_text
from grading.steps import StepKind
from grading.terms.quantity import QuantityKind
from tests.grading.making import MOTOR, WHOLE, ir, lg, made
from tests.grading.whole_axes import BAD, OK, UNSURE, facts, graded, kinds, of


def volts(text: str, terminals: str = "U-PE", unit: str = "V") -> Measurement:
    return made(QuantityKind.VOLTAGE, WHOLE, text, unit, terminals=terminals)


def amps(text: str, unit: str = "A", **fields: object) -> Measurement:
    return made(QuantityKind.CURRENT, WHOLE, text, unit, **({"terminals": "U"} | fields))


@pytest.mark.parametrize(("row", "outcome"), [
    (volts("325"), UNSURE), (volts("-325"), UNSURE), (volts("0.4", unit="kV"), UNSURE), (volts(">600"), UNSURE),
    (volts("50"), UNSURE), (volts("20.0"), UNSURE), (volts("19.9"), OK), (volts("0.3"), OK), (volts("<1"), OK),
    (volts("300", unit="mV"), OK), (volts("none"), UNSURE), (volts("5", unit="MOhm"), UNSURE),
    (volts("5.02", "ENC 5V-ENC 0V"), OK), (volts("24.1", "B+-B-"), OK), (volts("230", "FAN1-FAN2"), UNSURE),
    (volts("400", "proving unit"), OK), (amps("6.2"), UNSURE), (amps("0.1", "mA"), OK),
    (amps("2", "mA", test_voltage_set=500), OK),
])  # fmt: skip
def test_a_circuit_that_must_be_dead(row: Measurement, outcome: object) -> None:
    verdict = graded(ir(WHOLE, ">4000"), row)
    assert verdict.verdict is outcome
    assert verdict.drive.verdict is outcome
    if outcome is UNSURE:
        assert verdict.findings[0].rule == "energy.dead"
        assert kinds(verdict)[0] in (StepKind.ISOLATE_AND_DISCHARGE, StepKind.PROVE_DEAD)
        assert "must be dead" in headline_text(verdict.summary)
        assert of(verdict, "insulation.machine").verdict is UNSURE


def test_a_fault_found_on_a_live_circuit_stays_one() -> None:
    verdict = graded(ir(WHOLE, "0.20"), lg(WHOLE, "0.2"), volts("325"))
    assert verdict.verdict is BAD
    assert kinds(verdict)[0] is StepKind.ISOLATE_AND_DISCHARGE


def test_only_what_follows_a_new_proof_stands() -> None:
    assert graded(volts("325"), volts("0.3"), ir(WHOLE, ">4000")).verdict is OK
    assert graded(volts("325"), ir(WHOLE, ">4000"), volts("0.3")).verdict is UNSURE
    assert graded(volts("325"), volts("0.3", "V-PE"), ir(WHOLE, ">4000")).verdict is UNSURE
    again = graded(ir(MOTOR, "550"), volts("325"), volts("0.3"), ir(WHOLE, ">4000"))
    assert again.verdict is UNSURE
    assert Fact.CIRCUIT_LIVE in facts(again)
