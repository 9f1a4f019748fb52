"""What holds for every test: no example of a generated test fails for being slow, since times are the machine's."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("any_machine", deadline=None)
settings.load_profile("any_machine")
