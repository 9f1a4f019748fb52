"""What names a report: labelled fields, the issue, and what the audit trail says of it, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

from api.ledger.signing import SignedHead, fingerprint
from api.proof.words import words_of


@dataclass(frozen=True)
class Field:
    """A label and its text; `item` is the letter of ISO/IEC 17025:2017, 7.8.2.1, where one applies."""

    label: str
    text: str
    item: str = ""


@dataclass(frozen=True)
class Proof:
    """What lets a reader check that nothing was changed afterwards.

    Attributes:
        head: Hash of the newest entry of this job in the audit trail, 64 hex digits.
        entries: Number of that entry; the trail has as many up to it.
        intact: What re-computing the chain gave when the report was built.
        problem: First thing that did not verify, or "".
        tree_head: The signed head of the trail up to that entry, as the QR code holds it; None where nothing signed it.
        unsigned: Why nothing signed it, one sentence; "" where something did.
    """

    head: str
    entries: int
    intact: bool
    problem: str = ""
    tree_head: SignedHead | None = None
    unsigned: str = ""

    @property
    def words(self) -> str:
        """The head as six words, to be typed into a verification; "" where nothing signed it."""
        return "" if self.tree_head is None else words_of(self.tree_head.root)

    @property
    def key(self) -> str:
        """The short name of the key that signed, "1a2b 3c4d 5e6f 7a8b"; "" where none did."""
        return "" if self.tree_head is None else fingerprint(self.tree_head.key)


@dataclass(frozen=True)
class Issue:
    """Which issue of a job's report this is.

    Attributes:
        number: "J1-2": the second issue for job J1.
        issued: Time of issue, ISO 8601 with offset.
        earlier: Number of the issue that this one replaces, or "".
        earlier_sha256: Hashes of the files that were issued under that number.
        zone: A time whose offset all times of this computer are written in, or "".
    """

    number: str
    issued: str
    earlier: str = ""
    earlier_sha256: tuple[str, ...] = ()
    zone: str = ""
