"""`ohmtrail hear`: what the tool makes of sound files, without a server, a job or a record."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress, TextColumn
from rich.table import Table

from api.commands.errors import PhraseCountWrong, PhrasesAndWords, PhrasesNoText
from api.commands.options import SecondOpinion
from api.errors import BadInput
from api.ledger.canonical import PlainData
from capture.errors import CaptureError, ModelError
from capture.language.vocabulary import plain_text
from capture.reading import Reading, Utterance
from capture.speech.audio import MAX_SECONDS, RATE, Recording
from capture.speech.errors import SOUND_FILES
from capture.speech.live import recorded
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.loading import lacking_second_opinion, second_opinion

AsJson = Annotated[bool, typer.Option("--json", help="One JSON object a line instead of a table.")]
Phrases = Annotated[
    Path | None, typer.Option(help="Hear only the phrases of this text file, one a line ('#' starts a comment).")
]
Words = Annotated[
    Path | None,
    typer.Option(help="Hear any sequence of the words of this text file, one a line, and nothing else."),
]
Model = Annotated[Path | None, typer.Option(help="A vosk model directory instead of the one that ships.")]

MAX_PHRASES = 20_000
"""Longest list of phrases: the recogniser builds its grammar from them at start."""


def hear(
    files: Annotated[list[Path], typer.Argument(help=f"Sound files of any length: {SOUND_FILES}.")],
    as_json: AsJson = False,
    phrases: Phrases = None,
    words: Words = None,
    model: Model = None,
    judged: SecondOpinion = True,
) -> None:
    """Hear sound files and say which readings or commands they hold.

    A recording of more than a minute gives a row for each utterance, as it is found; its words count from "start_s".
    Ends with exit code 1 when a file could not be read, 2 when the model or the phrase list could not.
    """
    notes = Console(stderr=True, highlight=False)
    try:
        speech = listed_model(model, phrases, words, notes if judged else None)
    except (BadInput, ModelError, OSError, ValueError) as error:
        notes.print(str(error), style="red", markup=False)
        raise typer.Exit(2) from None
    if speech.missing_words:
        notes.print(speech.describe_missing(), style="yellow", markup=False)
    failed = False
    rows: list[PlainData] = []
    with Progress(TextColumn("{task.completed}/{task.total} {task.description}"), console=notes, transient=True) as bar:
        task = bar.add_task("", total=len(files))
        for number, file in enumerate(files):

            def at(where: str, name: str = file.name) -> None:
                bar.update(task, description=f"{name} {where}")

            at("")
            for row in hear_file(file, speech, at):
                failed = failed or "error" in row
                if as_json:
                    typer.echo(json.dumps(row, ensure_ascii=False))
                else:
                    rows.append(row)
            bar.update(task, completed=number + 1)
    if not as_json:
        Console(highlight=False).print(as_table(rows))
    if failed:
        raise typer.Exit(1)


def listed_model(
    model: Path | None, phrases: Path | None, words: Path | None, notes: Console | None = None
) -> SpeechModel:
    """Load a model that hears everything, or only the phrases or words of a text file.

    Args:
        model: A vosk model directory; None for the default.
        phrases: A text file of phrases.
        words: A text file of words.
        notes: Ask for second opinions, and say here if there can be none; None to ask for none.

    Raises:
        BadInput: The list is none, or there are two.
        OSError: It cannot be read.
        ModelError: See `SpeechModel`.
    """
    if phrases is not None and words is not None:
        raise PhrasesAndWords()
    if notes is not None and (lacking := lacking_second_opinion()):
        notes.print(lacking, style="yellow", markup=False, soft_wrap=True)
    return SpeechModel(
        model,
        None if phrases is None else read_phrases(phrases),
        words=None if words is None else read_phrases(words),
        second=None if notes is None else second_opinion(),
    )


def read_phrases(path: Path) -> list[str]:
    """Read the phrases of a text file, one a line; blank lines and lines beginning with "#" are left out.

    Raises:
        OSError: It cannot be read.
        PhrasesNoText: It is no UTF-8 text.
        PhraseCountWrong: It holds no phrase, or too many.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except UnicodeDecodeError:
        raise PhrasesNoText(path=path) from None
    kept = [line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#")]
    if not kept or len(kept) > MAX_PHRASES:
        raise PhraseCountWrong(path=path, count=len(kept), most=MAX_PHRASES)
    return [" ".join(word for word in plain_text(line) if word != ",") for line in kept]


class _Played:
    """The sound of a recording on its way to be heard.

    Attributes:
        seconds: How much of it went by, s.
    """

    def __init__(self, recording: Recording, at: Callable[[str], None]) -> None:
        self._recording, self._at = recording, at
        self.seconds = 0.0

    def __iter__(self) -> Iterator[bytes]:
        whole = self._recording.duration_s
        of = "" if whole is None else f" of {timedelta(seconds=round(whole))}"
        for block in self._recording.blocks():
            self.seconds += len(block) / (2 * RATE)
            self._at(f"{timedelta(seconds=round(self.seconds))}{of}")
            yield block


def hear_file(file: Path, speech: SpeechModel, at: Callable[[str], None] = lambda _: None) -> Iterator[PlainData]:
    """Hear one file: a row for a clip, and for each utterance of what is longer.

    Args:
        file: The file.
        speech: Who hears.
        at: Told how far it is, in words.

    Yields:
        Plain data in which "error" holds a sentence where the file could not be read, or not to its end.
    """
    try:
        with file.open("rb") as opened:
            recording = Recording(opened)
            heard = _Played(recording, at)
            for one in recorded(heard, speech):
                long = one.start_s > 0 or heard.seconds > MAX_SECONDS
                times = {"start_s": one.start_s, "end_s": one.end_s} if long else {}
                yield {"file": str(file)} | times | as_data(one.utterance)
    except (CaptureError, OSError) as error:
        empty: PlainData = {"file": str(file), "text": "", "words": [], "reading": None, "command": None}
        yield empty | {"alternatives": [], "superseded": [], "confidence": 0.0, "doubts": [], "error": str(error)}


def _reading(reading: Reading) -> PlainData:
    """Give a reading as plain data; "quantity" repeats "kind", as it was called before."""
    data: PlainData = reading.to_json()
    return data | {"quantity": data["kind"]}


def as_data(utterance: Utterance) -> PlainData:
    """Give an utterance as plain data; "readings" is there only when several were said, circumstances when any were."""
    readings = [_reading(reading) for reading in utterance.readings]
    data: PlainData = {
        "text": utterance.heard.text,
        "words": [
            {"word": word.word, "start": word.start, "end": word.end, "confidence": word.confidence}
            for word in utterance.heard.words
        ],
        "reading": readings[0] if readings else None,
        "command": None if utterance.command is None else utterance.command.value,
        "alternatives": [_reading(other) for other in utterance.alternatives],
        "superseded": [_reading(earlier) for earlier in utterance.superseded],
        "confidence": utterance.confidence,
        "doubts": [doubt.value for doubt in utterance.doubts],
    }
    beside = utterance.beside
    if beside.anything:
        noted = [one.value for one in beside.hold]
        data |= {"circumstances": noted, "lifted": [one.value for one in beside.lifted], "position": beside.position}
    return data | ({"readings": readings} if len(readings) > 1 else {})


def as_table(rows: list[PlainData], first: str = "File") -> Table:
    """Lay the files out as a table for a terminal; `first` heads the column that says which."""
    table = Table(first, "Heard", "Means", "Conf.", "Ask about")
    for row in rows:
        if "error" in row:
            table.add_row(Path(row["file"]).name, f"[red]{_escape(row['error'])}[/red]", "", "", "")
            continue
        doubts = ", ".join(doubt.replace("_", " ") for doubt in row["doubts"])
        name = _escape(Path(row["file"]).name)
        if "start_s" in row:
            name += f" {timedelta(seconds=round(row['start_s']))}"
        table.add_row(name, _escape(row["text"]) or "(nothing)", _meaning(row), f"{row['confidence']:.2f}", doubts)
    return table


def _escape(text: str) -> str:
    return text.replace("[", r"\[")


def _meaning(row: PlainData) -> str:
    """Give the readings or the command in short."""
    from grading.terms.quantity import Qualifier, Quantity

    parts = [f"command: {row['command']}"] if row["command"] else []
    for reading in row.get("readings", [row["reading"]] if row["reading"] else []):
        quantity = Quantity(reading["value"], reading["unit"], Qualifier(reading["qualifier"]))
        place = [reading["axis"], reading["section"], reading["terminals"]]
        where = " ".join(part.replace("_", " ") for part in place if part)
        parts.append(f"{where}: {quantity.display()}" if where else quantity.display())
    parts += [one.replace("_", " ") for one in row.get("circumstances", [])]
    parts += [f"not {one.replace('_', ' ')}" for one in row.get("lifted", [])]
    parts += [f"position {row['position']}"] if row.get("position") else []
    return "; ".join(parts)
