"""Every kind of sound file that a phone records is heard, decoded as a second decoder does, or refused with a remedy.

The second decoder is libsndfile (with libvorbis, libopus and libmpg123 in it), by the package soundfile.
"""

from __future__ import annotations

import io
import json
import tracemalloc

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from api.ledger.media_types import media_type, metadata
from capture.errors import MediaError
from capture.speech.audio import RATE, Recording, load_clip
from capture.speech.decoder import SoundReader
from capture.speech.encoder import flac
from capture.speech.live import recorded
from capture.speech.recogniser import SpeechModel
from capture.speech.understand import hear_clip
from tests.capture.speech.recordings import CLIPS, DATA, KINDS, clip, film, written

TRUTH = {one["file"].partition("/")[2]: one for one in json.loads((CLIPS.parent / "truth.json").read_text())["clips"]}


def decoded(data: bytes) -> npt.NDArray[np.float32]:
    """Decode a file to one channel at its own rate."""
    reader = SoundReader(io.BytesIO(data))
    made = np.concatenate([block for block, _ in reader.blocks()])
    reader.close()
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_a_reading_is_heard_in_every_kind_of_file(kind: str, speech: SpeechModel) -> None:
    data = written(clip("c02.flac"), kind)
    assert media_type(data).name == KINDS[kind].media_type
    assert media_type(data).kind == "clip"
    [reading] = hear_clip(data, None, speech).readings
    assert (reading.quantity.digits, reading.quantity.unit) == ("1.21", TRUTH["c02.flac"]["means"]["unit"])


def test_a_reading_is_heard_in_wide_band_amr(speech: SpeechModel) -> None:
    data = (DATA / "c02.awb").read_bytes()
    assert media_type(data).name == "audio/amr-wb"
    [reading] = hear_clip(data, None, speech).readings
    assert (reading.quantity.digits, reading.quantity.unit) == ("1.21", "Ohm")


@pytest.mark.parametrize("kind", ["wav", "flac", "mp3", "ogg, opus"])
def test_the_header_says_the_same_to_both_decoders(kind: str) -> None:
    data = written(clip("c02.flac"), kind)
    told = soundfile.info(io.BytesIO(data))
    found = metadata(data, media_type(data))
    assert (found["sample_rate"], found["channels"]) == (told.samplerate, told.channels)
    assert found["duration_ms"] == pytest.approx(1000 * told.duration, abs=60)  # padding of the coders


def noise(seconds: float = 0.7, channels: int = 2) -> npt.NDArray[np.float32]:
    made = np.random.default_rng(3).normal(0, 0.1, (int(44_100 * seconds), channels))
    return np.asarray(made, dtype=np.float32)


@pytest.mark.parametrize(
    ("layout", "coding"),
    [("WAV", "PCM_U8"), ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "PCM_32"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"),
     ("WAV", "ULAW"), ("WAV", "ALAW"), ("WAV", "IMA_ADPCM"), ("WAVEX", "PCM_16"),
     ("RF64", "PCM_16"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("FLAC", "PCM_S8")],
)  # fmt: skip
def test_lossless_files_decode_to_the_samples_of_the_second_decoder(layout: str, coding: str) -> None:
    out = io.BytesIO()
    soundfile.write(out, noise(), 44_100, format=layout, subtype=coding)
    theirs = soundfile.read(io.BytesIO(out.getvalue()), dtype="float64", always_2d=True)[0].mean(axis=1)
    ours = decoded(out.getvalue())
    assert len(ours) == pytest.approx(
        len(theirs), abs=1100 if "ADPCM" in coding else 0
    )  # blocks of ADPCM are filled up
    shared = min(len(ours), len(theirs))
    assert np.abs(ours[:shared] - theirs[:shared]).max() < 1 / 32_768


@pytest.mark.parametrize(("layout", "coding"), [("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", None)])
def test_lossy_files_decode_as_the_second_decoder_does(layout: str, coding: str | None) -> None:
    """Lossy decoders may differ in rounding; a difference 50 dB below the sound is none that anybody hears."""
    out = io.BytesIO()
    rate = 48_000 if coding == "OPUS" else 44_100
    soundfile.write(out, noise(), rate, format=layout, subtype=coding)
    theirs = soundfile.read(io.BytesIO(out.getvalue()), dtype="float64", always_2d=True)[0].mean(axis=1)
    ours = decoded(out.getvalue())
    # How much a decoder trims of the coder's delay at the ends is its own affair.
    lag = int(np.argmax(np.correlate(ours[:9000], theirs[4000:6000], "valid"))) - 4000
    assert abs(lag) <= 2_500
    apart = ours[5000 + lag : 20_000 + lag] - theirs[5000:20_000]
    assert np.std(apart) < np.std(theirs) / 300


def test_live_sound_is_kept_without_loss() -> None:
    samples = np.random.default_rng(4).integers(-32_768, 32_768, 10_001).astype("<i2")
    kept, rate = soundfile.read(io.BytesIO(flac(samples.tobytes() + b"\1")), dtype="int16")
    assert rate == RATE
    assert np.array_equal(kept, samples)


@pytest.mark.parametrize("kind", ["m4a", "m4a, lossless", "3gp, amr", "amr", "aac", "flac"])
@pytest.mark.parametrize("share", [0.35, 0.7, 0.95])
def test_a_file_cut_short_is_refused_since_a_digit_may_be_missing(kind: str, share: float) -> None:
    data = written(clip("c02.flac"), kind)
    with pytest.raises(MediaError) as caught:
        load_clip(data[: int(len(data) * share)])
    assert caught.value.code == "clip_damaged"
    assert "again" in str(caught.value)


def test_a_header_that_promises_more_than_comes_is_refused() -> None:
    """A FLAC file cut between two frames decodes without complaint (RFC 9639, 8.2: total samples in the header)."""
    data = bytearray(written(clip("c02.flac"), "flac"))
    total = int.from_bytes(data[21:26], "big")
    data[21:26] = (total + 48_000).to_bytes(5, "big")
    with pytest.raises(MediaError) as caught:
        load_clip(bytes(data))
    assert "ends after 3.3 of 4.3 s" in str(caught.value)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (film(None), "no sound track"),
        (film("ac3"), "coded as ac3"),
        (b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n/etc/passwd\n", "no sound file"),
        (b"ffconcat version 1.0\nfile /etc/hostname\n", "no sound file"),
        (b"\x1a\x45\xdf\xa3\x93\x42\x82\x88matroska" + bytes(80), "no sound file"),
        (b"#!AMR\n", "cannot be decoded"),
        (b"\xff\xf1\x50\x40" + bytes(40), "cannot be decoded"),
    ],
)
def test_what_is_no_sound_of_ours_is_refused_with_a_remedy(data: bytes, said: str) -> None:
    with pytest.raises(MediaError) as caught:
        load_clip(data)
    assert said in str(caught.value)
    assert "Record" in str(caught.value)


def test_the_sound_of_a_film_is_heard() -> None:
    assert load_clip(film("aac")).duration_s == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("kind", ["m4a", "amr", "webm"])
def test_more_than_a_clip_is_refused_as_one(kind: str) -> None:
    with pytest.raises(MediaError) as caught:
        load_clip(written(np.zeros(62 * RATE, np.float32), kind))
    assert caught.value.code == "clip_too_long"


def long_recording(kind: str) -> bytes:
    """Join clips of the demo with pauses to more than a minute: c02 ten times."""
    pause = np.zeros(4 * RATE, np.float32)
    return written(np.concatenate([np.concatenate([clip("c02.flac"), pause]) for _ in range(10)]), kind)


def test_a_long_recording_is_heard_utterance_by_utterance(speech: SpeechModel) -> None:
    recording = Recording(io.BytesIO(long_recording("m4a")))
    assert recording.duration_s is not None
    assert recording.duration_s == pytest.approx(10 * (4 + 3.28), abs=0.3)
    found = list(recorded(recording.blocks(), speech))
    values = [reading.quantity.digits for one in found for reading in one.utterance.readings]
    assert values == ["1.21"] * 10
    starts = [one.start_s for one in found]
    assert starts == sorted(starts)
    assert found[-1].end_s <= recording.duration_s + 0.1


def test_decoding_holds_no_more_of_a_long_recording_than_of_a_short_one() -> None:
    """Twenty minutes are 38 MB of samples; what the native decoder holds is in `tests.benchmarks.hostile`."""
    data = written(np.zeros(20 * 60 * RATE, np.float32), "amr")
    recording = Recording(io.BytesIO(data))
    tracemalloc.start()
    total = sum(len(block) for block in recording.blocks())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert total / 2 / RATE == pytest.approx(20 * 60, abs=0.1)
    assert peak < 2_000_000
