"""Every limit as data, with its source and how the number was come by.

One table, `LIMITS`; nothing else in the package holds a limit. A shop profile makes a changed copy (`grading.shop`).
Limits that grow with the rated voltage ("kV + 1") are made by `field_limit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from grading.finding import Basis, Direction, Limit, SourceStatus
from grading.measurement import AxisContext, MotorKind, WindingKind

_IEEE = "IEEE 43-2013"
_MACHINE = "IEC 60204-1"
_TESTER = "IEC 61557-2"
_INSTALLATION = "IEC 60364-6"
_REPAIR = "ANSI/EASA AR100-2020"
_ACCEPTANCE = "ANSI/NETA ATS"
_PRACTICE = "Common practice"
_HOUSE = "House rule"
_IR = "insulation resistance to earth"
_MOST = Direction.AT_MOST
_CORRECTED = Basis.CORRECTED_40C
_COMPUTED = Basis.COMPUTED


def _limit(
    name: str,
    quantity: str,
    condition: str,
    value: str,
    unit: str,
    origin: tuple[str, str, SourceStatus],
    direction: Direction = Direction.AT_LEAST,
    basis: Basis = Basis.AS_MEASURED,
) -> Limit:
    source, clause, status = origin
    return Limit(name, quantity, condition, Decimal(value), unit, source, clause, status, direction, basis)


_S = SourceStatus
_TABLE_3 = "Table 3"
_ROWS: tuple[Limit, ...] = (
    # Insulation resistance of the machine's power circuit, as measured.
    _limit("insulation.machine", _IR, "power circuits of a machine, 500 V d.c., drive disconnected",
           "1", "MOhm", (_MACHINE, "18.3", _S.SECONDARY)),
    _limit("insulation.slip_rings", _IR, "bus bars, conductor wires or bars, slip rings: that part only, 500 V d.c.",
           "0.05", "MOhm", (_MACHINE, "18.3", _S.QUOTED)),
    _limit("insulation.drive_floor", _IR, "anything that a servo amplifier is connected to",
           "1", "MOhm", (_PRACTICE, "", _S.COMMON_PRACTICE)),
    _limit("insulation.extra_low", _IR, "SELV and PELV circuits, 250 V d.c.",
           "0.5", "MOhm", (_INSTALLATION, "Table 6.1", _S.SECONDARY)),
    _limit("insulation.installation", _IR, "circuits up to 500 V, 500 V d.c.",
           "1", "MOhm", (_INSTALLATION, "Table 6.1", _S.SECONDARY)),
    _limit("insulation.installation_high", _IR, "circuits above 500 V, 1000 V d.c.",
           "1", "MOhm", (_INSTALLATION, "Table 6.1", _S.SECONDARY)),
    # One-minute insulation resistance of a winding, motor alone, at 40 °C.
    _limit("insulation.armature", "one-minute insulation resistance", "d.c. armatures",
           "5", "MOhm", (_IEEE, _TABLE_3, _S.SECONDARY), basis=_CORRECTED),
    _limit("insulation.armature_2000", "one-minute insulation resistance", "d.c. armatures, superseded edition: never"
           " applied, kept to read old reports", "100", "MOhm", ("IEEE 43-2000", _TABLE_3, _S.SECONDARY),
           basis=_CORRECTED),
    _limit("insulation.random_wound", "one-minute insulation resistance", "random-wound stators",
           "5", "MOhm", (_IEEE, _TABLE_3, _S.QUOTED), basis=_CORRECTED),
    _limit("insulation.form_wound_low_voltage", "one-minute insulation resistance", "form-wound coils below 1 kV",
           "5", "MOhm", (_IEEE, _TABLE_3, _S.FROM_MEMORY), basis=_CORRECTED),
    _limit("insulation.form_wound", "one-minute insulation resistance", "form-wound a.c. windings from about 1970 on",
           "100", "MOhm", (_IEEE, _TABLE_3, _S.QUOTED), basis=_CORRECTED),
    _limit("insulation.field", "one-minute insulation resistance", "field windings, most windings before about 1970:"
           " rated kV + 1", "1", "MOhm", (_IEEE, _TABLE_3, _S.SECONDARY), basis=_CORRECTED),
    _limit("insulation.watch_brushless", _IR, "a.c. servo and spindle: below this, watch",
           "100", "MOhm", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("insulation.watch_brushed", _IR, "brushed d.c. servo (brush dust lowers sound motors): below this, watch",
           "10", "MOhm", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("insulation.cable_250", _IR, "apparatus rated up to 250 V, 500 V d.c.: guidance for the cable alone",
           "25", "MOhm", (_ACCEPTANCE, "Table 100.1", _S.FROM_MEMORY)),
    _limit("insulation.cable_600", _IR, "apparatus rated up to 600 V, 1000 V d.c.: guidance for the cable alone",
           "100", "MOhm", (_ACCEPTANCE, "Table 100.1", _S.FROM_MEMORY)),
    _limit("insulation.scope_power", "rated power", "below this IEEE 43 and IEC 60034-27-4 apply by analogy only",
           "750", "W", ("IEC 60034-27-4:2018", "scope", _S.SECONDARY)),
    _limit("insulation.time", "time the test voltage stays on", "one-minute value",
           "60", "s", (_IEEE, "", _S.SECONDARY)),
    # Absorption.
    _limit("absorption.pi_class_105", "polarization index 600 s/60 s", "thermal class 105 (A)",
           "1.5", "1", ("IEEE 43-2000", "", _S.QUOTED), basis=_COMPUTED),
    _limit("absorption.pi", "polarization index 600 s/60 s", "thermal class 130 (B) and above",
           "2.0", "1", ("IEEE 43-2000", "", _S.QUOTED), basis=_COMPUTED),
    _limit("absorption.pi_meaningless", "one-minute insulation resistance", "above this the polarization index says"
           " nothing", "5000", "MOhm", (_IEEE, "", _S.SECONDARY), _MOST),
    _limit("absorption.dar", "dielectric absorption ratio 60 s/30 s", "below this the value falls under voltage",
           "1.0", "1", (_PRACTICE, "", _S.COMMON_PRACTICE), basis=_COMPUTED),
    _limit("absorption.dar_fair", "dielectric absorption ratio 60 s/30 s", "below this unreliable, from 1.4 good",
           "1.25", "1", (_PRACTICE, "", _S.COMMON_PRACTICE), basis=_COMPUTED),
    # Tester and test voltage.
    _limit("tester.built", "test voltage built over selected", "below this the voltage counts as not built",
           "0.9", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("tester.overshoot", "test voltage built over selected", "insulation tester without load",
           "1.25", "1", (_TESTER + ":2007", "4.2", _S.QUOTED), _MOST, _COMPUTED),
    _limit("tester.full_voltage_load", "load at which the nominal voltage must hold", "per volt of nominal voltage",
           "1000", "Ohm", (_TESTER + ":2019", "6.4", _S.READ), basis=_COMPUTED),
    _limit("tester.operating_error", "operating error of an insulation tester", "any tester that meets the standard",
           "30", "%", (_TESTER + ":2019", "6.2", _S.READ), _MOST),
    _limit("tester.step_drop", "fall of insulation resistance from one test voltage to the next", "above: weakness",
           "25", "%", (_PRACTICE, "", _S.FROM_MEMORY), _MOST, _COMPUTED),
    _limit("tester.ceiling_small", "test voltage", "used motors rated below 100 V: overhaul test level 500 V r.m.s.",
           "707", "V", ("IEC 60034-1:2004", "Table 16", _S.READ), _MOST),
    _limit("winding.dew_margin", "winding temperature above dew point", "below this a film of water can form",
           "3", "Cel", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    # Winding resistance.
    _limit("winding.unbalance_random", "unbalance, largest deviation from the mean", "random-wound, motor alone",
           "2", "%", (_REPAIR, "", _S.QUOTED), _MOST, _COMPUTED),
    _limit("winding.unbalance_form", "unbalance, largest deviation from the mean", "form-wound, motor alone",
           "1", "%", (_REPAIR, "", _S.QUOTED), _MOST, _COMPUTED),
    _limit("winding.unbalance_cable_look", "unbalance, largest deviation from the mean", "through the cable: look",
           "3", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.unbalance_cable_act", "unbalance, largest deviation from the mean", "through the cable: act",
           "5", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.nameplate", "deviation from the nameplate resistance", "brought to the nameplate's temperature",
           "5", "%", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST, _COMPUTED),
    _limit("winding.joint", "resistance left after motor and cable are taken off", "joints, crimps, strands",
           "0.05", "Ohm", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.armature_spread", "spread of armature readings over shaft positions", "without single outliers",
           "20", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    # Comparing readings.
    _limit("compare.amplification", "magnification of error when one part is computed from the whole", "above: measure",
           "3", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("compare.whole_low", "whole over what its parts give together", "below this a third path exists",
           "0.7", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("compare.whole_high", "whole over what its parts give together", "above this something changed",
           "1.4", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("compare.ohmmeter", "ohmmeter and insulation tester apart", "factor above which they disagree",
           "3", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    # Trend.
    _limit("trend.investigate", "insulation resistance over that of the visit before", "at or below: investigate",
           "0.5", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.act", "insulation resistance over that of the visit before", "at or below: act",
           "0.33", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.stop", "insulation resistance over that of the visit before", "at or below: stop and isolate",
           "0.1", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.new_series", "insulation resistance over that of the visit before", "above: cleaned, dried or"
           " another object; a new series starts", "2", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    # Stored energy and safety gates.
    _limit("energy.residual_voltage", "voltage 5 s after switching off", "exposed live parts",
           "60", "V", (_MACHINE, "6.2.4", _S.SECONDARY), _MOST),
    _limit("energy.exempt_charge", "stored charge", "exempt from the 5 s rule",
           "60", "uC", (_MACHINE, "6.2.4", _S.SECONDARY), _MOST),
    _limit("energy.gate_voltage", "voltage found on the bus before a test", "no test at or above it",
           "50", "V", ("29 CFR 1910.333", "(a)(1)", _S.READ), _MOST),
    _limit("energy.discharge_factor", "discharge time over test time", "after every insulation test",
           "4", "1", (_IEEE, "", _S.FROM_MEMORY)),
    _limit("energy.return_voltage", "return voltage after discharge", "before the next test and before touching",
           "20", "V", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST),
)  # fmt: skip

LIMITS: Mapping[str, Limit] = {row.id: row for row in _ROWS}

# What no shop can set: properties of testers, gates before a test, and figures kept to read other people's reports.
FIXED: frozenset[str] = frozenset(
    {name for name in LIMITS if name.startswith("energy.")}
    | {"tester.built", "tester.full_voltage_load", "tester.operating_error", "insulation.armature_2000"}
    | {"insulation.extra_low", "insulation.installation", "insulation.installation_high", "absorption.dar_fair"}
)


def field_limit(base: Limit, rated_voltage: Decimal | None) -> Limit:
    """The "kV + 1" row for one machine: 1 MΩ plus 1 MΩ per kV of rated voltage.

    Args:
        base: The table's "insulation.field".
        rated_voltage: V; None gives the 1 MΩ alone.
    """
    return base if rated_voltage is None else replace(base, value=base.value + rated_voltage / 1000)


def winding_limit(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Limit:
    """The row of IEEE 43-2013 Table 3 that applies to the axis's winding."""
    winding = context.winding
    if winding is WindingKind.DC_ARMATURE:
        return limits["insulation.armature"]
    old = context.made_year is not None and context.made_year < 1970
    if winding is WindingKind.FIELD or old:
        return field_limit(limits["insulation.field"], context.rated_voltage)
    if winding is WindingKind.RANDOM_WOUND:
        return limits["insulation.random_wound"]
    low_voltage = context.rated_voltage is None or context.rated_voltage < 1000
    return limits["insulation.form_wound_low_voltage" if low_voltage else "insulation.form_wound"]


def machine_limit(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Limit:
    """The floor of IEC 60204-1, 18.3; the lower one only where slip rings or bus bars are part of the circuit."""
    return limits["insulation.slip_rings" if context.slip_rings else "insulation.machine"]


def watch_limit(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Limit:
    """The level below which a sound value is watched."""
    brushed = context.motor_kind is MotorKind.DC_SERVO
    return limits["insulation.watch_brushed" if brushed else "insulation.watch_brushless"]
