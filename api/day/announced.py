"""What a person tells a recorder beside readings: the time of day, and which job or machine it is.

The recogniser of readings knows no such words; the second engine, which writes down what it hears, does. Where it is
not installed nothing of this is understood, and what is needed is asked once for the batch.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

from capture.reading import Heard

_ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
         "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]  # fmt: skip
_TENS = ["twenty", "thirty", "forty", "fifty"]
_NUMBERS = {word: number for number, word in enumerate(_ONES)} | {
    word: 20 + 10 * number for number, word in enumerate(_TENS)
}
_NUMBER = rf"(?:\d{{1,2}}|(?:{'|'.join(_TENS)})(?:[ -](?:{'|'.join(_ONES[1:10])}))?|{'|'.join(reversed(_ONES))})"
_BEGIN = r"\b(?:it is|it's|its|the time is|time is|time)(?: now| about)? "
_NO_VALUE = r"\b(?! (?:point|milli|micro|meg|mega|gig|giga|k|kilo|ohm|volt))"
_PAST = re.compile(rf"{_BEGIN}(quarter|half|{_NUMBER})(?: minutes?)? (past|to) ({_NUMBER}){_NO_VALUE}")
_CLOCK = re.compile(rf"\btime is(?: now| about)? ({_NUMBER})(?: o'?clock|[ :.](?:oh )?({_NUMBER})){_NO_VALUE}")
_JOB = re.compile(rf"\bjob (?:number )?(?:j ?)?({_NUMBER})\b")
_NAMED = re.compile(r"\b(?:machine|job)\b[ :,]+(?:is )?(?:the )?(.+)")


def written(heard: Heard) -> str:
    """Give what the second engine wrote, else what was heard, in lower case without marks."""
    text = heard.text if heard.second is None else heard.second.text
    return re.sub(r"[^a-z0-9:' -]+", " ", text.replace("_", " ").lower()).strip()


def _number(text: str) -> int:
    if text.isdigit():
        return int(text)
    return sum(_NUMBERS[word] for word in re.split(r"[ -]", text))


def said_time(text: str) -> dt.time | None:
    """Find a time of day that is told; of twelve hours, so that only the minutes and the hour's place are sure.

    >>> said_time("right it is ten past two"), said_time("it's quarter to three"), said_time("it is two fifty meg")
    (datetime.time(2, 10), datetime.time(2, 45), None)
    """
    past, clock = _PAST.search(text), _CLOCK.search(text)
    if past is not None:
        minutes = {"quarter": 15, "half": 30}[past[1]] if past[1] in ("quarter", "half") else _number(past[1])
        hour = _number(past[3])
        total = 60 * hour + (minutes if past[2] == "past" else -minutes)
        return dt.time(total // 60 % 24, total % 60) if hour <= 24 and minutes < 60 else None
    if clock is None:
        return None
    hour, minute = _number(clock[1]), _number(clock[2]) if clock[2] else 0
    return dt.time(hour % 24, minute) if hour <= 24 and minute < 60 else None


def late_by(told: dt.time, instant: dt.datetime) -> float:
    """Tell by how much a clock is late that shows an instant when the time is told, s; within six hours either way."""
    shown = instant.hour * 3600 + instant.minute * 60 + instant.second
    apart = (told.hour * 3600 + told.minute * 60) - shown
    half = 12 * 3600
    return float((apart + half // 2) % half - half // 2)


def said_job(text: str, jobs: Sequence[tuple[str, str]]) -> str | None:
    """Find the job that is announced: by its number ("job two"), or by its machine ("machine: gear grinder").

    Args:
        text: The words.
        jobs: Numbers of the jobs ("J2"), each with its machine.

    Returns:
        The job's number; None where none is announced, or more than one fits.
    """
    numbered = _JOB.search(text)
    if numbered is not None:
        wanted = f"J{_number(numbered[1])}"
        return wanted if any(job_id == wanted for job_id, _ in jobs) else None
    named = _NAMED.search(text)
    if named is None:
        return None
    words = set(named[1].split())
    fitting = {job_id: len(words & _name_words(machine)) for job_id, machine in jobs}
    best = max(fitting.values(), default=0)
    found = [job_id for job_id, count in fitting.items() if count == best]
    return found[0] if best and len(found) == 1 else None


def _name_words(machine: str) -> set[str]:
    return {word for word in re.findall(r"[a-z]{4,}", machine.lower()) if word not in ("serial", "machine")}
