"""Step (7): every record has a confirmation of its own, for exactly the digits that its proposal held."""

from __future__ import annotations

from api.ledger.chain import same
from api.ledger.columns import NoteColumns, ReadingColumns, SourceColumns
from api.ledger.schema import Row
from api.ledger.verification.result import Verification
from api.ledger.verification.rows import Named

_SHARED = tuple(name for base in (ReadingColumns, SourceColumns, NoteColumns) for name in base.model_fields)
"""Columns that a record takes over from its proposal."""

_HELD = ("state", "revision", *_SHARED)


class Confirmations:
    """Follows proposals and confirmations through the trail, and holds each record to them."""

    def __init__(self) -> None:
        self._proposals: dict[str, tuple[object, ...]] = {}
        self._events: dict[str, Row] = {}
        self._used: dict[str, str] = {}

    def take(self, seq: int, named: list[Named], found: Verification) -> None:
        """(7) Take the rows of one entry in, in the order of the trail.

        Args:
            seq: Its number.
            named: The rows.
            found: Told what is wrong.
        """
        self._events |= {key: row for table, key, row in named if table == "confirmation_event"}
        for table, key, row in named:
            if table == "record":
                found.problems += [f"record {key}: {fault} (entry {seq})." for fault in self._faults(key, row)]
        for table, key, row in named:
            if table == "proposal":
                self._proposals[key] = tuple(row.get(name) for name in _HELD)

    def _faults(self, key: str, row: Row) -> list[str]:
        """Say why a record does not follow from a confirmation; the proposal is the one of the entry before."""
        event_id, proposal_id = str(row.get("confirmation_id")), str(row.get("proposal_id"))
        event, held = self._events.get(event_id), self._proposals.get(proposal_id)
        if event is None or event.get("action") != "confirm":
            return [f"no person's confirmation stands behind it; it names {event_id}"]
        if event_id in self._used:
            return [f"its confirmation {event_id} is that of {self._used[event_id]}"]
        self._used[event_id] = key
        if held is None:
            return [f"there was no proposal {proposal_id} to confirm"]
        before = dict(zip(_HELD, held, strict=True))
        faults = []
        if event.get("proposal_id") != proposal_id or event.get("job_id") != row.get("job_id"):
            faults.append(f"its confirmation {event_id} is about {event.get('proposal_id')}, not about {proposal_id}")
        if before["state"] != "open":
            faults.append(f"its proposal {proposal_id} was {before['state']} already")
        if not same(event.get("revision"), before["revision"]):
            faults.append(f"revision {event.get('revision')} was confirmed, {before['revision']} was the one that held")
        faults += [
            f"{name} is {row.get(name)!r}, {before[name]!r} was confirmed"
            for name in _SHARED
            if not same(row.get(name), before[name])
        ]
        for mine, its in (("confirmed_how", "how"), ("confirmed_by", "by"), ("confirmed_at", "at")):
            if row.get(mine) != event.get(its):
                faults.append(f"{mine} is {row.get(mine)!r}, its confirmation says {event.get(its)!r}")
        return faults
