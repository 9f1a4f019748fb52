"""What can be wrong with photos, the display reader's own files and instrument profiles."""

from __future__ import annotations

from pathlib import Path

from capture.errors import EngineError, InstrumentProfileError, MediaError


class PhotoEmpty(MediaError):
    """Refuse a file without content."""

    code = "photo_empty"
    message = "The photo is empty; take it again."


class PhotoTooLarge(MediaError):
    """Refuse a file over the limit."""

    code = "photo_too_large"
    message = "The photo has {megabytes:.1f} MB; at most {most} MB are taken."
    megabytes: float
    most: int


class PhotoTypeUnknown(MediaError):
    """Refuse a file that is no photo of a type read here."""

    code = "photo_type_unknown"
    message = "This is no photo that can be read; use JPEG, PNG, WEBP or HEIC."


class PhotoDamaged(MediaError):
    """Refuse what cannot be decoded."""

    code = "photo_damaged"
    message = "The photo is damaged or cut off; take or send it again."


class PhotoTooManyPixels(MediaError):
    """Photos with more pixels than are decoded."""

    code = "photo_too_many_pixels"
    width: int
    height: int


class PhotoOverPixelLimit(PhotoTooManyPixels):
    """Refuse a photo over the limit of its type."""

    message = (
        "The photo has {width} x {height} pixels; at most {millions:.0f} million are read of this type. "
        "Take a smaller one."
    )
    millions: float


class PhotoPixelsImplausible(PhotoTooManyPixels):
    """Refuse a small file that claims many pixels."""

    message = "The file has only {kilobytes:.0f} kB for {width} x {height} pixels; no camera writes that."
    kilobytes: float


class PhotoTooSmall(MediaError):
    """Refuse a picture too small to hold a display."""

    code = "photo_too_small"
    message = "The photo has only {width} x {height} pixels; no display can be read in it."
    width: int
    height: int


class PhotoTooComplex(MediaError):
    """Refuse a file that costs far more work than its pixels need."""

    code = "photo_too_complex"
    message = "The file is made of {made_of}; no camera writes that. Take the photo again."
    made_of: str


class CornersInvalid(MediaError):
    """Refuse marked corners that span no display."""

    code = "corners_invalid"
    message = "Mark four corners of the display, clockwise from its top left."


class BurstEmpty(MediaError):
    """Refuse a burst without photos."""

    code = "burst_empty"
    message = "There is no photo in this burst."


class BurstTooLong(MediaError):
    """Refuse a burst of too many photos."""

    code = "burst_too_long"
    message = "At most {most} photos of one display are read together."
    most: int


class DisplayModelMissing(EngineError):
    """A network that is not there."""

    code = "display_model_missing"
    message = "The display model {file} is missing; install Ohmtrail again."
    file: str


class DisplayModelBroken(EngineError):
    """A file of the display reader that cannot be used."""

    code = "display_model_broken"
    file: str


class NetworkNotLoaded(DisplayModelBroken):
    """A network that does not load."""

    message = "The display model {file} does not load; install Ohmtrail again."


class CalibrationNotLoaded(DisplayModelBroken):
    """A calibration that does not load."""

    message = "{file} of the display reader does not load; install Ohmtrail again."


class CalibrationIncomplete(DisplayModelBroken):
    """A calibration without one of its heads."""

    message = "{file} lacks a head; install Ohmtrail again."


class DisplayReaderFailed(EngineError):
    """A network that fails on a picture."""

    code = "display_model_failed"
    message = "The display could not be read; type the value instead."


class SecondReaderMissing(EngineError):
    """The second reader's file is not there."""

    code = "second_reader_missing"
    message = (
        "The reader for the second opinion on photos is not installed: {path} is not there. "
        "Run fixtures/setup.sh again, or go on without it."
    )
    path: Path


class SecondReaderFileUnknown(EngineError):
    """The second reader's file is not the one known."""

    code = "second_reader_damaged"
    message = (
        "The second opinion on photos cannot be used: {path} is damaged or another version (its SHA-256 is not the one "
        "known). Delete it and run fixtures/setup.sh again."
    )
    path: Path


class SecondReaderFailed(EngineError):
    """The second reader does not load or fails."""

    code = "second_reader_failed"
    message = "The second reader of photos failed. Run fixtures/setup.sh again, or turn it off."


class NoSuchProfile(InstrumentProfileError):
    """Neither a shipped profile nor a file has this name."""

    code = "no_such_profile"
    message = "There is no profile {name!r}; use a file or one of {shipped}."
    name: str
    shipped: tuple[str, ...]


class InstrumentProfileInvalid(InstrumentProfileError):
    """A profile with something missing, misspelt or no number."""

    code = "profile_invalid"


class ProfileNoTable(InstrumentProfileInvalid):
    """Refuse a profile that is no table."""

    message = "A profile is a table with name, title and ranges."


class ProfileNameInvalid(InstrumentProfileInvalid):
    """Refuse a profile's name."""

    message = "The profile's name is {name!r}; use letters, digits, '-' and '.' (at most 41)."
    name: str


class RangeCountWrong(InstrumentProfileInvalid):
    """Refuse a profile without ranges, or with too many."""

    message = "Profile {name}: give 1 to {most} tables [[range]]."
    name: str
    most: int


class TooManyOverMarks(InstrumentProfileInvalid):
    """Refuse a profile with too many over-range marks."""

    message = "Profile {name}: give at most {most} tables [[over]]."
    name: str
    most: int


class ProfileKeyUnknown(InstrumentProfileInvalid):
    """Refuse a key that a profile does not have."""

    message = "In {place}: {key!r} is unknown; use {known}."
    place: str
    key: str
    known: tuple[str, ...]


class ProfilePartNoTable(InstrumentProfileInvalid):
    """Refuse a range or mark that is no table."""

    message = "{place} is no table."
    place: str


class RangeUpsideDown(InstrumentProfileInvalid):
    """Refuse a range that ends below its begin, or at zero."""

    message = "In {place}: from {bottom} to {top} is no range."
    place: str
    bottom: str
    top: str


class FlagNotBoolean(InstrumentProfileInvalid):
    """Refuse a flag that is neither true nor false."""

    message = "In {place}: {flag} is true or false."
    place: str
    flag: str


class OverMarkInvalid(InstrumentProfileInvalid):
    """Refuse an over-range mark that no display shows."""

    message = 'In {place}: shown is {shown!r}; write ">4000" with the digits as shown, or "OL".'
    place: str
    shown: str


class ProfileNumberInvalid(InstrumentProfileInvalid):
    """Refuse a number that is not written as a display shows it."""

    message = '{place} is {value!r}; write the digits in quotes as the display shows them, like "40.00".'
    place: str
    value: object


class ProfileUnitUnknown(InstrumentProfileInvalid):
    """Refuse a unit that is not known."""

    message = "In {place}: the unit is {value!r}; use one of {known}."
    place: str
    value: object
    known: tuple[str, ...]


class ProfileVoltageInvalid(InstrumentProfileInvalid):
    """Refuse what is no test voltage."""

    message = "In {place}: {value!r} is no test voltage in V."
    place: str
    value: object


class ProfileFileTooLarge(InstrumentProfileInvalid):
    """Refuse a file too large for a profile."""

    message = "{file} is larger than {most} kB; that is no profile."
    file: str
    most: int


class ProfileFileUnreadable(InstrumentProfileInvalid):
    """The system does not give the file."""

    message = "{path} cannot be read: {cause}."
    path: str
    cause: str | None


class ProfileFileNoData(InstrumentProfileInvalid):
    """Refuse a file that is neither TOML nor JSON."""

    message = "{file} is neither TOML nor JSON that can be read: {cause}."
    file: str
    cause: str


class ProfileFileInvalid(InstrumentProfileInvalid):
    """A profile is wrong in this file."""

    message = "{file}: {problem}"
    file: str
    problem: InstrumentProfileError
