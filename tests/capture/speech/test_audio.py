"""Decoding: every accepted format gives the same sound, and nothing bad gets in or unpacks without end."""

from __future__ import annotations

import io
import time
import tracemalloc

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.errors import MediaError
from capture.speech.audio import MAX_BYTES, MAX_SECONDS, RATE, load_clip, resampled, to_pcm


def tone(rate: int, seconds: float = 1.0, channels: int = 1) -> npt.NDArray[np.float32]:
    at = np.arange(int(rate * seconds)) / rate
    wave = (0.4 * np.sin(2 * np.pi * 440 * at)).astype(np.float32)
    return np.stack([wave] * channels, axis=1)


def encoded(samples: npt.NDArray[np.float32], rate: int, kind: str, subtype: str | None = None) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=kind, subtype=subtype)
    return file.getvalue()


def loudest_hz(pcm: bytes) -> float:
    samples = np.frombuffer(pcm, "<i2").astype(np.float64)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.fft.rfftfreq(len(samples), 1 / RATE)[spectrum.argmax()])


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_every_rate_and_stereo_come_out_at_16_khz(rate: int, channels: int) -> None:
    clip = load_clip(encoded(tone(rate, channels=channels), rate, "WAV", "PCM_16"))
    assert (clip.source_rate, clip.channels) == (rate, channels)
    assert clip.duration_s == pytest.approx(1.0, abs=0.001)
    assert len(clip.pcm) // 2 == pytest.approx(RATE, abs=20)
    assert loudest_hz(clip.pcm) == pytest.approx(440, abs=2)


@pytest.mark.parametrize(
    ("kind", "subtype", "rate"),
    [
        ("WAV", "PCM_24", 48_000),
        ("WAV", "FLOAT", 48_000),
        ("WAV", "ULAW", 8_000),
        ("FLAC", "PCM_16", 16_000),
        ("OGG", "VORBIS", 44_100),
        ("OGG", "OPUS", 48_000),
        ("MP3", None, 44_100),
    ],
)
def test_every_format(kind: str, subtype: str | None, rate: int) -> None:
    clip = load_clip(encoded(tone(rate), rate, kind, subtype))
    assert clip.duration_s == pytest.approx(1.0, abs=0.1)
    assert loudest_hz(clip.pcm) == pytest.approx(440, abs=3)


def test_an_hour_of_silence_is_refused_from_the_header() -> None:
    silence = np.zeros((RATE * 3600, 1), dtype=np.int16)
    data = io.BytesIO()
    soundfile.write(data, silence, RATE, format="FLAC")
    assert len(data.getvalue()) < MAX_BYTES
    begin = time.perf_counter()
    with pytest.raises(MediaError) as caught:
        load_clip(data.getvalue())
    assert caught.value.code == "clip_too_long"
    assert time.perf_counter() - begin < 0.5


def test_a_header_that_lies_about_its_length_does_not_help() -> None:
    """FLAC may leave its total open (RFC 9639, 8.2: a total of 0 is "unknown"); decoding then stops at the limit."""
    data = io.BytesIO()
    soundfile.write(data, np.zeros((int(RATE * (MAX_SECONDS + 30)), 1), dtype=np.int16), RATE, format="FLAC")
    raw = bytearray(data.getvalue())
    raw[21] &= 0xF0  # the 36 bits of the total begin in the lower half of this byte
    raw[22:26] = bytes(4)
    with pytest.raises(MediaError) as caught:
        load_clip(bytes(raw))
    assert caught.value.code in ("clip_too_long", "clip_damaged")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "clip_empty"),
        (b"RIFF0000WAVE" + bytes(MAX_BYTES), "clip_too_large"),
        (b"\x00\x00\x00\x20ftypM4A " + bytes(100), "clip_damaged"),
        (b"\x1a\x45\xdf\xa3" + bytes(100), "clip_type"),
        (b"%PDF-1.7 " + bytes(100), "clip_type"),
        (b"RIFF\x10\x00\x00\x00WAVEfmt ", "clip_damaged"),
        (b"fLaC" + bytes(50), "clip_damaged"),
    ],
)
def test_bad_files_are_refused_with_advice(data: bytes, code: str) -> None:
    with pytest.raises(MediaError) as caught:
        load_clip(data)
    assert caught.value.code == code
    assert str(caught.value).endswith(".")
    assert "Record" in str(caught.value)


def test_too_short_and_not_a_sound() -> None:
    with pytest.raises(MediaError) as caught:
        load_clip(encoded(tone(RATE, 0.05), RATE, "WAV"))
    assert caught.value.code == "clip_too_short"
    broken = tone(RATE)
    broken[100] = np.nan
    with pytest.raises(MediaError) as caught:
        load_clip(encoded(broken, RATE, "WAV", "FLOAT"))
    assert caught.value.code == "clip_damaged"


def test_other_containers_that_the_library_knows_are_refused() -> None:
    with pytest.raises(MediaError) as caught:
        load_clip(encoded(tone(RATE), RATE, "AIFF"))
    assert caught.value.code == "clip_type"


def test_loud_float_sound_is_clipped_not_wrapped() -> None:
    clip = load_clip(encoded(tone(RATE) * 5, RATE, "WAV", "FLOAT"))
    samples = np.frombuffer(clip.pcm, "<i2")
    assert samples.max() == 32767
    assert samples.min() == -32767
    assert loudest_hz(clip.pcm) == pytest.approx(440, abs=2)


def decoded_or_refused(data: bytes) -> bool:
    """Tell whether a file gives whole samples or one of our errors; any other error goes through."""
    try:
        return len(load_clip(data).pcm) % 2 == 0
    except MediaError as error:
        return error.code.startswith("clip_")


@settings(deadline=None, max_examples=150)
@given(
    head=st.sampled_from([b"", b"RIFF\x24\x08\x00\x00WAVEfmt ", b"fLaC", b"OggS", b"ID3", b"\xff\xfb"]),
    body=st.binary(max_size=300),
)
def test_random_bytes_never_do_worse_than_a_clear_error(head: bytes, body: bytes) -> None:
    assert decoded_or_refused(head + body)


@settings(deadline=None, max_examples=100)
@given(at=st.integers(0, 10_000), value=st.integers(0, 255), cut=st.integers(0, 10_000))
def test_damaged_clips_never_do_worse_than_a_clear_error(at: int, value: int, cut: int) -> None:
    raw = bytearray(encoded(tone(RATE, 0.3), RATE, "FLAC"))
    raw[at % len(raw)] = value
    assert decoded_or_refused(bytes(raw[: max(1, len(raw) - cut % len(raw))]))


@pytest.mark.parametrize(("rate", "channels"), [(8_000, 1), (11_025, 3), (22_050, 1), (44_100, 2), (192_000, 8)])
def test_decoding_in_blocks_gives_the_samples_of_decoding_at_once(rate: int, channels: int) -> None:
    """More than one block long, so that every seam between blocks is in it."""
    noise = np.random.default_rng(rate).normal(0, 0.3, (2 * 65_536 + 1_111, channels)).astype(np.float32)
    clip = load_clip(encoded(noise, rate, "WAV", "FLOAT"))
    at_once = to_pcm(resampled(noise.mean(axis=1) if channels > 1 else noise[:, 0], rate))
    assert len(clip.pcm) == len(at_once)
    apart = np.frombuffer(clip.pcm, "<i2").astype(int) - np.frombuffer(at_once, "<i2").astype(int)
    assert np.abs(apart).max() <= 1


def test_eight_channels_of_studio_sound_take_little_memory() -> None:
    """A minute of it is 92 KB as FLAC and 370 MB decoded."""
    file = io.BytesIO()
    with soundfile.SoundFile(file, "w", 192_000, 8, "PCM_16", format="FLAC") as written:
        for _ in range(20):
            written.write(np.zeros((192_000, 8), dtype=np.int16))
    tracemalloc.start()
    load_clip(file.getvalue())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20_000_000
