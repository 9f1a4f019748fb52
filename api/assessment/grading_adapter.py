"""Rows as grading takes them: confirmed records, what is known of each axis, and the instruments."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from api.ledger.canonical import parsed
from api.ledger.clock import parse_instant
from api.ledger.tables import AxisRow, InstrumentRow, JobRow
from api.visit.description import KIND_UNKNOWN
from api.visit.jobs import read_job
from api.visit.records import Record, current_records
from grading.conditions import Surroundings, surroundings
from grading.limits import LIMITS
from grading.measurement import AxisContext, CarrierUse, Measurement, MotorKind
from grading.measurement import Instrument as Meter
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section

_CONTEXT_NUMBERS = (
    "rated_voltage",
    "rated_current",
    "rated_power_w",
    "winding_c",
    "winding_c_uncertainty",
    "nameplate_resistance_ohm",
    "nameplate_c",
    "cable_length_m",
    "core_mm2",
    "maker_test_voltage",
)
_CONTEXT_FLAGS = ("moving_cable", "cable_spare_on_hand", "motor_spare_on_hand", "coolant_near", "slip_rings")
_METER_NUMBERS = (
    "accuracy_percent",
    "accuracy_counts",
    "ohm_accuracy_percent",
    "ohm_accuracy_counts",
    "resolution_ohm",
    "current_limit_ma",
    "lead_resistance_ohm",
)


def _numbers(given: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: Decimal(given[name]) for name in names if given.get(name) is not None}


def _members(given: dict[str, Any]) -> dict[str, Any]:
    """Decode the fields of an axis that are words from a closed list."""
    import grading.measurement as terms

    enums: dict[str, Any] = {
        "motor_kind": terms.MotorKind,
        "drive": terms.DriveKind,
        "insulation_system": terms.InsulationSystem,
        "winding_kind": terms.WindingKind,
        "connection": terms.Connection,
        "conductor": terms.Conductor,
        "motor_plug_reach": terms.Reach,
        "cable_reach": terms.Reach,
    }
    chosen = given.get("motor_kind", KIND_UNKNOWN) != KIND_UNKNOWN
    if not chosen:
        # Grading has no kind for "not known": it takes one, knows that nobody chose it, and asks.
        given = {**given, "motor_kind": MotorKind.AC_SERVO.value}
    known = {name: enum(given[name]) for name, enum in enums.items() if given.get(name) is not None}
    return {**known, "motor_chosen": chosen}


def axis_context(axis: AxisRow, job: JobRow) -> AxisContext:
    """Give what grading must know of an axis as described; what was measured counts before it, reading by reading."""
    given = parsed(axis.description_json)
    carrier = given.get("carrier")
    numbers = _numbers(given, _CONTEXT_NUMBERS)
    return AxisContext(
        axis=axis.name,
        **_members(given),
        **numbers,
        **{name: given[name] for name in _CONTEXT_FLAGS},
        checked=frozenset(given.get("checked", ())),
        thermal_class=given.get("thermal_class"),
        made_year=given.get("made_year"),
        air_c=None if job.air_c is None else Decimal(job.air_c),
        humidity_percent=None if job.humidity_percent is None else Decimal(job.humidity_percent),
        carrier=None if carrier is None else CarrierUse(**{name: Decimal(value) for name, value in carrier.items()}),
    )


def meter(instrument: InstrumentRow) -> Meter:
    """Give an instrument as grading takes it; its id is the row's."""
    import grading.measurement as terms

    given = parsed(instrument.description_json)
    due = given.get("calibration_due")
    return Meter(
        id=instrument.id,
        kind=terms.InstrumentKind(instrument.kind),
        name=given.get("name") or instrument.label,
        **_numbers(given, _METER_NUMBERS),
        range_end={int(volts): Decimal(end) for volts, end in given["range_end"].items()},
        iec_61557_2=given["iec_61557_2"],
        calibration_due=None if due is None else dt.date.fromisoformat(due),
    )


def measurement(record: Record) -> Measurement | None:
    """Give a record as grading takes it; None for what belongs to no axis (the shop's air).

    A temperature said of an axis is its winding's, wherever it was said; the air is the shop's and belongs to no axis.
    """
    reading = record.reading
    if reading.kind is None or reading.axis is None:
        return None
    warm = reading.kind is QuantityKind.TEMPERATURE
    return _measured(record, reading.kind, reading.axis, Section.MOTOR_ALONE if warm else reading.section)


def _measured(record: Record, kind: QuantityKind, axis: str, section: Section | None) -> Measurement:
    reading = record.reading
    return Measurement(
        record_id=record.id,
        axis=axis,
        section=section,
        kind=kind,
        terminals=reading.terminals or "",
        quantity=reading.quantity,
        test_voltage_set=reading.test_voltage_set,
        test_voltage_built=reading.test_voltage_built,
        elapsed_s=reading.elapsed_s,
        at=parse_instant(record.row.captured_at),
        instrument_id=record.row.instrument_id,
        position=record.notes.position or None,
        circumstances=frozenset(record.notes.circumstances),
    )


def _shop_air(records: Iterable[Record]) -> Surroundings:
    """Collect the readings of the shop's air, which holds for every axis."""
    air = [
        _measured(record, record.reading.kind, "", None)
        for record in records
        if record.reading.axis is None and record.reading.kind is not None
    ]
    return surroundings(air, AxisContext("", MotorKind.AC_SERVO), LIMITS)


def _in_air(found: Measurement, shop: Surroundings) -> Measurement:
    """Give a measurement the air that was measured about the time it was taken."""
    air = shop.of(found)
    own = {name: getattr(air, name) for name in ("air_c", "humidity_percent") if name in air.own}
    return replace(found, **own) if own else found


@dataclass(frozen=True)
class Inputs:
    """What grading is given of one job.

    Attributes:
        measurements: Records in force, in the order confirmed, without the shop's air.
        contexts: Every axis of the job by name, in the order described.
        meters: Instruments by the id that measurements name.
        records: The records behind the measurements, the shop's air too.
    """

    measurements: list[Measurement]
    contexts: dict[str, AxisContext]
    meters: dict[str, Meter]
    records: list[Record]


def read_inputs(session: Session, job_id: str) -> Inputs:
    """Read what grading is given of a job.

    Raises:
        NotFound: There is no such job.
    """
    job, records = read_job(session, job_id), current_records(session, job_id)
    shop = _shop_air(records)
    return Inputs(
        measurements=[_in_air(found, shop) for found in map(measurement, records) if found is not None],
        contexts={axis.name: axis_context(axis, job.row) for axis in job.axes},
        meters={row.id: meter(row) for row in job.instruments},
        records=records,
    )
