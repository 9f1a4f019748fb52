"""The export of one visit: a bag that somebody who never heard of Ohmtrail checks with common tools.

bagit.txt, bag-info.txt, manifest-sha256.txt, tagmanifest-sha256.txt      RFC 8493
export.json           the list of files, signed
check.py, ed25519.py  check everything with Python alone; README.txt says how, and how without
data/trail.jsonl      every entry of the trail, one a line, its SHA-256 the hash that the next one names; of entries of
other visits the hash alone
data/tree-head.json   the signed head of the trail
data/proof.json       for each record that its entry is in the tree, for each report that the tree grew from its own
data/records.csv, records.json, datapackage.json   the records, with a Frictionless Data schema
data/provenance.json, provenance.txt               the way of each value: W3C PROV-JSON, and a line each
data/evidence/, data/reports/, data/witness/       the files, each under its hash
data/public-key.pem   the key that signed, for openssl
"""

from __future__ import annotations

import csv
import io
import json
import os
import secrets
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from importlib.resources import files as package_files
from pathlib import Path

import msgspec
from sqlmodel import Session, col, or_, select

from api.exchange.bag import Content, bag_of, write_folder, write_zip
from api.exchange.errors import ExportExists
from api.exchange.record_table import COLUMNS, datapackage
from api.exchange.reduce import REDUCED, derive_all, make_reduced_report
from api.ledger.canonical import JsonObject, canonical, parsed, sha256_hex
from api.ledger.database import Database, last_head
from api.ledger.errors import file_not_written
from api.ledger.evidence import captures_of
from api.ledger.merkle import MerkleTree
from api.ledger.signer import hash_bytes
from api.ledger.signing import SignedHead, fingerprint, public_pem
from api.ledger.store import Store
from api.ledger.tables import EvidenceRow, JobRow, ReportFileRow
from api.ledger.trail import What
from api.proof.heads import key_to_sign, sign_tree
from api.proof.provenance import ValueProvenance, prov_json, provenance_of
from api.report.issued import Wanted
from api.visit.jobs import job_of
from api.visit.pictures import picture_files

STATEMENT = "ohmtrail export 1"

_ENTRIES = "SELECT seq, job_id, hash, body FROM trail_entry ORDER BY seq"
_SUFFIXES = {
    "image/jpeg": "jpg", "image/png": "png", "image/webp": "webp", "image/heic": "heic", "audio/wav": "wav",
    "audio/flac": "flac", "audio/ogg": "ogg", "audio/mpeg": "mp3", "audio/mp4": "m4a", "audio/webm": "webm",
    "audio/aac": "aac", "audio/amr": "amr", "audio/3gpp": "3gp",
}  # fmt: skip

Told = Callable[[str], None]


@dataclass
class Exported:
    """What an export holds.

    Attributes:
        path: Folder or ZIP file.
        records: How many.
        files: Files in the bag.
        size: Their bytes.
        entries: Entries of the trail, with those of other visits.
        left_out: What could not be enclosed, one sentence each.
        head: The signed head.
    """

    path: Path
    head: SignedHead
    records: int = 0
    files: int = 0
    size: int = 0
    entries: int = 0
    left_out: list[str] = field(default_factory=list)


@dataclass
class _Trail:
    """The trail as an export writes it."""

    hashes: list[bytes] = field(default_factory=list)
    record_entries: dict[str, int] = field(default_factory=dict)
    witnesses: list[str] = field(default_factory=list)


def export_job(
    database: Database, evidence: Store, reports: Store, job_id: str, to: Path, *, reduced: bool = False,
    told: Told = lambda _: None,
) -> Exported:  # fmt: skip
    """Write the export of a job: a ZIP file where the place ends in ".zip", else a folder.

    Args:
        database: Its rows and trail.
        evidence: Clips and photos.
        reports: Reports made.
        job_id: The job.
        to: Where; nothing may lie there.
        reduced: Enclose derived files in place of the originals; they and their entry are made where they lack.
        told: Told what is done.

    Raises:
        NoSuchJob: There is no such job.
        ExportExists: Something lies there.
        FileNotWritten, EntryNotWritten: The disk is full or refuses; nothing is left behind.
    """
    if os.path.lexists(to):
        raise ExportExists(place=str(to))
    with database.read() as session:
        job_of(session, job_id)
    key_to_sign(database)
    left_out: list[str] = []
    no_report = ""
    if reduced:
        told("deriving")
        left_out = derive_all(database, evidence, job_id)
        told("report")
        no_report = make_reduced_report(database, evidence, reports, job_id)
    work = to.absolute().parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
    try:
        with tempfile.TemporaryDirectory(prefix="ohmtrail-export-") as scratch, database.read() as session:
            told("trail")
            bag, made = _bag(
                database, session, evidence, reports, job_id, Path(scratch), to, reduced=reduced, left_out=left_out
            )
            made.left_out += [no_report] if no_report else []
            made.left_out += [f"clip or photo {sha[:16]}: it cannot be decoded to be reduced." for sha in left_out]
            told("files")
            if to.suffix == ".zip":
                with work.open("xb") as handle:
                    write_zip(bag, handle)
                    handle.flush()
                    os.fsync(handle.fileno())
            else:
                write_folder(bag, work)
            work.rename(to)
    except OSError as error:
        raise file_not_written(to.name, error) from error
    finally:
        if work.is_dir():
            shutil.rmtree(work, ignore_errors=True)
        else:
            work.unlink(missing_ok=True)
    return made


def _bag(
    database: Database, session: Session, evidence: Store, reports: Store, job_id: str, scratch: Path, to: Path, *,
    reduced: bool, left_out: Sequence[str],
) -> tuple[dict[str, Content], Exported]:  # fmt: skip
    job, head = job_of(session, job_id), last_head(session)
    trail = _write_trail(session, job_id, scratch / "trail.jsonl")
    tree = MerkleTree(trail.hashes)
    signed = sign_tree(database, tree, head)
    values = provenance_of(session, job_id)
    made = Exported(to, signed, records=len(values), entries=len(trail.hashes))
    payload: dict[str, Content] = {
        "trail.jsonl": scratch / "trail.jsonl",
        "tree-head.json": canonical(signed.to_json()).encode(),
        "proof.json": _text(_proof(session, job_id, trail, tree)),
        "provenance.json": _text(prov_json(values)),
        "provenance.txt": "".join(f"{value.line()}\n" for value in values).encode(),
        "public-key.pem": public_pem(signed.key).encode(),
        **_records(job, values, trail),
        **_files(session, evidence, reports, job_id, trail, made, reduced=reduced),
    }
    key = database.signing_key()

    def tags(manifest: bytes) -> dict[str, Content]:
        statement: JsonObject = {
            "what": STATEMENT, "job": job_id, "at": database.now(), "key": key.public, "manifest": sha256_hex(manifest),
            "reduced": reduced, "left_out": [*left_out],
        }  # fmt: skip
        enclosed = package_files("api.exchange") / "enclosed"
        names = ("check.py", "ed25519.py", "README.txt")
        return {
            "export.json": canonical({**statement, "signature": key.sign(statement)}).encode(),
            **{name: (enclosed / name).read_bytes() for name in names},
        }

    info = {
        "Bag-Software-Agent": f"ohmtrail {version('ohmtrail')}",
        "Bagging-Date": database.now()[:10],
        "External-Identifier": job_id,
        "External-Description": f"{job.title}; {job.machine}",
        "Signing-Key": fingerprint(signed.key),
    }
    bag = bag_of(payload, info, tags)
    made.files = len(bag)
    made.size = sum(len(one) if isinstance(one, bytes) else one.stat().st_size for one in bag.values())
    return bag, made


def _text(value: object) -> bytes:
    return msgspec.json.format(msgspec.json.encode(value, order="sorted"), indent=1) + b"\n"


def _write_trail(session: Session, job_id: str, path: Path) -> _Trail:
    """Write the trail, entries of other jobs as their hash alone."""
    found = _Trail()
    with path.open("wb") as handle:
        for _, owner, digest, body in session.connection().exec_driver_sql(_ENTRIES):
            found.hashes.append(hash_bytes(digest))
            shown = owner in ("", job_id)
            handle.write((body if shown else json.dumps(digest)).encode() + b"\n")
            if shown:
                _note_entry(found, parsed(body))
    return found


def _note_entry(found: _Trail, body: JsonObject) -> None:
    rows, note = body["rows"], body["note"]
    for item in rows if isinstance(rows, list) else []:
        if isinstance(item, dict) and item["table"] == "record":
            found.record_entries[str(item["key"])] = len(found.hashes)
    if body["what"] == What.WITNESSED.value and isinstance(note, dict) and note.get("token"):
        found.witnesses.append(str(note["token"]))


def _proof(session: Session, job_id: str, trail: _Trail, tree: MerkleTree) -> JsonObject:
    size = tree.size
    rows = session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all()
    return {
        "standard": "RFC 9162, 2.1; the data of a leaf is the SHA-256 of an entry, 32 bytes",
        "job": job_id,
        "size": size,
        "root": tree.root(size).hex(),
        "records": [
            {"id": record, "entry": seq, "inclusion": [node.hex() for node in tree.inclusion(seq - 1, size)]}
            for record, seq in trail.record_entries.items()
        ],
        "reports": [
            {
                "id": row.id, "size": row.trail_seq, "hash": row.trail_hash, "root": tree.root(row.trail_seq).hex(),
                "consistency": [node.hex() for node in tree.consistency(row.trail_seq, size)] if row.trail_seq else [],
            }
            for row in rows
            if row.trail_seq <= size
        ],
    }  # fmt: skip


def _records(job: JobRow, values: list[ValueProvenance], trail: _Trail) -> dict[str, Content]:
    rows: list[JsonObject] = []
    for value in values:
        held = value.record.model_dump()
        row = {name: held[name] for name in COLUMNS if name in held}
        rows.append({**row, "status": value.status, "entry": trail.record_entries.get(value.record.id, 0)})
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, [*COLUMNS, "status", "entry"])
    writer.writeheader()
    writer.writerows(rows)
    return {
        "records.json": _text(rows),
        "records.csv": out.getvalue().encode(),
        "datapackage.json": _text(datapackage(job.id, job.title, out.getvalue().encode())),
    }


def _files(
    session: Session, evidence: Store, reports: Store, job_id: str, trail: _Trail, made: Exported, *, reduced: bool
) -> dict[str, Content]:
    """Give the files to enclose, by their name below `data/`."""
    found: dict[str, Content] = {}
    originals = {capture.sha256 for capture in captures_of(session, job_id)} | {*picture_files(session, job_id)}
    below = select(EvidenceRow).where(
        or_(col(EvidenceRow.sha256).in_(originals), col(EvidenceRow.parent_sha256).in_(originals))
    )
    for row in session.exec(below).all():
        is_derived = row.derivation.startswith(REDUCED)
        if is_derived if not reduced else row.sha256 in originals:
            continue
        suffix = _SUFFIXES.get(row.media_type.partition(";")[0], "bin")
        _put(found, evidence, f"evidence/{row.sha256}.{suffix}", row.sha256, made)
    for token in trail.witnesses:
        _put(found, evidence, f"witness/{token}.tsr", token, made)
    for report in session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all():
        # The others show the originals; this one is made from what is enclosed.
        if not reduced or report.name == Wanted(reduced={}).name(job_id):
            suffix = Path(report.name).suffix or ".bin"
            _put(found, reports, f"reports/{report.id}{suffix}", report.sha256, made)
    return found


def _put(found: dict[str, Content], store: Store, name: str, sha256: str, made: Exported) -> None:
    path = store.path(sha256)
    if path.is_file():
        found[name] = path
    else:
        made.left_out.append(f"{name}: its file is missing.")
