"""The generated files are the same each time, and are of the types that are taken in."""

from __future__ import annotations

from api.ledger.media_types import media_type
from tests.benchmarks.hostile.generated import generated, picture, sound


def test_a_seed_gives_one_file() -> None:
    assert len(generated()) == 100
    assert sound(1) == sound(1) != sound(2)
    assert picture(61) == picture(61) != picture(62)
    assert (media_type(sound(1)).kind, media_type(picture(61)).kind) == ("clip", "photo")
