"""What can be wrong with a request as such, with its place of origin, or with a message on the listening connection."""

from __future__ import annotations

from api.errors import BadInput, Forbidden, NotFound, TooLarge, TooMany, TooSlow, Unavailable
from api.intake.errors import ClipOverLimit
from api.ledger.errors import FileTooLarge


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


class ReportStopped(Unavailable):
    """The making of a report was stopped."""

    code = "report_stopped"
    message = "The report was not made: {cause}."
    remedy = "Try again when less is going on, or run `ohmtrail report` on the computer that holds the records."
    cause: str


class NoReportYet(NotFound):
    """No report of the job has been made in this form."""

    code = "no_report"
    message = "No report of job {job_id} has been made yet."
    remedy = "Press Report on the job's page, or send POST to this address."
    job_id: str


class MalformedRequest(BadInput):
    """Refuse what is no HTTP request."""

    code = "malformed_request"
    message = "This is no valid HTTP request: a header is malformed, missing, too long or there twice."
    remedy = "Send it as RFC 9112 says."


class MalformedHandshake(BadInput):
    """Refuse a WebSocket handshake that is none."""

    code = "malformed_handshake"
    message = "This is no valid WebSocket handshake."
    remedy = "Open the connection as RFC 6455, 4.1 says, with version 13."


class MalformedHost(BadInput):
    """Refuse a Host header that is missing, there twice or no host."""

    code = "malformed_host"
    message = "The request names no host, more than one, or what is no host."
    remedy = "Send one Host header with a name and perhaps a port."


class WrongHost(Forbidden):
    """Refuse a request under a name that is not ours."""

    code = "wrong_host"
    message = "This server does not answer under that name."
    remedy = "Use http://localhost, or add the name to OHMTRAIL_HOSTS."


class MalformedOrigin(BadInput):
    """Refuse an Origin header that is there twice or no origin."""

    code = "malformed_origin"
    message = "The request names more than one origin, or what is no origin."
    remedy = "Send one Origin header as RFC 6454 says, or none."


class WrongOrigin(Forbidden):
    """Refuse a request that another page sends."""

    code = "wrong_origin"
    message = "This request comes from another page."
    remedy = "Open Ohmtrail's own page."


class ForeignSite(Forbidden):
    """Refuse a request that the browser says another site caused."""

    code = "foreign_site"
    message = "Another site caused this request."
    remedy = "Open Ohmtrail's own page and go on from there."


class BodyOverLimit(TooLarge):
    """Refuse a body over the limit of its address."""

    code = FileTooLarge.code
    message = "That is more than this address takes."
    remedy = "Send a smaller file; nothing was stored."


class RequestTooSlow(TooSlow):
    """A request whose header or body did not arrive in time."""

    code = "too_slow"
    message = "The request did not arrive in time; nothing of it was stored."
    remedy = "Send it again over a better connection."


class TooManyRequests(TooMany):
    """Refuse more requests than one client may send."""

    code = "too_many_requests"
    message = "Too many requests came from this address."
    remedy = "Wait {retry_s} s, then try again."
    retry_s: int


class TooManySockets(TooMany):
    """Refuse more open connections than one client may have."""

    code = "too_many_connections"
    message = "This address has {most} connections of this kind open already."
    remedy = "Close one of them, or try again in {retry_s} s."
    most: int
    retry_s: int


class TooManyUploads(TooMany):
    """Refuse more unfinished uploads than one client may have."""

    code = "too_many_uploads"
    message = "This address is sending {most} files already; nothing of this one was stored."
    remedy = "Wait {retry_s} s, then send it again."
    most: int
    retry_s: int


class ServerFull(Unavailable):
    """Refuse what there is no room for at the moment; nothing of it is stored."""

    code = "server_full"
    message = "The server has no room for more {what} at the moment; nothing of it was stored."
    remedy = "Wait {retry_s} s, then try again."
    what: str
    retry_s: int


class NoVoice(Unavailable):
    """Say that this machine cannot speak."""

    code = "no_voice"
    message = "No speech program is installed on this machine."
    remedy = "Install flite or espeak-ng, or read what is on the screen."


class VoiceFailed(Unavailable):
    """Say that the speech program failed."""

    code = "voice_failed"
    message = "{program} could not speak."
    remedy = "Read what is on the screen."
    program: str
