"""Who reads which capture in this process: one at a time, the others wait for what is made of it."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager


class Claims:
    """Claims on captures, by id; held only while somebody reads."""

    def __init__(self) -> None:
        """Begin with nobody reading."""
        self._change = threading.Condition()
        self._held: set[str] = set()

    def claim(self, capture_id: str) -> bool:
        """Claim a capture unless somebody has it; tells whether it is ours now. Never waits."""
        with self._change:
            if capture_id in self._held:
                return False
            self._held.add(capture_id)
            return True

    def release(self, capture_ids: Iterable[str]) -> None:
        """Let go of captures; those who wait for them go on."""
        with self._change:
            self._held.difference_update(capture_ids)
            self._change.notify_all()

    @contextmanager
    def waited(self, capture_id: str) -> Iterator[None]:
        """Wait until nobody else reads a capture, and hold it for the block."""
        with self._change:
            self._change.wait_for(lambda: capture_id not in self._held)
            self._held.add(capture_id)
        try:
            yield
        finally:
            self.release([capture_id])
