"""The rules by name: what each one does, where it comes from and which limits it holds values against.

Findings name a rule by its id here, and the check tables in the tests name the same ids, so that a table of rule,
source and number of checks can be made by machine (`tests/standards/rules_table.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Family(StrEnum):
    """The families of rules."""

    INSULATION = "insulation"
    VOLTAGE = "voltage"
    ABSORPTION = "absorption"
    INSTRUMENT = "instrument"
    GROUND = "ground"
    WINDING = "winding"
    ISOLATION = "isolation"
    TREND = "trend"
    ENERGY = "energy"
    QUANTITY = "quantity"


@dataclass(frozen=True)
class Rule:
    """One rule.

    Attributes:
        family: The family it belongs to.
        name: Its name within the family.
        title: What it answers, in a few words.
        source: Document and clause with status, or "common practice, no source", or "program's rule".
        limits: Ids of the limits it uses.
    """

    family: Family
    name: str
    title: str
    source: str
    limits: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """As findings and checks name it."""
        return f"{self.family.value}.{self.name}"


_FROM_LAW = "parallel paths add their conductances (Ohm's law)"
_HOUSE = "program's rule"
_IEEE = "IEEE 43-2013"

_ALL: tuple[Rule, ...] = (
    Rule(Family.INSULATION, "machine", "Insulation of a machine's power circuit, as measured",
         "IEC 60204-1, 18.3 (secondary text)",
         ("insulation.machine", "insulation.slip_rings", "insulation.drive_floor", "insulation.early_factor",
          "insulation.one_phase")),
    Rule(Family.INSULATION, "winding", "One-minute insulation of the motor alone, at 40 °C",
         f"{_IEEE}, Table 3 (rows secondary or quoted)",
         ("insulation.armature", "insulation.random_wound",
          "insulation.form_wound_low_voltage", "insulation.form_wound", "insulation.field", "insulation.scope_power",
          "insulation.field_until", "insulation.form_wound_rated", "insulation.time_later")),
    Rule(Family.INSULATION, "watch", "Sound but worth watching", _HOUSE,
         ("insulation.watch_brushless", "insulation.watch_brushed", "insulation.retest_early",
          "insulation.retest_late")),
    Rule(Family.INSULATION, "cable", "Cable alone against apparatus guidance",
         "ANSI/NETA ATS, Table 100.1 (from memory); temperature: common practice",
         ("insulation.cable_250", "insulation.cable_600", "insulation.cable_rated", "insulation.cable_test",
          "insulation.cable_test_high", "insulation.cable_reference", "trend.cable_halving")),
    Rule(Family.INSULATION, "shop", "A limit of the shop's own", "shop profile"),
    Rule(Family.INSULATION, "time", "Whether the value is a one-minute value", f"{_IEEE} (secondary text)",
         ("insulation.time",)),
    Rule(Family.INSULATION, "value", "Whether there is a value to judge", "logic"),
    Rule(Family.INSULATION, "temperature", "Correction to 40 °C, and where it may not be made",
         f"{_IEEE}, 6.3 (two systems: secondary text; constants and ranges from memory)",
         ("temperature.lowest", "temperature.highest", "insulation.thermosetting_from", "conditions.age")),
    Rule(Family.INSULATION, "dew_point", "Winding near the dew point", f"{_IEEE} (from memory); margin: {_HOUSE}",
         ("winding.dew_margin",)),
    Rule(Family.INSULATION, "cleaning", "What cleaning or drying changed", _HOUSE, ("insulation.cleaning",)),
    Rule(Family.INSULATION, "auxiliary", "Feedback, brake and sensor leads kept out of the test", _HOUSE,
         ("voltage.extra_low", "voltage.installation")),
    Rule(Family.INSULATION, "beside", "Insulation of brake, field, sensor, tacho and fan, each by its own limit",
         "IEC 60364-6, Table 6.1 and IEC 60204-1, 18.3 (secondary texts)",
         ("insulation.extra_low", "insulation.installation", "insulation.machine")),
    Rule(Family.VOLTAGE, "choice", "Which test voltage", f"{_IEEE}, Table 1 (secondary text); small motors: {_HOUSE}",
         ("tester.ceiling_small", "tester.ceiling_rated", "voltage.machine", "voltage.first_step",
          "voltage.first_step_low", "voltage.first_step_rated", "voltage.single_step", "voltage.small_rated",
          "voltage.small_first_step",
          "voltage.small_judging", "voltage.small_ceiling", "voltage.cable_ceiling")),
    Rule(Family.VOLTAGE, "collapse", "The tester could not build its voltage", "IEC 61557-2:2019, 6.4 (read)",
         ("tester.built", "tester.full_voltage_load", "tester.current_least", "tester.current_most",
          "tester.current_unexplained", "tester.current_fit")),
    Rule(Family.VOLTAGE, "overshoot", "The tester built too much", "IEC 61557-2:2007, 4.2 (quoted)",
         ("tester.overshoot",)),
    Rule(Family.VOLTAGE, "steps", "Insulation that falls as the voltage rises", "common practice; 25 % from memory",
         ("tester.step_drop", "tester.step_rise", "insulation.watch_brushless", "insulation.watch_brushed")),
    Rule(Family.ABSORPTION, "pi", "Polarization index", "IEEE 43-2000 table (quoted); 5000 MΩ: secondary text",
         ("absorption.pi_class_105", "absorption.pi", "absorption.pi_meaningless", "absorption.sound",
          "absorption.dar")),
    Rule(Family.ABSORPTION, "dar", "Dielectric absorption ratio", "common practice, no source",
         ("absorption.dar", "absorption.dar_fair", "absorption.dar_good", "absorption.dar_excellent",
          "absorption.dar_meaningless")),
    Rule(Family.INSTRUMENT, "uncertainty", "Accuracy, guard band and probability of conformity",
         "JCGM 106:2012 and ILAC-G8:09/2019, 4.2; GUM type B",
         ("tester.operating_error", "tester.ohm_error", "tester.ohm_counts", "tester.fewest_counts",
          "tester.resolution_ohm", "tester.resolution_insulation")),
    Rule(Family.INSTRUMENT, "calibration", "Calibration in date on the day of the test",
         "ISO/IEC 17025 practice; " + _HOUSE),
    Rule(Family.GROUND, "ohmmeter", "Low-voltage ohmmeter to earth", _HOUSE,
         ("ground.dead_short", "insulation.machine")),
    Rule(Family.GROUND, "compare", "Ohmmeter against insulation tester", _HOUSE,
         ("compare.ohmmeter", "insulation.machine")),
    Rule(Family.WINDING, "open", "Open or shorted winding", "logic; bound: " + _HOUSE, ("winding.open_circuit",)),
    Rule(Family.WINDING, "beside", "Brake, field, sensor, tacho and fan from end to end", _HOUSE,
         ("winding.open_beside", "winding.open_circuit")),
    Rule(Family.WINDING, "temperature", "Winding resistance at another temperature",
         "(k + t2)/(k + t1), k = 234.5 copper, 225 aluminium (secondary texts)"),
    Rule(Family.WINDING, "connection", "Phases of star and delta", "circuit theory"),
    Rule(Family.WINDING, "unbalance", "Lead-to-lead readings against each other", "ANSI/EASA AR100-2020 (quoted)",
         ("winding.unbalance_random", "winding.unbalance_form", "winding.unbalance_cable_look",
          "winding.unbalance_cable_act", "winding.count_share")),
    Rule(Family.WINDING, "nameplate", "Winding resistance against nameplate or rating", "common practice, no source",
         ("winding.nameplate", "winding.nameplate_temperature", "winding.brush_contact", "winding.cable_loop_most",
          "winding.rating_factor", "winding.armature_rating_low",
          "winding.armature_rating_high")),
    Rule(Family.WINDING, "joint", "Cabinet reading less motor and cable", _HOUSE,
         ("winding.joint", "winding.joint_share", "winding.armature_spread", "winding.cable_loop_least")),
    Rule(Family.WINDING, "armature", "Armature over shaft positions", _HOUSE,
         ("winding.armature_spread", "winding.armature_outlier", "winding.armature_fewest",
          "winding.armature_positions")),
    Rule(Family.WINDING, "continuity", "One core end to end", _HOUSE, ("winding.core",)),
    Rule(Family.ISOLATION, "locate", "Motor, cable, both, or what joins them", _FROM_LAW + "; table: " + _HOUSE,
         ("compare.amplification", "insulation.machine", "insulation.slip_rings")),
    Rule(Family.ISOLATION, "consistency", "Whole against its parts", _FROM_LAW + "; bounds: " + _HOUSE,
         ("compare.whole_low", "compare.whole_high", "insulation.contact")),
    Rule(Family.ISOLATION, "cable_order", "Which cable first", _HOUSE),
    Rule(Family.TREND, "drop", "Change since the visit before", _HOUSE,
         ("trend.investigate", "trend.act", "trend.stop", "trend.new_series", "trend.cable_halving")),
    Rule(Family.TREND, "limit", "When a limit will be reached", "least squares on log10; Fieller's theorem",
         ("trend.fewest_for_slope", "trend.fewest_for_band", "trend.confidence", "trend.horizon",
          "trend.retest_share", "insulation.machine")),
    Rule(Family.ENERGY, "discharge", "Stored energy and the gates before a test",
         "IEC 60204-1, 6.2.4 (secondary text); 29 CFR 1910.333 (read); factor 4 from memory",
         ("energy.exempt_charge", "energy.gate_voltage", "energy.discharge_factor",
          "energy.return_voltage")),
    Rule(Family.ENERGY, "dead", "Voltage or current on a circuit that must be dead",
         "29 CFR 1910.333 (read); 20 V: common practice; current: IEC 61140 (from memory)",
         ("energy.current", "energy.gate_voltage", "energy.return_voltage")),
    Rule(Family.QUANTITY, "units", "Units and what they are worth", "UCUM, case sensitive"),
    Rule(Family.QUANTITY, "left_out", "Whether a row was left out that may hold a fault", "logic"),
    Rule(Family.QUANTITY, "possible", "Whether a value can be at all", "definitions; bounds: " + _HOUSE,
         ("possible.coldest", "possible.hottest", "possible.humidity", "possible.smallest", "possible.largest",
          "possible.earliest", "possible.latest")),
    Rule(Family.QUANTITY, "plausible", "Whether a value must be asked about",
         f"common practice, no source; {_HOUSE}",
         ("plausible.winding_least", "plausible.winding_most", "plausible.power_servo", "plausible.power_spindle",
          "plausible.power_share", "plausible.power_most", "plausible.brake_least", "plausible.same_digits",
          "plausible.finer_digits",
          "tester.current_most", "plausible.warm", "plausible.room_least",
          "plausible.room_most")),
)  # fmt: skip

REFERENCE: frozenset[str] = frozenset(
    {"insulation.armature_2000", "insulation.installation_high", "energy.residual_voltage"}
)
"""Limits that no rule reads: figures of the documents in use, kept to read other people's reports by."""

RULES: Mapping[str, Rule] = {rule.id: rule for rule in _ALL}


def family_of(rule: str) -> Family | None:
    """Give the family of a rule by its id; None for a rule that is not in the book."""
    return RULES[rule].family if rule in RULES else None
