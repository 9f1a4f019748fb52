"""The records of an export as a table, with its Frictionless Data schema (Data Package 1, Table Schema 1)."""

from __future__ import annotations

from api.ledger.canonical import JsonObject, sha256_hex

COLUMNS: dict[str, str] = {
    "id": "Number of the record",
    "axis": "Axis of the machine; empty for what belongs to none",
    "section": "What was connected to the instrument: through_cable, motor_alone, cable_alone, ...",
    "terminals": "Test point: lead to lead, or lead to earth",
    "kind": "What was measured",
    "qualifier": "= as shown; > over range, < under; open, short",
    "value": "Digits as shown or spoken",
    "unit": "UCUM code: Ohm, kOhm, MOhm, GOhm, V, Cel, ...",
    "test_voltage_set": "Test voltage set, V",
    "test_voltage_built": "Test voltage that the instrument built, V",
    "elapsed_s": "Time under voltage, s",
    "position": "Shaft or carrier position, where one was noted",
    "instrument_id": "Instrument",
    "source": "speech, photo, speech+photo or typed",
    "heard_text": "The words as recognised",
    "seen_text": "The display as read",
    "clip_sha256": "The clip in which it was said: data/evidence/<this>.*",
    "photo_sha256": "The photo of the display",
    "crop_sha256": "The display cut out of the photo",
    "captured_at": "Instant of the reading by the capturing device's clock",
    "confirmed_by": "Who said or tapped yes",
    "confirmed_how": "spoken, tapped or typed",
    "confirmed_at": "When, by the clock of the machine that keeps the trail",
    "confirmation_id": "The confirmation in the trail",
    "proposal_id": "The proposal that was confirmed",
    "supersedes": "The record that this one corrects",
    "note": "Remarks that belong beside the value",
}
"""Columns taken from the record itself, with what each means; `status` and `entry` follow."""

_MORE = {
    "status": "current, superseded or withdrawn, at the time of the export",
    "entry": "Line of trail.jsonl that wrote it",
}


def datapackage(job: str, title: str, table: bytes) -> JsonObject:
    """Describe the table.

    Args:
        job: The job.
        title: Its title.
        table: The CSV file's bytes.
    """
    fields: list[JsonObject] = [
        {"name": name, "type": "integer" if name == "entry" else "string", "description": text}
        for name, text in {**COLUMNS, **_MORE}.items()
    ]
    fields[0] = {**fields[0], "constraints": {"required": True, "unique": True}}
    schema: JsonObject = {"fields": [*fields], "primaryKey": "id", "missingValues": [""]}
    return {
        "profile": "tabular-data-package",
        "name": job.lower(),
        "title": title,
        "resources": [
            {
                "profile": "tabular-data-resource", "name": "records", "path": "records.csv", "format": "csv",
                "mediatype": "text/csv", "encoding": "utf-8", "bytes": len(table),
                "hash": f"sha256:{sha256_hex(table)}",
                "dialect": {"lineTerminator": "\r\n", "header": True}, "schema": schema,
            }
        ],
    }  # fmt: skip
