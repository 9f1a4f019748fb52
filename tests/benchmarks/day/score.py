"""What became of the afternoon, counted against what was really said and shown (`fixtures/afternoon/truth.json`)."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from api.visit.proposals import Proposal, proposals_of
from api.workspace import Workspace
from grading.terms.quantity import Quantity, unit
from grading.terms.terminals import pair

AFTERNOON = Path(__file__).parents[3] / "fixtures" / "afternoon"
NEAR_S = 15.0
"""A proposal belongs to the reading that was said within this of it, s; readings lie further apart."""


@dataclass(frozen=True)
class Truth:
    """A reading as it was: when by the true clock, where, what."""

    instant: dt.datetime
    job: str
    place: tuple[str, str, str, str]
    value: Decimal | None
    qualifier: str
    photo: str | None


def truths() -> list[Truth]:
    """Read all readings of the afternoon."""
    told = json.loads((AFTERNOON / "truth.json").read_text("utf-8"))
    starts = {memo["file"]: dt.datetime.fromisoformat(memo["start"]) for memo in told["memos"]}
    return [
        Truth(
            starts[one["memo"]] + dt.timedelta(seconds=one["at"]), f"J{one['job'] + 1}",
            (one["axis"], one["section"], one["kind"], one["terminals"]),
            Decimal(one["value"]) * unit(one["unit"]).factor if one["value"] else None, one["qualifier"], one["photo"],
        )
        for one in told["readings"]
    ]  # fmt: skip


def _base(quantity: Quantity) -> Decimal | None:
    if quantity.value is None or quantity.unit is None:
        return quantity.value
    return quantity.value * unit(quantity.unit).factor


def _same_point(one: str, other: str | None) -> bool:
    return one == other or (other is not None and "-" in one and "-" in other and pair(one) == pair(other))


def is_right(truth: Truth, proposal: Proposal) -> bool:
    """Tell whether a proposal holds the value that was said, at the place where it was said."""
    reading = proposal.reading
    kind = None if reading.kind is None else reading.kind.value
    section = None if reading.section is None else reading.section.value
    placed = (reading.axis, section, kind) == truth.place[:3] and _same_point(truth.place[3], reading.terminals)
    return placed and is_value(truth, reading.quantity)


def is_value(truth: Truth, quantity: Quantity) -> bool:
    """Tell whether a quantity is the one that was said; "wide open" may stand as the meter shows it."""
    qualifier = quantity.qualifier.value
    if truth.qualifier == "open" and quantity.value is None:
        return qualifier in ("open", ">")
    return qualifier == truth.qualifier and _base(quantity) == truth.value


def scored(workspace: Workspace, photos: dict[str, str], jobs: Sequence[str] = ("J1", "J2", "J3")) -> Counter[str]:
    """Count.

    Args:
        workspace: Where the afternoon was taken in, and nothing confirmed yet.
        photos: Name of each photo by its hash.
        jobs: The jobs of the three machines.

    Returns:
        "right", "right, asked about", "wrong", "wrong, asked about", "missed", "invented", "invented, asked about",
        "photos joined", "photos wrongly joined".
    """
    counts: Counter[str] = Counter()
    with workspace.database.read() as session:
        waiting = {job: [p for p in proposals_of(session, job) if p.voice is not None] for job in jobs}
    used: set[str] = set()
    for truth in truths():
        near = [
            (abs((dt.datetime.fromisoformat(p.row.captured_at) - truth.instant).total_seconds()), p.id, p)
            for p in (one for found in waiting.values() for one in found)
            if p.id not in used
        ]
        near = [one for one in near if one[0] <= NEAR_S]
        # Of several the one that is right: what talk was taken for may lie nearer, and counts as invented.
        best = min(near, default=None, key=lambda one: (not is_right(truth, one[2]), *one[:2]))
        if best is None:
            counts["missed"] += 1
            continue
        _, _, proposal = best
        used.add(proposal.id)
        counts[_verdict(truth, proposal)] += 1
        if proposal.row.photo_sha256 is not None:
            counts["photos joined"] += 1
            counts["photos wrongly joined"] += photos.get(proposal.row.photo_sha256) != truth.photo
    left = [p for found in waiting.values() for p in found if p.id not in used]
    counts["invented"] = sum(not p.doubts for p in left)
    counts["invented, asked about"] = sum(bool(p.doubts) for p in left)
    return counts


def _verdict(truth: Truth, proposal: Proposal) -> str:
    known = "right" if is_right(truth, proposal) else "wrong"
    return f"{known}, asked about" if proposal.doubts else known


def names_by_hash(folder: Path) -> dict[str, str]:
    """Give the name of each file of a folder by its SHA-256."""
    return {hashlib.sha256(path.read_bytes()).hexdigest(): path.name for path in folder.iterdir() if path.is_file()}


def jobs_made(workspace: Workspace) -> None:
    """Make the jobs of the three machines."""
    described: list[dict[str, Any]] = json.loads((AFTERNOON / "jobs.json").read_text("utf-8"))
    for one in described:
        workspace.create_job(one)
