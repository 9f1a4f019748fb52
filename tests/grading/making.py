"""Measurements, instruments and axes for tests, in few words."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from grading.measurement import AxisContext, Instrument, InstrumentKind, InsulationSystem, Measurement, MotorKind
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

WHOLE, MOTOR, CABLE = Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE
IR, LL = QuantityKind.INSULATION_RESISTANCE, QuantityKind.WINDING_RESISTANCE
LG, CORE = QuantityKind.RESISTANCE_TO_GROUND, QuantityKind.CONTINUITY

TESTER = Instrument(
    "IT-03",
    InstrumentKind.INSULATION_TESTER,
    accuracy_percent=Decimal(3),
    accuracy_counts=Decimal(5),
    ohm_accuracy_percent=Decimal("0.9"),
    ohm_accuracy_counts=Decimal(2),
    resolution_ohm=Decimal(10_000),
    iec_61557_2=True,
    range_end={250: Decimal("1e9"), 500: Decimal("4e9"), 1000: Decimal("11e9"), 0: Decimal("60e6")},
    calibration_due=dt.date(2027, 3, 31),
)
METERS = {TESTER.id: TESTER}
WORDS = {
    "OL": Qualifier.OPEN,
    "short": Qualifier.SHORT,
    "collapsed": Qualifier.COLLAPSED,
    "none": Qualifier.NONE,
}


def quantity(text: str, unit: str) -> Quantity:
    """Make a quantity from shorthand: "0.80", ">4000", "<0.01", "OL", "short", "collapsed", "none"."""
    if text in WORDS:
        return Quantity(None, unit, WORDS[text])
    sign = {">": Qualifier.ABOVE, "<": Qualifier.BELOW}.get(text[0], Qualifier.EQUAL)
    return Quantity(text.lstrip("<>"), unit, sign)


_COUNT = iter(range(1_000_000))


def made(kind: QuantityKind, section: Section | None, text: str, unit: str, **fields: Any) -> Measurement:
    """Make a measurement of axis X with the usual instrument; any field can be given."""
    circumstances = frozenset(Circumstance(c) for c in fields.pop("noted", ()))
    numbers = ("test_voltage_set", "test_voltage_built", "elapsed_s")
    given = {k: Decimal(str(v)) if k in numbers and v is not None else v for k, v in fields.items()}
    base: dict[str, Any] = {"record_id": f"r{next(_COUNT)}", "axis": "X", "instrument_id": TESTER.id}
    return Measurement(
        section=section, kind=kind, quantity=quantity(text, unit), circumstances=circumstances, **(base | given)
    )


def ir(section: Section, text: str, unit: str = "MOhm", **fields: Any) -> Measurement:
    """Give an insulation reading: joined leads to earth, 500 V, 60 s unless said otherwise."""
    usual: dict[str, Any] = {"terminals": "U+V+W-PE", "test_voltage_set": 500, "elapsed_s": 60}
    return made(IR, section, text, unit, **(usual | fields))


def ll(section: Section, text: str, terminals: str = "U-V", unit: str = "Ohm", **fields: Any) -> Measurement:
    """Make a lead-to-lead reading."""
    return made(LL, section, text, unit, terminals=terminals, **fields)


def lg(section: Section, text: str, unit: str = "MOhm", **fields: Any) -> Measurement:
    """Give an ohmmeter reading to earth."""
    return made(LG, section, text, unit, **({"terminals": "U-PE"} | fields))


def axis(motor: MotorKind = MotorKind.AC_SERVO, **fields: Any) -> AxisContext:
    """Axis X: 400 V, 1.5 kW, thermosetting, winding at 25 °C in dry air, unless said otherwise."""
    usual: dict[str, Any] = {
        "rated_voltage": 90 if motor is MotorKind.DC_SERVO else 400,
        "rated_power_w": 1500,
        "insulation_system": InsulationSystem.THERMOSETTING,
        "winding_c": 25,
        "air_c": 24,
        "humidity_percent": 45,
    }
    whole = ("made_year", "moving_cable")
    given: dict[str, Any] = {
        k: Decimal(str(v)) if isinstance(v, int | float) and not isinstance(v, bool) and k not in whole else v
        for k, v in (usual | fields).items()
    }
    return AxisContext("X", motor, **given)
