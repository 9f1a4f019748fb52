"""From recognised words, confidences and alternatives to a reading that says how far it can be trusted."""

from __future__ import annotations

from capture.reading import Command, Context, Doubt, Heard, Hypothesis, Utterance, Word
from capture.speech.candidates import least_confidence
from capture.speech.confidence import ACCEPTED_MEANING, ACCEPTED_WORD, ConfidenceModel
from capture.speech.understand import PAUSE_S, with_pauses
from capture.speech.understand import understand as understand_by
from grading.terms.quantity import QuantityKind

IR = Context(kind=QuantityKind.INSULATION_RESISTANCE)


def understand(said: Heard, context: Context) -> Utterance:
    """Understand by the rules, which hold for any model."""
    return understand_by(said, context, ConfidenceModel())


def heard(text: str, *others: tuple[str, float], confidence: float = 1.0, score: float = 0.0) -> Heard:
    words = tuple(Word(word, at * 0.3, at * 0.3 + 0.25, confidence) for at, word in enumerate(text.split()))
    choices = (Hypothesis(text, score), *(Hypothesis(other, mark) for other, mark in others))
    return Heard(text, words, choices, 3.0)


def test_confident_and_alone() -> None:
    utterance = understand(heard("two point two gig"), IR)
    assert utterance.readings[0].quantity.digits == "2.2"
    assert utterance.confidence == 1.0
    assert utterance.doubts == ()


def test_a_close_rival_with_another_value_is_offered_and_asked_about() -> None:
    utterance = understand(heard("two point two gig", ("two point six gig", -0.5)), IR)
    assert [other.quantity.digits for other in utterance.alternatives] == ["2.6"]
    assert utterance.doubts == (Doubt.LOW_CONFIDENCE,)
    assert utterance.confidence < ACCEPTED_MEANING


def test_a_rival_that_means_the_same_is_no_rival() -> None:
    utterance = understand(heard("two point two gig", ("two point two gigs", -0.1), ("uh two point two gig", -0.2)), IR)
    assert utterance.doubts == ()
    assert utterance.alternatives == ()


def test_a_close_twin_is_asked_about_as_such() -> None:
    utterance = understand(heard("fifty meg", ("fifteen meg", -0.4)), IR)
    assert Doubt.TEEN_OR_TY in utterance.doubts
    assert Doubt.LOW_CONFIDENCE not in utterance.doubts
    assert utterance.alternatives[0].quantity.digits == "15"


def test_the_twin_is_offered_whatever_the_confidence() -> None:
    utterance = understand(heard("fifty meg"), IR)
    assert utterance.doubts == ()
    assert [other.quantity.digits for other in utterance.alternatives] == ["15"]


def test_a_doubtful_word_is_asked_about_but_a_doubtful_filler_is_not() -> None:
    assert Doubt.LOW_CONFIDENCE in understand(heard("two gig", confidence=ACCEPTED_WORD - 0.1), IR).doubts
    words = (Word("uh", 0.0, 0.2, 0.1), Word("two", 0.3, 0.5, 1.0), Word("gig", 0.55, 0.9, 1.0))
    assert understand(Heard("uh two gig", words, (), 1.0), IR).doubts == ()
    assert least_confidence(words) == 1.0


def test_a_doubtful_command_is_not_taken() -> None:
    assert understand(heard("confirm"), IR).command is Command.CONFIRM
    doubtful = understand(heard("confirm", confidence=0.5), IR)
    assert doubtful.command is None
    assert Doubt.LOW_CONFIDENCE in doubtful.doubts
    rivalled = understand(heard("confirm", ("negative", -0.3)), IR)
    assert rivalled.command is None


def test_a_word_in_doubt_only_of_its_form_counts_with_its_meaning() -> None:
    """The words confirm and confirmed share the posterior between them; noise would share it with something else."""
    assert understand(heard("confirm", ("confirmed", -0.4), confidence=0.6), IR).command is Command.CONFIRM
    assert understand(heard("confirm", ("[unk]", -0.4), confidence=0.6), IR).command is None


def test_a_doubtful_axis_or_voltage_is_not_taken() -> None:
    assert understand(heard("yankee axis"), IR).context.axis == "Y"
    assert understand(heard("set five hundred volts"), IR).context.test_voltage_set == 500
    for doubtful in (
        heard("yankee axis", confidence=0.5),
        heard("set five hundred volts", ("set nine hundred volts", -0.2)),
    ):
        utterance = understand(doubtful, IR)
        assert utterance.context == IR
        assert Doubt.LOW_CONFIDENCE in utterance.doubts


def test_talk_is_no_reading_not_even_to_be_asked_about() -> None:
    """Doubtful words among unknown ones, or words doubtful throughout."""
    for talk in (heard("[unk] [unk] the eighty ohms", confidence=0.55), heard("it's infinite", confidence=0.3)):
        utterance = understand(talk, IR)
        assert (utterance.readings, utterance.command, utterance.context) == ((), None, IR)
        assert Doubt.LOW_CONFIDENCE in utterance.doubts
    confidence = understand(heard("[unk] eighty ohms"), IR)
    assert confidence.readings
    assert Doubt.UNKNOWN_WORDS in confidence.doubts


def test_a_pause_parts_two_values() -> None:
    def said(gap: float) -> Heard:
        words = (("one", 0.0), ("fifty", 0.3), ("one", 0.55 + gap), ("eighty", 0.85 + gap), ("meg", 1.15 + gap))
        text = " ".join(word for word, _ in words)
        return Heard(text, tuple(Word(word, at, at + 0.25, 1.0) for word, at in words), (), 2.0)

    assert with_pauses(said(PAUSE_S)) == "one fifty , one eighty meg"
    assert [reading.quantity.digits for reading in understand(said(0.5), IR).readings] == ["150", "180"]
    assert Doubt.DIGITS_AMBIGUOUS in understand(said(0.0), IR).doubts


def test_noise_alone_is_no_reading_and_nothing_heard_is_no_doubt() -> None:
    noise = understand(heard("[unk]"), IR)
    assert (noise.readings, noise.command) == ((), None)
    assert Doubt.UNKNOWN_WORDS in noise.doubts
    silence = understand(Heard("", (), (), 2.0), IR)
    assert (silence.readings, silence.command, silence.doubts, silence.confidence) == ((), None, (), 0.0)
