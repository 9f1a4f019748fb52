"""Check an Ohmtrail export without Ohmtrail: python3 check.py [FOLDER] [HASH PRINTED ON A REPORT ...]

Needs Python 3.9 or newer, no other package, and shares no code with the program that made the export. Changes nothing;
exit status 0 if nothing is wrong. Standards: BagIt RFC 8493, RFC 8785 (how an entry is written), SHA-256 FIPS 180-4,
RFC 9162 section 2.1 (the tree and its proofs); signatures in `ed25519.py`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sys
from pathlib import Path
from typing import Any

sys.dont_write_bytecode = True  # nothing is added to what is checked
from ed25519 import ed25519  # noqa: E402


def sha(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()


def canonical(value: Any) -> bytes:  # RFC 8785, for keys in ASCII and whole numbers only
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()


def signed(value: Any, what: str) -> bool:
    text = canonical({name: held for name, held in value.items() if name != "signature"})
    key, signature = bytes.fromhex(value["key"]), bytes.fromhex(value["signature"])
    return bool(value["what"] == what) and ed25519(key, text, signature)


def root_of(leaves: list[bytes]) -> bytes:  # RFC 9162, 2.1.1
    if len(leaves) < 2:
        return sha(b"\0" + leaves[0]) if leaves else sha(b"")
    split = 1 << (len(leaves) - 1).bit_length() - 1
    return sha(b"\1" + root_of(leaves[:split]) + root_of(leaves[split:]))


def root_from(leaf: bytes, index: int, size: int, path: list[bytes]) -> bytes:  # 2.1.3.2
    found, last = sha(b"\0" + leaf), size - 1
    for other in path:
        if index & 1 or index == last:
            found = sha(b"\1" + other + found)
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            found = sha(b"\1" + found + other)
        index, last = index >> 1, last >> 1
    return found if last == 0 else b""


class Check:
    def __init__(self, top: str) -> None:
        self.top, self.hashes, self.trail, self.entries = top, {}, [], {}
        self.rows, self.wrote = {}, {}
        self.wrong, self.proved, self.beyond = [], [], []

    def read(self, name: str) -> bytes:
        return Path(self.top, name).read_bytes()

    def files(self) -> None:  # every file is the one that the manifests list, none is missing, none added
        inside = os.path.realpath(self.top) + os.sep
        for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
            for line in self.read(manifest).decode().splitlines():
                digest, name = line.split(None, 1)
                self.hashes[name], path = digest, os.path.join(self.top, name)
                if not os.path.realpath(path).startswith(inside) or not os.path.isfile(path):
                    self.wrong.append(f"{name} is missing.")
                elif sha(self.read(name)).hex() != digest:
                    self.wrong.append(f"{name} was changed.")
        found = {path.relative_to(self.top).as_posix() for path in Path(self.top).rglob("*") if not path.is_dir()}
        self.wrong += [f"{name} was added." for name in sorted(found - {*self.hashes, "tagmanifest-sha256.txt"})]
        self.proved.append(f"{len(self.hashes)} files are as listed.")

    def chain(self) -> None:  # every entry follows from the one before; one of another visit is its hash alone
        prev = "0" * 64
        for seq, line in enumerate(self.read("data/trail.jsonl").split(b"\n")[:-1], 1):
            entry = json.loads(line)
            if not isinstance(entry, str):
                if canonical(entry) != line or entry["seq"] != seq or entry["prev"] != prev:
                    self.wrong.append(f"Entry {seq} of the trail does not follow from the one before.")
                self.entries[seq] = entry
            prev = entry if isinstance(entry, str) else sha(line).hex()
            self.trail.append(bytes.fromhex(prev))

    def head(self) -> None:  # the head is that of this trail and signed, and so is the list of files
        self.signed, export = json.loads(self.read("data/tree-head.json")), json.loads(self.read("export.json"))
        keys = [one["note"]["key"] for one in self.entries.values() if one["what"] == "signing key named"]
        if not signed(self.signed, "ohmtrail tree head 1") or self.signed["key"] not in keys[-1:]:
            self.wrong.append("The signature under the trail's head does not hold, or is not of the key that signs.")
        last = self.trail[-1].hex(), len(self.trail), root_of(self.trail).hex()
        if last != tuple(self.signed[name] for name in ("hash", "size", "root")):
            self.wrong.append("The signed head is that of another trail.")
        listed = export["key"], export["manifest"]
        if not signed(export, "ohmtrail export 1") or listed != (keys[-1], sha(self.read("manifest-sha256.txt")).hex()):
            self.wrong.append("The signature under the list of files does not hold.")
        self.job, self.out, name = export["job"], export["left_out"], sha(bytes.fromhex(self.signed["key"])).hex()[:16]
        others = len(self.trail) - len(self.entries)
        self.proved.append(f"{len(self.trail)} entries, {others} of other visits by hash alone, signed by key {name}.")
        self.beyond.append(f"that key {name} is the maker's: ask for it, or compare it with a report on paper.")

    def confirmed(self) -> None:  # each record holds what a person confirmed
        events, held = {}, {}
        for seq, entry in sorted(self.entries.items()):
            events.update((one["key"], one["row"]) for one in entry["rows"] if one["table"] == "confirmation_event")
            for one in entry["rows"]:
                key, row = one["key"], one["row"]
                self.rows[one["table"], key], self.wrote[one["table"], key] = row, seq
                if one["table"] == "record":
                    event, known = events.pop(row["confirmation_id"], {}), held.get(row["proposal_id"], {})
                    same = all(known.get(n) == row[n] for n in ("value", "unit", "qualifier", "axis", "terminals"))
                    about = event.get("action"), event.get("proposal_id"), event.get("revision")
                    if about != ("confirm", row["proposal_id"], known.get("revision")) or not same:
                        self.wrong.append(f"Record {key} was not confirmed by a person with these digits.")
            held.update((one["key"], one["row"]) for one in entry["rows"] if one["table"] == "proposal")

    def records(self) -> None:  # the lists of records are those of the trail, and each is proved to be in the tree
        mine = {key: row for (table, key), row in self.rows.items() if table == "record" and row["job_id"] == self.job}
        table = list(csv.DictReader(io.StringIO(self.read("data/records.csv").decode(), newline=""), strict=True))
        lines = {row["id"]: row for row in table}
        listed = {row["id"]: row for row in json.loads(self.read("data/records.json"))}
        if not set(lines) == set(mine) == set(listed) or len(table) != len(mine):
            self.wrong.append("The records listed are not those of the trail.")
        for key, row in mine.items():
            for name, value in listed.get(key, {}).items():
                known = row.get("quantity" if name == "kind" and "kind" not in row else name)  # its name at first
                said = lines.get(key, {}).get(name) == ("" if value is None else str(value))
                if not said or (name not in ("status", "entry") and known != value):
                    self.wrong.append(f"{name} of {key} is not in records.csv and records.json as the trail says.")
        for one in json.loads(self.read("data/proof.json"))["records"]:
            seq, path = one["entry"], [bytes.fromhex(node) for node in one["inclusion"]]
            root = root_from(self.trail[seq - 1], seq - 1, len(self.trail), path).hex()
            if self.wrote.get(("record", one["id"])) != seq or root != self.signed["root"]:
                self.wrong.append(f"The proof that record {one['id']} is in the trail does not hold.")
        self.proved.append(f"{len(mine)} records, each confirmed by a person with exactly its digits.")

    def evidence(self, printed: list[str]) -> None:  # clips, photos, reports, and what is printed on paper
        enclosed = {digest: name for name, digest in self.hashes.items()}
        cut = {row["parent_sha256"]: row["sha256"] for (table, _), row in self.rows.items()
               if table == "evidence" and row["derivation"].startswith("reduced")}  # fmt: skip
        for (table, key), row in self.rows.items():
            digest = row.get("sha256", "")
            if table not in ("capture", "report_file") or row["job_id"] != self.job:
                continue
            if digest not in enclosed and cut.get(digest) in enclosed:
                self.beyond.append(f"{enclosed[cut[digest]]}: derived; original {digest[:16]} not enclosed.")
            elif digest in self.out:
                self.beyond.append(f"{key} ({digest[:16]}): could not be reduced, and was left out by the maker.")
            elif digest not in enclosed:
                (self.wrong if table == "capture" else self.beyond).append(f"{key} ({digest[:16]}) is not enclosed.")
            if table == "report_file" and self.trail[row["trail_seq"] - 1].hex() != row["trail_hash"]:
                self.wrong.append(f"Report {key} names a hash that is not in the trail.")
        for text in printed:
            found = [seq for seq, digest in enumerate(self.trail, 1) if digest.hex().startswith(text.lower())]
            where = f"that of entry {found[0]}" if found else "not in this trail"
            (self.proved if found else self.wrong).append(f"The printed hash {text[:16]} is {where}.")
        self.beyond.append("that nothing came after the last entry: a later report or export would show it.")


def main() -> None:
    check = Check((sys.argv[1:2] or [os.path.dirname(os.path.abspath(__file__))])[0])
    try:
        for step in (check.files, check.chain, check.head, check.confirmed, check.records):
            step()
        check.evidence(sys.argv[2:])
    except (OSError, ValueError, TypeError, LookupError, AttributeError, csv.Error, RecursionError) as error:
        check.wrong.append(f"It is no export, or not whole: {type(error).__name__}: {error}.")
    for title, lines in (("WRONG", check.wrong), ("Proved", check.proved), ("Not proved", check.beyond)):
        for line in lines if title != "Proved" or not check.wrong else []:
            print(f"{title}: {line}")
    print("NOT INTACT" if check.wrong else "INTACT")
    sys.exit(1 if check.wrong else 0)


if __name__ == "__main__":
    main()
