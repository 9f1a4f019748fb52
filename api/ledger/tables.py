"""The database tables: jobs, evidence, proposals, records, safety answers and the audit trail (SQLModel on SQLite).

Table classes validate nothing; every row is built from a checked value in exactly one place (`api.visit.jobs`,
`api.intake.intake`, `api.visit.proposals`, `api.visit.records`, `api.visit.safety`, `api.ledger.trail`). Columns hold
only text, whole numbers and NULL, so that a row can be written into the audit trail as canonical JSON and compared with
it byte for byte:

* decimals are TEXT exactly as given ("0.80" stays "0.80"), units are UCUM codes;
* instants named `..._at` are ISO 8601 in UTC ("2026-11-25T19:05:00.000000Z"), except `captured_at`, which is the
  capturing device's own time with its offset, kept as sent ("2026-11-25T14:05:00-05:00");
* lists and objects are canonical JSON in a column whose name ends in `_json`.

Records, confirmation events, safety answers, grading runs, reports and trail entries are never changed or deleted
(triggers in `api.ledger.database` forbid it). A record's status follows from later rows: it is superseded by a record
that names it in `supersedes`, withdrawn by a confirmation event "withdraw".
"""

from __future__ import annotations

from typing import ClassVar

from sqlmodel import Field, SQLModel

from api.ledger.columns import NoteColumns, ReadingColumns, SourceColumns


class JobRow(SQLModel, table=True):
    """One visit.

    Attributes:
        id: "J1", "J2", ... in order of creation.
        air_c: Air temperature, °C.
        humidity_percent: Relative humidity, %.
        description_json: The whole description as given, for what has no column of its own.
    """

    __tablename__: ClassVar[str] = "job"

    id: str = Field(primary_key=True)
    title: str
    customer: str
    machine: str
    technician: str
    alarm_text: str
    air_c: str | None
    humidity_percent: str | None
    description_json: str
    created_at: str


class AxisRow(SQLModel, table=True):
    """One axis of a job's machine.

    Attributes:
        id: Job id and axis name, "J1-X".
        name: As in `capture.reading.Reading.axis`: upper case, "X", "SPINDLE".
        motor_kind: `grading.measurement.MotorKind` value: "dc_servo", "ac_servo" or "spindle".
        drive: `DriveKind` value: "rotary" or "linear".
        rated_voltage: V, between lines for three phases.
        rated_power_w: W.
        insulation_system: `InsulationSystem` value: "thermosetting", "thermoplastic" or "unknown".
        winding_c: Winding temperature, °C.
        moving_cable: 1 when the cable runs in a moving carrier.
        description_json: The axis as given, for what has no column of its own (cable length, cycles, ...).
    """

    __tablename__: ClassVar[str] = "axis"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    name: str
    motor_kind: str
    drive: str
    rated_voltage: str | None
    rated_power_w: str | None
    insulation_system: str
    winding_c: str | None
    moving_cable: int
    description_json: str


class InstrumentRow(SQLModel, table=True):
    """One measuring instrument of a job.

    Attributes:
        id: Job id and the instrument's own label, "J1-IT-03".
        label: "IT-03".
        kind: `grading.measurement.InstrumentKind` value, e.g. "insulation_tester".
        accuracy_percent: Percent of reading.
        accuracy_counts: Counts of the last digit.
        calibration_due: ISO date.
        description_json: The instrument as given (resolution, range end per test voltage, current limit, serial, ...).
    """

    __tablename__: ClassVar[str] = "instrument"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    label: str
    kind: str
    accuracy_percent: str | None
    accuracy_counts: str | None
    calibration_due: str | None
    description_json: str


class InstrumentProfileRow(SQLModel, table=True):
    """What an instrument can show, as a person said from some moment on; append-only, the newest counts.

    Attributes:
        id: "J1-F1", ...
        profile_json: The whole profile (`capture.display.profile.Profile.to_json`).
    """

    __tablename__: ClassVar[str] = "instrument_profile"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    instrument_id: str = Field(foreign_key="instrument.id", index=True)
    profile_json: str
    by: str
    at: str


class EvidenceRow(SQLModel, table=True):
    """One stored file, identified by its content; the bytes lie in the evidence folder.

    Attributes:
        sha256: 64 lower-case hex digits.
        media_type: From the content, e.g. "image/jpeg"; "application/octet-stream" where it is none we know.
        kind: "clip", "photo", "crop" or "other".
        size: Bytes.
        parent_sha256: The file that this one was cut from; None for an original.
        derivation: How it was made from its parent; empty for an original.
        metadata_json: What the file says of itself (EXIF time and orientation, pixels, duration); not taken as fact.
    """

    __tablename__: ClassVar[str] = "evidence"

    sha256: str = Field(primary_key=True)
    media_type: str
    kind: str
    size: int
    parent_sha256: str | None
    derivation: str
    metadata_json: str
    stored_at: str


class CaptureRow(SQLModel, table=True):
    """One arrival of a clip or photo at a job (the same bytes may arrive twice; the file is stored once).

    Attributes:
        id: "J1-C1", ... in order of arrival.
        client_id: The sender's own unique id, so that a repeated sending is known as such; or None.
        state: "stored" (not yet read), "recognised", "failed" (could not be decoded or read) or "cut".
        outcome_json: What was made of it: words or displays, proposals made, or the error.
        captured_at: As sent; the arrival time where the sender gave none.
        utterance: The id that the page gave the utterance, live or as a clip; empty for none.
        sent_by: Who sent it; empty where no paired device did.
    """

    __tablename__: ClassVar[str] = "capture"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    sha256: str = Field(foreign_key="evidence.sha256", index=True)
    client_id: str | None
    state: str
    outcome_json: str
    captured_at: str
    received_at: str
    utterance: str = Field(default="", sa_column_kwargs={"server_default": ""})
    sent_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class ProposalRow(ReadingColumns, SourceColumns, NoteColumns, table=True):
    """What the machine understood: one reading that waits for a person.

    Attributes:
        id: "J1-P1", ...
        state: "open", "confirmed", "rejected".
        revision: 1, 2, ...: raised by every change of value; a confirmation names the revision it saw.
        supersedes: The record that this reading would replace, or None.
        confidence: 0..1 as decimal text.
        doubts_json: `Doubt` values that block a bare confirmation.
        alternatives_json: Other readings (objects as of `Reading.to_json`), best first.
        voice_json: The reading as a person said or typed it, or "null".
        photo_json: The reading as seen alone, or "null".
        changed_at: UTC instant of the last change of value.
        changed_captured: `captured_at` of the input that last changed the value.
    """

    __tablename__: ClassVar[str] = "proposal"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    state: str
    revision: int
    supersedes: str | None
    confidence: str
    doubts_json: str
    alternatives_json: str
    voice_json: str
    photo_json: str
    created_at: str
    changed_at: str
    changed_captured: str


class ConfirmationEventRow(SQLModel, table=True):
    """What a person decided about a proposal or record; append-only.

    Attributes:
        id: "J1-E1", ...
        action: "confirm", "correct", "choose", "reject", "withdraw", "note" (a clip kept as it is) or "photo_agrees".
        how: "spoken", "tapped" or "typed"; "derived" for what follows from a choice, "photo" for one that came later.
        revision: The proposal's revision that was decided about; None for a withdrawal.
        words: What was said, tapped or typed.
        clip_sha256: The clip in which it was said, or None.
        by: Who.
        detail_json: For "correct" and "choose": the reading before and after.
    """

    __tablename__: ClassVar[str] = "confirmation_event"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    proposal_id: str | None = Field(foreign_key="proposal.id", index=True)
    record_id: str | None = Field(index=True)
    action: str
    how: str
    revision: int | None
    words: str
    clip_sha256: str | None
    by: str
    detail_json: str
    captured_at: str
    at: str


class RecordRow(ReadingColumns, SourceColumns, NoteColumns, table=True):
    """A confirmed reading; append-only.

    Attributes:
        id: "J1-R1", ...
        confirmation_id: The event by which a person confirmed exactly these digits.
        supersedes: The record that this one corrects, or None.
        confirmed_how: "spoken", "tapped" or "typed".
        note: Remarks that belong beside the value (e.g. that safety answers came after it).
    """

    __tablename__: ClassVar[str] = "record"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    proposal_id: str = Field(foreign_key="proposal.id")
    confirmation_id: str = Field(foreign_key="confirmation_event.id")
    supersedes: str | None = Field(index=True)
    confirmed_how: str
    confirmed_by: str
    confirmed_at: str
    note: str


class SafetyAnswerRow(SQLModel, table=True):
    """One answer to one safety step of one axis; append-only, the newest counts.

    Attributes:
        id: "J1-S1", ...
        step: `api.visit.safety_steps` step id, e.g. "drive_disconnected"; "lockout_ended" where answers end.
        answer: "yes", "no" or "not_applicable"; why the lock-out ended.
        value: A measured value where the step asks for one (bus voltage in V), else None.
        evidence_sha256: A photo that shows it, or None.
    """

    __tablename__: ClassVar[str] = "safety_answer"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    axis_id: str = Field(foreign_key="axis.id", index=True)
    step: str
    answer: str
    value: str | None
    note: str
    how: str
    by: str
    evidence_sha256: str | None
    captured_at: str
    at: str


class DialogueStateRow(SQLModel, table=True):
    """Where the conversation of a job stands.

    Attributes:
        context_json: `capture.reading.Context` as plain data.
        asking_json: The questions that wait (`api.dialogue.standing`); before: the proposals that were read back last.
        message: The sentence spoken last.
        updated_at: UTC instant.
    """

    __tablename__: ClassVar[str] = "dialogue_state"

    job_id: str = Field(primary_key=True, foreign_key="job.id")
    context_json: str
    asking_json: str
    message: str
    updated_at: str


class GradingRunRow(SQLModel, table=True):
    """The findings as computed at one moment; append-only, recomputable from the records.

    The findings also hold the shop profile they were graded by and the records of earlier visits they were given.

    Attributes:
        id: "J1-G1", ...
        record_ids_json: The records in force at that moment.
        findings_json: Canonical JSON of all findings.
        findings_sha256: SHA-256 of `findings_json`.
        rules: Version and fingerprint of the rules that they were computed by (`api.assessment.rules`); empty for runs
            made before schema 3.
    """

    __tablename__: ClassVar[str] = "grading_run"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    record_ids_json: str
    findings_json: str
    findings_sha256: str
    graded_at: str
    rules: str = Field(default="", sa_column_kwargs={"server_default": ""})


class ReportFileRow(SQLModel, table=True):
    """One report or bundle that was made; append-only, the bytes lie in the reports folder under their hash.

    Attributes:
        id: "J1-D1", ...
        name: File name for people, e.g. "report.html".
        trail_seq: Number of the last trail entry that the report covers.
        trail_hash: Hash of that entry, as printed in the report.
        profile_sha256: Hash of the shop profile that it was graded by; empty for the published limits.
    """

    __tablename__: ClassVar[str] = "report_file"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    name: str
    media_type: str
    sha256: str
    size: int
    trail_seq: int
    trail_hash: str
    made_at: str
    profile_sha256: str = Field(default="", sa_column_kwargs={"server_default": ""})


class TrailEntryRow(SQLModel, table=True):
    """One entry of the audit trail; append-only.

    Attributes:
        seq: 1, 2, ... without gaps.
        job_id: The job it belongs to; empty for the whole workspace.
        what: The arrow of the flow, e.g. "evidence stored", "confirmed".
        at: UTC instant.
        prev: `hash` of the entry before; 64 zeros for the first.
        hash: SHA-256 of `body`.
        body: Canonical JSON of everything above except `hash`, and of the rows that the entry stands for.
    """

    __tablename__: ClassVar[str] = "trail_entry"

    seq: int = Field(primary_key=True)
    job_id: str = Field(index=True)
    what: str
    at: str
    prev: str
    hash: str
    body: str


APPEND_ONLY: tuple[str, ...] = (
    "trail_entry", "record", "confirmation_event", "safety_answer", "grading_run", "report_file", "evidence", "job",
    "axis", "instrument", "instrument_profile", "sent_action", "job_change", "picture",
)  # fmt: skip
"""Tables whose rows may neither be changed nor deleted; the others may be changed, never deleted."""
