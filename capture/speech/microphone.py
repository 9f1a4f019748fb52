"""Sound from a microphone, as blocks of samples. The package that reads it is optional: the extra `listen`."""

from __future__ import annotations

import queue
from collections.abc import Iterator
from types import ModuleType
from typing import Any

from capture.speech.audio import RATE
from capture.speech.errors import (
    MicrophoneFailed,
    MicrophoneSilent,
    NoMicrophone,
    NoMicrophonePackage,
    NoSoundLibrary,
    NoSuchMicrophone,
)

BLOCK_S = 0.1
"""Length of a block, s."""

_SILENT_S = 5.0  # without any block the device is gone
_WAITING = 600  # blocks that may wait for the recogniser: a minute


def microphone(device: str | None = None) -> Iterator[bytes]:
    """Yield blocks of 16 kHz mono samples, signed 16 bit, without end.

    Args:
        device: Name, part of a name or number of an input device; None for the system's own choice.

    Raises:
        EngineError: "no_microphone_package", "no_sound_library", "no_microphone" or "microphone_failed"; the message
            says what to do.
    """
    sound = _package()
    chosen: int | str | None = int(device) if device is not None and device.isdecimal() else device
    try:
        rate = _rate(sound, chosen)
        yield from _blocks(sound, chosen, rate)
    except sound.PortAudioError as error:
        raise MicrophoneFailed(cause=str(error)) from error


def _package() -> ModuleType:
    try:
        import sounddevice
    except ImportError:
        raise NoMicrophonePackage() from None
    except OSError:
        raise NoSoundLibrary() from None
    module: ModuleType = sounddevice
    return module


def _rate(sound: Any, device: int | str | None) -> int:
    """Choose 16 kHz where the device can give it, else its own rate, Hz."""
    try:
        told = sound.query_devices(device, "input")
    except (ValueError, sound.PortAudioError):
        raise (NoMicrophone() if device is None else NoSuchMicrophone(device=device)) from None
    try:
        sound.check_input_settings(device=device, channels=1, dtype="int16", samplerate=RATE)
    except sound.PortAudioError:
        return int(told["default_samplerate"])
    return RATE


def _blocks(sound: Any, device: int | str | None, rate: int) -> Iterator[bytes]:
    import numpy as np
    import soxr

    waiting: queue.Queue[bytes] = queue.Queue(_WAITING)

    def take(data: Any, _frames: int, _time: Any, _status: Any) -> None:
        waiting.put_nowait(bytes(data))  # copied: the library uses its buffer again once this returns

    lowered = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="int16")
    size = int(rate * BLOCK_S)
    with sound.RawInputStream(samplerate=rate, blocksize=size, device=device, channels=1, dtype="int16", callback=take):
        while True:
            try:
                block = waiting.get(timeout=_SILENT_S)
            except queue.Empty:
                raise MicrophoneSilent() from None
            yield block if lowered is None else lowered.resample_chunk(np.frombuffer(block, "<i2")).tobytes()
