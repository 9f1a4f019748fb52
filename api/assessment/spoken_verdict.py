"""The verdict on an axis in a few words, for somebody who asks for it at the machine."""

from __future__ import annotations

from sqlmodel import Session

from api.assessment.grading_adapter import read_inputs
from api.assessment.history import history_of
from api.assessment.next_point import job_plans
from capture.language.readback import axis_words
from grading.shop import ShopProfile
from grading.verdict import grade_job


def spoken_verdict(session: Session, job_id: str, axis: str | None, profile: ShopProfile | None = None) -> str:
    """Say what the findings are so far: of the axis being worked at, or of every axis that has readings.

    Args:
        session: One consistent snapshot.
        job_id: The job.
        axis: The axis, or None for all.
        profile: The shop's own limits, None for the published ones.
    """
    given = read_inputs(session, job_id)
    past = history_of(session, job_id, given)
    meters = {**past.meters, **given.meters}
    found = grade_job(given.measurements, given.contexts, meters, profile=profile, history=past.visits).to_dict()
    plans = job_plans(session, job_id, profile)
    measured = {measurement.axis for measurement in given.measurements}
    wanted = [one for one in found["axes"] if one["axis"] in measured and axis in (None, one["axis"])]
    if not wanted:
        where = "" if axis is None else f" on {axis_words(axis)}"
        return f"Nothing is confirmed{where} yet, so there is no verdict."
    said = []
    for one in wanted:
        open_points = plans[one["axis"]].next is not None
        so_far = "So far" if open_points else "Verdict"
        name = axis_words(one["axis"])
        said.append(f"{so_far}, {name}: {one['verdict']}. {one['headline']}")
    return " ".join(said)
