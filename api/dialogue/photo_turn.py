"""What a photo does in the conversation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from api.dialogue.proposal_updates import join_to, take
from api.dialogue.turn import Turn
from api.ledger.trail import What
from api.visit.cautions import cautions_of
from api.visit.proposals import Proposal, ProposedReading, Source, find_partner
from capture.completeness import fits
from capture.display.placed import reading_seen
from capture.reading import DisplayReading, Doubt, Reading, Seen
from grading.terms.quantity import Qualifier, Quantity


def seen(turn: Turn, result: Seen, source: Source, crops: Mapping[int, str]) -> None:
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
    given = _given(turn, display, [other for _, other in shown[1:]])
    before = _seen_before(turn, source)
    proposal = take(turn, given, source) if before is None else join_to(turn, before, given, source, again=True)
    if proposal.row.agreement == "agree":
        turn.say("The photo agrees.")
    turn.ask([proposal])


def _seen_before(turn: Turn, source: Source) -> Proposal | None:
    """Find the open proposal that this very photo made or joined before; None where there is none."""
    return next((one for one in reversed(turn.waiting) if one.row.photo_sha256 == source.sha256), None)


def _given(turn: Turn, display: DisplayReading, others: list[DisplayReading]) -> ProposedReading:
    reading = reading_seen(display, turn.context)
    if not fits(reading):
        # The meter is not set to what the work was at: the person is asked what it measured.
        reading = replace(reading, kind=None)
    alternatives = tuple(reading_seen(other, turn.context) for other in others)
    doubts = (*display.doubts, *((Doubt.DIGITS_AMBIGUOUS,) if alternatives else ()))
    # The confidence of a whole is that of its least certain part: a wrong unit makes all digits wrong.
    return ProposedReading(reading, doubts, alternatives, min(display.confidence.values(), default=0.0))


def _not_read(turn: Turn, result: Seen, source: Source) -> None:
    """Keep a photo that gave no value with the reading that it was taken for."""
    reasons = [result.reason, *(display.reason for display in result.displays)]
    reason = next((text for text in reasons if text), "No display was found in it.")
    context = turn.context
    nothing = Quantity(None, None, Qualifier.NONE)
    place = Reading(None, nothing, context.axis, context.section, context.terminals)
    partner = find_partner(turn.waiting, place, source)
    if partner is not None and partner.row.photo_sha256 is None:
        partner.row.photo_sha256, partner.row.agreement = source.sha256, "photo_not_read"
        turn.keep(What.JOINED, partner, note={"agree": False, "source": "photo", "not_read": reason})
    turn.say(f"Photo kept, but not read: {reason}")
    turn.ask(turn.asked())
