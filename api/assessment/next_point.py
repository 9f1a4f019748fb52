"""Which test point comes next: grading's plan of each axis over the records in force, in words and for the page."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sqlmodel import Session

from api.assessment.grading_adapter import read_inputs
from api.ledger.canonical import JsonObject, PlainData
from capture.language.readback import axis_words, terminal_words, volts_words
from capture.language.say import cardinal
from capture.reading import Context
from grading.plan import PlanState, Task, plan_axis
from grading.prose.plan import if_bad_text, left_text, plan_reason_text, preparation_text, skipped_text, stop_text
from grading.shop import ShopProfile
from grading.terms.quantity import QuantityKind
from grading.terms.section import SECTION_WORDS
from grading.terms.terminals import ends

_KIND_WORDS = {
    QuantityKind.WINDING_RESISTANCE: "winding resistance",
    QuantityKind.RESISTANCE_TO_GROUND: "ohmmeter",
    QuantityKind.INSULATION_RESISTANCE: "insulation",
    QuantityKind.CONTINUITY: "continuity",
}
ALL_DONE = "Every axis has been through its plan. Look at the findings for what remains."


@dataclass(frozen=True)
class NextPoint:
    """The next test point.

    Attributes:
        context: Where the conversation moves to.
        sentence: What is said.
        written: The point as plain data, for a screen: axis, section, kind, terminals, test voltage in V or None; None
            where no point is left.
    """

    context: Context
    sentence: str
    written: JsonObject | None = None


def job_plans(session: Session, job_id: str, profile: ShopProfile | None = None) -> dict[str, PlanState]:
    """Give the state of every axis of a job in its plan, in the order described.

    Raises:
        NotFound: There is no such job.
    """
    given = read_inputs(session, job_id)
    return {
        name: plan_axis(given.measurements, context, given.meters, profile=profile)
        for name, context in given.contexts.items()
    }


def next_point(session: Session, job_id: str, context: Context, profile: ShopProfile | None = None) -> NextPoint:
    """Tell where to measure next: by this axis's plan, or, where that is done, by the first axis with a point left.

    The context takes over the voltage that the plan asks for, so that the one of the step before does not linger;
    the read-back names it, as any other.
    """
    plans = job_plans(session, job_id, profile)
    here = plans.get(context.axis or "")
    before = ""
    if here is not None and here.next is None:
        before = f"{_sentence(axis_words(context.axis or ''))}: {stop_text(here.stop)} "
    order = [name for name in plans if name == context.axis] + [name for name in plans if name != context.axis]
    for name in order:
        task = plans[name].next
        if task is not None:
            return NextPoint(
                _moved(context, name, task),
                f"{before}Next: {_words(name, task)}. {plan_reason_text(task.point.reason)}",
                _written(name, task),
            )
    return NextPoint(context, before + ALL_DONE)


def points_left(session: Session, job_id: str, context: Context, profile: ShopProfile | None = None) -> str:
    """Say how many test points are left on each axis, and which comes next."""
    plans = job_plans(session, job_id, profile)
    counts = {name: sum(not task.done and not task.skipped for task in state.tasks) for name, state in plans.items()}
    left = {name: count for name, count in counts.items() if count and plans[name].next is not None}
    if not left:
        return ALL_DONE
    total = sum(left.values())
    each = ", ".join(f"{axis_words(name)} {_count(count)}" for name, count in left.items())
    points = "point is" if total == 1 else "points are"
    return f"{_sentence(_count(total))} {points} left: {each}. {next_point(session, job_id, context, profile).sentence}"


def _count(number: int) -> str:
    return " ".join(cardinal(number))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _moved(context: Context, axis: str, task: Task) -> Context:
    point = task.point
    volts = context.test_voltage_set if task.test_voltage is None else task.test_voltage
    return replace(
        context,
        kind=point.kind,
        axis=axis,
        section=point.section,
        terminals=point.terminals,
        test_voltage_set=volts,
        voltage_next=False,
    )


def _words(axis: str, task: Task) -> str:
    point = task.point
    first, second = ends(point.terminals)
    where = f"{terminal_words(first)} end to end" if first == second else terminal_words(point.terminals)
    parts = [axis_words(axis), SECTION_WORDS[point.section], _KIND_WORDS[point.kind], where]
    if task.test_voltage is not None:
        parts.append(f"at {volts_words(task.test_voltage)}")
    if point.positions > 1:
        parts.append(f"at {' '.join(cardinal(point.positions))} shaft positions")
    return ", ".join(parts)


def _written(axis: str, task: Task) -> JsonObject:
    point = task.point
    return {
        "axis": axis,
        "section": point.section.value,
        "kind": point.kind.value,
        "terminals": point.terminals,
        "test_voltage": None if task.test_voltage is None else format(task.test_voltage, "f"),
    }


def plan_for_page(session: Session, job_id: str, profile: ShopProfile | None = None) -> list[PlainData]:
    """Give every axis's plan as the page shows it: each point with whether it is done, due, or left out and why.

    Raises:
        NotFound: There is no such job.
    """
    return [
        {
            "axis": name,
            "stop": " ".join(text for text in (stop_text(state.stop), left_text(state.left)) if text),
            "tasks": [_task(task, task is state.next) for task in state.tasks],
        }
        for name, state in job_plans(session, job_id, profile).items()
    ]


def _task(task: Task, is_next: bool) -> JsonObject:
    point = task.point
    state = "done" if task.done else "skipped" if task.skipped else "next" if is_next else "due"
    return {
        "state": state,
        "section": point.section.value,
        "kind": point.kind.value,
        "terminals": point.terminals,
        "test_voltage": None if task.test_voltage is None else format(task.test_voltage, "f"),
        "seconds": point.seconds,
        "positions": point.positions,
        "reason": plan_reason_text(point.reason),
        "if_bad": if_bad_text(point.if_bad),
        "skipped": skipped_text(task.skipped),
        "prepare": [preparation_text(one) for one in task.prepare],
    }
