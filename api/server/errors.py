"""What can be wrong with an address, or with a message on the listening connection."""

from __future__ import annotations

from api.errors import BadInput, NotFound
from api.intake.errors import ClipOverLimit


class NoSuchPage(NotFound):
    """The page has no file of this name."""

    code = "no_such_page"
    message = "There is no page file {name!r}."
    remedy = "Open the start page at /."
    name: str


class BadMessage(BadInput):
    """Messages that are not understood."""

    code = "bad_message"


class MessageUnreadable(BadMessage):
    """Refuse a message that is no JSON object with a type."""

    message = "That message is not understood."
    remedy = 'Send {{"type": "start"}} or "end".'


class NoSuchMessage(BadMessage):
    """There is no message of this type."""

    message = "There is no message {kind!r}."
    remedy = 'Send "start" or "end".'
    kind: object


class UtteranceTooLong(BadInput):
    """Refuse more sound than an utterance may have, s."""

    code = ClipOverLimit.code
    message = "A frame or the utterance is too long ({most} s)."
    remedy = "Speak shorter."
    most: int


class NoSound(BadInput):
    """An utterance without sound."""

    code = "no_sound"
    message = "No sound arrived."
    remedy = "Check the microphone."
