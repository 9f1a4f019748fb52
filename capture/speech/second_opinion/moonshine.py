"""Moonshine tiny, English (27 M parameters; Jeffries et al. 2024, arXiv 2410.15608), run by onnxruntime.

Candidates are judged in one batch. What their judging shares, the keys and values of the sound and of the beginning,
is computed once and handed to every row, and to the engine's own transcript. The networks' weights are 8 bit and their
activations are scaled over the whole batch, so a candidate's figure moves by some hundredths with its company.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.reading import OwnTranscript
from capture.speech.audio import RATE
from capture.speech.errors import SecondOpinionNotLoaded, SpeechEngineFailed
from capture.speech.second_opinion.files import default_folder, find_files
from capture.speech.second_opinion.pieces import BEGIN, END, Pieces

Floats = NDArray[np.float32]

BEFORE_S, AFTER_S = 0.3, 0.6
"""Silence put before and after a sound, s: a word at the very edge is lost otherwise."""

TOKENS_PER_S = 6.5
"""Most pieces of its own transcript for each second; beyond that it repeats itself (the makers' own limit)."""

ROWS = 8
"""Texts judged at a time: each takes 130 kB for every piece."""

LEAST_TOKENS = 8
"""Pieces allowed however short the sound is."""


class Moonshine:
    """The engine, loaded."""

    name = "moonshine tiny-en"

    def __init__(self, folder: Path | None = None) -> None:
        """Load it.

        Args:
            folder: Where its files lie; None for where the set-up puts them.

        Raises:
            ModelError: The files are missing or are not those known, or they do not load.
        """
        folder = folder or default_folder()
        files = find_files(folder)
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1  # a process for each core hears already
        options.log_severity_level = 4
        options.enable_cpu_mem_arena = False  # it would keep 70 MB for the longest sound that ever came
        try:
            self._encoder: Any = onnxruntime.InferenceSession(str(files["encoder_model.ort"]), options)
            self._decoder: Any = onnxruntime.InferenceSession(str(files["decoder_model_merged.ort"]), options)
            self.pieces = Pieces(files["tokenizer.bin"].read_bytes())
        except Exception as error:
            raise SecondOpinionNotLoaded(path=folder, cause=str(error)) from error
        shapes = {entry.name: entry.shape for entry in self._decoder.get_inputs()}
        self._past = {name: (1, shape[1], 0, shape[3]) for name, shape in shapes.items() if name.startswith("past")}
        self._outputs = [entry.name for entry in self._decoder.get_outputs()]

    def listen(self, pcm: bytes) -> MoonshineSound:
        """See `SecondOpinion.listen`."""
        heard = np.frombuffer(pcm, "<i2").astype(np.float32) / 32768
        sound = np.concatenate(
            [np.zeros(int(BEFORE_S * RATE), np.float32), heard, np.zeros(int(AFTER_S * RATE), np.float32)]
        )
        feed = {"input_values": sound[None], "attention_mask": np.ones((1, len(sound)), np.int64)}
        try:
            hidden = self._encoder.run(None, feed)[0]
            return MoonshineSound(self, hidden, len(sound))
        except Exception as error:
            raise SpeechEngineFailed(cause=str(error)) from error

    def decode(
        self, ids: NDArray[np.int64], hidden: Floats, samples: int, past: dict[str, Floats] | None
    ) -> tuple[Floats, dict[str, Floats]]:
        """Run the decoder; returns its output (rows, tokens, pieces), and keys and values for the next tokens.

        Args:
            ids: Pieces, a row for each text.
            hidden: What the encoder made of the sound.
            samples: Length of the sound, which the mask counts in.
            past: Keys and values of what came before, one row; None at the beginning.
        """
        rows = len(ids)
        feed = {
            "input_ids": ids,
            "encoder_hidden_states": np.repeat(hidden, rows, 0),
            "encoder_attention_mask": np.ones((rows, samples), np.int64),
            "use_cache_branch": np.array([past is not None]),
        }
        empty = {name: np.zeros(shape, np.float32) for name, shape in self._past.items()}
        feed |= {name: np.repeat(value, rows, 0) for name, value in (past or empty).items()}
        outputs = dict(zip(self._outputs, self._decoder.run(self._outputs, feed), strict=True))
        logits = outputs.pop("logits")
        kept = {name.replace("present", "past_key_values"): value for name, value in outputs.items()}
        if past is not None:  # with a past, nothing new comes out for the sound
            kept |= {name: value for name, value in past.items() if ".encoder." in name}
        return logits, kept


class MoonshineSound:
    """A sound that Moonshine has taken in."""

    def __init__(self, engine: Moonshine, hidden: Floats, samples: int) -> None:
        """Keep it, with what every text begins with."""
        self._engine, self._hidden, self._samples = engine, hidden, samples
        self._first, self._past = engine.decode(np.array([[BEGIN]]), hidden, samples, None)
        self._own: OwnTranscript | None = None

    def own(self) -> OwnTranscript:
        """See `Sound.own`."""
        if self._own is None:
            try:
                self._own = self._write()
            except Exception as error:
                raise SpeechEngineFailed(cause=str(error)) from error
        return self._own

    def _write(self) -> OwnTranscript:
        """Take the likeliest piece each time."""
        seconds = self._samples / RATE - BEFORE_S - AFTER_S
        limit = LEAST_TOKENS + int(TOKENS_PER_S * seconds)
        row: list[int] = []
        total, last, past = 0.0, self._first[0, -1], self._past
        while True:
            best = int(last.argmax())
            total += _log_p(last, best)
            if best == END or len(row) >= limit:
                return OwnTranscript(self._engine.name, self._engine.pieces.text(row), total, len(row) + 1)
            row.append(best)
            told, past = self._engine.decode(np.array([[best]]), self._hidden, self._samples, past)
            last = told[0, -1]

    def log_p(self, texts: Sequence[str]) -> list[float]:
        """See `Sound.log_p`."""
        rows = [self._engine.pieces.divide(text) for text in texts]
        try:
            return [told for at in range(0, len(rows), ROWS) for told in self._judged(rows[at : at + ROWS])]
        except Exception as error:
            raise SpeechEngineFailed(cause=str(error)) from error

    def _judged(self, rows: list[list[int]]) -> Iterator[float]:
        ids = np.full((len(rows), max(1, *map(len, rows))), END, np.int64)
        for at, row in enumerate(rows):
            ids[at, : len(row)] = row
        after, _ = self._engine.decode(ids, self._hidden, self._samples, self._past)
        for row, told in zip(rows, after, strict=True):
            # The output for a piece says what follows it, so that for the beginning stands before it.
            outputs = [self._first[0, -1], *told[: len(row)]]
            yield sum(_log_p(output, piece) for output, piece in zip(outputs, [*row, END], strict=True))


def _log_p(output: Floats, piece: int) -> float:
    """Give the natural logarithm of the probability of a piece by what the decoder puts out."""
    top = float(output.max())  # taken out, or exp() of a large output would overflow
    return float(output[piece]) - top - math.log(float(np.exp(output - top).sum()))
