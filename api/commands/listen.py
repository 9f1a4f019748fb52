"""`ohmtrail listen`: what the tool makes of a microphone, without a server, a job or a record."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from typing import Annotated

import typer
from rich.console import Console
from rich.live import Live

from api.commands.hear import AsJson, Model, Phrases, Words, as_data, as_table, listed_model
from api.commands.options import SecondOpinion
from api.errors import BadInput
from api.ledger.canonical import PlainData
from capture.errors import EngineError, ModelError
from capture.speech.live import spoken
from capture.speech.microphone import BLOCK_S, microphone
from capture.speech.recogniser import SpeechModel

SHOWN = 30
"""Rows of the table that stay on the screen."""


def listen(
    seconds: Annotated[float | None, typer.Option(min=1, help="Stop after so many seconds; else with Ctrl-C.")] = None,
    device: Annotated[str | None, typer.Option(help="Name or number of the microphone.")] = None,
    as_json: AsJson = False,
    phrases: Phrases = None,
    words: Words = None,
    model: Model = None,
    judged: SecondOpinion = True,
) -> None:
    """Listen to the microphone and say which readings or commands were spoken; nothing is recorded.

    Ends with exit code 2 when there is no microphone, model or phrase list.
    """
    notes = Console(stderr=True, highlight=False)
    try:
        speech = listed_model(model, phrases, words, notes if judged else None)
        if speech.missing_words:
            notes.print(speech.describe_missing(), style="yellow", markup=False)
        blocks: Iterator[bytes] = microphone(device)
        if seconds is not None:
            blocks = islice(blocks, round(seconds / BLOCK_S))
        first = next(blocks, b"")  # a missing microphone fails here, before anything claims to listen
        notes.print("Listening. Stop with Ctrl-C.", style="dim")
        show(rows(chain([first], blocks), speech), as_json=as_json)
    except KeyboardInterrupt:
        return
    except (BadInput, EngineError, ModelError, OSError, ValueError) as error:
        notes.print(str(error), style="red", markup=False, soft_wrap=True)
        raise typer.Exit(2) from None


def rows(blocks: Iterable[bytes], speech: SpeechModel) -> Iterator[PlainData]:
    """Give each utterance as `hear` does; "file" says from when to when it was spoken.

    Args:
        blocks: 16 kHz mono samples, signed 16 bit.
        speech: The recogniser.
    """
    for one in spoken(blocks, speech):
        yield {"file": f"{one.start_s:.1f}-{one.end_s:.1f} s"} | as_data(one.utterance)


def show(utterances: Iterable[PlainData], *, as_json: bool) -> None:
    """Print utterances as they come."""
    if as_json:
        for row in utterances:
            typer.echo(json.dumps(row, ensure_ascii=False))
        return
    kept: list[PlainData] = []
    with Live(as_table(kept, first="Spoken"), console=Console(highlight=False)) as table:
        for row in utterances:
            kept = [*kept, row][-SHOWN:]
            table.update(as_table(kept, first="Spoken"), refresh=True)
