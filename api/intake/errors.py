"""What can be wrong with clips and photos as they come in, and with reading them."""

from __future__ import annotations

from pathlib import Path

from api.errors import BadInput, NotFound, Refused
from capture.display.errors import CornersInvalid
from capture.errors import CaptureError, EngineError, MediaError


class NoSuchCapture(NotFound):
    """There is no capture of this id."""

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


class FolderInUse(Refused):
    """Refuse to open a data folder that another process works on."""

    code = "folder_in_use"
    message = "The data folder {folder} is in use by {owner}."
    remedy = "Work with that one, or stop it first; reports, lists and checks can be made beside it."
    folder: Path
    owner: str


class NotTheOwner(Refused):
    """Refuse to take a clip or photo in where the folder was opened only to work beside its owner."""

    code = "not_the_owner"
    message = "The data folder {folder} was opened without the right to take clips and photos in."
    remedy = "Send them to the server that works on it."
    folder: Path


class SameIdOtherBytes(Refused):
    """Refuse an id that was used for another file; both files are kept."""

    code = "same_id_other_bytes"
    message = "The id {client_id!r} was already used for another file."
    remedy = "Send it under a new id. Both files are kept."
    client_id: str | None


class DamagedOnTheWay(BadInput):
    """Refuse a file whose bytes are not those that the device sent."""

    code = "damaged_on_the_way"
    message = "The file that arrived is not the one that was sent: its hash differs."
    remedy = "Send it again; nothing was kept of it."


class PhotoNotFound(NotFound):
    """There is no such photo."""

    code = "no_such_photo"


class NoSuchPhoto(PhotoNotFound):
    """The job has no photo of this SHA-256."""

    message = "Job {job_id} has no photo {sha256:.12}…."
    remedy = "Reload the page."
    job_id: str
    sha256: str


class NotAPhoto(PhotoNotFound):
    """A file on record is no photo."""

    message = "That file is no photo."
    remedy = "Download its content instead."


class MarkedCornersInvalid(BadInput):
    """Marked corners that span no display."""

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
    """The files are no burst."""

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
    """The display reader refused a photo; code and words are its own."""

    code = "{problem.code}"
    message = "{problem}"
    problem: CaptureError


class FrameUnreadable(PhotoUnreadable):
    """A frame of the camera's view cannot be looked at."""

    remedy = "Go on without the finder: a photo can be taken all the same."


class MarkedPhotoUnreadable(PhotoUnreadable):
    """Refuse corners on a photo whose size cannot be determined."""

    remedy = "Take the photo again, or type the value."


class MarkedDisplayUnreadable(PhotoUnreadable):
    """The display that a person marked was not read."""

    remedy = "Mark the corners again, or type the value."


class PreviewUnreadable(PhotoUnreadable):
    """No preview can be made of a photo."""

    remedy = "The file itself is kept; download it."


class FileTypeUnknown(MediaError):
    """A file that is neither a photo nor sound."""

    code = "unknown_type"
    message = "This is neither a photo nor a sound file that can be read."


class FileDamaged(MediaError):
    """A file whose header cannot be read."""

    code = "damaged"
    message = "The file is damaged or was cut off ({cause})."
    cause: str


class RefusedOnArrival(MediaError):
    """The file was refused when it came in; code and words are those of then."""

    code = "{refused}"
    message = "{why}"
    refused: str
    why: str


class ClipOverLimit(MediaError):
    """A clip over the limit, s."""

    code = "too_long"
    message = "The clip is longer than {most} seconds."
    most: int


class RecognitionFailed(EngineError):
    """An engine failed in a way that it does not know itself."""

    code = "engine_failed"
    message = "The recognition failed ({kind})."
    kind: str


class RecognitionStopped(EngineError):
    """A recognition whose process was ended: for its time, for its memory, or by something else."""

    code = RecognitionFailed.code
    message = "The recognition was stopped: {cause}."
    cause: str


class RecognisersBusy(EngineError):
    """What does not wait found no recognising process free; nothing is lost by it."""

    code = "busy"
    message = "The recognising processes are busy; ask again."


class EvidenceUnreadable(MediaError):
    """The stored file of a capture is not there as it came."""


class EvidenceMissing(EvidenceUnreadable):
    """The stored file is gone."""

    code = "evidence_missing"
    message = "The file {sha256:.12}… is not in the evidence folder any more."
    sha256: str


class EvidenceChanged(EvidenceUnreadable):
    """The stored file is not what came."""

    code = "evidence_changed"
    message = "The file {sha256:.12}… in the evidence folder is not the one that came."
    sha256: str
