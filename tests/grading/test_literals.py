"""No limit stands outside the table of limits: every number written into `grading` is one of those named here.

A number is a literal, or a text that reads as one (`Decimal("0.3")`). What is left beside the tables of limits is
arithmetic, units, constants of formulas with their source, and bounds of numerical methods; each is justified below.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import grading

PACKAGE = Path(grading.__file__).parent
TABLES = {"limits.py", "limit_rows.py", "entry_limits.py"}
ANYWHERE: dict[float, str] = {
    0: "zero, first index",
    1: "one, last index (-1)",
    2: "halves, squares, pairs, both ends of a test point",
    100: "percent",
}
CONSTANTS: dict[tuple[str, str], str] = {
    ("absorption.py", "PI_TIMES"): "the two times that define the polarization index (IEEE 43)",
    ("absorption.py", "DAR_TIMES"): "the two times that define the absorption ratio (common practice)",
    ("absorption.py", "_CLASSES"): "names of thermal classes (IEC 60085), not quantities",
    ("absorption.py", "_KNOWN_CLASSES"): "names of thermal classes (IEC 60085), not quantities",
    ("energy.py", "MICRO"): "unit factor",
    ("energy.py", "MILLI"): "unit factor",
    ("finding.py", "_SEVERITY"): "order of the verdicts",
    ("summary.py", "MOST_NAMED"): "how many readings one sentence names",
    ("prose/motor.py", "SHOWN_DIGITS"): "significant digits of a correction factor as shown",
    ("interval.py", "METRES_PER_KM"): "unit factor",
    ("plausibility.py", "KILO"): "unit factor",
    ("plausibility.py", "ROOT_3"): "three phases",
    ("plausibility.py", "FAHRENHEIT_ZERO_C"): "definition of the degree Fahrenheit",
    ("plausibility.py", "FAHRENHEIT_PER_C"): "definition of the degree Fahrenheit",
    ("terms/terminals.py", "PHASES"): "windings of a three-phase motor",
    ("rules/parts.py", "CORES"): "power cores of a cable by motor kind",
    ("rules/phases.py", "PAIRS"): "three leads make three pairs",
    ("rules/trend.py", "DAYS_A_YEAR"): "unit factor (Julian year)",
    ("rules/trend.py", "SECONDS_A_DAY"): "unit factor",
    ("sheet_columns.py", "MAX_ROWS"): "capacity of a sheet, no quantity of the trade",
    ("temperature.py", "_EXACT"): "digits of decimal arithmetic",
    ("temperature.py", "CACHED"): "how many factors are kept at hand",
    ("temperature.py", "REFERENCE_C"): "reference temperature of IEEE 43-2013, 6.3",
    ("temperature.py", "ZERO_RESISTANCE_C"): "constants of copper and aluminium (secondary texts)",
    ("temperature.py", "HALVING_K"): "constant of the thermoplastic correction (IEEE 43-2013, 6.3; from memory)",
    ("temperature.py", "ENERGY_HOT"): "constant of the thermosetting correction (IEEE 43-2013, 6.3; from memory)",
    ("temperature.py", "ENERGY_COLD"): "constant of the thermosetting correction (IEEE 43-2013, 6.3; from memory)",
    ("temperature.py", "KELVIN"): "zero of the Celsius scale as the published table rounds it",
    ("temperature.py", "MAGNUS_A"): "constant of the Magnus formula (from memory)",
    ("temperature.py", "MAGNUS_B"): "constant of the Magnus formula (from memory)",
    ("temperature.py", "MAGNUS_RANGE"): "range of the Magnus formula (from memory)",
    ("trend.py", "DECADE"): "base of the logarithm",
    ("trend.py", "_MOST_ROUNDS"): "bound of a numerical method",
    ("trend.py", "_TOLERANCE"): "bound of a numerical method",
    ("trend.py", "_SIGMA_START"): "bound of a numerical method",
    ("trend.py", "_SIGMA_LEAST"): "bound of a numerical method",
    ("trend.py", "_ASYMPTOTIC_FROM"): "bound of a numerical method",
    ("trend.py", "_DETERMINANT_LEAST"): "bound of a numerical method",
    ("trend.py", "_PARAMETERS"): "size of a matrix",
    ("uncertainty.py", "ROOT_3"): "rectangular distribution (GUM, 4.3.7)",
    ("terms/terminals.py", "CACHED"): "capacity of a cache, no quantity of the trade",
    ("voltage.py", "SMALL_BELOW_W"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "SMALL_BELOW_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_NEW_SMALL_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_NEW_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_NEW_LEAST_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_USED_SMALL_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_USED_V"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "WITHSTAND_USED_FACTOR"): "constant of IEC 60034-1:2004, Table 16 (read)",
    ("voltage.py", "MILLI"): "unit factor",
    ("winding.py", "COPPER_OHM_MM2_PER_M"): "resistivity of copper (from memory)",
    ("words.py", "_EXACT"): "digits of decimal arithmetic",
    ("words.py", "_STEPS"): "unit factors; kilohms are spoken of only below 0.01 MΩ: how a value is written, no limit",
}
ELSEWHERE: dict[tuple[str, float], str] = {
    ("isolation.py", 3): "whole, motor and cable are three parts",
    ("student.py", 0.5): "Student's t is symmetric about one half",
    ("student.py", 3): "first term of the finite series for odd degrees of freedom",
    ("terms/quantity.py", 12): "digits that a display can hold",
    ("terms/quantity.py", 60): "unit factor",
    ("terms/quantity.py", 3600): "unit factor",
    ("uncertainty.py", 4): "decimal places of a probability as stated",
    ("verdict.py", 28): "digits of decimal arithmetic",
    ("words.py", 3): "significant digits shown",
}
NUMBER = re.compile(r"[-+]?\d+(\.\d+)?([eE][-+]?\d+)?")


def value_of(node: ast.AST) -> float | None:
    """Give the number that a literal is or reads as; None for anything else."""
    if not isinstance(node, ast.Constant) or isinstance(node.value, bool):
        return None
    if isinstance(node.value, (int, float)):
        return float(node.value)
    if isinstance(node.value, str) and NUMBER.fullmatch(node.value.strip()):
        return float(node.value)
    return None


def names(statement: ast.stmt) -> Iterator[str]:
    """Tell what a statement of a module assigns to."""
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    if isinstance(statement, ast.AnnAssign):
        targets = [statement.target]
    for target in targets:
        yield from (node.id for node in ast.walk(target) if isinstance(node, ast.Name))


def literals(tree: ast.Module) -> Iterator[tuple[float, int, tuple[str, ...]]]:
    """Find every number of a module with its line and the module constants that it stands in."""
    for statement in tree.body:
        for node in ast.walk(statement):
            value = value_of(node)
            if value is not None:
                yield value, getattr(node, "lineno", 0), tuple(names(statement))


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if path.name not in TABLES)


def unexplained(name: str, source: str) -> list[str]:
    """Give the numbers of a module that nothing here justifies."""
    return [
        f"{name}, line {line}: {value:g}"
        for value, line, constants in literals(ast.parse(source))
        if value not in ANYWHERE
        and not (constants and all((name, constant) in CONSTANTS for constant in constants))
        and (name, value) not in ELSEWHERE
        and not (name == "terms/quantity.py" and is_power_of_ten(value))  # unit prefixes
    ]


def is_power_of_ten(value: float) -> bool:
    return f"{value:e}".startswith("1.000000e")


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_number_outside_the_table_is_a_limit(path: Path) -> None:
    name = path.relative_to(PACKAGE).as_posix()
    assert unexplained(name, path.read_text("utf-8")) == []


def test_what_is_allowed_is_still_there() -> None:
    """A justification without its number would let the next one in unseen."""
    found: set[tuple[str, str]] = set()
    numbers: set[tuple[str, float]] = set()
    for path in modules():
        name = path.relative_to(PACKAGE).as_posix()
        for value, _, constants in literals(ast.parse(path.read_text("utf-8"))):
            found |= {(name, constant) for constant in constants}
            numbers.add((name, value))
    assert set(CONSTANTS) <= found
    assert set(ELSEWHERE) <= numbers


@pytest.mark.parametrize("source", [
    "def f(reading):\n    return reading.voltage >= 900", 'BAR = Decimal("0.3")', "x = value > -45", "y = [0, 7]",
])  # fmt: skip
def test_a_limit_in_code_is_found(source: str) -> None:
    assert len(unexplained("rules/any.py", source)) == 1


# Figures that sentences may hold: names of clauses and documents, the reference temperature, names of leads.
IN_PROSE = (
    "40 °C", "IEEE 43-2013, Table 1", "ILAC-G8:09/2019, 4.2", "(k = 2)", "SHA-256", "A1 to A2", "class 130",
    "class 105", "_mm2",
)  # fmt: skip


@pytest.mark.parametrize("path", sorted((PACKAGE / "prose").glob("*.py")), ids=lambda path: path.name)
def test_no_limit_stands_in_a_sentence(path: Path) -> None:
    """What a sentence says of a limit, a voltage or a time comes from the facts."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            text = node.value
            for figure in IN_PROSE:
                text = text.replace(figure, "")
            assert not re.search(r"[0-9]", text), f"{path.name}, line {node.lineno}: {node.value}"
