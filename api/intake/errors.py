"""What can be wrong with clips and photos as they come in, and with reading them."""

from __future__ import annotations

from api.errors import BadInput, NotFound, Refused
from capture.display.errors import CornersInvalid
from capture.errors import CaptureError, EngineError, MediaError


class NoSuchCapture(NotFound):
    """Report that there is no capture of this id."""

    code = "no_such_capture"
    message = "There is no capture {capture_id!r}."
    remedy = "Look it up in the trail."
    capture_id: str


class CaptureReadBefore(Refused):
    """Refuse to read a capture twice."""

    code = "already_read"
    message = "Capture {capture_id} was read already."
    remedy = "Look at its proposals."
    capture_id: str


class SameIdOtherBytes(Refused):
    """Refuse an id that was used for another file; both files are kept."""

    code = "same_id_other_bytes"
    message = "The id {client_id!r} was already used for another file."
    remedy = "Send it under a new id. Both files are kept."
    client_id: str | None


class PhotoNotFound(NotFound):
    """Stand for a photo that there is not."""

    code = "no_such_photo"


class NoSuchPhoto(PhotoNotFound):
    """Report that the job has no photo of this SHA-256."""

    message = "Job {job_id} has no photo {sha256:.12}…."
    remedy = "Reload the page."
    job_id: str
    sha256: str


class NotAPhoto(PhotoNotFound):
    """Report that a file on record is no photo."""

    message = "That file is no photo."
    remedy = "Download its content instead."


class MarkedCornersInvalid(BadInput):
    """Stand for marked corners that span no display."""

    code = CornersInvalid.code


class NotFourCorners(MarkedCornersInvalid):
    """Refuse another number of corners than four."""

    message = "A display has four corners."
    remedy = "Mark all four of them."


class CornerOutside(MarkedCornersInvalid):
    """Refuse a corner that lies far outside the photo."""

    message = "A corner lies outside the photo."
    remedy = "Mark the corners on the photo."


class BadBurst(BadInput):
    """Stand for files that are no burst."""

    code = "bad_burst"


class BurstCountWrong(BadBurst):
    """Refuse a burst of no photo, or of too many."""

    message = "{count} photos came."
    remedy = "Send 1 to {most} photos of one display."
    count: int
    most: int


class BurstHoldsOther(BadBurst):
    """Refuse a burst with a file that is no photo; `number` counts from 1."""

    message = "File {number} of the burst is no photo."
    remedy = "Send photos only."
    number: int


class PhotoUnreadable(Refused):
    """Stand for what the display reader refuses, under its code and in its words."""

    code = "{problem.code}"
    message = "{problem}"
    problem: CaptureError


class MarkedPhotoUnreadable(PhotoUnreadable):
    """Refuse corners on a photo whose size cannot be told."""

    remedy = "Take the photo again, or type the value."


class MarkedDisplayUnreadable(PhotoUnreadable):
    """Report that the display that a person marked was not read."""

    remedy = "Mark the corners again, or type the value."


class PreviewUnreadable(PhotoUnreadable):
    """Report that no preview can be made of a photo."""

    remedy = "The file itself is kept; download it."


class FileTypeUnknown(MediaError):
    """Report a file that is neither a photo nor sound."""

    code = "unknown_type"
    message = "This is neither a photo nor a sound file that can be read."


class FileDamaged(MediaError):
    """Report a file whose header cannot be read."""

    code = "damaged"
    message = "The file is damaged or was cut off ({cause})."
    cause: str


class RefusedOnArrival(MediaError):
    """Repeat what was refused, and in which words, when the file came in."""

    code = "{refused}"
    message = "{why}"
    refused: str
    why: str


class ClipOverLimit(MediaError):
    """Report a clip over the limit, s."""

    code = "too_long"
    message = "The clip is longer than {most} seconds."
    most: int


class RecognitionFailed(EngineError):
    """Report an engine that failed in a way it does not know itself."""

    code = "engine_failed"
    message = "The recognition failed ({kind})."
    kind: str
