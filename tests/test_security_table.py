"""The table of security requirements in the contributor's guide: every requirement once, every named test there."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in GUIDE.partition("\n## Security requirements\n")[2].partition("\n## ")[0].splitlines()
    if re.match(r"\| \d", line)
]
LAST_OF_LEVEL_2 = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2, "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1, "3.2": 2, "3.3": 4,
    "3.4": 6, "3.5": 5, "3.7": 2, "4.1": 3, "4.2": 1, "4.3": 2, "4.4": 4, "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3,
    "6.1": 3, "6.2": 11, "6.3": 4, "6.4": 4, "6.5": 5, "6.6": 3, "6.8": 3, "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5,
    "7.5": 2, "7.6": 2, "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1, "9.1": 3, "9.2": 4, "10.1": 2, "10.2": 2, "10.3": 4,
    "10.4": 11, "10.5": 5, "10.6": 2, "10.7": 3, "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 3, "11.5": 1, "11.6": 1,
    "12.1": 3, "12.2": 2, "12.3": 4, "13.1": 1, "13.2": 5, "13.3": 2, "13.4": 5, "14.1": 2, "14.2": 4, "14.3": 3,
    "15.1": 3, "15.2": 3, "15.3": 7, "16.1": 1, "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3, "17.1": 1, "17.2": 4,
    "17.3": 2,
}  # fmt: skip
"""By section, the last requirement of levels 1 and 2; in ASVS 5.0 those of level 3 come last in each section."""


def requirements(cell: str) -> list[str]:
    found = []
    for section, first, last in re.findall(r"(\d+\.\d+)\.(\d+)(?:–(\d+))?", cell):
        found += [f"{section}.{number}" for number in range(int(first), int(last or first) + 1)]
    return found


def test_every_requirement_of_levels_1_and_2_stands_there_once() -> None:
    wanted = {f"{section}.{number}" for section, last in LAST_OF_LEVEL_2.items() for number in range(1, last + 1)}
    found = Counter(one for row in ROWS for one in requirements(row[0]))
    assert wanted - set(found) == set()
    assert set(found) - wanted == set()
    assert [one for one, times in found.items() if times > 1] == []


def test_each_has_an_answer_and_a_test_or_a_reason() -> None:
    assert len(ROWS) > 50
    for cells in ROWS:
        assert len(cells) == 3, cells
        assert cells[1] in ("held", "no such part", "open"), cells
        assert cells[2]
        if cells[1] == "held":
            assert "::" in cells[2], f"{cells[0]} names no test"


def test_every_test_named_exists() -> None:
    named = [one for row in ROWS for one in re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", row[2])]
    assert len(named) > 50
    for path, name in named:
        assert (ROOT / path).is_file(), path
        functions = {
            node.name
            for node in ast.walk(ast.parse((ROOT / path).read_text("utf-8")))
            if isinstance(node, ast.FunctionDef)
        }
        assert name in functions, f"{path}::{name}"
