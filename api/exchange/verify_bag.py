"""Verify an export that comes from elsewhere, by the steps of the ledger's own verification where they apply.

(1) every file is as the manifests list it, none is missing or added
(2) every entry of the trail follows from the one before; of entries of other visits the hash alone is there
(3) the head is signed by the key that the trail names, and is that of this trail; so is the list of files
(4) every record has a confirmation of its own, for exactly its digits
(5) the lists of records say what the trail says, and the proofs lead to the signed root
(6) every clip and photo is enclosed, or a derived one that the trail names with it; reports name hashes of this trail
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field

from api.exchange.bag import DECLARATION, MANIFEST, TAG_MANIFEST, Bag
from api.exchange.export import STATEMENT
from api.exchange.record_table import COLUMNS
from api.exchange.reduce import REDUCED
from api.ledger.canonical import CanonicalError, PlainData, parsed, parsed_canonical, sha256_hex
from api.ledger.chain import BODY_KEYS
from api.ledger.merkle import MerkleTree, consistent, included
from api.ledger.schema import Row
from api.ledger.signing import SignedHead, fingerprint, signature_holds, signed_head_from
from api.ledger.trail import FIRST_PREV, What
from api.ledger.verification.confirmations import Confirmations
from api.ledger.verification.result import Verification


@dataclass
class BagVerification:
    """What was found.

    Attributes:
        job: Number of the visit in the folder that it comes from.
        problems: One sentence for each thing that is wrong; empty where it verifies.
        notes: What is not enclosed, and what cannot be proved.
        head: The signed head.
        rows: Every row as its newest entry holds it, by table and key.
        entries: Of the trail.
        records: Of the visit.
    """

    job: str = ""
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    head: SignedHead | None = None
    rows: dict[tuple[str, str], Row] = field(default_factory=dict)
    entries: int = 0
    records: int = 0

    @property
    def intact(self) -> bool:
        """Nothing is wrong."""
        return not self.problems


@dataclass
class _Read:
    """The trail of the bag as it was read."""

    hashes: list[bytes] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    record_entries: dict[str, int] = field(default_factory=dict)


def verify_bag(bag: Bag) -> BagVerification:
    """Verify a bag.

    Raises:
        BagUnusable: It is none of ours, or made to do harm.
    """
    found = BagVerification()
    try:
        hashes = _check_files(bag, found)  # (1)
        read = _check_trail(bag, found)  # (2), (4)
        tree = _check_head(bag, read, found)  # (3)
        _check_records(bag, read, tree, found)  # (5)
        _check_enclosed(bag, hashes, read, found)  # (6)
    except (CanonicalError, KeyError, TypeError, IndexError, ValueError, AttributeError, csv.Error) as error:
        found.problems.append(f"It is not whole, or was changed: {type(error).__name__}: {error}.")
    return found


def _check_files(bag: Bag, found: BagVerification) -> dict[str, str]:
    """(1) Check files against manifests; returns names by hash."""
    listed: dict[str, str] = {}
    for name in (MANIFEST, TAG_MANIFEST):
        if name not in bag.sizes:
            raise bag.refuse(f"{name} is missing")
        listed |= bag.manifest(name)
    if bag.read("bagit.txt") != DECLARATION:
        raise bag.refuse("bagit.txt is not that of a bag of version 1.0 in UTF-8")
    for name, digest in listed.items():
        if name not in bag.sizes:
            found.problems.append(f"{name} is missing.")
        elif bag.sha256(name) != digest:
            found.problems.append(f"{name} was changed.")
    found.problems += [f"{name} was added." for name in sorted(bag.sizes.keys() - listed.keys() - {TAG_MANIFEST})]
    return {digest: name for name, digest in listed.items()}


def _check_trail(bag: Bag, found: BagVerification) -> _Read:
    """(2) Check the trail, and (4) follow its confirmations."""
    read, confirmations, told, prev = _Read(), Confirmations(), Verification(), FIRST_PREV
    for seq, line in enumerate(bag.text("data/trail.jsonl").split("\n")[:-1], 1):
        body = parsed_canonical(line)
        if isinstance(body, str):
            digest = body
        else:
            digest = sha256_hex(line)
            if set(body) != BODY_KEYS or (body["seq"], body["prev"]) != (seq, prev):
                found.problems.append(f"Entry {seq} of the trail does not follow from the one before.")
            _take(body, seq, read, confirmations, told, found)
        read.hashes.append(bytes.fromhex(digest))
        prev = digest
    found.problems += told.problems
    found.entries = len(read.hashes)
    return read


def _take(
    body: PlainData, seq: int, read: _Read, confirmations: Confirmations, told: Verification, found: BagVerification
) -> None:
    named = [(str(item["table"]), str(item["key"]), _newest_names(item["table"], item["row"])) for item in body["rows"]]
    confirmations.take(seq, named, told)
    for table, key, row in named:
        found.rows[table, key] = row
        if table == "record":
            read.record_entries[key] = seq
    if body["what"] == What.KEY_NAMED.value:
        read.keys.append(body["note"]["key"])


def _newest_names(table: str, row: Row) -> Row:
    """Read a row under the names of today, whichever schema it was written under."""
    from api.ledger.schema import MIGRATIONS

    for step in MIGRATIONS:
        if any(old in row for old in step.renamed.get(table, {})) or any(
            name not in row for name in step.added.get(table, {})
        ):
            row = step.forward(table, row)
    return row


def _check_head(bag: Bag, read: _Read, found: BagVerification) -> MerkleTree:
    """(3) Check the signed head, and the signed list of files."""
    tree, head = MerkleTree(read.hashes), signed_head_from(parsed(bag.text("data/tree-head.json")))
    if not head.holds() or head.key not in read.keys[-1:]:
        found.problems.append("The signature under the trail's head does not hold, or is not of the key that signs.")
    if (head.size, head.hash, head.root) != (tree.size, read.hashes[-1].hex(), tree.root(tree.size).hex()):
        found.problems.append("The signed head is that of another trail.")
    export = parsed(bag.text("export.json"))
    statement = {name: value for name, value in export.items() if name != "signature"}
    if export["what"] != STATEMENT or not signature_holds(export["key"], export["signature"], statement):
        found.problems.append("The signature under the list of files does not hold.")
    if (export["key"], export["manifest"]) != (head.key, bag.sha256(MANIFEST)):
        found.problems.append("The list of files is not the one that was signed.")
    found.job, found.head = str(export["job"]), head
    found.notes.append(f"Signed by key {fingerprint(head.key)}: ask its owner whether it is his.")
    return tree


def _check_records(bag: Bag, read: _Read, tree: MerkleTree, found: BagVerification) -> None:
    """(5) Check the lists of records and the proofs."""
    mine = {key: row for (table, key), row in found.rows.items() if table == "record" and row["job_id"] == found.job}
    found.records = len(mine)
    listed = {row["id"]: row for row in parsed(bag.text("data/records.json"))}
    table = list(csv.DictReader(io.StringIO(bag.text("data/records.csv"), newline=""), strict=True))
    lines = {row["id"]: row for row in table}
    if not set(listed) == set(lines) == set(mine) or len(table) != len(mine):
        found.problems.append("The records listed are not those of the trail.")
    for key, row in mine.items():
        held = {name: row.get(name) for name in COLUMNS}
        said = {name: listed.get(key, {}).get(name) for name in COLUMNS}
        text = {name: "" if value is None else str(value) for name, value in listed.get(key, {}).items()}
        if held != said or text != lines.get(key):
            found.problems.append(f"Record {key} is not listed as the trail says.")
    proof = parsed(bag.text("data/proof.json"))
    root = tree.root(tree.size)
    for one in proof["records"]:
        path = [bytes.fromhex(node) for node in one["inclusion"]]
        at = one["entry"] - 1
        if read.record_entries.get(one["id"]) != at + 1 or not included(read.hashes[at], at, tree.size, path, root):
            found.problems.append(f"The proof that record {one['id']} is in the trail does not hold.")
    for one in proof["reports"]:
        path = [bytes.fromhex(node) for node in one["consistency"]]
        if one["size"] and not consistent(one["size"], tree.size, path, bytes.fromhex(one["root"]), root):
            found.problems.append(f"The proof that the trail grew from that of report {one['id']} does not hold.")


def _check_enclosed(bag: Bag, hashes: dict[str, str], read: _Read, found: BagVerification) -> None:
    """(6) Check that what the trail names is enclosed."""
    left_out = parsed(bag.text("export.json"))["left_out"]
    derived = {
        row["parent_sha256"]: row["sha256"]
        for (table, _), row in found.rows.items()
        if table == "evidence" and str(row["derivation"]).startswith(REDUCED)
    }
    for (table, key), row in found.rows.items():
        if table not in ("capture", "report_file") or row["job_id"] != found.job:
            continue
        digest = row["sha256"]
        if table == "report_file" and row["trail_seq"] and read.hashes[row["trail_seq"] - 1].hex() != row["trail_hash"]:
            found.problems.append(f"Report {key} names a hash that is not in the trail.")
        if digest in hashes:
            continue
        if derived.get(digest) in hashes:
            found.notes.append(f"{hashes[derived[digest]]}: derived; original {digest[:16]} not enclosed.")
        elif table == "report_file" or digest in left_out:
            found.notes.append(f"{key} ({digest[:16]}) is not enclosed.")
        else:
            found.problems.append(f"{key} ({digest[:16]}) is not enclosed.")
