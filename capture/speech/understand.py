"""Sound to meaning: what was heard, what else it could have been, and how far both can be trusted.

The probability that the meaning is right comes from `capture.speech.confidence`. -teen and -ty are never told apart by
sound alone: the twin stays among the alternatives however high the engine's confidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from capture.expectation import Asked
from capture.language.numbers import TWINS
from capture.language.parse import parse
from capture.reading import Context, Doubt, Heard, Reading, SaidBeside, Utterance
from capture.speech.audio import load_clip
from capture.speech.candidates import DOUBT_COST, Ranking, candidates, choose, meaning_of, reworded
from capture.speech.confidence import ConfidenceModel, shipped_confidence_model
from capture.speech.other_talker import may_be_another_talkers
from capture.speech.recogniser import SpeechModel, speech_model

PAUSE_S = 0.35
"""Silence between two words that parts one value from the next, s; within a number people pause less."""


def hear_clip(
    data: bytes, context: Context | None = None, model: SpeechModel | None = None, *, model_path: Path | None = None
) -> Utterance:
    """Hear and understand a clip.

    Args:
        data: A sound file; see `capture.speech.audio.load_clip`.
        context: What held before.
        model: A loaded model; None to use the one at `model_path`.
        model_path: A vosk model directory; None for the default.

    Raises:
        capture.errors.MediaError: The clip cannot be decoded.
        capture.errors.ModelError: The model is missing or damaged.
        capture.errors.EngineError: The engine failed.
    """
    clip = load_clip(data)
    model = model if model is not None else speech_model(model_path)
    asked = Asked.NOTHING if context is None else context.expects.asked
    return understand(model.hear(clip.pcm, asked), context, model.confidence_model)


def understand(
    heard: Heard, context: Context | None = None, confidence_model: ConfidenceModel | None = None
) -> Utterance:
    """Understand recognised words with their confidences and alternatives.

    Args:
        heard: What the recogniser made of a clip.
        context: What held before.
        confidence_model: Gives the probability that it is right; None for that of the default speech model.
    """
    context = context or Context()
    confidence_model = confidence_model or shipped_confidence_model()
    utterance, found = best_meaning(heard, context, confidence_model.doubt_cost)
    assessed = confidence_model.assess(utterance, found)
    confidence = round(assessed.confidence, 4)
    another = may_be_another_talkers(heard)
    accepted = assessed.accepted and not another
    doubts = list(utterance.doubts)
    plainly = _otherwise(heard, utterance, context)
    if utterance.readings and not assessed.offered:
        return _nothing_taken(utterance, context, confidence)
    if utterance.readings and not accepted:
        twins = not another and _only_twins(found.rivals, utterance)
        doubts.append(Doubt.TEEN_OR_TY if twins else Doubt.LOW_CONFIDENCE)
    elif utterance.readings and plainly is not None:
        # What was asked decided it. That alone must never make a reading: a person chooses between the two.
        doubts.append(Doubt.LOW_CONFIDENCE)
    elif (plainly is not None or not accepted) and (
        utterance.command is not None or utterance.context != context or utterance.beside.anything
    ):
        # Commands and settings act at once, so a doubtful one must leave no trace: the old context stays.
        utterance = replace(utterance, command=None, context=context, beside=SaidBeside())
        doubts.append(Doubt.LOW_CONFIDENCE)
    others = plainly.readings if plainly is not None and len(plainly.readings) == 1 else ()
    alternatives = tuple(dict.fromkeys([*others, *found.rivals, *utterance.alternatives]))
    return replace(
        utterance,
        alternatives=tuple(other for other in alternatives if other not in utterance.readings),
        confidence=confidence if utterance.confidence else 0.0,
        doubts=tuple(dict.fromkeys(doubts)),
    )


def _otherwise(heard: Heard, utterance: Utterance, context: Context) -> Utterance | None:
    """Give what the best words mean that were heard without leading; None where it is the same, or nothing was led."""
    if heard.unled is None:
        return None
    plain = replace(heard, text=" ".join(word.word for word in heard.unled), words=heard.unled)
    plainly = _parsed(plain, context)
    return None if meaning_of(plainly) == meaning_of(utterance) else plainly


def best_meaning(heard: Heard, context: Context, doubt_cost: float = DOUBT_COST) -> tuple[Utterance, Ranking]:
    """Choose the meaning that the alternatives speak for, with the words it stands on, and how far it is ahead."""
    chosen, found = choose(candidates(heard, _parsed(heard, context), context, doubt_cost), heard.second, heard.text)
    # Parsed again, since the words exchanged changed times and with them the pauses that part two values.
    return _parsed(reworded(heard, chosen.text, found.meaning), context), found


def _parsed(heard: Heard, context: Context) -> Utterance:
    return replace(parse(replace(heard, text=with_pauses(heard)), context), heard=heard)


def _nothing_taken(utterance: Utterance, context: Context, confidence: float) -> Utterance:
    """Make an utterance of words that may have held a reading, too doubtful to offer it."""
    unknown = (Doubt.UNKNOWN_WORDS,) if Doubt.UNKNOWN_WORDS in utterance.doubts else ()
    return Utterance(utterance.heard, context=context, confidence=confidence, doubts=(*unknown, Doubt.LOW_CONFIDENCE))


def with_pauses(heard: Heard) -> str:
    """Put a comma between words where the speaker paused."""
    if not heard.words:
        return heard.text
    said = [heard.words[0].word]
    for before, word in zip(heard.words, heard.words[1:], strict=False):
        said += [",", word.word] if word.start - before.end >= PAUSE_S else [word.word]
    return " ".join(said)


def _only_twins(rivals: Sequence[Reading], utterance: Utterance) -> bool:
    """Tell whether every other candidate is a -teen/-ty twin of the reading."""
    spoken = {word.word for word in utterance.heard.words}
    twins = {other.quantity for other in utterance.alternatives}
    return bool(rivals) and bool(spoken & set(TWINS)) and all(rival.quantity in twins for rival in rivals)
