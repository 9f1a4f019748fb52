"""Evidence: whatever arrives is kept byte for byte, typed by its content, and never lost for being damaged."""

from __future__ import annotations

import io
import json
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pi_heif
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from sqlmodel import select

from api.errors import BadInput, NotFound, TooLarge
from api.intake.recognisers import RealEngines
from api.ledger.canonical import sha256_hex
from api.ledger.evidence import MAX_BYTES, check_size
from api.ledger.media_types import media_type, metadata
from api.ledger.store import Store
from api.ledger.tables import CaptureRow, EvidenceRow
from api.workspace import Workspace
from capture.errors import MediaError
from capture.speech import audio
from tests.api.makers import JOB, at, clip, photo

ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-4, SHA-256 of "abc"


def picture(kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((160, 120), 40).convert("RGB").save(out, kind, **options)
    return out.getvalue()


def sound(kind: str, subtype: str | None = None, seconds: float = 0.5) -> bytes:
    out = io.BytesIO()
    samples = (0.2 * np.sin(np.arange(int(16_000 * seconds)) / 9)).astype(np.float32)
    soundfile.write(out, samples, 16_000, format=kind, subtype=subtype)
    return out.getvalue()


def boxed(brand: bytes) -> bytes:
    return b"\0\0\0\x18ftyp" + brand + bytes(400)


MADE: dict[str, tuple[Callable[[], bytes], str, str]] = {
    "jpeg": (lambda: picture("JPEG"), "image/jpeg", "photo"),
    "png": (lambda: picture("PNG"), "image/png", "photo"),
    "webp": (lambda: picture("WEBP"), "image/webp", "photo"),
    "wav": (lambda: sound("WAV"), "audio/wav", "clip"),
    "flac": (lambda: sound("FLAC"), "audio/flac", "clip"),
    "ogg": (lambda: sound("OGG", "VORBIS"), "audio/ogg", "clip"),
    "mp3": (lambda: sound("MP3"), "audio/mpeg", "clip"),
    "heic": (lambda: boxed(b"heic"), "image/heic", "photo"),
    "mp4": (lambda: boxed(b"isom"), "audio/mp4", "clip"),
    "m4a": (lambda: boxed(b"M4A "), "audio/mp4", "clip"),
    "webm": (lambda: b"\x1a\x45\xdf\xa3\x9fB\x86\x81\x01B\xf7\x81\x01B\x82\x84webm" + bytes(300), "audio/webm", "clip"),
    "html": (lambda: b"<html>", "application/octet-stream", "other"),
    "mkv": (lambda: b"\x1a\x45\xdf\xa3" + bytes(300), "application/octet-stream", "other"),
    "riff": (lambda: b"RIFF0000AVI " + bytes(300), "application/octet-stream", "other"),
}


@pytest.mark.parametrize("name", MADE)
def test_the_type_is_determined_from_the_content(name: str) -> None:
    make, expected, kind = MADE[name]
    found = media_type(make())
    assert (found.name, found.kind) == (expected, kind)


def test_a_real_heic_photo_is_one() -> None:
    data = Path(pi_heif.__file__).parent  # the decoder ships; an encoder does not, so the brand is tried by hand above
    assert data.is_dir()
    assert "refused" in metadata(boxed(b"heic"), media_type(boxed(b"heic")))


@given(st.binary(max_size=200))
def test_any_bytes_have_a_type_and_metadata(data: bytes) -> None:
    found = media_type(data)
    json.dumps(metadata(data, found))


def test_metadata_of_photo_and_clip() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2026:11:24 08:33:50"
    exif.get_ifd(0x8769)[0x9011] = "-05:00"
    data = picture("JPEG", exif=exif)
    assert metadata(data, media_type(data)) == {
        "width": 160,
        "height": 120,
        "exif_orientation": 6,
        "exif_time": "2026:11:24 08:33:50",
        "exif_offset": "-05:00",
    }
    data = sound("FLAC")
    assert metadata(data, media_type(data)) == {"sample_rate": 16_000, "channels": 1, "duration_ms": 500}


def test_a_file_is_named_by_its_hash_and_stored_once(tmp_path: Path) -> None:
    store = Store(tmp_path)
    assert store.put(b"abc") == ABC
    path = tmp_path / ABC[:2] / ABC[2:]
    assert path.read_bytes() == b"abc"
    before = path.stat()
    assert store.put(b"abc") == ABC
    assert path.stat() == before
    assert not path.stat().st_mode & 0o222
    assert store.read(ABC) == b"abc"


def test_a_damaged_file_is_set_aside_when_the_good_bytes_come_again(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put(b"abc")
    path = store.path(ABC)
    path.chmod(0o644)
    path.write_bytes(b"abd")
    store.put(b"abc")
    assert store.read(ABC) == b"abc"
    assert [found.read_bytes() for found in path.parent.iterdir() if "damaged" in found.name] == [b"abd"]


@pytest.mark.parametrize("name", ["", "abc", "../../etc/passwd", ABC.upper(), ABC + "0", "g" * 64])
def test_no_other_name_leads_into_the_store(tmp_path: Path, name: str) -> None:
    with pytest.raises(NotFound):
        Store(tmp_path).read(name)


def test_left_overs_are_swept_but_not_those_of_a_writer_that_runs(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put(b"abc")
    dead, alive = 4_000_000, os.getpid()
    for folder in (tmp_path, tmp_path / ABC[:2]):
        (folder / f".tmp-{dead}-00ff").write_bytes(b"half")
        (folder / f".tmp-{alive}-00ff").write_bytes(b"half")
    assert store.sweep() == 2
    assert len(list(tmp_path.rglob(".tmp-*"))) == 2


def test_the_same_file_twice_is_two_arrivals_of_one_piece_of_evidence(workspace: Workspace) -> None:
    job = workspace.create_job(JOB)["id"]
    for second in (1, 2):
        workspace.take_clip(job, clip("x ray axis"), at(second))
    with workspace.database.read() as session:
        assert len(session.exec(select(EvidenceRow)).all()) == 1
        assert len(session.exec(select(CaptureRow)).all()) == 2
    assert len(list(workspace.evidence.names())) == 1


def test_limits(workspace: Workspace) -> None:
    job = workspace.create_job(JOB)["id"]
    with pytest.raises(BadInput, match="empty"):
        workspace.take_clip(job, b"")
    with pytest.raises(TooLarge, match="16 MB are allowed"):
        workspace.take_clip(job, b"fLaC" + bytes(16_000_000))
    assert list(workspace.evidence.names()) == []


def test_bombs_are_kept_and_not_opened(workspace: Workspace) -> None:
    """Refuse a tiny file that unpacks to gigapixels or hours by its header, fast, and keep it on record."""
    job = workspace.create_job(JOB)["id"]
    out = io.BytesIO()
    Image.new("1", (16_000, 16_000)).save(out, "PNG")
    silence = sound("FLAC", seconds=150)
    for data, code in ((out.getvalue(), "photo_too_many_pixels"), (silence, "too_long")):
        start = time.perf_counter()
        answer = workspace.intake.take(job, data)
        assert answer["problem"]["code"] == code
        assert time.perf_counter() - start < 2
        assert workspace.evidence.read(answer["sha256"]) == data
    assert workspace.verify().intact


TRUNCATED = [(name, part) for name in ("jpeg", "png", "webp", "wav", "flac", "ogg", "mp3") for part in range(2, 100, 7)]


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """Open a workspace with the real decoders behind it."""
    opened = Workspace.open(tmp_path_factory.mktemp("real") / "data", engines=RealEngines())
    opened.create_job(JOB)
    return opened


@pytest.mark.parametrize(("name", "part"), TRUNCATED)
def test_an_upload_cut_anywhere_is_kept_and_answered(real: Workspace, name: str, part: int) -> None:
    whole = MADE[name][0]()
    data = whole[: max(1, len(whole) * part // 100)]
    answer = real.intake.take("J1", data)
    assert answer["state"] in ("failed", "recognised")
    assert answer["message"]
    assert answer["records"] == []
    assert real.evidence.read(answer["sha256"]) == data
    assert not list(real.folder.rglob(".tmp-*"))


def test_after_all_the_cut_uploads_everything_is_intact(real: Workspace) -> None:
    found = real.verify()
    assert found.intact, found.problems
    assert found.files > 50
    real.close()


def test_a_photo_is_served_back_untouched(workspace: Workspace) -> None:
    job = workspace.create_job(JOB)["id"]
    data = photo("1.080", "Ohm")
    answer = workspace.take_photo(job, data)
    assert sha256_hex(workspace.evidence.read(answer["sha256"])) == sha256_hex(data)


def test_no_clip_is_taken_in_that_the_recogniser_would_refuse_for_its_size() -> None:
    """The limit stands once: a minute of 48 kHz stereo is stored and heard; one byte over is refused before storing."""
    out = io.BytesIO()
    samples = np.zeros((int(audio.MAX_SECONDS) * 48_000, 2), dtype=np.int16)
    soundfile.write(out, samples, 48_000, format="WAV", subtype="PCM_16")
    minute = out.getvalue()
    assert check_size(minute).kind == "clip"
    assert audio.load_clip(minute).duration_s == audio.MAX_SECONDS
    at_limit = minute + bytes(audio.MAX_BYTES - len(minute))
    assert check_size(at_limit).kind == "clip"
    with pytest.raises(TooLarge):
        check_size(at_limit + b"\0")
    with pytest.raises(MediaError):
        audio.load_clip(at_limit + b"\0")
    assert MAX_BYTES["clip"] == audio.MAX_BYTES
