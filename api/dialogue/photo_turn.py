"""What a photo does in the conversation."""

from __future__ import annotations

from dataclasses import replace

from api.dialogue.proposal_updates import join_partner, propose
from api.dialogue.turn import Turn
from api.ledger.tables import ProposalRow
from api.ledger.trail import What
from api.visit.cautions import cautions_of
from api.visit.proposals import Belief, Source, find_partner, join, proposals_of
from capture.completeness import fits
from capture.display.placed import reading_seen
from capture.reading import DisplayReading, Doubt, Reading, Seen
from grading.terms.quantity import Qualifier, Quantity


def seen(turn: Turn, result: Seen, source: Source, crops: dict[int, str]) -> None:
    """Act on a photo.

    Args:
        turn: The turn.
        result: What the display reader made of it.
        source: The photo.
        crops: SHA-256 of the cut-out of each display, by its place in `result`.
    """
    turn.warn(cautions_of(result))
    shown = [(index, display) for index, display in enumerate(result.displays) if display.accepted]
    if not shown:
        _not_read(turn, result, source)
        return
    index, display = shown[0]
    source = replace(source, text=display.text, crop=crops.get(index))
    belief = _belief(turn, display, [other for _, other in shown[1:]])
    row = _seen_again(turn, belief, source) or join_partner(turn, belief, source) or propose(turn, belief, source)
    if row.agreement == "agree":
        turn.say("The photo agrees.")
    turn.ask([row])


def _seen_again(turn: Turn, belief: Belief, source: Source) -> ProposalRow | None:
    """The open proposal that this very photo made or joined before, read anew; None where there is none."""
    for row in reversed(proposals_of(turn.session, turn.job.id, "open")):
        if row.photo_sha256 == source.sha256:
            agree = join(turn.transaction, row, belief, source)
            turn.transaction.put(row)
            turn.transaction.entry(
                What.JOINED, turn.job.id, note={"agree": agree, "source": source.kind, "again": True}
            )
            turn.touched(row)
            return row
    return None


def _belief(turn: Turn, display: DisplayReading, others: list[DisplayReading]) -> Belief:
    reading = reading_seen(display, turn.context)
    if not fits(reading):
        reading = replace(reading, kind=None)
    alternatives = tuple(reading_seen(other, turn.context) for other in others)
    doubts = (*display.doubts, *((Doubt.DIGITS_AMBIGUOUS,) if alternatives else ()))
    return Belief(reading, doubts, alternatives, min(display.confidence.values(), default=0.0))


def _not_read(turn: Turn, result: Seen, source: Source) -> None:
    """A photo that gave no value still belongs to the reading it was taken for."""
    reasons = [result.reason, *(display.reason for display in result.displays)]
    reason = next((text for text in reasons if text), "No display was found in it.")
    context = turn.context
    nothing = Quantity(None, None, Qualifier.NONE)
    place = Reading(None, nothing, context.axis, context.section, context.terminals)
    row = find_partner(turn.session, turn.job.id, place, source)
    if row is not None and row.photo_sha256 is None:
        row.photo_sha256, row.agreement = source.sha256, "photo_not_read"
        turn.transaction.put(row)
        turn.transaction.entry(What.JOINED, turn.job.id, note={"agree": False, "source": "photo", "not_read": reason})
        turn.touched(row)
    turn.say(f"Photo kept, but not read: {reason}")
    turn.ask(turn.asked())
