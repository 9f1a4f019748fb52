"""What grading is given: confirmed measurements, the instruments that made them, and what is known of an axis.

Everything here is plain frozen data. Voltages are in V, temperatures in °C, humidity in %, times in s, power in W,
lengths in m, cross sections in mm², unless a name says otherwise. None always means "not known", never "zero".
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from grading.terms.circumstance import Circumstance
from grading.terms.component import Component, component_of
from grading.terms.lazy import lazy
from grading.terms.quantity import Quantity, QuantityKind
from grading.terms.section import Section


class MotorKind(StrEnum):
    """What turns the axis."""

    DC_SERVO = "dc_servo"  # brushed, permanent magnets: leads A1, A2
    AC_SERVO = "ac_servo"  # permanent magnet synchronous: leads U, V, W
    SPINDLE = "spindle"  # three-phase spindle motor: leads U, V, W, sometimes two sets


class DriveKind(StrEnum):
    """How the motor moves the axis."""

    ROTARY = "rotary"
    LINEAR = "linear"


class InsulationSystem(StrEnum):
    """Which temperature correction of IEEE 43 applies to the winding."""

    THERMOSETTING = "thermosetting"
    THERMOPLASTIC = "thermoplastic"
    UNKNOWN = "unknown"  # both are computed: a pass needs the lower, a failure the higher


class WindingKind(StrEnum):
    """The row of IEEE 43-2013 Table 3 that a winding falls under."""

    DC_ARMATURE = "dc_armature"
    RANDOM_WOUND = "random_wound"
    FORM_WOUND = "form_wound"
    FIELD = "field"


class Connection(StrEnum):
    """How the three phases are joined inside the motor."""

    STAR = "star"
    DELTA = "delta"
    UNKNOWN = "unknown"


class Conductor(StrEnum):
    """What the winding is made of."""

    COPPER = "copper"
    ALUMINIUM = "aluminium"


class Reach(StrEnum):
    """How much work it is to get at a part."""

    EASY = "easy"  # open a cover or pull a plug
    HARD = "hard"  # guards, way covers or slides must come off
    UNKNOWN = "unknown"


class InstrumentKind(StrEnum):
    """What an instrument is."""

    INSULATION_TESTER = "insulation_tester"
    MULTIMETER = "multimeter"
    MILLIOHMMETER = "milliohmmeter"  # four-wire
    THERMOMETER = "thermometer"
    HYGROMETER = "hygrometer"
    OTHER = "other"


@dataclass(frozen=True)
class Measurement:
    """One confirmed record, as the instrument gave it.

    Attributes:
        record_id: Which record this is; every finding names the ids it used.
        axis: Axis name, e.g. "X".
        section: Which part of the axis was connected to the meter; None where it does not matter (air temperature).
        kind: What was measured.
        terminals: Test point, "from-to": "A1-A2", "U-V", "U-PE", "U+V+W-PE", "lead-lead", "lead-ground", "F1-F2".
        quantity: Digits, unit and qualifier as shown or spoken.
        test_voltage_set: Test voltage selected on the tester, V.
        test_voltage_built: Voltage that the tester really reached, V.
        elapsed_s: Time since the test voltage was applied, s.
        at: When it was confirmed (with time zone); used for calibration dates and trends.
        instrument_id: Which `Instrument` made it.
        position: Shaft or carrier position it was taken at ("3", "30°", "full left"), for brush checks and flex tests.
        circumstances: What else was noted.
        winding_c: Winding temperature when it was read, °C; None where only the axis's is known.
        air_c: Air temperature at the motor when it was read, °C; None in the same way.
        humidity_percent: Relative humidity when it was read, %; None in the same way.
        component: What of the axis it was taken on; None takes it from section and terminals (`part`).
    """

    record_id: str
    axis: str
    section: Section | None
    kind: QuantityKind
    terminals: str
    quantity: Quantity
    test_voltage_set: Decimal | None = None
    test_voltage_built: Decimal | None = None
    elapsed_s: Decimal | None = None
    at: dt.datetime | None = None
    instrument_id: str | None = None
    position: str | None = None
    circumstances: frozenset[Circumstance] = frozenset()
    winding_c: Decimal | None = None
    air_c: Decimal | None = None
    humidity_percent: Decimal | None = None
    component: Component | None = None

    @lazy
    def part(self) -> Component:
        """The component it was taken on: as given, else as section and terminals name it."""
        return component_of(self.section, self.terminals) if self.component is None else self.component


@dataclass(frozen=True)
class Instrument:
    """An instrument and what its data sheet and label say.

    Attributes:
        id: The shop's own number, as named by `Measurement.instrument_id`.
        kind: What it is.
        name: For the report.
        accuracy_percent: Accuracy of its insulation function (or its only function), ± percent of reading.
        accuracy_counts: The same, ± counts of the last digit shown.
        ohm_accuracy_percent: Accuracy of its low-voltage ohm function where that differs.
        ohm_accuracy_counts: The same, counts.
        range_end: Largest value it can show, in ohm, by test voltage in V; key 0 is the low-voltage ohm function.
        resolution_ohm: Smallest value it can tell from zero, in ohm.
        current_limit_ma: Current at which its test voltage gives way, mA (IEC 61557-2 asks for at least 1 mA).
        iec_61557_2: Whether it claims to meet IEC 61557-2 (operating error at most ±30 %).
        lead_resistance_ohm: Reading with the leads shorted, ohm, to subtract from two-wire readings.
        calibration_due: Last day on which its calibration is in date; None where no date is on record.
    """

    id: str
    kind: InstrumentKind = InstrumentKind.OTHER
    name: str = ""
    accuracy_percent: Decimal | None = None
    accuracy_counts: Decimal | None = None
    ohm_accuracy_percent: Decimal | None = None
    ohm_accuracy_counts: Decimal | None = None
    range_end: Mapping[int, Decimal] = field(default_factory=dict)
    resolution_ohm: Decimal | None = None
    current_limit_ma: Decimal | None = None
    iec_61557_2: bool = False
    lead_resistance_ohm: Decimal | None = None
    calibration_due: dt.date | None = None


@dataclass(frozen=True)
class CarrierUse:
    """What wears a moving cable, for the question which cable to open first.

    Attributes:
        cycles: Bends so far (cycles a day times days in service).
        rated_cycles: What the cable's maker rates it for.
        bend_ratio: Smallest allowed bend radius over the real one; above 1 means bent too tightly.
        torsion: 1 for none; above 1 for twisted cables (1.5 is a usual guess).
        coolant: 1 for dry; above 1 where coolant reaches the cable (1.5 is a usual guess).
    """

    cycles: Decimal
    rated_cycles: Decimal
    bend_ratio: Decimal = Decimal(1)
    torsion: Decimal = Decimal(1)
    coolant: Decimal = Decimal(1)


@dataclass(frozen=True)
class AxisContext:
    """What is known of one axis besides its measurements.

    Attributes:
        axis: Axis name, e.g. "X".
        motor_kind: What turns it.
        motor_chosen: Whether somebody chose the motor kind; False where it is a guess, which is asked about.
        drive: Rotary or linear.
        rated_voltage: Motor's rated voltage, V (line to line, or d.c.).
        rated_current: Motor's rated current, A.
        rated_power_w: Motor's rated power, W; below 750 W IEEE 43 applies by analogy only.
        insulation_system: Which temperature correction applies.
        winding_kind: Row of IEEE 43 Table 3; None derives it from `motor_kind`.
        thermal_class: "105", "130", "155" or "180", for the polarization index.
        made_year: Year of manufacture.
        winding_c: Winding temperature, °C (not the air's), for readings that have none of their own.
        winding_c_uncertainty: How well it is known, ± °C (default 2).
        air_c: Air temperature at the motor, °C, in the same way.
        humidity_percent: Relative humidity, %, in the same way.
        connection: Star or delta.
        conductor: What the winding is made of.
        nameplate_resistance_ohm: Lead-to-lead resistance by nameplate or catalogue, ohm.
        nameplate_c: Temperature that goes with it, °C (20 or 25 in catalogues: read it).
        cable_length_m: Cabinet to motor, one way, m.
        core_mm2: Cross section of one power core, mm².
        moving_cable: Whether the cable runs in a carrier or twists.
        carrier: What wears it, where known.
        cable_spare_on_hand: A spare cable lies ready.
        motor_spare_on_hand: A spare motor lies ready.
        motor_plug_reach: Work to get at the motor's connector.
        cable_reach: Work to get the cable out.
        coolant_near: Coolant reaches the motor or its connector.
        maker_test_voltage: Test voltage by the motor's maker, V; it wins over every rule here.
        slip_rings: The circuit contains slip rings, bus bars or conductor bars (IEC 60204-1's lower floor).
        checked: Fields that were looked up again ("rated_power_w"); nothing more is asked about them.
    """

    axis: str
    motor_kind: MotorKind
    drive: DriveKind = DriveKind.ROTARY
    rated_voltage: Decimal | None = None
    rated_current: Decimal | None = None
    rated_power_w: Decimal | None = None
    insulation_system: InsulationSystem = InsulationSystem.UNKNOWN
    winding_kind: WindingKind | None = None
    thermal_class: str | None = None
    made_year: int | None = None
    winding_c: Decimal | None = None
    winding_c_uncertainty: Decimal = Decimal(2)
    air_c: Decimal | None = None
    humidity_percent: Decimal | None = None
    connection: Connection = Connection.UNKNOWN
    conductor: Conductor = Conductor.COPPER
    nameplate_resistance_ohm: Decimal | None = None
    nameplate_c: Decimal | None = None
    cable_length_m: Decimal | None = None
    core_mm2: Decimal | None = None
    moving_cable: bool | None = None
    carrier: CarrierUse | None = None
    cable_spare_on_hand: bool = False
    motor_spare_on_hand: bool = False
    motor_plug_reach: Reach = Reach.UNKNOWN
    cable_reach: Reach = Reach.UNKNOWN
    coolant_near: bool = False
    maker_test_voltage: Decimal | None = None
    slip_rings: bool = False
    motor_chosen: bool = True
    checked: frozenset[str] = frozenset()

    @property
    def winding(self) -> WindingKind:
        """The winding kind given, or the usual one of the motor kind (servo stators are random-wound)."""
        if self.winding_kind is not None:
            return self.winding_kind
        return WindingKind.DC_ARMATURE if self.motor_kind is MotorKind.DC_SERVO else WindingKind.RANDOM_WOUND


@dataclass(frozen=True)
class Visit:
    """Measurements of one axis from an earlier visit, for the trend.

    Attributes:
        at: When.
        measurements: What was measured then (record ids of that visit).
        context: What was known of the axis then (its winding temperature above all).
        note: What was done since the visit before ("cleaned", "new cable"); starts a new series when not empty.
    """

    at: dt.datetime
    measurements: tuple[Measurement, ...]
    context: AxisContext
    note: str = ""
