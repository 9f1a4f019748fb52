"""What a verification found, in words for people, as plain data, and as the exit status of a command."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from api.ledger.canonical import JsonObject
from api.ledger.signing import fingerprint
from api.ledger.trail import FIRST_PREV


class VerifyResult(StrEnum):
    """The one word that says how it went."""

    INTACT = "intact"
    CHANGED = "changed"
    MISSING = "missing"
    UNREADABLE = "unreadable"


class ExitStatus(IntEnum):
    """Exit statuses of `verify`, `backup` and `restore`."""

    INTACT = 0
    CHANGED = 1
    MISUSE = 2
    NOT_READ = 3


_STATUS = {
    VerifyResult.INTACT: ExitStatus.INTACT,
    VerifyResult.CHANGED: ExitStatus.CHANGED,
    VerifyResult.MISSING: ExitStatus.NOT_READ,
    VerifyResult.UNREADABLE: ExitStatus.NOT_READ,
}

BEYOND_PROOF = "Entries behind the last signed head bear no signature: whose hand wrote them is beyond proof."


def lag_words(entries: int) -> str:
    """Say by how many entries a head lags: "lags by 1 entry"."""
    return f"lags by {entries} {'entry' if entries == 1 else 'entries'}"


@dataclass
class Verification:
    """What the verification found.

    Attributes:
        entries: Entries in the trail.
        files: Stored files checked.
        head: Hash of the last entry; compare it with the one printed in a report.
        lag: Entries behind the one that the head file names; 0 where it names the last.
        problems: One sentence for each thing that was changed, missing or added; empty when all is intact.
        notes: What is no tampering but worth knowing (a file left by a crash, a head file that lags).
        unread: What could not be checked, since the system did not give it.
        missing: There is no folder, or no database in it.
        signed: Entries that the last signed head covers; 0 where none is signed, or it does not hold.
        key: The public key that signed it, 64 hex digits.
        witnesses: What others outside saw of this trail, one sentence each.
        root: Root that was signed, 64 hex digits.
    """

    entries: int = 0
    files: int = 0
    head: str = FIRST_PREV
    lag: int = 0
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    missing: bool = False
    signed: int = 0
    key: str = ""
    witnesses: list[str] = field(default_factory=list)
    root: str = ""

    @property
    def result(self) -> VerifyResult:
        """The one word; what was found changed comes before what could not be read."""
        if self.missing:
            return VerifyResult.MISSING
        if self.problems:
            return VerifyResult.CHANGED
        return VerifyResult.UNREADABLE if self.unread else VerifyResult.INTACT

    @property
    def exit_status(self) -> ExitStatus:
        """The status with which a command ends."""
        return _STATUS[self.result]

    @property
    def intact(self) -> bool:
        """Everything was read, and nothing was changed."""
        return self.result is VerifyResult.INTACT

    @property
    def summary(self) -> str:
        """One line: "intact, 57 entries, 80 files, head …", with the head file's lag, or what was wrong first."""
        if self.intact:
            line = f"intact, {self.entries} entries, {self.files} files, head {self.head[:16]}…"
            return f"{line}; the head file {lag_words(self.lag)}. {BEYOND_PROOF}" if self.lag else line
        told = [*self.problems, *self.unread]
        count = "1 problem" if len(told) == 1 else f"{len(told)} problems"
        return f"{self.result}: {told[0]} ({count} in all)"

    @property
    def proved(self) -> list[str]:
        """What is proved where all is intact, in words for somebody who checks papers."""
        if not self.intact:
            return []
        told = [
            f"The {self.entries} entries follow from one another: none was changed, taken out, put in or reordered.",
            f"The {self.files} clips, photos and reports are byte for byte what was stored.",
            "Each record has a person's confirmation of exactly its digits; each finding follows from its records.",
        ]
        if self.signed:
            told.append(f"Entries 1 to {self.signed} are signed by key {fingerprint(self.key)}.")
        return [*told, *self.witnesses]

    @property
    def beyond_proof(self) -> list[str]:
        """What cannot be proved by this alone, and what would prove it."""
        if not self.intact:
            return []
        told = []
        if not self.signed:
            told.append("That this is the trail that was written: no head of it is signed.")
        elif self.signed < self.entries:
            told.append(f"Whose hand wrote entries {self.signed + 1} to {self.entries}: they are not signed yet.")
        if self.signed and not self.witnesses:
            told.append(
                "That the holder of the key did not write it all anew: nobody outside has been shown to have seen it."
                " Bring a report's hash (--hash), a head from an export or a QR code (--head), or have it witnessed."
            )
        elif self.signed:
            told.append("What the holder of the key did behind the last entry that somebody outside saw.")
        told.append("That nothing was cut off behind the last entry: a later report, export or witness would show it.")
        return told

    def to_json(self) -> JsonObject:
        """Give it as it is sent to the page."""
        return {
            "result": self.result.value,
            "summary": self.summary,
            "entries": self.entries,
            "files": self.files,
            "head": self.head,
            "lag": self.lag,
            "problems": [*self.problems],
            "notes": [*self.notes],
            "unread": [*self.unread],
            "signed": self.signed,
            "key": self.key,
            "witnesses": [*self.witnesses],
            "proved": [*self.proved],
            "beyond_proof": [*self.beyond_proof],
        }
