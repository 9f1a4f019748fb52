"""Engines that keep what they heard and saw in a folder, so that rules can be measured again without hearing again."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pydantic import TypeAdapter

from api.day.recognising import DayEngines, PhotoRead, PieceHeard
from api.intake.recognisers import Quad
from capture.reading import Seen
from capture.speech.memo import Piece, Span

_PIECE: TypeAdapter[PieceHeard] = TypeAdapter(PieceHeard)
_PHOTO: TypeAdapter[PhotoRead] = TypeAdapter(PhotoRead)


class KeptEngines:
    """Asks the engines once for each piece and photo, by its bytes; delete the folder after a change of model."""

    def __init__(self, engines: DayEngines, folder: Path) -> None:
        """Keep results in this folder."""
        folder.mkdir(parents=True, exist_ok=True)
        self._engines, self._folder = engines, folder

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """See `DayEngines.hear_piece`."""
        # By its sound alone: a container that is written anew bears another serial number, and so another hash.
        name = hashlib.sha256(repr((piece.number, piece.own_s)).encode() + piece.pcm).hexdigest()
        path = self._folder / f"{name}.json"
        if path.exists():
            return _PIECE.validate_json(path.read_bytes()).spans
        found = self._engines.hear_piece(piece)
        self._write(path, _PIECE.dump_json(PieceHeard(found)))
        return found

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """See `DayEngines.see`."""
        path = self._folder / f"{hashlib.sha256(data).hexdigest()}.json"
        if corners is None and path.exists():
            kept = _PHOTO.validate_json(path.read_bytes()).seen
            if kept is not None:
                return kept
        seen = self._engines.see(data, corners)
        if corners is None:
            self._write(path, _PHOTO.dump_json(PhotoRead(seen)))
        return seen

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """See `DayEngines.crop`."""
        return self._engines.crop(data, quad)

    @staticmethod
    def _write(path: Path, data: bytes) -> None:
        """Write whole or not at all: several runs may share the folder."""
        unfinished = path.with_suffix(f".{hashlib.sha256(data).hexdigest()[:8]}.part")
        unfinished.write_bytes(data)
        unfinished.replace(path)
