"""The figures of one fact, typed: what a finding carries beside its measured values (`grading.facts.Fact`).

Resistances are in ohm, voltages in V, currents in mA, temperatures in °C, unless a name says otherwise.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from grading.absorption import AbsorptionRatio
from grading.entries import LeftOutRow, LeftOutValue, Question
from grading.interval import Interval
from grading.isolation import Location, Part
from grading.limit import Limit
from grading.live import LiveState
from grading.measurement import Connection, InsulationSystem
from grading.terms.component import Component
from grading.terms.record import record
from grading.voltage import ChoiceReason
from grading.winding import ArmatureSurvey


@record
class CollapseEstimate:
    """What the voltage left says: resistance by the tester's current, and whether a value shown with it fits."""

    interval: Interval
    least_ma: Decimal
    most_ma: Decimal
    own_current: bool
    """The current is the tester's own, on record, and not what any tester drives."""
    implied_ma: Decimal | None = None
    fits: bool | None = None


@record
class TrueValue:
    """Every value that a reading leaves possible; the estimate beside it where the voltage was not built."""

    interval: Interval
    estimate: CollapseEstimate | None = None


@record
class VoltageWanted:
    """Test voltage that a limit presupposes, and the one that was used (None where not recorded)."""

    wanted: Decimal
    used: Decimal | None = None


@record
class Ohms:
    """A computed resistance, ohm; None where the fact speaks of none."""

    value: Decimal | None


@record
class Correction:
    """How a value was brought to 40 °C.

    Attributes:
        system: The correction used; UNKNOWN where both were made; the factor is then the lower one.
        assumed_year: Year of manufacture from which the system was assumed, or None.
        factor: Correction factor, or None without a winding temperature.
        winding_c: Winding temperature, or None; then the whole range from `lowest_c` to `highest_c` is taken.
        winding_uncertainty_c: How well it is known, ±.
        winding_own: Whether it was noted with the reading, and is not the axis's default.
        factors: The factor of each system where both are computed.
        lowest_c: Lower end of the range of the correction.
        highest_c: Upper end of it.
    """

    system: InsulationSystem
    assumed_year: int | None
    lowest_c: Decimal
    highest_c: Decimal
    winding_c: Decimal | None = None
    winding_uncertainty_c: Decimal | None = None
    winding_own: bool = True
    factor: Decimal | None = None
    factors: tuple[tuple[InsulationSystem, Decimal], ...] = ()


@record
class Corrected40:
    """A value at 40 °C.

    Attributes:
        interval: Bounds.
        value: Point value, or None.
        correction: How it was corrected.
        limit: The limit that holds there, whether or not the finding judges by it.
        rated_power_w: Motor's rated power, or None.
        scope: Rated power below which the standard applies by analogy only.
    """

    interval: Interval
    value: Decimal | None
    correction: Correction
    limit: Limit
    rated_power_w: Decimal | None
    scope: Limit


@record
class Climate:
    """Temperatures about a dew point, °C, and relative humidity, %."""

    dew_c: Decimal
    winding_c: Decimal | None = None
    air_c: Decimal | None = None
    humidity_percent: Decimal | None = None


@record
class Cleaned:
    """The value before cleaning, all that it leaves possible, and by how much the value after is better at least."""

    before: Interval
    times_better: Decimal


@record
class Names:
    """Names that the fact speaks of: leads."""

    names: tuple[str, ...]


@record
class ByLength:
    """Insulation of a cable times its length.

    Attributes:
        least: The least that it can be, ohm·km.
        value: Point value, ohm·km, or None.
        length_m: Length, m.
        air_c: Temperature of the air, and so of the cable, °C; None where not known.
        factor: What brings it to the reference temperature; None without the air's.
        reference: The reference temperature.
        halving: The rise in which it is taken to halve.
    """

    least: Decimal
    value: Decimal | None
    length_m: Decimal
    air_c: Decimal | None = None
    factor: Decimal | None = None
    reference: Limit | None = None
    halving: Limit | None = None


@record
class BesideCircuit:
    """A circuit beside the power circuit."""

    component: Component


@record
class LiveCircuit:
    """What was found on a circuit that must be dead, and whether a later record showed it dead again."""

    state: LiveState
    current: bool
    taken_back: bool


@record
class Ceiling:
    """Test voltage selected, the highest chosen for the motor, and where that choice comes from."""

    selected: Decimal
    highest: Decimal
    reason: ChoiceReason


@record
class Calibration:
    """An instrument and the last day on which its calibration was in date."""

    instrument: str
    due: dt.date


@record
class Ratio:
    """A ratio or a share in percent, as the fact says."""

    value: Decimal


@record
class Absorption:
    """An absorption ratio, with the band in use for it where there is one."""

    ratio: AbsorptionRatio
    band: str | None = None
    band_limit: Limit | None = None


@record
class Polarity:
    """Values to earth with the leads one way and the other."""

    straight: Decimal
    reversed: Decimal


@record
class Phases:
    """Three pairs of leads against each other.

    Attributes:
        percent: Largest deviation from the mean.
        count_percent: One count of the meter in percent of the mean.
        count_told: Whether one count is worth telling.
        look: Limit from which unbalance is looked at.
        connection: How the phases are joined.
        phases: Calculated phases, ohm; empty where the connection is unknown.
        fits: Whether the readings fit the connection at all.
    """

    percent: Decimal
    count_percent: Decimal
    count_told: bool
    look: Limit
    connection: Connection
    phases: tuple[Decimal, ...] = ()
    fits: bool = True


@record
class Armature:
    """An armature over shaft positions: the survey, how many, the names of the outliers, and how many are wanted."""

    survey: ArmatureSurvey
    positions: int
    outliers: tuple[str, ...]
    wanted: Decimal


@record
class Nameplate:
    """A winding's value at the nameplate's temperature, the nameplate's own, and how far off, percent."""

    value: Decimal
    reference_c: Decimal
    assumed: bool
    plate: Decimal
    off_percent: Decimal


@record
class RatedOrder:
    """An armature's value and the range that its rating lets expect."""

    value: Decimal
    low: Decimal
    high: Decimal


@record
class Joint:
    """What is left of the cabinet's reading after motor and cable; the larger of `limit` and `share` is allowed."""

    residual: Decimal
    cabinet: Decimal
    motor: Decimal
    cable: Decimal
    limit: Limit
    share: Limit


@record
class CableCopper:
    """A reading from the cabinet, the most that it means, and both cores of the cable between; all in ohm."""

    cabinet: Decimal
    most: Decimal
    cable: Decimal


@record
class Located:
    """Where the decision table puts the fault, and the floor by which it takes a part as low."""

    location: Location
    floor: Limit


@record
class Consistency:
    """The whole as measured, as calculated from its parts, and the third path that would explain it."""

    whole: Interval
    expected: Interval
    path: Interval | None = None


@record
class UnmeasuredPart:
    """A part calculated from the others; `magnified` is how much its error grows where that is too much."""

    part: Part
    interval: Interval
    magnified: Decimal | None
    limit: Limit


@record
class Change:
    """A value now against the visit before; `before` is a lower bound where it was over range.

    The temperatures, °C, are those of values that stand as measured; None where they were brought to 40 °C or unknown.
    """

    now: Decimal
    before: Decimal
    before_over: bool
    on: dt.date
    factor: Decimal
    before_c: Decimal | None = None
    now_c: Decimal | None = None


@record
class Course:
    """The line through several visits and when it meets a limit; times in years from the last visit.

    Attributes:
        visits: How many.
        years: Time that they span.
        bounds: Whether over-range values were counted as bounds.
        yearly_factor: What a year multiplies the value by.
        limit: The limit that the line is heading for.
        horizon: Years beyond which nothing is foretold.
        horizon_factor: How many times the record that is.
        reached: When the line meets the limit, or None.
        band: 95 % band of that time, or None.
    """

    visits: int
    years: Decimal
    bounds: bool = False
    yearly_factor: Decimal | None = None
    limit: Limit | None = None
    horizon: Decimal | None = None
    horizon_factor: Decimal | None = None
    reached: Decimal | None = None
    band: tuple[Decimal, Decimal] | None = None


Detail = (
    TrueValue | VoltageWanted | Ohms | Corrected40 | Climate | Cleaned | Names | ByLength | BesideCircuit
    | LiveCircuit | Ceiling | Calibration | Ratio
    | Absorption | Polarity | Phases | Armature | Nameplate | RatedOrder | Joint | CableCopper | Located | Consistency
    | UnmeasuredPart | Change | Course | LeftOutRow | LeftOutValue | Question
)  # fmt: skip
"""Figures of one fact."""
