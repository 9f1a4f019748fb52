"""When what is heard is meant for the tool: anything while a question is open or just after, else only what is sure.

A microphone that is open all day hears colleagues, radios and telephones. A job that "rests between readings" obeys as
usual while a question is open and for a while after the last thing that it understood. From then on it is at rest: it
answers nothing that is in doubt or not understood, and of commands it obeys "resume listening" alone.
"""

from __future__ import annotations

from api.dialogue.standing import Standing
from api.ledger.clock import seconds_between
from capture.reading import Command, Context, Utterance

REST_AFTER_S = 30.0
"""Seconds after the last thing understood at which a job that rests comes to rest (program's rule)."""


def seconds_to_rest(standing: Standing, moment: str) -> float | None:
    """Tell how long a job still listens to everything.

    Args:
        standing: Where the dialogue stands.
        moment: UTC instant of an input, or now.

    Returns:
        Seconds, 0 for a job at rest; None for one that does not come to rest: the setting is off, a question is open,
        a note is to be said, or it is paused, which is more than rest.
    """
    state = standing.state
    if not standing.rests or state.paused or state.noting or state.open is not None:
        return None
    return max(0.0, REST_AFTER_S - seconds_between(standing.heeded_at, moment))


def wakes(utterance: Utterance) -> bool:
    """Tell whether somebody calls a job at rest: "resume listening", heard without doubt."""
    return utterance.command is Command.RESUME and not utterance.readings and not utterance.doubts


def heeded_at_rest(utterance: Utterance, context: Context) -> bool:
    """Tell whether words are so sure that they are obeyed at rest.

    Args:
        utterance: What was understood.
        context: Where the work stands.

    Returns:
        True for "resume listening", and for values, places and settings without any doubt and without another command.
    """
    if wakes(utterance):
        return True
    meant = bool(utterance.readings) or utterance.context != context
    return meant and utterance.command is None and not utterance.doubts
