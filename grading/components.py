"""What an axis is made of, as data: test points, the test voltage that each component stands, and its limits.

The figures stand in `grading.limits`; a component without a test voltage is measured with an ohmmeter only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from grading.terms.component import Component


@dataclass(frozen=True)
class ComponentTest:
    """How one component is tested.

    Attributes:
        points: Its usual test points.
        test_voltage: Id of the limit on its test voltage; None where none may be applied. The power circuit and the
            field go by the motor's rating (`grading.voltage.choose`) and leave it empty.
        by_rating: Whether the motor's rating chooses the test voltage.
        floor: Id of the limit on its insulation to earth and to every other circuit, as measured; None where a path to
            earth is part of its design.
        open_from: Id of the limit from which its circuit is open; None where an ohmmeter says nothing of it.
        source: Where the row comes from.
    """

    points: tuple[str, ...]
    test_voltage: str | None
    by_rating: bool
    floor: str | None
    open_from: str | None
    source: str


_OUT = "common practice, no source: unplugged, ohmmeter only"

COMPONENTS: Mapping[Component, ComponentTest] = {
    Component.POWER: ComponentTest(
        ("U-V", "V-W", "W-U", "U+V+W-PE", "A1-A2", "A1+A2-PE"), None, True, "insulation.machine",
        "winding.open_circuit", "IEC 60204-1, 18.3 and IEEE 43-2013 (secondary texts)"),
    Component.CORES: ComponentTest(
        ("U-PE", "U-V", "U-shield", "U-U"), "voltage.cable_ceiling", True, "insulation.machine",
        "winding.open_circuit", "IEC 60204-1, 18.3 (secondary text); test voltage: program's rule"),
    Component.CONNECTOR: ComponentTest(
        ("plug U-PE", "plug U-V"), "voltage.cable_ceiling", True, "insulation.machine",
        "winding.open_circuit", "IEC 60204-1, 18.3 (secondary text); test voltage: program's rule"),
    Component.FIELD: ComponentTest(
        ("F1-F2", "F1+F2-PE", "A1-F1"), None, True, "insulation.machine",
        "winding.open_beside", "IEC 60204-1, 18.3 (secondary text); bound: program's rule"),
    Component.BRAKE: ComponentTest(
        ("B+-B-", "B+-PE", "B+-U"), "voltage.extra_low", False, "insulation.extra_low",
        "winding.open_beside",
        "IEC 60364-6, Table 6.1 (secondary text), as an extra-low circuit; bound: program's rule"),
    Component.TACHO: ComponentTest(
        ("TACHO+-TACHO-", "TACHO-PE"), None, False, "insulation.extra_low",
        "winding.open_beside", _OUT),
    Component.THERMAL: ComponentTest(
        ("TH1-TH2", "PTC-PE", "PTC-U"), None, False, "insulation.extra_low",
        "winding.open_beside", _OUT),
    Component.FAN: ComponentTest(
        ("FAN1-FAN2", "FAN-PE"), "voltage.installation", False, "insulation.installation",
        "winding.open_beside", "IEC 60364-6, Table 6.1 (secondary text); bound: program's rule"),
    Component.FEEDBACK: ComponentTest(
        ("ENC 5V-ENC 0V", "ENC shield-PE"), None, False, None,
        None, _OUT),
}  # fmt: skip
"""Every component; a row is written once and read by the rules on it."""
