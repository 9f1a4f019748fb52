"""The way of each value, back to the sound or picture: who or what made it what it is, with the hash of each file.

    file → words or crop → recogniser with its model → what it understood, with alternatives → proposal
         → who confirmed it, how, with their own clip → corrections → findings with the version of their rules

As one line for a report, and as W3C PROV-JSON (Member Submission of 24 April 2013) for an export.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.ledger.canonical import CanonicalError, JsonObject, PlainData, parsed
from api.ledger.ids import in_order
from api.ledger.tables import (
    CaptureRow,
    ConfirmationEventRow,
    EvidenceRow,
    GradingRunRow,
    ProposalRow,
    RecordRow,
    TrailEntryRow,
)
from api.ledger.trail import What
from api.visit.records import all_records

_SHORT = 12
_ENTITIES = {"prov": "http://www.w3.org/ns/prov#", "sha256": "urn:sha256:", "ot": "urn:ohmtrail:"}


@dataclass(frozen=True)
class Sighting:
    """What was made of one clip or photo.

    Attributes:
        capture: The arrival, "J1-C3".
        sha256: Hash of the file.
        kind: "clip" or "photo".
        entry: Number of the trail's entry that notes it; 0 where none does.
        understood: Its raw result: words with times, displays with corners, alternatives, confidences.
        recogniser: Program, model and the model's hash; empty for what older versions noted.
        crop_sha256: The display cut out of a photo; None for a clip.
    """

    capture: str
    sha256: str
    kind: str
    entry: int
    understood: PlainData
    recogniser: JsonObject
    crop_sha256: str | None = None

    @property
    def span(self) -> tuple[str, str] | None:
        """From when to when the words were said, s; None where the recogniser gave no times."""
        heard = self.understood.get("heard")
        words = heard.get("words") if isinstance(heard, dict) else None
        return (str(words[0]["start"]), str(words[-1]["end"])) if words else None


@dataclass(frozen=True)
class ValueProvenance:
    """The way of one record.

    Attributes:
        record: The record.
        status: "current", "superseded" or "withdrawn".
        sightings: Clip and photo that it was read from; none for a typed value.
        proposal: What was understood, as it stood when it was confirmed.
        confirmation: Who said or tapped yes.
        earlier: Decisions before that: corrections, choices.
        superseded_by: The record that corrects it, or None.
        findings: Grading runs that used it: number, rules.
    """

    record: RecordRow
    status: str
    sightings: tuple[Sighting, ...]
    proposal: ProposalRow | None
    confirmation: ConfirmationEventRow | None
    earlier: tuple[ConfirmationEventRow, ...]
    superseded_by: str | None
    findings: tuple[tuple[str, str], ...]

    def line(self, when: Callable[[str], str] = str) -> str:
        """Write it as one readable line: hashes by their first twelve digits.

        Args:
            when: Writes the time of the confirmation, by the clock of the device that captured it (ISO 8601).
        """
        steps = [_sighting_words(one) for one in self.sightings] or ["typed by hand"]
        model = next((one.recogniser for one in self.sightings if one.recogniser), None)
        if model:
            steps.append(f"read by {model['program']}, model {str(model['model_sha256'])[:_SHORT]}")
        elif self.sightings:
            steps.append("read by a version that did not name its model")
        if self.proposal is not None:
            steps.append(f"proposal {self.proposal.id}, confidence {self.proposal.confidence}")
        steps += [f"{one.action} by {one.by}, {one.how}" for one in self.earlier]
        yes = self.confirmation
        if yes is not None:
            clip = f", clip {yes.clip_sha256[:_SHORT]}" if yes.clip_sha256 else ""
            steps.append(f"confirmed by {yes.by}, {yes.how}, {when(yes.captured_at)}{clip}")
        if self.superseded_by:
            steps.append(f"superseded by {self.superseded_by}")
        elif self.status == "withdrawn":
            steps.append("withdrawn")
        steps += [f"graded in {run}, rules {rules or 'not named'}" for run, rules in self.findings[-1:]]
        return f"{self.record.id}: " + " → ".join(steps)


def _sighting_words(one: Sighting) -> str:
    where = f" (display {one.crop_sha256[:_SHORT]})" if one.crop_sha256 else ""
    if one.span:
        where = f" ({one.span[0]} to {one.span[1]} s)"
    return f"{one.kind} {one.sha256[:_SHORT]}{where}"


def _notes(session: Session, job_id: str) -> list[tuple[int, PlainData]]:
    """Read what the trail notes of recognitions, in order."""
    statement = select(TrailEntryRow).where(TrailEntryRow.job_id == job_id, TrailEntryRow.what == What.RECOGNISED.value)
    found = []
    for entry in session.exec(statement.order_by(col(TrailEntryRow.seq))):
        try:
            found.append((entry.seq, parsed(entry.body)["note"]))
        except (CanonicalError, KeyError, TypeError):
            continue  # the verification tells
    return found


def _sightings(session: Session, job_id: str) -> dict[str, Sighting]:
    """Give the newest reading of each file of a job, by its hash."""
    noted: dict[str, tuple[int, PlainData]] = {}
    for seq, note in _notes(session, job_id):
        noted[str(note.get("capture", ""))] = (seq, note)
    found: dict[str, Sighting] = {}
    for row in in_order(session.exec(select(CaptureRow).where(CaptureRow.job_id == job_id)).all()):
        seq, note = noted.get(row.id, (0, {}))
        outcome = parsed(row.outcome_json) if row.outcome_json else {}
        understood = {
            name: outcome[name] for name in ("heard", "seen") if isinstance(outcome, dict) and name in outcome
        }
        evidence = session.get(EvidenceRow, row.sha256)
        kind = evidence.kind if evidence is not None else "file"
        found[row.sha256] = Sighting(row.id, row.sha256, kind, seq, understood, note.get("recogniser", {}))
    return found


def provenance_of(session: Session, job_id: str) -> list[ValueProvenance]:
    """Read the way of every record of a job, in order of confirmation.

    Raises:
        NotFound: There is no such job.
    """
    sightings = _sightings(session, job_id)
    events = in_order(session.exec(select(ConfirmationEventRow).where(ConfirmationEventRow.job_id == job_id)).all())
    runs = in_order(session.exec(select(GradingRunRow).where(GradingRunRow.job_id == job_id)).all())
    by_id, by_proposal, graded = {event.id: event for event in events}, defaultdict(list), defaultdict(list)
    for event in events:
        by_proposal[event.proposal_id].append(event)
    for run in runs:
        for record_id in parsed(run.record_ids_json):
            graded[record_id].append((run.id, run.rules))
    proposals = {row.id: row for row in session.exec(select(ProposalRow).where(ProposalRow.job_id == job_id)).all()}
    records = all_records(session, job_id)
    corrected = {record.row.supersedes: record.id for record in records if record.row.supersedes}
    found = []
    for record in records:
        row = record.row
        seen = [sightings[sha] for sha in (row.clip_sha256, row.photo_sha256) if sha in sightings and sha is not None]
        found.append(
            ValueProvenance(
                row,
                record.status,
                tuple(_with_crop(one, row) for one in seen),
                proposals.get(row.proposal_id),
                by_id.get(row.confirmation_id),
                tuple(one for one in by_proposal[row.proposal_id] if one.id != row.confirmation_id),
                corrected.get(row.id),
                tuple(graded[row.id]),
            )
        )
    return found


def _with_crop(one: Sighting, row: RecordRow) -> Sighting:
    if one.sha256 != row.photo_sha256:
        return one
    return Sighting(one.capture, one.sha256, one.kind, one.entry, one.understood, one.recogniser, row.crop_sha256)


def prov_json(values: Iterable[ValueProvenance]) -> PlainData:
    """Write the ways of some records as one PROV-JSON document."""
    document: dict[str, dict[str, object]] = {
        name: {}
        for name in (
            "entity", "activity", "agent", "used", "wasGeneratedBy", "wasDerivedFrom", "wasAssociatedWith",
            "wasAttributedTo",
        )
    }  # fmt: skip
    for value in values:
        _put(document, value)
    held: PlainData = {name: kept for name, kept in document.items() if kept}
    return {"prefix": dict(_ENTITIES), **held}


def _relate(document: dict[str, dict[str, object]], kind: str, **ends: str) -> None:
    document[kind]["_:" + "-".join(ends.values()).replace(":", "_")] = {
        f"prov:{end}": name for end, name in ends.items()
    }


def _put(document: dict[str, dict[str, object]], value: ValueProvenance) -> None:
    row, record = value.record, f"ot:{value.record.id}"
    said = " ".join(str(part) for part in (row.qualifier if row.qualifier != "=" else "", row.value, row.unit) if part)
    document["entity"][record] = {"prov:type": "ot:record", "prov:label": said, "ot:status": value.status}
    proposal = f"ot:{row.proposal_id}"
    document["entity"][proposal] = {"prov:type": "ot:proposal"}
    for one in value.sightings:
        file, reading = f"sha256:{one.sha256}", f"ot:recognition-{one.capture}"
        document["entity"][file] = {"prov:type": f"ot:{one.kind}"}
        document["activity"][reading] = {"prov:type": "ot:recognition", "ot:entry": one.entry}
        result = f"ot:result-{one.capture}"
        document["entity"][result] = {"prov:type": "ot:result", "ot:understood": one.understood}
        source = file
        if one.crop_sha256:
            source = f"sha256:{one.crop_sha256}"
            document["entity"][source] = {"prov:type": "ot:crop"}
            _relate(document, "wasDerivedFrom", generatedEntity=source, usedEntity=file)
        if one.span:
            document["activity"][reading] |= {"ot:from_s": one.span[0], "ot:to_s": one.span[1]}  # type: ignore[operator]  # made above
        _relate(document, "used", activity=reading, entity=source)
        _relate(document, "wasGeneratedBy", entity=result, activity=reading)
        _relate(document, "wasDerivedFrom", generatedEntity=proposal, usedEntity=result)
        if one.recogniser:
            agent = f"sha256:{one.recogniser['model_sha256']}"
            document["agent"][agent] = {"prov:type": "prov:SoftwareAgent", "prov:label": one.recogniser["program"]}
            _relate(document, "wasAssociatedWith", activity=reading, agent=agent)
    for event in (*value.earlier, *([value.confirmation] if value.confirmation else [])):
        act, person = f"ot:{event.id}", f"ot:person-{event.by}"
        document["activity"][act] = {"prov:type": f"ot:{event.action}", "prov:startTime": event.at, "ot:how": event.how}
        document["agent"][person] = {"prov:type": "prov:Person", "prov:label": event.by}
        _relate(document, "wasAssociatedWith", activity=act, agent=person)
        _relate(document, "used", activity=act, entity=proposal)
        if event.clip_sha256:
            document["entity"].setdefault(f"sha256:{event.clip_sha256}", {"prov:type": "ot:clip"})
            _relate(document, "used", activity=act, entity=f"sha256:{event.clip_sha256}")
    if value.confirmation:
        _relate(document, "wasGeneratedBy", entity=record, activity=f"ot:{value.confirmation.id}")
        _relate(document, "wasAttributedTo", entity=record, agent=f"ot:person-{value.confirmation.by}")
    _relate(document, "wasDerivedFrom", generatedEntity=record, usedEntity=proposal)
    if row.supersedes:
        _relate(document, "wasDerivedFrom", generatedEntity=record, usedEntity=f"ot:{row.supersedes}")
    for run, rules in value.findings:
        document["entity"][f"ot:{run}"] = {"prov:type": "ot:findings", "ot:rules": rules}
        _relate(document, "wasDerivedFrom", generatedEntity=f"ot:{run}", usedEntity=record)
