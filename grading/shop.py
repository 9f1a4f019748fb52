"""A shop's own limits over the published ones: tighten freely, loosen only with a name and a reason.

Works on the parsed mapping (the caller reads the TOML file). Layout:

    [limits."insulation.machine"]      # id of a published limit
    value = "2"                        # in the unit of the limit
    decided_by = "..."                 # required to loosen
    reason = "..."                     # required to loosen

    [[extra]]                          # a limit of the shop's own
    id = "shop.cable"
    applies_to = "insulation_resistance"
    section = "cable_alone"            # optional
    motor_kind = "ac_servo"            # optional
    value = "100"
    unit = "MOhm"
    decided_by = "..."
    reason = "..."
"""

from __future__ import annotations

from dataclasses import dataclass

from grading.finding import Limit


@dataclass(frozen=True)
class ShopProfile:
    """Limits as the shop wants them.

    Attributes:
        limits: Every limit by id, the changed ones changed.
        notices: One sentence per loosened limit, for every report.
    """

    limits: dict[str, Limit]
    notices: tuple[str, ...] = ()
