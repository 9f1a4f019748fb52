"""How an insulation reading that was held against a limit is worded: passes, fails, collapsed, too close, doubtful."""

from __future__ import annotations

from grading.advice import KEEP_OFF, KEEP_OFF_LOW
from grading.case import repeat
from grading.finding import Conformity, Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.measurement import Circumstance
from grading.reading import BoundedReading, Shape
from grading.words import limit_value, limit_words, measured, place, sentence, span


def passes(reading: BoundedReading, limit: Limit, rule: str, verdict: Verdict, margin: Margin) -> Finding:
    """At or above the limit; marginal inside the guard band."""
    where, fact = place(reading.measurement), measured(reading.measurement)
    if verdict is Verdict.MARGINAL:
        text = f"{where}: inside the guard band just above the limit; {fact} ({limit_words(limit)}){_doubt(margin)}"
        step = NextStep(
            "Repeat with a more accurate instrument, or plan an early retest.",
            "The value meets the limit by less than the uncertainty of the reading.",
        )
        return Finding(
            rule, verdict, Urgency.WATCH, sentence(text), limit, (reading.id,), margin, step, reading.section
        )
    text = f"{where}: within limits at the time of test; {fact} ({limit_words(limit)})"
    return Finding(
        rule, verdict, Urgency.WITHIN_LIMITS, sentence(text), limit, (reading.id,), margin, section=reading.section
    )


def fails(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Wholly below the limit."""
    text = f"{place(reading.measurement)}: below the limit; {measured(reading.measurement)} ({limit_words(limit)})"
    step = NextStep(
        KEEP_OFF,
        f"The insulation to earth is below {limit_value(limit)}.",
    )
    return _not_to_be_energised(reading, limit, rule, margin, text, step)


def collapsed(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """The tester could not build its voltage."""
    estimate = f", {reading.estimate}" if reading.estimate else ""
    text = (
        f"{place(reading.measurement)}: the test voltage could not be established, the insulation conducts; "
        f"{measured(reading.measurement)}, which indicates {span(reading.interval)}{estimate} ({limit_words(limit)})"
    )
    step = NextStep(
        KEEP_OFF_LOW,
        "The insulation conducts so well that the tester cannot build its voltage.",
    )
    return _not_to_be_energised(reading, limit, rule, margin, text, step)


def _not_to_be_energised(
    reading: BoundedReading, limit: Limit, rule: str, margin: Margin, text: str, step: NextStep
) -> Finding:
    """What every certain failure has in common."""
    return Finding(
        rule,
        Verdict.UNACCEPTABLE,
        Urgency.DO_NOT_ENERGISE,
        sentence(text),
        limit,
        (reading.id,),
        margin,
        step,
        reading.section,
        "We recommend not to re-energise from the drive.",
    )


def straddles(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Partly on each side: no verdict, and what would settle it."""
    if reading.shape is Shape.POINT:
        text = f"too close to the limit to tell; {measured(reading.measurement)}, true value {span(reading.interval)}"
        step = NextStep(
            "Repeat with an instrument of better accuracy on the same point.",
            f"The error of this reading ({reading.basis}) reaches across the limit.",
            f"A reading whose whole span lies above or below {limit_value(limit)}.",
        )
    else:
        text = f"this bound cannot tell; {measured(reading.measurement)} ({reading.basis})"
        step = NextStep(
            "Read the value again on a range that shows it, or note the end of the range.",
            "A bound on the near side of the limit proves nothing.",
            f"Any value, or a bound beyond {limit_value(limit)}.",
        )
    statement = sentence(f"{place(reading.measurement)}: {text} ({limit_words(limit)}){_doubt(margin)}")
    return repeat(rule, statement, (reading.id,), step, reading.section, limit, margin)


def doubtful(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Above the limit, but not steady or with a low battery."""
    why = "the value was not steady" if reading.noted(Circumstance.UNSTEADY) else "the tester's battery was low"
    text = f"{place(reading.measurement)}: {why}; {measured(reading.measurement)} ({limit_words(limit)})"
    step = NextStep("Repeat the reading, steady for a full minute, with a good battery.", sentence(why))
    return repeat(rule, sentence(text), (reading.id,), step, reading.section, limit, margin)


def _doubt(margin: Margin) -> str:
    if margin.probability is None or margin.conformity in (None, Conformity.PASS, Conformity.FAIL):
        return ""
    word = str(margin.conformity.value).replace("_", " ")
    return f". Decision rule: {word}, probability of meeting the limit {margin.probability * 100:.0f} %"
