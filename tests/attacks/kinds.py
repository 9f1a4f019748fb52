"""The kinds of attack on an export, each a function that changes the files of one at random.

Who attacks has the files and knows the formats. `rehash` makes every hash and manifest anew; `resign` signs anew with a
key of the attacker's own, named wherever the maker's was. Only `with_the_key` has the maker's key.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from hashlib import sha256
from typing import Any

from api.ledger.canonical import canonical
from api.ledger.merkle import MerkleTree
from api.ledger.signing import SigningKey

Files = dict[str, bytes]
Attack = Callable[[Files, random.Random, SigningKey], None]

TRAIL = "data/trail.jsonl"
MANIFESTS = ("manifest-sha256.txt", "tagmanifest-sha256.txt")


def _payload(files: Files) -> list[str]:
    return sorted(name for name in files if name.startswith("data/"))


def _some(files: Files, drawn: random.Random) -> str:
    return drawn.choice(sorted(files))


def flip(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Change one byte of one file."""
    name = drawn.choice([name for name in sorted(files) if files[name]])
    data = bytearray(files[name])
    data[drawn.randrange(len(data))] ^= drawn.randint(1, 255)
    files[name] = bytes(data)


def truncate(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Cut a file short."""
    name = drawn.choice([name for name in sorted(files) if files[name]])
    files[name] = files[name][: drawn.randrange(len(files[name]))]


def delete(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Remove a file."""
    del files[_some(files, drawn)]


def add(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Add a file."""
    files[f"data/evidence/{drawn.randbytes(32).hex()}.wav"] = drawn.randbytes(drawn.randint(0, 50))


def swap(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Swap the contents of two files."""
    first, second = drawn.sample(sorted(files), 2)
    files[first], files[second] = files[second], files[first]


def _lines(files: Files) -> list[bytes]:
    return files[TRAIL].split(b"\n")[:-1]


def _put_lines(files: Files, lines: list[bytes]) -> None:
    files[TRAIL] = b"".join(line + b"\n" for line in lines)


def _bodies(files: Files) -> list[Any]:
    return [json.loads(line) for line in _lines(files)]


def rechain(files: Files, bodies: list[Any]) -> None:
    """Write a trail anew with every hash and number made anew, its head and proofs with it, unsigned yet."""
    prev, lines, hashes = "0" * 64, [], []
    for seq, body in enumerate(bodies, 1):
        if not isinstance(body, str):
            body |= {"seq": seq, "prev": prev}
        line = canonical(body).encode()
        prev = body if isinstance(body, str) else sha256(line).hexdigest()
        lines.append(line)
        hashes.append(bytes.fromhex(prev))
    _put_lines(files, lines)
    tree, head = MerkleTree(hashes), json.loads(files["data/tree-head.json"])
    head |= {"size": tree.size, "hash": prev, "root": tree.root(tree.size).hex()}
    files["data/tree-head.json"] = canonical(head).encode()
    proof = json.loads(files["data/proof.json"])
    wrote = {
        item["key"]: body["seq"] for body in bodies if isinstance(body, dict) for item in body["rows"]
        if item["table"] == "record"
    }  # fmt: skip
    proof |= {"size": tree.size, "root": head["root"]}
    proof["records"] = [
        {"id": key, "entry": seq, "inclusion": [node.hex() for node in tree.inclusion(seq - 1, tree.size)]}
        for key, seq in wrote.items()
    ]
    proof["reports"] = []
    files["data/proof.json"] = canonical(proof).encode()


def manifests(files: Files) -> None:
    """Make both manifests anew, and the statement name the first."""
    payload = _payload(files)
    files[MANIFESTS[0]] = "".join(f"{sha256(files[name]).hexdigest()}  {name}\n" for name in payload).encode()
    statement = json.loads(files["export.json"])
    statement["manifest"] = sha256(files[MANIFESTS[0]]).hexdigest()
    files["export.json"] = canonical(statement).encode()
    tags = sorted(name for name in files if not name.startswith("data/") and name != MANIFESTS[1])
    files[MANIFESTS[1]] = "".join(f"{sha256(files[name]).hexdigest()}  {name}\n" for name in tags).encode()


def sign(files: Files, key: SigningKey) -> None:
    """Sign head and statement anew, and make the manifests anew around it."""
    for name in ("data/tree-head.json", "export.json"):
        if name == "export.json":
            manifests(files)
        value = {**json.loads(files[name]), "key": key.public}
        value.pop("signature", None)
        files[name] = canonical({**value, "signature": key.sign(value)}).encode()
    tags = sorted(name for name in files if not name.startswith("data/") and name != MANIFESTS[1])
    files[MANIFESTS[1]] = "".join(f"{sha256(files[name]).hexdigest()}  {name}\n" for name in tags).encode()


def edit_value(files: Files, drawn: random.Random) -> list[Any]:
    """Change one digit of a record, in its proposal, record and lists alike, as somebody who wants another value."""
    bodies = _bodies(files)
    records = json.loads(files["data/records.json"])
    old = drawn.choice(sorted({row["value"] for row in records if row["value"]}))
    new = old
    while new == old:
        at = drawn.choice([index for index, char in enumerate(old) if char.isdigit()])
        new = old[:at] + drawn.choice("0123456789") + old[at + 1 :]

    def forged(value: Any) -> Any:
        text = json.dumps(value)
        for name in ("value", "seen_text"):
            text = text.replace(f'"{name}": "{old}"', f'"{name}": "{new}"')
        return json.loads(text)

    changed, records = [forged(body) for body in bodies], forged(records)
    files["data/records.json"] = canonical(records).encode()
    files["data/records.csv"] = files["data/records.csv"].replace(f",{old},".encode(), f",{new},".encode())
    return changed


def edit_and_manifest(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Change a byte of a file of the payload, and make the manifests anew."""
    name = drawn.choice([name for name in _payload(files) if files[name]])
    data = bytearray(files[name])
    data[drawn.randrange(len(data))] ^= drawn.randint(1, 255)
    files[name] = bytes(data)
    manifests(files)


def edit_and_rehash(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Change a value everywhere, and make every hash anew."""
    rechain(files, edit_value(files, drawn))
    manifests(files)


def _drop(files: Files, drawn: random.Random) -> list[Any]:
    bodies = _bodies(files)
    del bodies[drawn.randrange(len(bodies))]
    return bodies


def drop_and_rehash(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Take an entry out of the trail, and make every hash anew."""
    rechain(files, _drop(files, drawn))
    manifests(files)


def reorder_and_rehash(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Swap two entries, and make every hash anew."""
    bodies = _bodies(files)
    first, second = drawn.sample(range(len(bodies)), 2)
    bodies[first], bodies[second] = bodies[second], bodies[first]
    rechain(files, bodies)
    manifests(files)


def insert_and_rehash(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Put an entry twice into the trail, and make every hash anew."""
    bodies = _bodies(files)
    bodies.insert(drawn.randrange(len(bodies)), json.loads(json.dumps(drawn.choice(bodies))))
    rechain(files, bodies)
    manifests(files)


def withhold(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Replace an entry by its hash, as if it was of another visit, and make the manifests anew."""
    lines = _lines(files)
    at = drawn.choice([index for index, line in enumerate(lines) if line.startswith(b"{")])
    lines[at] = json.dumps(sha256(lines[at]).hexdigest()).encode()
    _put_lines(files, lines)
    manifests(files)


def cut_tail(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Cut the end of the trail off, and make every hash anew; the signature stays."""
    bodies = _bodies(files)
    rechain(files, bodies[: drawn.randrange(1, len(bodies))])
    manifests(files)


def resign_other_key(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Change a value, make every hash anew, and sign with another key that the trail does not name."""
    rechain(files, edit_value(files, drawn))
    sign(files, SigningKey.make())


def replay_signature(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Put the signature of one statement under the other."""
    head, statement = (json.loads(files[name]) for name in ("data/tree-head.json", "export.json"))
    head["signature"], statement["signature"] = statement["signature"], head["signature"]
    files["data/tree-head.json"], files["export.json"] = canonical(head).encode(), canonical(statement).encode()
    rechain(files, edit_value(files, drawn))
    manifests(files)


def _without_reports(files: Files, bodies: list[Any]) -> list[Any]:
    """Leave the reports out, which name hashes of the trail that was."""
    for name in [name for name in files if name.startswith("data/reports/")]:
        del files[name]
    return [body for body in bodies if isinstance(body, str) or body["what"] != "report made"]


def resign_and_rename(files: Files, drawn: random.Random, _: SigningKey) -> None:
    """Change a value, make every hash anew, name a key of one's own in the trail, and sign with it."""
    key, bodies = SigningKey.make(), _without_reports(files, edit_value(files, drawn))
    for body in bodies:
        if isinstance(body, dict) and body["what"] == "signing key named":
            body["note"] = {"key": key.public, "before": "", "endorsed": "", "head": None}
    rechain(files, bodies)
    sign(files, key)


def with_the_key(files: Files, drawn: random.Random, key: SigningKey) -> None:
    """Change a value, make every hash anew, and sign with the maker's own key."""
    rechain(files, _without_reports(files, edit_value(files, drawn)))
    sign(files, key)


FOUND: dict[str, Attack] = {
    "byte changed": flip,
    "file cut short": truncate,
    "file deleted": delete,
    "file added": add,
    "files swapped": swap,
    "byte changed, manifests anew": edit_and_manifest,
    "value changed, all hashes anew": edit_and_rehash,
    "entry dropped, all hashes anew": drop_and_rehash,
    "entries reordered, all hashes anew": reorder_and_rehash,
    "entry put in twice, all hashes anew": insert_and_rehash,
    "entry withheld, manifests anew": withhold,
    "tail cut off, all hashes anew": cut_tail,
    "signed anew by another key": resign_other_key,
    "signatures exchanged": replay_signature,
}
"""Must be found by every verifier."""

BEYOND: dict[str, Attack] = {
    "trail with another key named, signed by it": resign_and_rename,
    "trail written anew with the maker's key": with_the_key,
}
"""Beyond proof without something from outside: the verifiers say so, and a head or hash from outside finds them."""
