"""The probability that an utterance was understood rightly: fitted beside the model, by rules where it is not."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize

from capture.errors import ModelError
from capture.reading import Command, Context, Doubt, Heard, Hypothesis, Judged, OwnTranscript, Word
from capture.speech.confidence import FILE, ConfidenceModel, load_confidence_model, load_weights, probability
from capture.speech.features import FEATURES, features
from capture.speech.level import MAX_OVER_NOISE_DB, LevelMeter
from capture.speech.model_files import default_model_path
from capture.speech.recogniser import SpeechModel
from capture.speech.second_opinion.judge import Weights
from capture.speech.second_opinion.moonshine import Moonshine
from capture.speech.understand import best_meaning, understand
from fixtures.training.speech_model.calibrate import fit
from fixtures.training.speech_model.hearings import fingerprint
from fixtures.training.speech_model.weigh import APART_COST, OWN_COST, SECOND
from grading.terms.quantity import QuantityKind

IR = Context(kind=QuantityKind.INSULATION_RESISTANCE)


def heard(text: str, *others: tuple[str, float], confidence: float = 1.0) -> Heard:
    words = tuple(Word(word, at * 0.3, at * 0.3 + 0.25, confidence) for at, word in enumerate(text.split()))
    return Heard(text, words, (Hypothesis(text, 0.0), *(Hypothesis(*other) for other in others)), 3.0, 30.0)


def model_of(**weights: float) -> ConfidenceModel:
    """Make a confidence model of weights by name, thresholds of one half and a tenth."""
    return ConfidenceModel(tuple(weights.get(name, 0.0) for name in FEATURES), weights.get("bias", 0.0), 0.5, 0.5, 0.1)


def test_the_probability_is_the_logistic_function() -> None:
    assert probability((1.0, -2.0), 0.5, (3.0, 1.0)) == pytest.approx(1 / (1 + math.exp(-1.5)))
    assert probability((1e9,), 0.0, (1.0,)) == pytest.approx(1.0)


def test_the_fit_is_the_least_of_the_penalised_loss() -> None:
    """The general minimiser of scipy on the same loss is the outside source."""
    rng = np.random.default_rng(3)
    rows = rng.normal(size=(400, 3)) * [1.0, 5.0, 0.2] + [0.0, 3.0, 1.0]
    right = (rng.random(400) < 1 / (1 + np.exp(-(rows @ [1.0, -0.3, 4.0] - 3.0)))).astype(float)
    middle, spread = rows.mean(axis=0), rows.std(axis=0)
    scaled = (rows - middle) / spread

    def loss(weights: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        odds = scaled @ weights[:3] + weights[3]
        return float(np.sum(np.log1p(np.exp(odds)) - right * odds) + 3.0 / 2 * np.sum(weights[:3] ** 2))

    other = minimize(loss, np.zeros(4), method="BFGS", options={"gtol": 1e-8}).x
    found = fit(rows, right, ridge=3.0)
    assert found[:3] * spread == pytest.approx(other[:3], abs=1e-3)
    assert found[3] + found[:3] @ middle == pytest.approx(other[3], abs=1e-3)


def test_features_are_finite_and_in_the_order_of_their_names() -> None:
    for text in ("five meg", "", "[unk]", "confirm", "x ray axis"):
        found = features(*best_meaning(heard(text), IR))
        assert len(found) == len(FEATURES)
        assert all(math.isfinite(feature) for feature in found)
    told = dict(
        zip(
            FEATURES,
            features(*best_meaning(heard("fifty meg [unk] [unk]", ("fifteen meg [unk] [unk]", -1.0)), IR)),
            strict=True,
        )
    )
    assert told["unknown"] == 0.5
    assert told["twin"] == 1.0
    told = dict(zip(FEATURES, features(*best_meaning(heard("confirm"), IR)), strict=True))
    assert (told["command"], told["place"]) == (1.0, 0.0)


def test_less_confident_words_and_nearer_rivals_lower_the_features() -> None:
    def feature(name: str, said: Heard) -> float:
        return dict(zip(FEATURES, features(*best_meaning(said, IR)), strict=True))[name]

    assert feature("least_word", heard("five meg", confidence=0.4)) < feature(
        "least_word", heard("five meg", confidence=0.9)
    )
    near, far = heard("five meg", ("nine meg", -0.5)), heard("five meg", ("nine meg", -5.0))
    assert feature("meaning", near) < feature("meaning", far)
    assert feature("margin", near) < feature("margin", far)


def test_thresholds_decide_what_is_taken_asked_or_left() -> None:
    by_word = model_of(least_word=1.0)
    assert understand(heard("five meg", confidence=0.8), IR, by_word).doubts == ()
    doubtful = understand(heard("five meg", confidence=0.3), IR, by_word)
    assert doubtful.readings
    assert doubtful.doubts == (Doubt.LOW_CONFIDENCE,)
    assert doubtful.confidence == pytest.approx(0.3, abs=1e-3)
    assert understand(heard("five meg", confidence=0.05), IR, by_word).readings == ()
    assert understand(heard("confirm", confidence=0.8), IR, by_word).command is Command.CONFIRM
    assert understand(heard("confirm", confidence=0.3), IR, by_word).command is None


def test_a_model_without_coefficients_goes_by_rules(tmp_path: Path) -> None:
    assert load_confidence_model(tmp_path) == ConfidenceModel()


@pytest.mark.parametrize(
    "damage",
    ["{", "[]", '{"weights": {}}', '{"weights": {"least_word": 1}, "bias": 0, "thresholds": {}}', '{"bias": 1}'],
)
def test_damaged_coefficients_are_refused(tmp_path: Path, damage: str) -> None:
    (tmp_path / FILE).write_text(damage, "utf-8")
    with pytest.raises(ModelError) as caught:
        load_confidence_model(tmp_path)
    assert caught.value.code == "model_damaged"


def test_the_shipped_coefficients_were_fitted_for_the_shipped_model_and_grammar(speech: SpeechModel) -> None:
    """Whoever changes model, lexicon or grammar must run `python -m fixtures.training.speech_model.calibrate` again."""
    told = json.loads((default_model_path() / FILE).read_text("utf-8"))
    assert told["model"] == fingerprint(speech)
    assert speech.confidence_model.weights == tuple(told["weights"].values())
    assert 0 < speech.confidence_model.offer < speech.confidence_model.accept_reading < 1
    assert SpeechModel(phrases=["confirm"]).confidence_model == ConfidenceModel()


def test_speech_over_noise_is_measured() -> None:
    """A tone of known power over noise of known power: the level in decibels is their ratio."""
    rng = np.random.default_rng(2)
    for wanted in (10.0, 30.0):
        noise = rng.normal(0, 100, 48_000)
        tone = 100 * 10 ** (wanted / 20) * math.sqrt(2) * np.sin(np.arange(24_000) * 0.3)
        noise[12_000:36_000] += tone
        meter = LevelMeter()
        pcm = noise.astype("<i2").tobytes()
        for at in range(0, len(pcm), 1234):
            meter.add(pcm[at : at + 1234])
        assert meter.over_noise() == pytest.approx(wanted, abs=2.0)
    quiet = LevelMeter()
    assert quiet.over_noise() == 0.0
    quiet.add(bytes(6400))
    assert quiet.over_noise() == 0.0
    quiet.add(np.full(6400, 30_000, "<i2").tobytes())
    assert quiet.over_noise() == MAX_OVER_NOISE_DB


def judged(text: str, *alternatives: tuple[str, float, float], own: str, own_log_p: float) -> Heard:
    """Make a hearing with a second opinion: alternatives with the first engine's score and the second one's log p."""
    words = tuple(Word(word, float(at), at + 0.5, 0.99) for at, word in enumerate(text.split()))
    made = tuple(Hypothesis(text, first + 0.75 * second, Judged(first, second)) for text, first, second in alternatives)
    ranked = tuple(sorted(made, key=lambda one: -one.score))
    return Heard(text, words, ranked, 2.0, 40.0, second=OwnTranscript("told", own, own_log_p, 4))


def test_what_either_engine_would_have_chosen_stands_among_the_choices() -> None:
    heard = judged("five meg", ("five meg", 0.0, -9.0), ("nine meg", -5.0, -3.0), own="9 Meg", own_log_p=-2.0)
    utterance, found = best_meaning(heard, IR)
    assert found.opinion is not None
    assert not found.opinion.agree
    assert utterance.readings[0].quantity.digits == "5"  # 0 - 6.75 against -5 - 2.25
    assert found.opinion.margin == pytest.approx(-6.0)
    assert found.opinion.behind == pytest.approx((-2.0 + 9.0) / 4)
    told = understand(heard, IR, ConfidenceModel())
    digits = {told.readings[0].quantity.digits, *(other.quantity.digits for other in told.alternatives)}
    assert {"5", "9"} <= digits


def test_how_far_words_lie_behind_is_told_in_plain_words() -> None:
    """A single digit that both engines heard: its capital and full stop are no distance."""
    heard = judged("four", ("four", 0.0, -4.0), own="Four.", own_log_p=-1.0)
    assert heard.second is not None
    plainly = replace(heard, second=replace(heard.second, plain_log_p=-4.0))
    _, found = best_meaning(plainly, IR)
    assert found.opinion is not None
    assert found.opinion.behind == 0.0


def test_a_clip_whose_every_candidate_holds_words_of_the_second_engine_is_judged() -> None:
    """Of many stretches the candidates kept may all hold some: the one with fewest stands for the first engine."""
    heard = judged("nine meg", ("five meg", -1.0, -3.0), ("nine meg", -2.0, -9.0), own="5 Meg.", own_log_p=-2.0)
    added = [
        replace(one, judged=replace(one.judged, added=at + 1))
        for at, one in enumerate(heard.alternatives)
        if one.judged
    ]
    _, found = best_meaning(replace(heard, alternatives=tuple(added)), IR)
    assert found.opinion is not None
    assert found.opinion.agree


def test_a_trade_word_that_the_second_engine_writes_otherwise_leaves_no_doubt() -> None:
    """Where both mean the same, the first engine's words stand, however much the second prefers its own."""
    ours, theirs = "ohmmeter a one to a two point eight zero ohms", "only to a one to a two point eight zero ohms"
    heard = judged(ours, (ours, 0.0, -23.0), (theirs, -4.0, -11.0), own="Only to A1 to A2, 0.80 ohms.", own_log_p=-11.0)
    told = understand(heard, Context())
    assert told.heard.text == ours
    assert Doubt.UNKNOWN_WORDS not in told.doubts
    assert told.readings[0].quantity.digits == "0.80"


def test_talk_lies_far_behind_what_the_second_engine_would_write() -> None:
    """A word of ours that sounded certain, where a general engine hears another word altogether."""
    talk = judged("pegged", ("pegged", 0.0, -22.0), own="Bed.", own_log_p=-1.0)
    alone = replace(talk, second=None, alternatives=(Hypothesis("pegged", 0.0),))
    assert understand(alone, IR).confidence > 0.9
    told = understand(talk, IR)
    assert told.confidence < 0.6
    assert Doubt.LOW_CONFIDENCE in told.doubts
    near = judged("five meg", ("five meg", 0.0, -4.0), own="5 Meg.", own_log_p=-1.5)
    assert understand(near, IR).readings
    assert understand(talk, IR, ConfidenceModel()).readings == ()


def test_a_second_opinion_never_speaks_for_teen_or_ty() -> None:
    heard = judged("fifteen meg", ("fifteen meg", 0.0, -2.0), ("fifty meg", -0.3, -2.0), own="15 Meg.", own_log_p=-1.0)
    alone = replace(heard, second=None, alternatives=tuple(replace(one, judged=None) for one in heard.alternatives))
    assert understand(heard, IR).confidence <= understand(alone, IR).confidence + 1e-9


@pytest.mark.parametrize(
    ("alone", "agree", "acts"), [(0.6, True, True), (0.4, True, False), (0.6, False, False), (0.95, False, True)]
)
def test_what_acts_needs_the_first_engine_too_or_that_both_hear_the_same(alone: float, agree: bool, acts: bool) -> None:
    """Even by these coefficients; what they fit by their features is measured (the card's tables)."""

    def flat(likely: float, count: int, judged: ConfidenceModel | None = None) -> ConfidenceModel:
        bias = math.log(likely / (1 - likely))
        return ConfidenceModel((0.0,) * count, bias, 0.9, 0.9, 0.1, judged=judged)

    both = flat(0.95, len(FEATURES), None)
    model = flat(alone, len(FEATURES), both)
    other = ("six point", -9.0, -9.0 if agree else -1.0)
    heard = judged("next point", ("next point", 0.0, -2.0), other, own="Next point.", own_log_p=-2.0)
    told = understand(heard, Context(), model)
    assert (told.command is Command.NEXT) is acts


def test_the_coefficients_with_a_second_opinion_were_fitted_for_it() -> None:
    told = json.loads((default_model_path() / FILE).read_text("utf-8"))["second_opinion"]
    assert told["engine"] == Moonshine.name
    weights = load_weights(default_model_path())
    assert weights == Weights(told["weight"], told["own_cost"], told["apart_cost"])
    assert (weights.second, weights.own_cost, weights.apart_cost) in set(product(SECOND, OWN_COST, APART_COST))
    assert told["confidence"]["model"] == fingerprint(SpeechModel(second=Moonshine()))
