"""Signed tree heads (Ed25519, RFC 8032), and the key that signs them.

A signed head says: at this time, the trail had so many entries, the last with this hash, and the Merkle tree over their
hashes has this root. What is signed is its canonical JSON without the signature, and says itself what it is, so that no
signature can be taken for one of another kind.

The key is made at the first start and lies in the data folder for its user alone. Whoever has it can sign anything:
what it proves, it proves against everybody else. Against its holder stand the witnesses (`api.proof`).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from api.ledger.canonical import CanonicalError, JsonObject, canonical, sha256_hex
from api.ledger.errors import file_not_written
from api.ledger.store import PRIVATE_FILE, set_aside, sync_folder, write_synced

KEY_FILE, NEXT_KEY_FILE = "signing-key.pem", "signing-key.next.pem"
"""The key that signs (PKCS #8, PEM), and one that a rotation has made and not yet put in its place."""

HEAD_STATEMENT, KEY_STATEMENT = "ohmtrail tree head 1", "ohmtrail signing key 1"


def signature_holds(public: str, signature: object, statement: JsonObject) -> bool:
    """Tell whether a signature over the canonical form of a statement is that of a key.

    Args:
        public: Raw public key, 64 hex digits; anything else holds nothing.
        signature: 128 hex digits.
        statement: What was signed.
    """
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(str(signature)), canonical(statement).encode())
    except (ValueError, CanonicalError, InvalidSignature, TypeError):
        return False
    return True


class SignedHead(NamedTuple):
    """A tree head with its signature.

    Attributes:
        size: Entries that it covers.
        root: Root of their tree, 64 hex digits.
        hash: Hash of the last one.
        at: When it was signed, by the clock of the machine, UTC.
        key: Raw public key, 64 hex digits.
        signature: 128 hex digits.
    """

    size: int
    root: str
    hash: str
    at: str
    key: str
    signature: str

    def statement(self) -> JsonObject:
        """Give what is signed."""
        return {
            "what": HEAD_STATEMENT,
            "size": self.size,
            "root": self.root,
            "hash": self.hash,
            "at": self.at,
            "key": self.key,
        }

    def to_json(self) -> JsonObject:
        """Give it with its signature, as files hold it."""
        return {**self.statement(), "signature": self.signature}

    def holds(self) -> bool:
        """Tell whether the signature is that of its key."""
        return signature_holds(self.key, self.signature, self.statement())


def signed_head_from(value: object) -> SignedHead:
    """Read a signed head; its signature is not checked.

    Raises:
        CanonicalError: It is none.
    """
    if not isinstance(value, dict) or value.get("what") != HEAD_STATEMENT:
        raise CanonicalError("It is no signed tree head.")
    fields = [value.get(name) for name in SignedHead._fields]
    if (
        len(value) != len(fields) + 1
        or type(fields[0]) is not int
        or not all(isinstance(one, str) for one in fields[1:])
    ):
        raise CanonicalError("The signed tree head does not hold what one holds.")
    return SignedHead(*fields)  # type: ignore[arg-type]  # checked in the line before


def fingerprint(public: str) -> str:
    """Give the short name of a key for people: 16 hex digits of its SHA-256, in groups of four."""
    try:
        digest = sha256_hex(bytes.fromhex(public))
    except ValueError:
        return "none"
    return " ".join(digest[at : at + 4] for at in range(0, 16, 4))


class SigningKey:
    """A private key with its public half."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        """Take a key."""
        self._private = private
        self.public = private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex()

    @classmethod
    def make(cls) -> SigningKey:
        """Make a new one."""
        return cls(Ed25519PrivateKey.generate())

    @classmethod
    def from_pem(cls, data: bytes, passphrase: str | None = None) -> SigningKey:
        """Read one.

        Args:
            data: PKCS #8, PEM.
            passphrase: What it was encrypted with; None where it is not.

        Raises:
            ValueError: It is no Ed25519 key, or this passphrase does not open it.
        """
        try:
            found = load_pem_private_key(data, None if passphrase is None else passphrase.encode())
        except TypeError as error:  # it has a password, or has none
            raise ValueError(str(error)) from None
        if not isinstance(found, Ed25519PrivateKey):
            raise ValueError("no Ed25519 key")
        return cls(found)

    def pem(self, passphrase: str | None = None) -> bytes:
        """Write it as PKCS #8, encrypted with a passphrase where one is given (the library's strongest, PBES2)."""
        locked = NoEncryption() if passphrase is None else BestAvailableEncryption(passphrase.encode())
        return self._private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked)

    def sign(self, statement: JsonObject) -> str:
        """Sign the canonical form of a statement; returns 128 hex digits."""
        return self._private.sign(canonical(statement).encode()).hex()

    def sign_head(self, size: int, root: bytes, last_hash: str, at: str) -> SignedHead:
        """Sign a tree head."""
        unsigned = SignedHead(size, root.hex(), last_hash, at, self.public, "")
        return unsigned._replace(signature=self.sign(unsigned.statement()))


def public_pem(public: str) -> str:
    """Write a public key as PEM, as openssl and others read it."""
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()


def key_statement(public: str, before: str, at: str) -> JsonObject:
    """Give what an old key signs when it hands over to a new one."""
    return {"what": KEY_STATEMENT, "key": public, "before": before, "at": at}


@dataclass(frozen=True)
class _Stamp:
    inode: int
    changed: int
    size: int


class KeyFile:
    """The key of a data folder, read anew where its file was changed."""

    def __init__(self, folder: Path) -> None:
        """Keep this folder's key."""
        self.path = folder / KEY_FILE
        self.next_path = folder / NEXT_KEY_FILE
        self._stamp: _Stamp | None = None
        self._key: SigningKey | None = None

    def prepare(self) -> None:
        """Make the key where there is none; what lies there and is no key is set aside. Called under the write lock.

        Raises:
            FileNotWritten: The disk is full or refuses, or does not give the key.
        """
        if os.path.lexists(self.path):
            try:
                self.key()
                return
            except (ValueError, FileNotFoundError, IsADirectoryError):  # no key, or a link that leads nowhere
                set_aside(self.path)
                sync_folder(self.path.parent)
            except OSError as error:  # it may be a good key that another user owns, or a disk that does not answer
                raise file_not_written(self.path.name, error) from error
        write_synced(self.path, SigningKey.make().pem(), PRIVATE_FILE)

    def key(self) -> SigningKey:
        """Give the key.

        Raises:
            OSError, ValueError: It is not there, or no key.
        """
        try:
            found = self.path.stat()
        except FileNotFoundError:
            if self._key is None:
                raise
            return self._key  # taken away meanwhile: this process goes on with it, the next start tells of the loss
        stamp = _Stamp(found.st_ino, found.st_mtime_ns, found.st_size)
        if self._key is None or stamp != self._stamp:
            self._key, self._stamp = SigningKey.from_pem(self.path.read_bytes()), stamp
        return self._key

    def next_key(self) -> SigningKey | None:
        """Give the key that a rotation made and did not put in place; None where there is none."""
        try:
            return SigningKey.from_pem(self.next_path.read_bytes())
        except (OSError, ValueError):
            return None

    def write_next(self) -> SigningKey:
        """Make the key that a rotation will put in place.

        Raises:
            FileNotWritten: The disk is full or refuses.
        """
        made = SigningKey.make()
        write_synced(self.next_path, made.pem(), PRIVATE_FILE)
        return made

    def put_next_in_place(self) -> None:
        """Let the new key sign from now on; the old private key is gone, its public half is in the trail."""
        self.next_path.replace(self.path)
        sync_folder(self.path.parent)
        self._key = None

    def drop_next(self) -> None:
        """Remove a key that no entry of the trail names."""
        self.next_path.unlink(missing_ok=True)
