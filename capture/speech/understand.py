"""Sound to meaning: what was heard, what else it could have been, and how far both can be trusted.

No single confidence is a safe gate, so two things are looked at together: the least sure word of the reading, and how
much of the recogniser's belief lies on word sequences that mean the same. -teen and -ty are never told apart by sound
alone: the twin stays among the alternatives however sure the engine is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from capture.language.numbers import TWINS
from capture.language.parse import parse
from capture.language.vocabulary import UNKNOWN
from capture.reading import Context, Doubt, Heard, Hypothesis, Reading, Utterance, Word
from capture.speech.audio import load_clip
from capture.speech.hearing import belief
from capture.speech.recogniser import SpeechModel, speech_model

PAUSE_S = 0.35
"""Silence between two words that parts one value from the next, s; within a number people pause less."""

SURE_WORD = 0.6
"""A reading with a less sure word is asked about."""

SURE_MEANING = 0.7
"""A reading on which less of the belief lies is asked about."""

SURE_COMMAND = 0.7
"""A command, axis, test point or test voltage less sure than this is not taken: it acts without being read back."""

LEAST = 0.35
"""Below this nothing is taken as heard, not even to be asked about: it is talk or noise, or must be said again."""

SAME_MEANING = 0.95
"""Where this share of the belief means one thing, and other wordings account for the unsure word, it is unsure of its
form only ("confirm" or "confirmed") and counts as sure as the meaning."""

_FILLERS = frozenset({"uh", "um", "er", "so", "now", "well", "the", "please", "it's", "it", "is", "that's", "got", "i"})


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
    return understand(model.hear(clip.pcm), context)


def understand(heard: Heard, context: Context | None = None) -> Utterance:
    """Understand recognised words with their confidences and alternatives.

    Args:
        heard: What the recogniser made of a clip.
        context: What held before.
    """
    context = context or Context()
    utterance = replace(parse(replace(heard, text=with_pauses(heard)), context), heard=heard)
    meaning, rivals = _belief(heard, utterance, context)
    word = least_sure(heard.words)
    if meaning >= SAME_MEANING and _wording_share(heard) <= word + 0.1:
        word = meaning
    confidence = round(min(word, meaning), 4)
    doubts = list(utterance.doubts)
    talk = Doubt.UNKNOWN_WORDS in doubts and confidence < SURE_WORD
    if utterance.readings and (talk or confidence < LEAST):
        return _nothing_taken(utterance, context, confidence)
    if utterance.readings:
        if word < SURE_WORD or meaning < SURE_MEANING:
            doubts.append(Doubt.TEEN_OR_TY if _only_twins(rivals, utterance) else Doubt.LOW_CONFIDENCE)
    elif confidence < SURE_COMMAND and (utterance.command is not None or utterance.context != context):
        utterance = replace(utterance, command=None, context=context)
        doubts.append(Doubt.LOW_CONFIDENCE)
    alternatives = tuple(dict.fromkeys([*rivals, *utterance.alternatives]))
    return replace(
        utterance,
        alternatives=tuple(other for other in alternatives if other not in utterance.readings),
        confidence=confidence if utterance.confidence else 0.0,
        doubts=tuple(dict.fromkeys(doubts)),
    )


def _nothing_taken(utterance: Utterance, context: Context, confidence: float) -> Utterance:
    """Words that may have held a reading, too unsure to offer it."""
    unknown = (Doubt.UNKNOWN_WORDS,) if Doubt.UNKNOWN_WORDS in utterance.doubts else ()
    return Utterance(utterance.heard, context=context, confidence=confidence, doubts=(*unknown, Doubt.LOW_CONFIDENCE))


def with_pauses(heard: Heard) -> str:
    """The words with a comma where the speaker paused."""
    if not heard.words:
        return heard.text
    said = [heard.words[0].word]
    for before, word in zip(heard.words, heard.words[1:], strict=False):
        said += [",", word.word] if word.start - before.end >= PAUSE_S else [word.word]
    return " ".join(said)


def least_sure(words: Sequence[Word]) -> float:
    """Confidence of the least sure word that carries meaning, 0..1; 1 without words."""
    carrying = [word.confidence for word in words if word.word not in _FILLERS and word.word != UNKNOWN]
    return min(carrying, default=1.0)


def _wording_share(heard: Heard) -> float:
    """Share of belief on exactly these words; 1 where no others were considered."""
    shares = belief([choice.score for choice in heard.alternatives] or [0.0])
    texts = [choice.text for choice in heard.alternatives]
    return next((share for text, share in zip(texts, shares, strict=False) if text == heard.text), 1.0)


def _meaning(utterance: Utterance) -> tuple[object, ...]:
    return utterance.readings, utterance.command, utterance.context if not utterance.readings else None


def _belief(heard: Heard, utterance: Utterance, context: Context) -> tuple[float, list[Reading]]:
    """Share of belief on word sequences that mean the same, and the readings of the others, best first.

    The scores are logarithms of likelihoods, so their differences within one clip can be compared though they have no
    fixed scale.
    """
    choices = heard.alternatives or (Hypothesis(heard.text, 0.0),)
    same = 0.0
    rivals: list[Reading] = []
    wanted = _meaning(utterance)
    for choice, share in zip(choices, belief([choice.score for choice in choices]), strict=True):
        other = utterance if choice.text == heard.text else parse(choice.text, context)
        if _meaning(other) == wanted:
            same += share
        elif len(other.readings) == 1 and share > 0.02:
            rivals.append(other.readings[0])
    return same, rivals


def _only_twins(rivals: Sequence[Reading], utterance: Utterance) -> bool:
    """Whether every other candidate is a -teen/-ty twin of the reading."""
    spoken = {word.word for word in utterance.heard.words}
    twins = {other.quantity for other in utterance.alternatives}
    return bool(rivals) and bool(spoken & set(TWINS)) and all(rival.quantity in twins for rival in rivals)
