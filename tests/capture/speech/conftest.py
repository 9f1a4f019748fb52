"""The shipped model, loaded once for all tests of hearing."""

from __future__ import annotations

import pytest

from capture.speech.recogniser import SpeechModel


@pytest.fixture(scope="session")
def speech() -> SpeechModel:
    return SpeechModel()
