"""What can be wrong with an export, and with one that comes from elsewhere."""

from __future__ import annotations

from api.errors import BadInput, NotFound, Refused


class ExportExists(Refused):
    """Something lies where the export shall go."""

    code = "export_exists"
    message = "There is something at {place} already."
    remedy = "Give another place; an export never replaces anything."
    place: str


class BagUnusable(BadInput):
    """What was given is no export, or one made to do harm; nothing was written."""

    code = "bag_unusable"
    message = "{place} is no export that can be read: {cause}."
    remedy = "Ask its sender for it again. Nothing was written."
    place: str
    cause: str


class BagChanged(Refused):
    """An export does not verify."""

    code = "bag_changed"
    message = "{place} does not verify: {cause} ({count} in all)."
    remedy = "Ask its sender for it again; with `--look` it is shown, marked, and not taken in."
    place: str
    cause: str
    count: int


class NoSuchImport(NotFound):
    """No export of this hash was imported."""

    code = "no_such_import"
    message = "No export {sha256} was imported here."
    remedy = "See those that were by `ohmtrail import --list`."
    sha256: str
