"""A job's description as given by a person: checked here, with clear messages, before any row is made from it.

Field names are those of `grading.measurement`; a few other usual names are accepted beside them. Numbers may be
written as text ("0.80") to keep their digits. Unknown fields are refused, so that a misspelt one is not lost.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal
from itertools import chain
from typing import Annotated, Any, Literal

from pydantic import (
    AliasChoices,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from api.visit.errors import BadJobDescription
from api.visit.plain_text import PlainText, check_plain
from api.visit.problems import places
from capture.display.profile_files import profile_from
from capture.errors import InstrumentProfileError
from capture.language.axis_names import spoken_names
from grading.measurement import (
    Conductor,
    Connection,
    DriveKind,
    InstrumentKind,
    InsulationSystem,
    Reach,
    WindingKind,
)
from grading.terms.quantity import UnitError, unit

Text = Annotated[PlainText, Field(max_length=400)]
Name = Annotated[PlainText, Field(min_length=1, max_length=200)]
Positive = Annotated[Decimal, Field(gt=0, lt=Decimal("1e9"))]
NotNegative = Annotated[Decimal, Field(ge=0, lt=Decimal("1e9"))]
Celsius = Annotated[Decimal, Field(ge=-60, le=250)]

_RESISTANCE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]+)\s*")
INSULATION_VOLTAGES = (50, 100, 250, 500, 1000)
"""Test voltages of common insulation testers, V."""


def _ohms(value: object) -> object:
    """Turn "4000 MOhm" into a number of ohms; numbers are ohms already."""
    if isinstance(value, str) and (match := _RESISTANCE.fullmatch(value)):
        try:
            found = unit(match[2])
        except UnitError as error:
            raise ValueError(str(error)) from None
        if found.dimension != "resistance":
            raise ValueError(f"{match[2]} is not a unit of resistance; use Ohm, kOhm, MOhm or GOhm.")
        return Decimal(match[1]) * found.factor
    return value


Ohms = Annotated[Decimal, BeforeValidator(_ohms), Field(gt=0, lt=Decimal("1e15"))]


def _other_word(words: dict[str, str]) -> BeforeValidator:
    return BeforeValidator(lambda value: words.get(value, value) if isinstance(value, str) else value)


_CLASS_LETTERS = {"A": "105", "B": "130", "F": "155", "H": "180"}
"""IEC 60085: thermal classes by their letters and by their temperature, °C (from memory)."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True, populate_by_name=True)


KIND_UNKNOWN: Literal["unknown"] = "unknown"
"""The kind of a motor that nobody has named yet."""

_INSTRUMENT_WORDS = {
    "ohmmeter": "multimeter",
    "insulation": "insulation_tester",
    "milliohm_meter": "milliohmmeter",
    "low_resistance_meter": "milliohmmeter",
}


def _profile(value: object) -> object:
    """Read what the instrument can show: the name of a generic profile, or a profile written out."""
    check_plain(value)
    try:
        return profile_from(value).to_json()
    except InstrumentProfileError as error:
        raise ValueError(str(error)) from None


class Carrier(_Part):
    """What wears a moving cable (see `grading.measurement.CarrierUse`)."""

    cycles: Positive
    rated_cycles: Positive
    bend_ratio: Positive = Decimal(1)
    torsion: Positive = Decimal(1)
    coolant: Positive = Decimal(1)


class AxisDescription(_Part):
    """One axis as described by a person (units as in `grading.measurement.AxisContext`)."""

    name: str = Field(validation_alias=AliasChoices("name", "axis"), max_length=16)
    motor_kind: Annotated[
        Literal["dc_servo", "ac_servo", "spindle", "unknown"],
        _other_word({"brushed_dc": "dc_servo", "dc": "dc_servo", "servo": "ac_servo", "ac": "ac_servo"}),
    ] = KIND_UNKNOWN
    """Never assumed: while it is unknown, the plan holds what every kind has, and it is asked for."""
    drive: DriveKind = DriveKind.ROTARY
    rated_voltage: Positive | None = None
    rated_current: Positive | None = Field(None, validation_alias=AliasChoices("rated_current", "rated_current_a"))
    rated_power_w: Positive | None = None
    insulation_system: Annotated[
        InsulationSystem, _other_word({"thermoset": "thermosetting", "thermoplast": "thermoplastic"})
    ] = InsulationSystem.UNKNOWN
    winding_kind: WindingKind | None = None
    thermal_class: Annotated[Literal["105", "130", "155", "180"], _other_word(_CLASS_LETTERS)] | None = Field(
        None, validation_alias=AliasChoices("thermal_class", "insulation_class")
    )
    made_year: Annotated[int, Field(ge=1900, le=2100)] | None = None
    winding_c: Celsius | None = None
    winding_c_uncertainty: NotNegative | None = None
    connection: Connection = Connection.UNKNOWN
    conductor: Conductor = Conductor.COPPER
    nameplate_resistance_ohm: Ohms | None = None
    nameplate_c: Celsius | None = None
    cable_length_m: Positive | None = None
    core_mm2: Positive | None = None
    moving_cable: bool = False
    carrier: Carrier | None = None
    cable_spare_on_hand: bool = False
    motor_spare_on_hand: bool = False
    motor_plug_reach: Reach = Reach.UNKNOWN
    cable_reach: Reach = Reach.UNKNOWN
    coolant_near: bool = False
    maker_test_voltage: Positive | None = None
    slip_rings: bool = False
    checked: list[Literal["rated_power_w", "winding_c", "air_c"]] = []
    """Fields that were looked up again; grading asks nothing more about them."""
    nameplate: Text = ""
    """Maker's type and serial number of the motor, as its nameplate says; for the report."""
    note: Text = ""

    @field_validator("name")
    @classmethod
    def _spoken_name(cls, name: str) -> str:
        name = name.upper()
        if not re.fullmatch(r"[A-Z][A-Z0-9_-]*", name):
            raise ValueError('An axis name is a letter or a word such as "X" or "SPINDLE".')
        return name


class InstrumentDescription(_Part):
    """One instrument as described by a person (units as in `grading.measurement.Instrument`)."""

    id: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,30}$")
    kind: Annotated[InstrumentKind, _other_word(_INSTRUMENT_WORDS)]
    name: Text = Field("", validation_alias=AliasChoices("name", "description"))
    serial: Text = ""
    accuracy_percent: NotNegative | None = None
    accuracy_counts: NotNegative | None = None
    ohm_accuracy_percent: NotNegative | None = None
    ohm_accuracy_counts: NotNegative | None = None
    resolution_ohm: Ohms | None = Field(None, validation_alias=AliasChoices("resolution_ohm", "resolution"))
    range_end: dict[int, Ohms] = Field(default_factory=dict)
    current_limit_ma: Positive | None = None
    iec_61557_2: bool = False
    lead_resistance_ohm: NotNegative | None = None
    calibration_due: dt.date | None = None
    certificate: Text = ""
    """Number of its calibration certificate."""
    certificate_date: dt.date | None = None
    display_profile: Annotated[dict[str, Any], BeforeValidator(_profile)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _usual_units(cls, data: Any) -> Any:
        """Take bare numbers as MΩ for an insulation tester, as Ω for the others; `range_end_mohm` always as MΩ.

        A single range end stands for every test voltage, or for the ohm function of what is no insulation tester.
        """
        if not isinstance(data, dict):
            return data
        data = dict(data)
        tester = _INSTRUMENT_WORDS.get(str(data.get("kind")), data.get("kind")) == "insulation_tester"
        ends = data.get("range_end")
        if "range_end_mohm" in data:
            ends = _each(data.pop("range_end_mohm"), lambda end: f"{end} MOhm")
        if isinstance(ends, (str, int, float)):
            ends = dict.fromkeys(INSULATION_VOLTAGES if tester else (0,), ends)
        data["range_end"] = _each(ends or {}, lambda end: _with_unit(end, tester))
        for name in ("resolution", "resolution_ohm"):
            if name in data:
                data[name] = _with_unit(data[name], tester and name == "resolution")
        return data


def _each(values: Any, change: Callable[[Any], Any]) -> Any:
    return {key: change(value) for key, value in values.items()} if isinstance(values, dict) else values


def _with_unit(value: object, tester: bool) -> object:
    bare = isinstance(value, (int, float)) or (isinstance(value, str) and value.replace(".", "", 1).strip().isdigit())
    return f"{value} {'MOhm' if tester else 'Ohm'}" if bare else value


class JobDescription(_Part):
    """One visit as described by a person."""

    title: Annotated[PlainText, Field(max_length=200)] = ""
    """Empty: the machine and what it shows."""
    customer: Name
    machine: Name
    technician: Name
    serial: Text = ""
    site: Text = ""
    customer_contact: Text = ""
    """Whom to ask at the customer's; for the report."""
    company: Text = ""
    contact: Text = ""
    alarm_text: Text = Field("", validation_alias=AliasChoices("alarm_text", "alarm"))
    symptom: Text = ""
    air_c: Celsius | None = None
    humidity_percent: Annotated[Decimal, Field(ge=0, le=100)] | None = Field(
        None, validation_alias=AliasChoices("humidity_percent", "humidity_pct", "humidity", "rh_pct")
    )
    axes: Annotated[list[AxisDescription], Field(min_length=1, max_length=40)]
    instruments: Annotated[list[InstrumentDescription], Field(max_length=40)] = []

    @field_validator("axes")
    @classmethod
    def _no_axis_twice(cls, axes: list[AxisDescription]) -> list[AxisDescription]:
        _once("axis", [axis.name for axis in axes])
        spoken_names([axis.name for axis in axes], strict=True)  # two that are said alike would be heard as one
        return axes

    @field_validator("instruments")
    @classmethod
    def _no_instrument_twice(cls, instruments: list[InstrumentDescription]) -> list[InstrumentDescription]:
        _once("instrument", [instrument.id for instrument in instruments])
        return instruments

    @model_validator(mode="after")
    def _titled(self) -> JobDescription:
        if not self.title:
            self.title = ": ".join(filter(None, (self.machine, self.alarm_text)))[:200]
        return self


def _once(what: str, names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"The {what} {twice[0]} is there twice; give each its own name.")


def read_description(data: object) -> JobDescription:
    """Check a job's description.

    Args:
        data: Parsed JSON.

    Raises:
        BadJobDescription: Something is missing, misspelt or out of range; the message names every such place.
    """
    try:
        return JobDescription.model_validate(data)
    except ValidationError as error:
        found = places(error.errors())
        said = " ".join(f"{place or 'the job'}: {words}" for place, words in [*found.items()][:8])
        raise BadJobDescription(problems=said, fields=tuple(chain.from_iterable(found.items()))) from None
