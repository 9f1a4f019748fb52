"""What the dialogue says about itself: sentences for the machine's notes, and its questions in words."""

from __future__ import annotations

from decimal import Decimal

from api.dialogue.events import Note, PutAnswer, SafetyQuestion
from api.visit.safety_steps import BUS_LIMIT_V, STEP_BY_ID
from capture.language.readback import axis_words, volts_words
from capture.language.say import cardinal

_NOTES = {
    Note.PAUSED: 'Paused. Say "resume listening" to go on.',
    Note.RESUMED: "Listening again.",
    Note.NOT_PAUSED: "I am listening.",
    Note.NOTE_NEXT: "Say the note. It is kept as it is.",
    Note.NOTHING_CONFIRMED: "Nothing is open, so nothing was confirmed.",
    Note.NOTHING_DROPPED: "Nothing is open, so nothing was dropped.",
    Note.NOTHING_ASKED: "No question is open.",
    Note.ONLY_QUESTION: "This is the only question.",
    Note.SKIPPED: "Later.",
    Note.WAITS: "That waits its turn.",
    Note.STILL_OPEN: "Still open:",
    Note.LEFT_WAITS: "What was left open before waits.",
    Note.SAFETY_FIRST: "{axis}: before any insulation test, the safety questions.",
    Note.SAFETY_WAITS: "Do not test the insulation of {axis} yet: its safety questions come next.",
    Note.SAFETY_DONE: "{axis}: all safety questions are answered. Answers are no proof that anything is dead.",
    Note.VOLTS_WANTED: "How many volts does the meter show there?",
    Note.UNSURE: "That was not clear. Say it again.",
    Note.MUST_APPLY: "That always applies: yes or no?",
    Note.SAY_CONFIRM: 'Say "confirm" or "negative".',
    Note.SAY_TWICE: "Not the word: say the value again, from the display.",
}

_TO_DO = {
    "sources_identified": "Find every source first.",
    "vertical_supported": "Block or hold the vertical axes first.",
    "isolated_and_locked": "Open, lock and tag it with your own lock first.",
    "bus_discharged": "Keep clear, wait the marked time, find out why it stays charged, and measure again.",
    "meter_proved_before": "Try the meter on a known source first.",
    "proved_dead": "Treat it as live, keep clear, and look for the source.",
    "meter_proved_after": "Try the meter again; if it fails, prove absence of voltage anew.",
    "adjacent_protected": "Cover or bar the live parts first.",
    "drive_disconnected": "Take the motor leads off the drive first.",
    "auxiliary_out": "Unplug those leads first.",
    "suppressors_out": "Take them off the circuit, or choose a lower test voltage.",
    "people_clear": "Clear both ends and hold the shaft first.",
}
"""What to do where a step is not met."""


def note_words(note: Note, axis: str = "") -> str:
    """Word a note of the machine."""
    name = axis_words(axis) if axis else ""
    return _NOTES[note].format(axis=name[:1].upper() + name[1:])


def safety_words(question: SafetyQuestion) -> str:
    """Ask a safety step."""
    return STEP_BY_ID[question.step].question


def answer_words(put: PutAnswer) -> str:
    """Read the answer to a safety step back; where it keeps the test from beginning, say why and what to do."""
    step = STEP_BY_ID[put.step]
    measured = "" if put.volts is None else f" {volts_words(Decimal(put.volts))}"
    if put.met:
        return f"{step.said}{measured}: {'does not apply' if put.answer == 'not_applicable' else 'yes'}."
    why = step.why
    if put.answer == "yes" and put.volts is not None:
        limit = volts_words(Decimal(BUS_LIMIT_V))
        return (
            f"{step.said}{measured}: that is not below {limit}, so it counts as no. {why} {_TO_DO[step.id]} "
            f"{_held(put.axis)}"
        )
    return f"{step.said}: no. {why} {_TO_DO[step.id]} {_held(put.axis)}"


def _held(axis: str) -> str:
    return f'No insulation test on {axis_words(axis)} before. Say "insulation" when it is done.'


def duration_words(seconds: int) -> str:
    """Say a duration in words: 240 as "four minutes", 200 as "two hundred seconds"."""
    if seconds % 60 == 0:
        minutes = seconds // 60
        return f"{' '.join(cardinal(minutes))} minute{'' if minutes == 1 else 's'}"
    return f"{' '.join(cardinal(seconds))} seconds"
