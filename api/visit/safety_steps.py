"""The safety steps before an insulation test, as data with their sources: what is asked, by voice or on the page.

This is a checklist of the usual order of work. The site's own lock-out procedure, the machine builder's manual and the
law come first, and nothing here says that anything is safe to touch.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

BUS_LIMIT_V = Decimal(50)
"""Highest voltage on the DC bus at which a test may start, V (program's rule after the same 50 V)."""


@dataclass(frozen=True)
class SafetyStep:
    """One question.

    Attributes:
        id: Stable name.
        question: What is asked, answered by "yes", "no" or "not_applicable".
        why: What happens otherwise, in one sentence.
        source: Where it comes from, and how well that is known.
        may_not_apply: "not_applicable" is an answer that lets the work go on.
        value_unit: Unit of a measured value that must come with "yes"; empty for none.
        cabinet: It holds for the whole cabinet: answered once for a lock-out and person, not for each axis.
        said: What a "yes" to it is read back as.
    """

    id: str
    question: str
    why: str
    source: str
    may_not_apply: bool = False
    value_unit: str = ""
    cabinet: bool = False
    said: str = ""


STEPS: tuple[SafetyStep, ...] = (
    SafetyStep(
        "sources_identified",
        "Is every source known: mains, control transformer, UPS, second feeder, vertical axis, hydraulics, spindle?",
        "A source that was overlooked is not locked out.",
        "NFPA 70E 120.5 step 1 (read in a secondary text); 29 CFR 1910.147(d)(1) (read)",
        cabinet=True,
        said="All sources known",
    ),
    SafetyStep(
        "vertical_supported",
        "Are vertical axes parked on blocks or held otherwise than by their brakes?",
        "A brake alone is no block for work below it.",
        "29 CFR 1910.147(d)(5)(i) (read)",
        may_not_apply=True,
        cabinet=True,
        said="Vertical axes held",
    ),
    SafetyStep(
        "isolated_and_locked",
        "Is the disconnecting means open, locked and tagged with your own lock?",
        "Emergency stop and interlocks isolate nothing.",
        "29 CFR 1910.147(d)(3)–(4) (read); NFPA 70E 120.5 (read in a secondary text)",
        cabinet=True,
        said="Open, locked and tagged",
    ),
    SafetyStep(
        "bus_discharged",
        "Has the drive's marked waiting time passed, and what does the meter show on its DC bus?",
        "Bleeder resistors fail open; only the measured voltage counts.",
        "29 CFR 1910.333(b)(2)(ii)(C), IEC 60204-1 6.2.4 (read in secondary texts); below 50 V: program's rule",
        value_unit="V",
        cabinet=True,
        said="DC bus",
    ),
    SafetyStep(
        "meter_proved_before",
        "Was the meter tried on a known source before the test for absence of voltage?",
        "A dead meter shows zero on anything.",
        "NFPA 70E 120.5, live–dead–live (read in a secondary text)",
        cabinet=True,
        said="Meter tried before",
    ),
    SafetyStep(
        "proved_dead",
        "Does it show no voltage, a.c. and d.c., pole to pole and each pole to ground?",
        "A value from a live circuit is worthless, and taking it can kill.",
        "NFPA 70E 120.5; EN 50110-1 rule 3 (read in secondary texts)",
        cabinet=True,
        said="No voltage anywhere",
    ),
    SafetyStep(
        "meter_proved_after",
        "Was the meter tried on the known source again afterwards?",
        "It may have failed in between.",
        "NFPA 70E 120.5, live–dead–live (read in a secondary text)",
        cabinet=True,
        said="Meter tried again",
    ),
    SafetyStep(
        "adjacent_protected",
        "Are live parts nearby covered or barred, where other cabinets are still on?",
        "What is not under test may still be live.",
        "EN 50110-1 rule 5 (read in a secondary text)",
        may_not_apply=True,
        cabinet=True,
        said="Live parts covered",
    ),
    SafetyStep(
        "drive_disconnected",
        "Are the motor leads off the drive, marked and photographed?",
        "The test voltage destroys a drive's output stage, and a drive falsifies the value.",
        "Maintenance texts (secondary); universal rule of drive makers (from memory)",
        said="Leads off the drive",
    ),
    SafetyStep(
        "auxiliary_out",
        "Are encoder, brake, thermal sensor and fan leads unplugged and out of the test?",
        "Their electronics do not survive the test voltage.",
        "Maintenance text (secondary); no clause of a standard names them: program's rule",
        may_not_apply=True,
        said="Encoder, brake, sensor and fan out",
    ),
    SafetyStep(
        "suppressors_out",
        "Are surge suppressors and filter capacitors off the circuit, or the test voltage below their level?",
        "They conduct, and look like bad insulation.",
        "IEC 60204-1 18.3 (from memory)",
        may_not_apply=True,
        said="Suppressors out",
    ),
    SafetyStep(
        "people_clear",
        "Is everybody clear of both cable ends, and is the shaft held still?",
        "At 500 V nobody holds a lead; a turned permanent-magnet motor is a generator.",
        "Program's rule",
        said="Everybody clear",
    ),
)
"""In the order of work. Discharging after the test is reminded of (`AFTER_TEST`), not gated."""

STEP_BY_ID = {step.id: step for step in STEPS}

AFTER_TEST = "Keep the leads discharged for at least four times the test time, then earth them before you touch them."
"""Said after an insulation value is recorded (IEEE 43's four times the charging time: from memory)."""

DISCHARGE_FACTOR = 4
"""Discharge lasts at least this many times the test (IEEE 43's four times the charging time: from memory)."""

USUAL_TEST_S = Decimal(60)
"""Length of an insulation test whose time nobody said, s: the one-minute reading."""


def meets(step: SafetyStep, answer: str, value: str | None) -> bool:
    """Tell whether an answer lets the work go on.

    Args:
        step: The step.
        answer: "yes", "no" or "not_applicable".
        value: The measured value in plain notation, in the step's unit, where it asks for one.
    """
    if answer == "not_applicable":
        return step.may_not_apply
    if answer != "yes":
        return False
    # abs: a meter connected the wrong way round shows the bus as negative.
    return not step.value_unit or (value is not None and abs(Decimal(value)) < BUS_LIMIT_V)


def discharge_s(test_s: Decimal | None) -> int:
    """Give how long to discharge after an insulation test, s.

    Args:
        test_s: How long the test took, s; None where nobody said.
    """
    return int(DISCHARGE_FACTOR * (test_s or USUAL_TEST_S))
