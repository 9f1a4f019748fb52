"""Keys, signatures and signed heads: against published vectors, and through loss, rotation and damage."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from api.ledger.canonical import canonical
from api.ledger.database import Database
from api.ledger.signing import KEY_FILE, NEXT_KEY_FILE, SigningKey, fingerprint, signature_holds
from api.ledger.trail import What, read_head_file
from api.ledger.verify import verify_folder
from tests.api.ledger.tampering import entries, sign
from tests.api.ledger.test_concurrency import make_job
from tests.api.ledger.test_merkle import ENCLOSED

VECTORS = (
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     ("e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24"
      "655141438e7a100b")),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     ("92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aee"
      "b00d291612bb0c00")),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     ("6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28d"
      "c027beceea1ec40a")),
)  # fmt: skip
"""RFC 8032, 7.1, TEST 1 to 3: secret key, public key, message, signature."""


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_published_signatures(
    monkeypatch: pytest.MonkeyPatch, secret: str, public: str, message: str, signature: str
) -> None:
    """Hold the library and the enclosed verifier to the RFC's vectors, and refuse each with one bit changed."""
    monkeypatch.syspath_prepend(str(ENCLOSED))
    import ed25519  # type: ignore[import-not-found]  # what every export encloses, run by itself

    try:
        key, text, signed = bytes.fromhex(public), bytes.fromhex(message), bytes.fromhex(signature)
        assert Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)).sign(text) == signed
        assert ed25519.ed25519(key, text, signed)
        for at in range(64):
            assert not ed25519.ed25519(key, text, signed[:at] + bytes([signed[at] ^ 1]) + signed[at + 1 :])
        assert not ed25519.ed25519(key, text + b"x", signed)
        assert not ed25519.ed25519(key, text, signed[:63])
    finally:
        sys.modules.pop("ed25519", None)


@pytest.mark.parametrize(
    "value",
    [
        {"peach": "This sorting order", "10": 1, "1": "x", "": None, "a": [True, False, {"b": "\r\n\t\b\f"}]},
        {"euro": '€$\u000f\nA\'B"\\\\"/', "numbers": [0, -1, 9007199254740991]},
        {"text": "\u007f\u0080\u2028ö\U0001f600", "lone": "\u0000\u001f"},
    ],
)
def test_our_canonical_form_is_that_of_rfc_8785(value: object) -> None:
    """Compare with another implementation; the strings are those of the RFC's sections 3.2.2 and 3.2.4."""
    assert canonical(value).encode() == rfc8785.dumps(value)  # type: ignore[arg-type]  # plain data


def test_entries_are_canonical_by_rfc_8785(folder: Path) -> None:
    for entry in entries(folder):
        assert rfc8785.dumps(json.loads(entry["body"])) == entry["body"].encode()


def test_a_key_is_made_private_and_named(tmp_path: Path) -> None:
    database = Database(tmp_path)
    make_job(database, 1)
    database.close()
    assert (tmp_path / KEY_FILE).stat().st_mode & 0o777 == 0o600
    first = json.loads(entries(tmp_path)[0]["body"])
    key = SigningKey.from_pem((tmp_path / KEY_FILE).read_bytes())
    assert (first["what"], first["note"]) == (
        What.KEY_NAMED.value, {"key": key.public, "before": "", "endorsed": "", "head": None},
    )  # fmt: skip
    found = verify_folder(tmp_path)
    assert (found.problems, found.notes, found.signed, found.key) == ([], [], 2, key.public)
    assert any(fingerprint(key.public) in sentence for sentence in found.proved)
    assert any("holder of the key" in sentence for sentence in found.beyond_proof)


def test_a_rotated_key_is_endorsed(tmp_path: Path) -> None:
    database = Database(tmp_path)
    make_job(database, 1)
    old = database.signing_key().public
    new = database.rotate_key()
    beside = Database(tmp_path)
    make_job(beside, 2)
    make_job(database, 3)
    for one in (database, beside):
        assert one.signing_key().public == new != old
        one.close()
    found = verify_folder(tmp_path)
    assert (found.problems, found.notes, found.key, found.signed) == ([], [], new, found.entries)


def test_a_rotation_that_was_interrupted_is_ended_or_undone(tmp_path: Path) -> None:
    database = Database(tmp_path)
    make_job(database, 1)
    old = database.signing_key().public
    database._signer.file.write_next()  # stopped before its entry
    database.close()
    database = Database(tmp_path)
    assert not (tmp_path / NEXT_KEY_FILE).exists()
    assert database.signing_key().public == old
    with database.write() as transaction:  # stopped behind its entry
        database._signer.hand_over(transaction, database._known_head())
    database.close()
    database = Database(tmp_path)
    assert not (tmp_path / NEXT_KEY_FILE).exists()
    assert database.signing_key().public != old
    make_job(database, 2)
    database.close()
    found = verify_folder(tmp_path)
    assert (found.problems, found.notes, found.signed) == ([], [], found.entries)


@pytest.mark.parametrize("damage", ["gone", "no key"])
def test_a_lost_key_stops_nothing_and_is_said(tmp_path: Path, damage: str) -> None:
    database = Database(tmp_path)
    make_job(database, 1)
    database.close()
    (tmp_path / KEY_FILE).unlink()
    if damage == "no key":
        (tmp_path / KEY_FILE).write_bytes(b"nothing")
    database = Database(tmp_path)
    make_job(database, 2)
    database.close()
    found = verify_folder(tmp_path)
    assert (found.problems, found.signed) == ([], found.entries)
    assert any("was lost, or taken away" in note for note in found.notes)


def test_a_key_that_is_taken_away_meanwhile_goes_on(tmp_path: Path) -> None:
    database = Database(tmp_path)
    make_job(database, 1)
    (tmp_path / KEY_FILE).unlink()
    make_job(database, 2)
    database.close()
    assert (verify_folder(tmp_path).problems, verify_folder(tmp_path).signed) == ([], 3)


def test_a_head_signed_by_another_key_is_found(folder: Path) -> None:
    head = read_head_file(folder / "trail-head.json").head
    assert head is not None
    (folder / KEY_FILE).write_bytes(SigningKey.make().pem())
    sign(folder, head)
    assert any("does not name as the one that signs" in problem for problem in verify_folder(folder).problems)


def test_a_signature_is_of_one_statement_and_one_key() -> None:
    key, other = SigningKey.make(), SigningKey.make()
    signature = key.sign({"what": "x", "size": 1})
    assert signature_holds(key.public, signature, {"size": 1, "what": "x"})
    assert not signature_holds(key.public, signature, {"what": "x", "size": 2})
    assert not signature_holds(other.public, signature, {"what": "x", "size": 1})
    assert not signature_holds("zz", signature, {"what": "x", "size": 1})
    assert not signature_holds(key.public, "zz", {"what": "x", "size": 1})


@pytest.mark.parametrize("lag", [1, 2])
def test_a_head_that_lagged_is_signed_again_by_the_next_start(tmp_path: Path, lag: int) -> None:
    """Set the head file back, as after a stop between commit and head file: found by fault injection."""
    database = Database(tmp_path)
    path = tmp_path / "trail-head.json"
    make_job(database, 1)
    before = path.read_bytes()
    for number in range(lag):
        make_job(database, 2 + number)
    database.close()
    path.write_bytes(before)
    assert (verify_folder(tmp_path).problems, verify_folder(tmp_path).lag) == ([], lag)
    database = Database(tmp_path)
    make_job(database, 9)
    database.close()
    found = verify_folder(tmp_path)
    assert (found.problems, found.signed) == ([], found.entries)
