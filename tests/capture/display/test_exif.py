"""The three EXIF entries: as another library writes them, and blocks that are malformed or claim too much."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from capture.display.exif import Exif, read_exif


def written(**entries: object) -> bytes:
    exif = Image.Exif()
    for name, value in entries.items():
        if name == "orientation":
            exif[0x0112] = value
        elif name == "changed":
            exif[0x0132] = value
        else:
            exif.get_ifd(0x8769)[{"taken": 0x9003, "offset": 0x9011}[name]] = value
    return exif.tobytes()


def test_entries_as_written_by_another_library() -> None:
    found = read_exif(written(orientation=6, taken="2026:11:24 08:33:50", offset="-05:00"))
    assert found == Exif(6, "2026:11:24 08:33:50", "-05:00")
    assert found.taken == datetime(2026, 11, 24, 8, 33, 50)


def test_time_of_the_file_where_the_camera_wrote_none() -> None:
    assert read_exif(written(changed="2026:11:24 08:33:50")).time == "2026:11:24 08:33:50"


@pytest.mark.parametrize("orientation", [0, 9, 255, 65_535])
def test_an_orientation_that_is_none(orientation: int) -> None:
    assert read_exif(written(orientation=orientation)).orientation is None


@given(st.binary(max_size=300))
def test_any_bytes_are_taken(data: bytes) -> None:
    for order in (b"II*\0", b"MM\0*"):
        found = read_exif(order + data)
        assert found.orientation is None or 1 <= found.orientation <= 8


def test_a_directory_that_leads_to_itself_ends() -> None:
    block = bytearray(written(orientation=3, taken="2026:11:24 08:33:50"))
    whole = read_exif(bytes(block))
    assert whole.orientation == 3
    assert read_exif(bytes(block[: len(block) // 2])).time is None
