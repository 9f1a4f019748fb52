"""Verdict per axis and per job: runs every rule over the records and ranks what comes out.

`grade_axis` and `grade_job` are the two entry points for the server and the command line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from grading.finding import AxisVerdict, JobVerdict
from grading.measurement import AxisContext, Instrument, Measurement, Visit
from grading.shop import ShopProfile


def grade_axis(
    measurements: Sequence[Measurement],
    context: AxisContext,
    instruments: Mapping[str, Instrument] | None = None,
    *,
    profile: ShopProfile | None = None,
    history: Sequence[Visit] = (),
) -> AxisVerdict:
    """Grade one axis.

    Args:
        measurements: Records in force (superseded ones left out), in the order measured. Those of other axes are
            ignored.
        context: What is known of the axis.
        instruments: By id. A measurement whose instrument is not here is judged with the widest error that a
            tester of IEC 61557-2 may have, and says so.
        profile: The shop's own limits; None for the published ones.
        history: Earlier visits of this axis, oldest first, for the trend.

    Returns:
        The verdict. No input makes this raise: what cannot be judged becomes an inconclusive finding.
    """
    raise NotImplementedError


def grade_job(
    measurements: Sequence[Measurement],
    contexts: Mapping[str, AxisContext],
    instruments: Mapping[str, Instrument] | None = None,
    *,
    profile: ShopProfile | None = None,
    history: Mapping[str, Sequence[Visit]] | None = None,
) -> JobVerdict:
    """Grade all axes of one visit.

    Args:
        measurements: Records in force of all axes.
        contexts: By axis name. An axis that was measured but is missing here is judged as an a.c. servo of unknown
            rating, and says so.
        instruments: By id.
        profile: The shop's own limits.
        history: Earlier visits by axis name, oldest first.
    """
    raise NotImplementedError
