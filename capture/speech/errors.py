"""What can be wrong with clips, speech models and microphones."""

from __future__ import annotations

from pathlib import Path

from capture.errors import EngineError, MediaError, ModelError

SOUND_FILES = "M4A, 3GP, AMR, AAC, MP3, Ogg, WebM, FLAC or WAV"
"""The kinds of sound file that are read, for a person."""

_ADVICE = f"Record {SOUND_FILES}."


class ClipEmpty(MediaError):
    """Refuse a clip without content."""

    code = "clip_empty"
    message = "The clip is empty. Record it again."


class ClipTooLarge(MediaError):
    """Refuse a clip over the limit, MB of 2^20 bytes."""

    code = "clip_too_large"
    message = "The clip is over {most} MB. Record one reading at a time."
    most: int


class ClipTypeUnknown(MediaError):
    """Files of a type that is not read here."""

    code = "clip_type"


class NoSoundFile(ClipTypeUnknown):
    """Refuse a file that is no sound."""

    message = f"This is no sound file that can be read here. {_ADVICE}"


class ClipWithoutSound(ClipTypeUnknown):
    """Refuse a film without a sound track."""

    message = f"There is no sound track in this file. {_ADVICE}"


class ClipCodingUnknown(ClipTypeUnknown):
    """Refuse sound in a coding that is not read."""

    message = f"The sound of this file is coded as {{coding}}, which cannot be read here. {_ADVICE}"
    coding: str


class ClipDamaged(MediaError):
    """Clips that cannot be decoded."""

    code = "clip_damaged"


class ClipNotDecoded(ClipDamaged):
    """Refuse a clip that the decoder does not take."""

    message = f"The clip cannot be decoded ({{cause}}). Record it again. {_ADVICE}"
    cause: str


class ClipCutShort(ClipDamaged):
    """Refuse a clip that ends before its header says: a digit may be missing."""

    message = "The clip ends after {seconds:.1f} of {promised:.1f} s. Send or copy the whole file, or record it again."
    seconds: float
    promised: float


class ClipNotFinite(ClipDamaged):
    """Refuse a clip whose samples are no finite numbers."""

    message = "The clip holds values that are no sound. Record it again."


class ClipTooShort(MediaError):
    """Refuse a clip shorter than any word."""

    code = "clip_too_short"
    message = "The clip is only {seconds:.2f} s long. Hold the button while you speak."
    seconds: float


class ClipTooLong(MediaError):
    """Refuse a clip over the limit, s."""

    code = "clip_too_long"
    message = "The clip is at least {seconds:.0f} s long; {most:.0f} s is the limit. Say one reading at a time."
    seconds: float
    most: float


class ClipFormatUnsupported(MediaError):
    """Refuse a sample rate or number of channels."""

    code = "clip_format"
    message = "{rate} Hz with {channels} channels cannot be read. Record 16 to 48 kHz, mono."
    rate: int
    channels: int


class ModelMissing(ModelError):
    """A model directory that is not there."""

    code = "model_missing"
    message = "No speech model at {path}. Give the directory of a vosk model, or reinstall Ohmtrail."
    path: Path


class ModelIncomplete(ModelError):
    """A model directory that lacks files."""

    code = "model_incomplete"
    message = "The speech model at {path} lacks {lacking}. Unpack the whole model directory and name that."
    path: Path
    lacking: tuple[str, ...]


class ModelDamaged(ModelError):
    """Models with a file that cannot be used."""

    code = "model_damaged"


class ModelFileNotWhole(ModelDamaged):
    """A file of the model that is not whole."""

    message = "The speech model at {path} is damaged: {file} is not whole. Copy it again."
    path: Path
    file: str


class ModelNotLoaded(ModelDamaged):
    """A model that the engine does not load."""

    message = "The speech model at {path} does not load ({cause}). Copy it again or use another."
    path: Path
    cause: str


class CoefficientsUnusable(ModelDamaged):
    """Coefficients of the confidence that cannot be used."""

    message = "{file} cannot be used ({cause}). Copy the model again, or remove that file."
    file: Path
    cause: str


class ModelWithoutVocabulary(ModelError):
    """A model that knows none of the words."""

    code = "model_vocabulary"
    message = "The speech model at {path} knows none of the words needed. Use an English model."
    path: Path


class SecondOpinionMissing(ModelError):
    """The second engine's files are not there."""

    code = "second_opinion_missing"
    message = (
        "The engine for the second opinion is not installed: {path} is not there. "
        "Run fixtures/setup.sh again, or go on without it."
    )
    path: Path


class SecondOpinionDamaged(ModelError):
    """Files of the second engine that cannot be used."""

    code = "second_opinion_damaged"


class SecondOpinionFileUnknown(SecondOpinionDamaged):
    """A file of the second engine is not the one known."""

    message = (
        "The second opinion cannot be used: {path} is damaged or another version (its SHA-256 is not the one known). "
        "Delete it and run fixtures/setup.sh again."
    )
    path: Path


class SecondOpinionNotLoaded(SecondOpinionDamaged):
    """The second engine does not load."""

    message = "The second opinion cannot be used: {path} does not load ({cause}). Run fixtures/setup.sh again."
    path: Path
    cause: str


class SpeechEngineFailed(EngineError):
    """An engine that fails on sound."""

    code = "speech_failed"
    message = "The speech engine failed ({cause}). Say it again."
    cause: str


class NoMicrophonePackage(EngineError):
    """The optional package is not installed."""

    code = "no_microphone_package"
    message = (
        "Listening needs the package sounddevice. Run `.venv/bin/pip install -e '.[listen]'` in Ohmtrail's folder."
    )


class NoSoundLibrary(EngineError):
    """The system's sound library is not installed."""

    code = "no_sound_library"
    message = (
        "Listening needs the library PortAudio. On Debian or Ubuntu run `apt-get install libportaudio2`, "
        "then this again."
    )


class NoMicrophone(EngineError):
    """The system names no microphone."""

    code = "no_microphone"
    message = "No microphone was found. Plug one in, or choose one with --device; `hear` takes sound files."


class NoSuchMicrophone(NoMicrophone):
    """There is no microphone of this name or number."""

    message = "There is no microphone {device!r}. Plug one in, or choose one with --device; `hear` takes sound files."
    device: str | int


class MicrophoneFailed(EngineError):
    """A microphone that fails while it is read."""

    code = "microphone_failed"
    message = "The microphone failed ({cause}). Plug it in again, then start again."
    cause: str


class MicrophoneSilent(EngineError):
    """A microphone that gives no more blocks."""

    code = MicrophoneFailed.code
    message = "The microphone gives no more sound. Plug it in again, then start again."
