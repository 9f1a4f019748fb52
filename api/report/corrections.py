"""What was changed of a job's description after it was made, in the words of the report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.ledger.job_tables import JobChangeRow
from api.report import wording
from api.report.render import clock
from api.report.rows import Rows, loads

LABELS: Mapping[str, str] = {
    "title": "title", "customer": "customer", "machine": "machine", "technician": "technician",
    "serial": "serial number", "site": "site", "customer_contact": "contact at the customer's", "company": "company",
    "contact": "contact", "alarm_text": "alarm text", "symptom": "symptom", "air_c": "air temperature, °C",
    "humidity_percent": "relative humidity, %", "name": "name", "motor_kind": "motor",
    "rated_voltage": "rated voltage, V", "rated_current": "rated current, A", "rated_power_w": "rated power, W",
    "insulation_system": "insulation", "winding_c": "winding temperature, °C", "nameplate": "nameplate",
    "moving_cable": "cable in a moving carrier", "note": "remark", "id": "number", "kind": "kind",
    "certificate": "certificate", "certificate_date": "date of the certificate", "calibration_due": "calibration due",
    "accuracy_percent": "accuracy, % of reading", "accuracy_counts": "accuracy, counts", "range_end": "ends of ranges",
}  # fmt: skip
_DONE = {
    "added": "added",
    "closed": "closed",
    "reopened": "reopened",
    "archived": "archived",
    "restored": "brought back",
    "withdrawn": "withdrawn: added by mistake, nothing was measured of it",
    "reinstated": "reinstated",
}
_MATTER = ("closed", "archived", "restored")
"""What says nothing about the values: a job is closed before it is archived, and opened to be worked on."""


def _value(name: str, value: Any) -> str:
    if value in (None, "", [], {}):
        return "not recorded"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return wording.MOTORS.get(str(value), str(value)) if name == "motor_kind" else str(value)


def _fields(change: JobChangeRow) -> str:
    before, after = loads(change.before_json), loads(change.after_json)
    return "; ".join(
        f"{LABELS.get(name, name.replace('_', ' '))}: {_value(name, before.get(name))} → {_value(name, value)}"
        for name, value in after.items()
    )


def sentence(change: JobChangeRow, what: str, zone: str) -> str:
    """Write one change: when, what, before and after, by whom and why.

    Args:
        change: The change.
        what: Whose it is: "axis X"; empty where that is plain.
        zone: A time whose offset is that of the place.
    """
    done = _DONE.get(change.action) or _fields(change)
    why = f" ({change.reason})" if change.reason else ""
    subject = f"{what}: " if what and change.action == "edited" else f"{what} " if what else ""
    return f"{clock(change.at, zone)}, {change.by}: {subject}{done}{why}."


def corrections(rows: Rows, zone: str) -> tuple[str, ...]:
    """List every change of the description, and each reopening, oldest first."""
    names = {axis.id: f"axis {axis.name}" for axis in (*rows.axes, *rows.withdrawn_axes)}
    names |= {row.id: f"instrument {row.label}" for row in rows.instruments}
    told = [change for change in rows.changes if change.action not in _MATTER]
    return tuple(sentence(change, names.get(change.subject_id, "job"), zone) for change in told)


def of_axis(changes: Sequence[JobChangeRow], axis_id: str, zone: str) -> tuple[str, ...]:
    """List the changes of one axis, oldest first; under which name its values were recorded is among them."""
    mine = [change for change in changes if change.subject_id == axis_id and change.subject == "axis"]
    return tuple(sentence(change, "", zone) for change in mine)
