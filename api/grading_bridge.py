"""From records to findings: turns a job's rows into what `grading` takes, and keeps what it gives back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from sqlmodel import Session, select

from api.canonical import canonical, parsed, sha256_hex
from api.clock import parse_instant
from api.database import Transaction
from api.jobs import axes_of, instruments_of, job_of
from api.readings import reading_of
from api.records import current_records
from api.tables import Axis, GradingRun, Instrument, Job, Record
from api.trail import What
from grading.finding import JobVerdict
from grading.measurement import AxisContext, CarrierUse, Measurement
from grading.measurement import Instrument as Meter
from grading.quantity import QuantityKind
from grading.shop import ShopProfile
from grading.verdict import grade_axis, grade_job

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
    """The fields of an axis that are words from a closed list."""
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
    return {name: enum(given[name]) for name, enum in enums.items() if given.get(name) is not None}


def axis_context(axis: Axis, job: Job, records: Iterable[Record] = ()) -> AxisContext:
    """What grading must know of an axis; a confirmed winding temperature counts before the described one."""
    given = parsed(axis.description_json)
    carrier = given.get("carrier")
    numbers = _numbers(given, _CONTEXT_NUMBERS)
    for record in records:
        value = reading_of(record).quantity.in_unit("Cel") if record.quantity == QuantityKind.TEMPERATURE else None
        if value is not None and record.axis == axis.name:
            numbers["winding_c"] = value
    return AxisContext(
        axis=axis.name,
        **_members(given),
        **numbers,
        **{name: given[name] for name in _CONTEXT_FLAGS},
        thermal_class=given.get("thermal_class"),
        made_year=given.get("made_year"),
        air_c=None if job.air_c is None else Decimal(job.air_c),
        humidity_percent=None if job.humidity_pct is None else Decimal(job.humidity_pct),
        carrier=None if carrier is None else CarrierUse(**{name: Decimal(value) for name, value in carrier.items()}),
    )


def meter(instrument: Instrument) -> Meter:
    """An instrument as grading takes it; its id is the row's."""
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
    """A record as grading takes it; None for what belongs to no axis (the shop's air)."""
    reading = reading_of(record)
    if reading.kind is None or reading.axis is None:
        return None
    return Measurement(
        record_id=record.id,
        axis=reading.axis,
        section=reading.section,
        kind=reading.kind,
        terminals=reading.terminals or "",
        quantity=reading.quantity,
        test_voltage_set=reading.test_voltage_set,
        test_voltage_built=reading.test_voltage_built,
        elapsed_s=reading.elapsed_s,
        at=parse_instant(record.captured_at),
        instrument_id=record.instrument_id,
    )


def _inputs(
    session: Session, job_id: str
) -> tuple[list[Measurement], dict[str, AxisContext], dict[str, Meter], list[Record]]:
    job, records = job_of(session, job_id), current_records(session, job_id)
    measurements = [found for found in map(measurement, records) if found is not None]
    contexts = {axis.name: axis_context(axis, job, records) for axis in axes_of(session, job_id)}
    meters = {row.id: meter(row) for row in instruments_of(session, job_id)}
    return measurements, contexts, meters, records


def job_verdict(session: Session, job_id: str, profile: ShopProfile | None = None) -> JobVerdict:
    """Grade a job's records in force; nothing is written.

    Raises:
        NotFound: There is no such job.
    """
    measurements, contexts, meters, _ = _inputs(session, job_id)
    return grade_job(measurements, contexts, meters, profile=profile)


def next_steps(session: Session, job_id: str, axis: str) -> tuple[str, ...]:
    """What grading would have done next on an axis, most useful first; nothing where the axis was not measured."""
    measurements, contexts, meters, _ = _inputs(session, job_id)
    if axis not in contexts or not any(found.axis == axis for found in measurements):
        return ()
    verdict = grade_axis(measurements, contexts[axis], meters)
    return tuple(step.action for step in verdict.next_steps)


def put_grading(transaction: Transaction, job_id: str, profile: ShopProfile | None = None) -> GradingRun:
    """Grade a job and keep the findings with their hash in the trail."""
    session = transaction.session
    job = job_of(session, job_id)
    measurements, contexts, meters, records = _inputs(session, job_id)
    verdict = grade_job(measurements, contexts, meters, profile=profile)
    findings = canonical(verdict.to_dict())
    run = GradingRun(
        id=f"{job_id}-G{transaction.count(GradingRun, job_id) + 1}",
        job_id=job_id,
        record_ids_json=canonical([record.id for record in records]),
        findings_json=findings,
        findings_sha256=sha256_hex(findings),
        graded_at=transaction.now,
    )
    transaction.put(run)
    transaction.entry(What.GRADED, job_id, by=job.technician, note={"sha256": run.findings_sha256})
    return run


def newest_grading(session: Session, job_id: str) -> GradingRun | None:
    """The last grading of a job, if it was graded."""
    runs = session.exec(select(GradingRun).where(GradingRun.job_id == job_id)).all()
    return max(runs, key=lambda run: int(run.id.rpartition("G")[2]), default=None)
