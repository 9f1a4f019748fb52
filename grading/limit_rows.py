"""The rows of the table of limits: every figure on readings with its source and provenance (used as `grading.limits`).

What only bounds entries stands in `grading.entry_limits`.
"""

from __future__ import annotations

from decimal import Decimal

from grading.limit import Basis, Direction, Limit, SourceStatus

_IEEE = "IEEE 43-2013"
_MACHINE = "IEC 60204-1"
_TESTER = "IEC 61557-2"
_INSTALLATION = "IEC 60364-6"
_REPAIR = "ANSI/EASA AR100-2020"
_ACCEPTANCE = "ANSI/NETA ATS"
_PRACTICE = "Common practice"
_HOUSE = "Program's rule"
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
LIMIT_ROWS: tuple[Limit, ...] = (
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
    _limit("insulation.cable_rated", "rated voltage", "up to this the guidance for apparatus of 250 V holds",
           "250", "V", (_ACCEPTANCE, "Table 100.1", _S.FROM_MEMORY), _MOST),
    _limit("insulation.cable_test", "test voltage", "of the guidance for apparatus rated up to 250 V",
           "500", "V", (_ACCEPTANCE, "Table 100.1", _S.FROM_MEMORY)),
    _limit("insulation.cable_test_high", "test voltage", "of the guidance for apparatus rated up to 600 V",
           "1000", "V", (_ACCEPTANCE, "Table 100.1", _S.FROM_MEMORY)),
    _limit("insulation.cable_reference", "temperature", "that the insulation resistance of a cable is given at",
           "20", "Cel", (_PRACTICE, "", _S.COMMON_PRACTICE)),
    _limit("insulation.field_until", "year of manufacture", "before this most windings fall under rated kV + 1",
           "1970", "1", (_IEEE, _TABLE_3, _S.SECONDARY)),
    _limit("insulation.form_wound_rated", "rated voltage", "below this the row of form-wound coils below 1 kV holds",
           "1000", "V", (_IEEE, _TABLE_3, _S.FROM_MEMORY)),
    _limit("insulation.thermosetting_from", "year of manufacture", "from this on a winding is taken as thermosetting",
           "1975", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("insulation.retest_early", "time to the retest of a value that is watched", "earliest",
           "3", "mo", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("insulation.retest_late", "time to the retest of a value that is watched", "latest",
           "6", "mo", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("insulation.cleaning", "value after cleaning over value before", "from this on surface dirt or moisture is"
           " confirmed, below it nothing changed", "2", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("insulation.scope_power", "rated power", "below this IEEE 43 and IEC 60034-27-4 apply by analogy only",
           "750", "W", ("IEC 60034-27-4:2018", "scope", _S.SECONDARY)),
    _limit("insulation.one_phase", "one phase against all phases joined", "the others earthed: reads up to so many"
           " times higher", "3", "1", (_IEEE, "", _S.FROM_MEMORY), _MOST, _COMPUTED),
    _limit("insulation.early_factor", "one-minute value over an earlier value of the same test", "so much by absorption"
           " at most where it is below its limit", "2", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("insulation.contact", _IR, "each contact of a dry plug to its shell", "1000", "MOhm",
           (_PRACTICE, "", _S.COMMON_PRACTICE)),
    _limit("insulation.time", "time the test voltage stays on", "one-minute value",
           "60", "s", (_IEEE, "", _S.SECONDARY)),
    _limit("insulation.time_later", "time the test voltage stays on", "from this on a later value of the same test",
           "120", "s", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    # Range of the correction to 40 °C.
    _limit("temperature.lowest", "winding temperature", "below this nothing is corrected to 40 °C",
           "10", "Cel", (_IEEE, "6.3", _S.FROM_MEMORY)),
    _limit("temperature.highest", "winding temperature", "above this nothing is corrected to 40 °C",
           "85", "Cel", (_IEEE, "6.3", _S.FROM_MEMORY), _MOST),
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
    _limit("absorption.dar_good", "dielectric absorption ratio 60 s/30 s", "below this fair",
           "1.4", "1", (_PRACTICE, "", _S.COMMON_PRACTICE), basis=_COMPUTED),
    _limit("absorption.dar_excellent", "dielectric absorption ratio 60 s/30 s", "up to this good, above it excellent",
           "1.6", "1", (_PRACTICE, "", _S.COMMON_PRACTICE), basis=_COMPUTED),
    _limit("absorption.dar_meaningless", "one-minute insulation resistance", "from this on hardly anything is absorbed",
           "1000", "MOhm", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("absorption.sound", "one-minute insulation resistance", "from this on a low polarization index is no fault"
           " by itself", "100", "MOhm", (_HOUSE, "", _S.HOUSE_RULE)),
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
    _limit("tester.step_rise", "rise of insulation resistance from one test voltage to the next", "above: neither"
           " drying nor absorption; one of the two is wrong", "5", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("tester.ceiling_small", "test voltage", "used motors rated below 100 V: overhaul test level 500 V r.m.s.",
           "707", "V", ("IEC 60034-1:2004", "Table 16", _S.READ), _MOST),
    _limit("tester.ceiling_rated", "rated voltage", "below this the overhaul test level of 500 V r.m.s. holds",
           "100", "V", ("IEC 60034-1:2004", "Table 16", _S.READ), _MOST),
    _limit("tester.current_least", "test current at the load of 1000 Ω/V", "any tester that meets the standard",
           "1", "mA", (_TESTER, "4.3", _S.FROM_MEMORY)),
    _limit("tester.current_most", "test current", "any tester that meets the standard",
           "15", "mA", (_TESTER, "4.4", _S.FROM_MEMORY), _MOST),
    _limit("tester.current_unexplained", "current that flowed", "below this nothing explains a collapsed voltage",
           "0.3", "mA", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("tester.current_fit", "current implied over the tester's own", "within this factor either way it fits, since"
           " testers hold their current limit only roughly", "2", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("tester.ohm_error", "error of an ohmmeter", "where no accuracy is on record: the wide end of the class",
           "1", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("tester.ohm_counts", "error of an ohmmeter, counts of the last digit", "where no accuracy is on record",
           "5", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("tester.fewest_counts", "counts that a digital meter shows", "above its lowest range",
           "200", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("tester.resolution_ohm", "resolution of an ohmmeter", "where none is on record: a coarse one",
           "10", "Ohm", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("tester.resolution_insulation", "resolution of an insulation tester", "where none is on record: coarse",
           "0.1", "MOhm", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.machine", "test voltage", "rated voltage not known: power circuits of a machine",
           "500", "V", (_MACHINE, "18.3", _S.SECONDARY)),
    _limit("voltage.first_step", "test voltage of the first step", "motors rated above 200 V, or not known",
           "250", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.first_step_low", "test voltage of the first step", "motors rated up to 200 V",
           "100", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.first_step_rated", "rated voltage", "up to this the lower first step",
           "200", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.single_step", "test voltage by the motor's maker", "below this one step only",
           "250", "V", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("voltage.small_rated", "rated voltage", "up to this the steps of small motors",
           "50", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.small_first_step", "test voltage of the first step", "small motors",
           "50", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.small_judging", "test voltage that judges", "small motors",
           "100", "V", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("voltage.small_ceiling", "test voltage", "small motors: more needs the maker's consent",
           "250", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.cable_ceiling", "test voltage", "cable of the 600 V class alone, both ends free",
           "1000", "V", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("voltage.extra_low", "test voltage", "SELV and PELV circuits: a brake coil by itself, unplugged",
           "250", "V", (_INSTALLATION, "Table 6.1", _S.SECONDARY), _MOST),
    _limit("voltage.installation", "test voltage", "circuits up to 500 V: a fan by itself, unplugged",
           "500", "V", (_INSTALLATION, "Table 6.1", _S.SECONDARY), _MOST),
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
    _limit("winding.brush_contact", "both brush contacts under the current of an ohmmeter", "brushed motors, added",
           "1", "Ohm", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST),
    _limit("winding.cable_loop_most", "both cores of a cable of unknown size", "200 m of 1 mm²: long and thin",
           "7", "Ohm", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST, _COMPUTED),
    _limit("winding.cable_loop_least", "reading through a cable over the copper of both its cores at 20 °C", "below: it"
           " was not read through that cable, or cores touch", "85", "%", (_PRACTICE, "", _S.COMMON_PRACTICE),
           basis=_COMPUTED),
    _limit("winding.core", "resistance of one core of a cable end to end", "from this on it resists: 200 m of 1 mm² are"
           " below it", "5", "Ohm", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST),
    _limit("winding.joint", "resistance left after motor and cable are taken off", "joints, crimps, strands",
           "0.05", "Ohm", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.armature_spread", "spread of armature readings over shaft positions", "without single outliers",
           "20", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.armature_outlier", "deviation of one shaft position from the median", "above: an outlier",
           "30", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.armature_fewest", "shaft positions", "fewer say nothing of the spread",
           "3", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("winding.armature_positions", "shaft positions", "wanted of a brushed motor",
           "8", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("winding.armature_rating_low", "armature resistance over rated voltage by current", "least expected: an"
           " order of magnitude", "5", "%", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("winding.armature_rating_high", "armature resistance over rated voltage by current", "most expected: an"
           " order of magnitude", "15", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.rating_factor", "resistance beyond what the rating lets expect", "factor above which it is far off",
           "3", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.nameplate_temperature", "temperature of a nameplate resistance", "where the nameplate names none",
           "25", "Cel", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("winding.joint_share", "resistance left after motor and cable are taken off, over the winding's",
           "allowed where it is more than the fixed limit", "5", "%", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.count_share", "one count of the meter over the limit on unbalance", "above: said beside the figure",
           "0.5", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("winding.open_circuit", "resistance lead to lead or of a core", "from this on the circuit is open: no servo"
           " winding is above it", "1000", "Ohm", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("winding.open_beside", "resistance of a field, brake, sensor or fan circuit", "from this on it is open:"
           " their coils and chains read up to some kilohms", "10000", "Ohm", (_HOUSE, "", _S.HOUSE_RULE), _MOST),
    _limit("ground.dead_short", "resistance to earth, low-voltage ohmmeter", "below: a dead short to frame",
           "10", "Ohm", (_HOUSE, "", _S.HOUSE_RULE)),
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
    _limit("trend.cable_halving", "rise of temperature in which the insulation of a cable halves", "cables, and any"
           " part whose own correction is not known", "5", "Cel", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("trend.investigate", "insulation resistance over that of the visit before", "at or below: investigate",
           "0.5", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.act", "insulation resistance over that of the visit before", "at or below: act",
           "0.33", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.stop", "insulation resistance over that of the visit before", "at or below: stop and isolate",
           "0.1", "1", (_HOUSE, "", _S.HOUSE_RULE), basis=_COMPUTED),
    _limit("trend.new_series", "insulation resistance over that of the visit before", "above: cleaned, dried or"
           " another object; a new series starts", "2", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("trend.fewest_for_slope", "visits", "fewer give no slope", "3", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("trend.fewest_for_band", "visits", "fewer give no band", "4", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("trend.confidence", "confidence of slope, band and prediction", "two-sided",
           "95", "%", (_HOUSE, "", _S.HOUSE_RULE)),
    _limit("trend.horizon", "time foretold over time on record", "beyond it nothing is foretold",
           "2", "1", (_HOUSE, "", _S.HOUSE_RULE), _MOST, _COMPUTED),
    _limit("trend.retest_share", "time to the retest over the time planned for the repair", "one in so many",
           "3", "1", (_HOUSE, "", _S.HOUSE_RULE)),
    # Stored energy and safety gates.
    _limit("energy.residual_voltage", "voltage 5 s after switching off", "exposed live parts",
           "60", "V", (_MACHINE, "6.2.4", _S.SECONDARY), _MOST),
    _limit("energy.exempt_charge", "stored charge", "exempt from the 5 s rule",
           "60", "uC", (_MACHINE, "6.2.4", _S.SECONDARY), _MOST),
    _limit("energy.gate_voltage", "voltage found on the bus before a test", "no test at or above it",
           "50", "V", ("29 CFR 1910.333", "(a)(1)", _S.READ), _MOST),
    _limit("energy.discharge_factor", "discharge time over test time", "after every insulation test",
           "4", "1", (_IEEE, "", _S.FROM_MEMORY)),
    _limit("energy.current", "current in a circuit that must be dead", "a.c., threshold of perception",
           "0.5", "mA", ("IEC 61140:2016", "5.2.6", _S.FROM_MEMORY), _MOST),
    _limit("energy.return_voltage", "return voltage after discharge", "before the next test and before touching",
           "20", "V", (_PRACTICE, "", _S.COMMON_PRACTICE), _MOST),
)  # fmt: skip
