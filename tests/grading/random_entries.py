"""Random jobs of the right types and any content, for the laws that no input may break."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from grading.admission import AXIS, INSTRUMENT
from grading.measurement import (
    AxisContext,
    CarrierUse,
    Conductor,
    Connection,
    Instrument,
    InstrumentKind,
    InsulationSystem,
    Measurement,
    MotorKind,
    Visit,
    WindingKind,
)
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import UNITS, Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

WILD = ("NaN", "sNaN", "Infinity", "-Infinity", "0", "-0", "-10", "1E+999999", "-1E-999999", "1E-30", "9" * 40)
USUAL = ("1", "0.5", "25", "40", "60", "100", "250", "400", "500", "600", "85", "-20", "30", "1000", "5000")
NUMBER = st.one_of(st.sampled_from(USUAL), st.sampled_from(USUAL), st.sampled_from(WILD)).map(Decimal)
SANE = st.sampled_from(USUAL).map(Decimal)
DIGITS = st.sampled_from(["0", "0.00", "0.5", "0.80", "1.20", "1.21", "5", "12", "550", "4000", "999999999999", "-5"])
TERMINALS = st.sampled_from(
    ["U-PE", "V-PE", "W-PE", "U+V+W-PE", "U-V", "V-W", "W-U", "A1-A2", "lead-ground", "lead-lead", "", "-", "U",
     "B+-B-",     "PE-PE", "U/PE", "F1-F2", "U-SHAFT", "+-+", "U1-U2", "lead to earth", "\u202e"]
)  # fmt: skip
INSTANT = st.one_of(
    st.none(),
    st.integers(0, 5).map(lambda n: dt.datetime(2021 + n, 3, 4, 5, tzinfo=dt.UTC)),
    st.datetimes(),
    st.datetimes().map(lambda at: at.replace(tzinfo=dt.timezone(dt.timedelta(hours=14)))),
)
KIND = st.one_of(st.sampled_from(QuantityKind), st.sampled_from([QuantityKind.INSULATION_RESISTANCE] * 2))
CODE = st.one_of(st.sampled_from(["MOhm", "Ohm", "GOhm"]), st.sampled_from([*UNITS, None]))


def _fields(names: Any, numbers: st.SearchStrategy[Decimal]) -> dict[str, st.SearchStrategy[Any]]:
    return {name: st.one_of(st.none(), numbers) for name in names}


@st.composite
def measurements(draw: st.DrawFn, axes: tuple[str, ...], number: st.SearchStrategy[Decimal]) -> Measurement:
    """Draw one reading."""
    qualifier = draw(st.one_of(st.just(Qualifier.EQUAL), st.sampled_from(Qualifier)))
    bare = qualifier not in (Qualifier.EQUAL, Qualifier.ABOVE, Qualifier.BELOW)
    optional = st.one_of(st.none(), st.none(), number)
    return Measurement(
        record_id=draw(st.sampled_from(["r1", "r2", "r3", "r4", "r5", "r6", ""])),
        axis=draw(st.sampled_from(axes)),
        section=draw(st.one_of(st.sampled_from(Section), st.none())),
        kind=draw(KIND),
        terminals=draw(TERMINALS),
        quantity=Quantity(None if bare else draw(DIGITS), draw(CODE), qualifier),
        test_voltage_set=draw(st.one_of(st.just(Decimal(500)), number)),
        test_voltage_built=draw(optional),
        elapsed_s=draw(st.one_of(st.just(Decimal(60)), number)),
        at=draw(INSTANT),
        instrument_id=draw(st.sampled_from([None, "m1", "m2", "gone"])),
        position=draw(st.sampled_from([None, "1", "2", "full left", ""])),
        circumstances=draw(st.frozensets(st.sampled_from(Circumstance), max_size=2)),
        winding_c=draw(optional),
        air_c=draw(optional),
        humidity_percent=draw(optional),
    )


@st.composite
def contexts(draw: st.DrawFn, name: str, number: st.SearchStrategy[Decimal]) -> AxisContext:
    """Draw what is known of an axis."""
    given = {key: draw(value) for key, value in _fields(AXIS, number).items() if key != "made_year"}
    given["winding_c_uncertainty"] = draw(number)
    carrier = draw(st.one_of(st.none(), st.builds(CarrierUse, number, number, number, number, number)))
    return AxisContext(
        name,
        draw(st.sampled_from(MotorKind)),
        insulation_system=draw(st.sampled_from(InsulationSystem)),
        winding_kind=draw(st.one_of(st.none(), st.sampled_from(WindingKind))),
        connection=draw(st.sampled_from(Connection)),
        conductor=draw(st.sampled_from(Conductor)),
        thermal_class=draw(st.sampled_from([None, "105", "155", "tropical"])),
        made_year=draw(st.one_of(st.none(), st.integers())),
        carrier=carrier,
        slip_rings=draw(st.booleans()),
        moving_cable=draw(st.sampled_from([None, True, False])),
        **given,
    )


@st.composite
def instruments(draw: st.DrawFn, name: str, number: st.SearchStrategy[Decimal]) -> Instrument:
    """Draw an instrument."""
    return Instrument(
        name,
        draw(st.sampled_from(InstrumentKind)),
        range_end=draw(st.dictionaries(st.sampled_from([0, 250, 500, -1]), number, max_size=3)),
        calibration_due=draw(st.one_of(st.none(), st.dates())),
        **{key: draw(value) for key, value in _fields(INSTRUMENT, number).items()},
    )


@st.composite
def jobs(draw: st.DrawFn) -> dict[str, Any]:
    """Draw what `grade_job` is given: two axes, one of them not described, with earlier visits."""
    number = draw(st.sampled_from([SANE, NUMBER]))
    one = measurements(("X", "Y"), number)
    past = st.builds(
        Visit,
        INSTANT.filter(lambda at: at is not None),
        st.lists(one, max_size=4).map(tuple),
        contexts("X", number),
        st.sampled_from(["", "cleaned"]),
    )
    return {
        "measurements": draw(st.lists(one, max_size=12)),
        "contexts": {"X": draw(contexts("X", number))},
        "instruments": {name: draw(instruments(name, number)) for name in ("m1", "m2")},
        "history": {"X": draw(st.lists(past, max_size=5))},
    }
