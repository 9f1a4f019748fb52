"""Sound to words by a vosk model directory. Every use of vosk is in this module.

A model is loaded once and shared; each clip or stream takes a recogniser of its own, which one thread at a time may
use. Word confidences and alternatives come from two recognisers over the same sound, since vosk gives confidences only
when no alternatives are asked for, and the score of an alternative is no probability.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from capture.expectation import Asked
from capture.language.vocabulary import ENTRIES, UNKNOWN, plain_words
from capture.reading import Heard
from capture.speech.audio import RATE
from capture.speech.choice import plain
from capture.speech.confidence import ConfidenceModel, load_confidence_model, load_weights
from capture.speech.digits import ALTERNATIVES as DIGIT_ALTERNATIVES
from capture.speech.digits import DigitsAgain
from capture.speech.errors import ModelNotLoaded, ModelWithoutVocabulary
from capture.speech.grammar import Grammar, answer_lines, phrase_grammar, vocabulary_grammar, word_grammar
from capture.speech.hearing import ALTERNATIVES, RecogniserStream
from capture.speech.model_files import check_model_directory, default_model_path, has_fixed_graph
from capture.speech.second_opinion.engine import SecondOpinion
from capture.speech.second_opinion.judge import Judge
from capture.speech.second_opinion.loading import second_opinion

ANSWERS_COUNT = 3
"""How often the answers to a question stand beside the whole vocabulary's 12,000 phrases; see
`tests.benchmarks.speech.states`."""


class SpeechModel:
    """A vosk model with the grammar of what the tool can hear.

    Attributes:
        path: Its directory.
        fixed_graph: The model takes no grammar (large models): it writes any word it knows, and what is no word of
            ours is asked about.
        grammar: The phrases given to the recogniser.
        second: Gives a second opinion on what is heard; None where there is none.
        confidence_model: Gives the probability that an utterance was understood rightly; by rules where only listed
            phrases are heard, since the coefficients were fitted with the whole vocabulary.
    """

    def __init__(
        self,
        path: Path | None = None,
        phrases: Sequence[str] | None = None,
        confidence_model: ConfidenceModel | None = None,
        *,
        words: Sequence[str] | None = None,
        second: SecondOpinion | None = None,
    ) -> None:
        """Load a model.

        Args:
            path: A vosk model directory; None for the default.
            phrases: Hear only these phrases; None for the whole vocabulary.
            confidence_model: Used instead of the model's own.
            words: Hear any sequence of these words and nothing else; None for the whole vocabulary.
            second: Gives a second opinion on what is heard; None for none.

        Raises:
            ModelError: It is missing, incomplete, damaged, or knows none of the words.
            ValueError: Both phrases and words are given.
        """
        if phrases is not None and words is not None:
            raise ValueError("give phrases or words, not both")
        self.path = path if path is not None else default_model_path()
        check_model_directory(self.path)
        self.fixed_graph = has_fixed_graph(self.path)
        self._model = _load(self.path)
        knows = self._knows
        self.grammar: Grammar = (
            phrase_grammar(phrases, knows)
            if phrases is not None
            else word_grammar(words, knows)
            if words is not None
            else vocabulary_grammar(knows)
        )
        if all(line.startswith(UNKNOWN) for line in self.grammar.phrases):
            raise ModelWithoutVocabulary(path=self.path)
        # A model without a symbol for unknown speech would force noise into words.
        lines = [line for line in self.grammar.phrases if not line.startswith(UNKNOWN) or knows(UNKNOWN)]
        self._only = None if phrases is None else frozenset(plain(line) for line in self.grammar.phrases)
        # Who gives a list, or a graph, has said already what can come.
        self._can_be_led = phrases is None and words is None and not self.fixed_graph
        self._lines = lines
        self._grammars = {Asked.NOTHING: json.dumps(lines)}
        self.second = second
        self._judge = None if second is None else Judge(second, load_weights(self.path), self._allowed(words))
        wanted = self._judge is not None and self._can_be_led
        self._digits = DigitsAgain(self._digit_recogniser) if wanted else None
        if confidence_model is None and words is not None:
            # Any sequence is as likely as another: the sound alone decides, not what the words would mean.
            confidence_model = ConfidenceModel(doubt_cost=0.0)
        self.confidence_model = confidence_model or (
            load_confidence_model(self.path) if phrases is None else ConfidenceModel()
        )

    def _allowed(self, words: Sequence[str] | None) -> Callable[[str], bool] | None:
        """Tell which plain words may come out; None for all of the vocabulary."""
        if words is None and self._only is None:
            return None
        listed = self._only if words is None else {plain(line) for line in self.grammar.phrases}
        return frozenset(part for line in listed or () for part in line.split()).__contains__

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0

    @property
    def missing_words(self) -> tuple[str, ...]:
        """Vocabulary words that cannot be said to this model."""
        return self.grammar.missing

    def describe_missing(self) -> str:
        """Say what the model does not know and what therefore cannot be said; empty when nothing is missing."""
        if not self.missing_words:
            return ""
        parts = {part for word in self.missing_words for part in plain_words(word) if not self._knows(part)}
        unsaid: dict[str, list[str]] = {}
        for word in self.missing_words:
            kind = ENTRIES[word].word_class.value if word in ENTRIES else "phrase"
            unsaid.setdefault(kind.replace("_", " "), []).append(f'"{" ".join(plain_words(word))}"')
        kinds = "; ".join(f"{kind}: {', '.join(words)}" for kind, words in unsaid.items())
        return (
            f"The speech model at {self.path} does not know: {', '.join(sorted(parts))}. "
            f"So {len(self.missing_words)} things cannot be said to it, by kind: {kinds}."
        )

    def hear(self, pcm: bytes, asked: Asked = Asked.NOTHING) -> Heard:
        """Recognise a whole clip.

        Args:
            pcm: 16 kHz mono samples, signed 16 bit, little endian.
            asked: What was asked, and so is likelier to come.

        Raises:
            EngineError: The engine failed.
        """
        stream = self.stream(asked)
        stream.accept(pcm)
        return stream.finish()

    def stream(self, asked: Asked = Asked.NOTHING, *, alternatives: int = ALTERNATIVES) -> RecogniserStream:
        """Begin to listen to one utterance; the stream belongs to one thread at a time.

        Args:
            asked: What was asked. The alternatives are led by it, and the words beside them are not, so that what only
                the question made likely shows itself.
            alternatives: How many, at most.
        """
        led = asked is not Asked.NOTHING and self._can_be_led
        others = self.recogniser(alternatives, asked if led else Asked.NOTHING) if alternatives else None
        led = led and others is not None
        return RecogniserStream(
            self.recogniser(), others, self._only, self._judge, led=led, digits=self._digits if alternatives else None
        )

    def recogniser(self, alternatives: int = 0, asked: Asked = Asked.NOTHING) -> Any:
        """Make a new vosk recogniser with the grammar, led by what was asked."""
        import vosk

        if asked not in self._grammars:
            self._grammars[asked] = json.dumps([*self._lines, *ANSWERS_COUNT * answer_lines(asked, self._knows)])
        extra = () if self.fixed_graph else (self._grammars[asked],)
        recogniser = vosk.KaldiRecognizer(self._model, RATE, *extra)
        recogniser.SetWords(True)
        recogniser.SetMaxAlternatives(alternatives)
        return recogniser

    def _digit_recogniser(self, words: tuple[str, ...]) -> Any:
        import vosk

        recogniser = vosk.KaldiRecognizer(self._model, RATE, json.dumps(word_grammar(words, self._knows).phrases))
        recogniser.SetMaxAlternatives(DIGIT_ALTERNATIVES)
        return recogniser


def _load(path: Path) -> Any:
    import vosk

    vosk.SetLogLevel(-1)  # the engine's own messages; what matters becomes an error of ours
    try:
        return vosk.Model(str(path))
    except Exception as error:
        raise ModelNotLoaded(path=path, cause=str(error)) from error


_loaded: dict[tuple[Path, tuple[str, ...] | None, bool], SpeechModel] = {}
_loading = threading.Lock()


def speech_model(path: Path | None = None, phrases: Sequence[str] | None = None, *, judged: bool = True) -> SpeechModel:
    """Load the model of a directory at first use, shared from then on.

    Args:
        path: A vosk model directory; None for the default.
        phrases: Hear only these phrases; None for the whole vocabulary.
        judged: With a second opinion, if its engine is there.

    Raises:
        ModelError: See `SpeechModel`.
    """
    key = ((path or default_model_path()).resolve(), None if phrases is None else tuple(phrases), judged)
    with _loading:  # two requests at start must not load the model twice: it takes time and memory
        if key not in _loaded:
            _loaded[key] = SpeechModel(key[0], phrases, second=second_opinion() if judged else None)
        return _loaded[key]
