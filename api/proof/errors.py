"""What can be wrong with heads and witnesses."""

from __future__ import annotations

from api.errors import BadInput, Refused


class HeadUnreadable(BadInput):
    """What was given is no signed head."""

    code = "head_unreadable"
    message = "{name} holds no signed head: {cause}."
    remedy = "Give tree-head.json of an export, what a QR code of a report says, or what a witness sent back."
    name: str
    cause: str


class PaperUnreadable(BadInput):
    """What was typed from a printed report is not what one prints."""

    code = "paper_unreadable"
    message = "This is not what a report prints: {cause}."
    remedy = "Type the six words of page one in their order (four letters of each do), or the hash of its last page."
    cause: str


class WitnessUnusable(BadInput):
    """What a witness sent back is none."""

    code = "witness_unusable"
    message = "This is no witness's signature: {cause}."
    remedy = "Ask the witness for the file that `ohmtrail witness --sign` wrote. Nothing was kept."
    cause: str


class ServerSilent(Refused):
    """A time-stamping server gave nothing that can be used."""

    code = "server_silent"
    message = "{url} gave no time-stamp: {cause}."
    remedy = "Try later or another server; the trail is as it was."
    url: str
    cause: str
