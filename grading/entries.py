"""What can be wrong with an entry, as data: a row that was left out, a value that cannot be, a value asked about.

Each of them makes its axis inconclusive until it is settled; `grading.prose.entries` writes the words.
"""

from __future__ import annotations

from enum import StrEnum

from grading.limit import Limit
from grading.terms.record import record


@record
class LeftOutRow:
    """A row of a sheet that was left out, or a value in it that contradicts another row and was used from neither.

    Attributes:
        line: Line of the text (CSV) or number of the reading (JSON), from 1.
        reason: What is wrong and what to write instead.
        axis: Axis that the row names; None where it names none, so that it may belong to any.
        whole: Whether the whole row was left out, and not one value of it.
    """

    line: int
    reason: str
    axis: str | None = None
    whole: bool = True


class Subject(StrEnum):
    """What an entry speaks of."""

    READING = "reading"
    AXIS = "axis"
    INSTRUMENT = "instrument"
    VISIT = "visit"


class Impossible(StrEnum):
    """Why a value cannot be."""

    NO_NUMBER = "no_number"  # not a number, or infinite
    NOT_ABOVE_ZERO = "not_above_zero"
    NEGATIVE = "negative"
    BELOW = "below"  # below the least that can be
    ABOVE = "above"  # above the most that can be
    NO_TIME_ZONE = "no_time_zone"


@record
class LeftOutValue:
    """A value that cannot be, and was left out.

    Attributes:
        subject: What it speaks of.
        name: Record, axis or instrument.
        field: Field of `grading.measurement` that holds it.
        given: The value as given.
        why: Why it cannot be.
        bound: The bound that it lies beyond, or None.
    """

    subject: Subject
    name: str
    field: str
    given: str
    why: Impossible
    bound: Limit | None = None


class QuestionCode(StrEnum):
    """What is asked about an entry."""

    MILLI_FOR_MEGA = "milli_for_mega"  # an insulation in milliohms
    MEGA_FOR_MILLI = "mega_for_milli"  # a winding in megohms
    KILOWATT_FOR_WATT = "kilowatt_for_watt"
    WATT_FOR_KILOWATT = "watt_for_kilowatt"  # more watts than any servo has: kilowatts times a thousand
    FAHRENHEIT = "fahrenheit"
    BEYOND_RANGE = "beyond_range"  # more than the instrument shows at this test voltage
    BELOW_RESOLUTION = "below_resolution"  # less than the instrument can tell from zero
    NO_TESTER_DRIVES = "no_tester_drives"  # an insulation on which no tester holds its voltage
    THOUSANDFOLD = "thousandfold"  # the unit, and so the size, of one reading beside others like it
    LITTLE_FOR_BRAKE = "little_for_brake"  # less than the coil of any holding brake
    MOTOR_KIND = "motor_kind"  # nobody chose it


@record
class Question:
    """A value that can be but seldom is; it is not used until somebody has answered.

    Attributes:
        code: What is asked.
        axis: Axis.
        record_id: Reading that it stands in; None for what is known of the axis.
        field: Field of `grading.measurement` that holds it.
        given: The value as given, with its unit.
        candidates: What may have been meant instead, with units.
        limit: The limit beyond which it is asked about, or None.
        shown: What the instrument can show at most or at least, or the reading that it is compared with, with unit; ""
            where that is not at issue.
    """

    code: QuestionCode
    axis: str
    record_id: str | None
    field: str
    given: str
    candidates: tuple[str, ...]
    limit: Limit | None = None
    shown: str = ""
