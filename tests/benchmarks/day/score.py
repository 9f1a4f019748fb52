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
    same = reading.quantity.qualifier.value == truth.qualifier and _base(reading.quantity) == truth.value
    return placed and same


def scored(workspace: Workspace, photos: dict[str, str], jobs: Sequence[str] = ("J1", "J2", "J3")) -> Counter[str]:
    """Count.

    Args:
        workspace: Where the afternoon was taken in, and nothing confirmed yet.
        photos: Name of each photo by its hash.
        jobs: The jobs of the three machines.

    Returns:
        "right", "right, asked about", "wrong", "wrong, asked about", "missed", "invented", "photos joined", "photos
        wrongly joined".
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
        apart, _, best = min(near, default=(NEAR_S + 1, "", None), key=lambda one: one[:2])
        if best is None or apart > NEAR_S:
            counts["missed"] += 1
            continue
        used.add(best.id)
        counts[_verdict(truth, best)] += 1
        if best.row.photo_sha256 is not None:
            counts["photos joined"] += 1
            counts["photos wrongly joined"] += photos.get(best.row.photo_sha256) != truth.photo
    counts["invented"] = sum(1 for found in waiting.values() for p in found if p.id not in used)
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
