"""Circuits beside the power circuit: field, brake coil, tacho, encoder, thermal sensor, fan.

Each is judged by its own limits (`grading.components`) and never convicts the winding. A test voltage that it does not
stand is called out besides. What lies between two circuits is insulation and is held against the floor of the more
delicate one.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from grading.case import Case, hold_at_least, in_ohm, judged, note, repeat
from grading.components import COMPONENTS
from grading.details import BesideCircuit, Names
from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.limit import Limit
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import is_open
from grading.rules.held import settle_doubt
from grading.steps import ReasonKind, StepKind, step
from grading.terms.component import Component, between
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import auxiliary

UNDER_VOLTAGE = "insulation.auxiliary"
BESIDE = "insulation.beside"
CIRCUIT = "winding.beside"
_INSULATION = (QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND)
CORE_OPEN = "winding.open_circuit"
_CIRCUIT = (QuantityKind.WINDING_RESISTANCE, QuantityKind.CONTINUITY)


def judge_auxiliary(case: Case) -> Iterator[Finding]:
    """Judge every reading of a circuit beside the power circuit, and every test voltage that one does not stand."""
    for reading in case.in_force(QuantityKind.INSULATION_RESISTANCE):
        yield from _under_voltage(case, reading)
    for kind in _INSULATION:
        for reading in case.beside(kind):
            yield from _insulation(case, reading)
    for kind in _CIRCUIT:
        for reading in case.beside(kind):
            yield _circuit(case, reading)


def floor_beside(case: Case, component: Component) -> Limit | None:
    """Give the floor of a component's insulation; None where a path to earth is part of its design."""
    name = COMPONENTS[component].floor
    return None if name is None else case.limit(name)


def highest_voltage(case: Case, component: Component) -> Decimal:
    """Give the highest test voltage that a component stands, V; 0 where it stands none."""
    row = COMPONENTS[component]
    named = Decimal(0) if row.test_voltage is None else case.limit(row.test_voltage).value
    return max(named, case.voltages.ceiling) if row.by_rating else named


def _under_voltage(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    if reading.power or reading.component is Component.FIELD:
        return
    highest, selected = highest_voltage(case, reading.component), reading.measurement.test_voltage_set
    if selected is not None and selected <= highest:
        return
    names = auxiliary(reading.measurement.terminals) or (reading.measurement.terminals,)
    yield judged(
        UNDER_VOLTAGE,
        Fact.AUXILIARY_UNDER_VOLTAGE,
        Verdict.MARGINAL,
        Urgency.WATCH,
        reading,
        detail=Names(names),
        next_step=step(StepKind.TAKE_AUXILIARY_OUT, ReasonKind.CAN_DESTROY),
    )


def _insulation(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    """Hold the insulation of a circuit to earth, or to another circuit, against its own floor."""
    if not reading.to_earth and not between(reading.measurement.terminals):
        return  # across the circuit itself there is no insulation to test
    limit = floor_beside(case, reading.component)
    if limit is None:
        if reading.shape is not Shape.NONE:
            yield note(BESIDE, Fact.BESIDE_MEASURED, reading, detail=BesideCircuit(reading.component))
    elif reading.shape in (Shape.NONE, Shape.UNEXPLAINED):
        following = step(StepKind.READ_WITH_CONDITIONS, reading.basis)
        yield repeat(BESIDE, Fact.NO_VALUE, following, reading, reason=reading.basis)
        return
    else:
        yield _against(reading, limit, BESIDE)
    for extra in case.profile.extra:
        if (
            extra.applies(reading.section, case.context.motor_kind, reading.component)
            and reading.shape is not Shape.NONE
        ):
            own = extra.of_length(case.context.cable_length_m)
            if own is not None:
                yield _against(reading, own, "insulation.shop")


def _against(reading: BoundedReading, limit: Limit, rule: str) -> Finding:
    meter = reading.kind is QuantityKind.RESISTANCE_TO_GROUND
    detail = BesideCircuit(reading.component)
    verdict, margin = hold_at_least(reading.interval, reading.value, reading.standard_uncertainty, limit)
    if reading.shape is Shape.COLLAPSED or verdict is Verdict.UNACCEPTABLE:
        return judged(
            rule,
            Fact.BESIDE_BELOW_FLOOR,
            Verdict.UNACCEPTABLE,
            Urgency.SERVICE_LIMIT,
            reading,
            detail=detail,
            limit=limit,
            margin=margin,
            next_step=step(StepKind.SPLIT_BESIDE, ReasonKind.BESIDE_LEAKS),
        )
    if verdict is Verdict.INCONCLUSIVE and not (meter and reading.shape is Shape.OVER):
        following = (
            step(StepKind.BETTER_ACCURACY, reading.basis) if reading.doubt is None else settle_doubt(reading.doubt)
        )
        return repeat(rule, Fact.BESIDE_UNDECIDED, following, reading, detail=detail, limit=limit, margin=margin)
    early = not meter and reading.early
    return note(rule, Fact.BESIDE_MEASURED if early else Fact.BESIDE_ABOVE_FLOOR, reading, detail=detail)


def _circuit(case: Case, reading: BoundedReading) -> Finding:
    """Judge a coil, chain or winding beside the power circuit from end to end."""
    component = reading.component
    bound, detail = COMPONENTS[component].open_from, BesideCircuit(reading.component)
    if bound is None and reading.kind is QuantityKind.CONTINUITY:
        bound = CORE_OPEN  # a wire or shield of its cable from end to end, whatever hangs on it
    if reading.shape is Shape.NONE:
        following = step(StepKind.READ_AGAIN, reading.basis)
        return repeat(CIRCUIT, Fact.NO_VALUE, following, reading, reason=reading.basis)
    if bound is None:
        return note(CIRCUIT, Fact.BESIDE_MEASURED, reading, detail=detail)
    if is_open(case, reading, bound):
        field = component is Component.FIELD
        return judged(
            CIRCUIT,
            Fact.BESIDE_OPEN,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE if field else Urgency.SERVICE_LIMIT,
            reading,
            detail=detail,
            limit=case.limit(bound),
            next_step=step(StepKind.CHECK_BESIDE, ReasonKind.FIELD_LOST if field else ReasonKind.BESIDE_OPEN),
        )
    if reading.shape is Shape.OVER and reading.interval.low < in_ohm(case.limit(bound)):
        return repeat(CIRCUIT, Fact.ABOVE_RANGE, step(StepKind.HIGHER_RANGE, ReasonKind.ABOVE_RANGE), reading)
    return note(CIRCUIT, Fact.BESIDE_CLOSED, reading, detail=detail)
