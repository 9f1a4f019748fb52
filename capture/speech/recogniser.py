"""Sound to words by a vosk model directory. Every use of vosk is in this module.

A model is loaded once and shared; each clip or stream takes a recogniser of its own, which one thread at a time may
use. Word confidences and alternatives come from two recognisers over the same sound, since vosk gives confidences only
when no alternatives are asked for, and the score of an alternative is no probability.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from capture.errors import ModelError
from capture.language.vocabulary import UNKNOWN, plain_words
from capture.reading import Heard
from capture.speech.audio import RATE
from capture.speech.grammar import Grammar, phrase_grammar, vocabulary_grammar
from capture.speech.hearing import ALTERNATIVES, Stream

MODEL_SETTING = "OHMTRAIL_SPEECH_MODEL"
"""Environment variable that names another vosk model directory."""

_NEEDED = (("am/final.mdl",), ("conf/mfcc.conf",), ("graph/HCLr.fst", "graph/HCLG.fst"), ("graph/words.txt",))
_FLAT = ("final.mdl", "mfcc.conf", "HCLr.fst", "word_boundary.int")  # the older layout of small models


def default_model_path() -> Path:
    """The model named by the setting, else the one that ships with the package."""
    named = os.environ.get(MODEL_SETTING)
    return Path(named) if named else Path(__file__).parent / "model"


def check_model_directory(path: Path) -> None:
    """Refuse a directory that cannot be a complete vosk model, before the engine aborts over it.

    Raises:
        ModelError: "model_missing", "model_incomplete" or "model_damaged".
    """
    if not path.is_dir():
        raise ModelError(
            "model_missing", f"No speech model at {path}. Give the directory of a vosk model, or reinstall Ohmtrail."
        )
    flat = all((path / name).is_file() for name in _FLAT)
    lacking = [names[0] for names in _NEEDED if not any((path / name).is_file() for name in names)]
    if lacking and not flat:
        raise ModelError(
            "model_incomplete",
            f"The speech model at {path} lacks {', '.join(lacking)}. Unpack the whole model directory and name that.",
        )
    empty = [
        str(file.relative_to(path)) for file in sorted(path.rglob("*")) if file.is_file() and not file.stat().st_size
    ]
    needed = {name for names in _NEEDED for name in names} | set(_FLAT)
    if any(name in needed for name in empty):
        raise ModelError(
            "model_damaged", f"The speech model at {path} has empty files: {', '.join(empty)}. Copy it again."
        )


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the engine's own messages off the terminal; what matters becomes an error of ours."""
    import vosk

    vosk.SetLogLevel(-1)
    yield


class SpeechModel:
    """A vosk model with the grammar of what the tool can hear.

    Attributes:
        path: Its directory.
        grammar: The phrases given to the recogniser.
    """

    def __init__(self, path: Path | None = None, phrases: Sequence[str] | None = None) -> None:
        """Load a model.

        Args:
            path: A vosk model directory; None for the default.
            phrases: Hear only these phrases; None for the whole vocabulary.

        Raises:
            ModelError: It is missing, incomplete, damaged, or knows none of the words.
        """
        self.path = path if path is not None else default_model_path()
        check_model_directory(self.path)
        self._model = _load(self.path)
        knows = self._knows
        self.grammar: Grammar = vocabulary_grammar(knows) if phrases is None else phrase_grammar(phrases, knows)
        if len(self.grammar.phrases) <= 1:
            raise ModelError(
                "model_vocabulary",
                f"The speech model at {self.path} knows none of the words needed. Use an English model.",
            )
        # A model without a sign for unknown speech would force noise into words.
        lines = [line for line in self.grammar.phrases if line != UNKNOWN or self._knows(UNKNOWN)]
        self._grammar_text = json.dumps(lines)

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0

    @property
    def missing_words(self) -> tuple[str, ...]:
        """Vocabulary words that cannot be said to this model."""
        return self.grammar.missing

    def describe_missing(self) -> str:
        """One sentence naming what cannot be said; empty when nothing is missing."""
        if not self.missing_words:
            return ""
        spoken = ", ".join(f'"{" ".join(plain_words(word))}"' for word in self.missing_words)
        return f"This speech model does not know {len(self.missing_words)} of the words; they cannot be said: {spoken}."

    def hear(self, pcm: bytes) -> Heard:
        """Recognise a whole clip.

        Args:
            pcm: 16 kHz mono samples, signed 16 bit, little endian.

        Raises:
            EngineError: The engine failed.
        """
        stream = self.stream()
        stream.accept(pcm)
        return stream.finish()

    def stream(self, *, alternatives: int = ALTERNATIVES) -> Stream:
        """Begin to listen to one utterance; the stream belongs to one thread at a time."""
        return Stream(self.recogniser(), self.recogniser(alternatives) if alternatives else None)

    def recogniser(self, alternatives: int = 0) -> Any:
        """A new vosk recogniser with the grammar."""
        import vosk

        recogniser = vosk.KaldiRecognizer(self._model, RATE, self._grammar_text)
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(alternatives)
        return recogniser


def _load(path: Path) -> Any:
    import vosk

    with _quiet():
        try:
            return vosk.Model(str(path))
        except Exception as error:
            raise ModelError(
                "model_damaged", f"The speech model at {path} does not load ({error}). Copy it again or use another."
            ) from error


_loaded: dict[tuple[Path, tuple[str, ...] | None], SpeechModel] = {}
_loading = threading.Lock()


def speech_model(path: Path | None = None, phrases: Sequence[str] | None = None) -> SpeechModel:
    """The model of a directory, loaded at first use and shared from then on.

    Args:
        path: A vosk model directory; None for the default.
        phrases: Hear only these phrases; None for the whole vocabulary.

    Raises:
        ModelError: See `SpeechModel`.
    """
    key = ((path or default_model_path()).resolve(), None if phrases is None else tuple(phrases))
    with _loading:
        if key not in _loaded:
            _loaded[key] = SpeechModel(key[0], phrases)
        return _loaded[key]
