"""The table of rules: every rule is checked against figures, or is one that only whole-axis tests can try."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from grading.limits import LIMITS
from grading.rulebook import RULES
from tests.standards.rules_table import counts, included, limits_table, rules_table, with_table

# Rules of logic or procedure without a figure of their own; `tests/grading` tries each of them on whole axes.
WITHOUT_FIGURES = {
    "insulation.watch",
    "insulation.shop",
    "insulation.time",
    "insulation.value",
    "insulation.auxiliary",
    "insulation.beside",
    "energy.dead",
    "winding.beside",
    "insulation.cleaning",
    "instrument.calibration",
    "ground.ohmmeter",
    "winding.continuity",
    "quantity.left_out",
    "quantity.possible",
    "quantity.plausible",
}


def test_every_rule_has_vectors_or_is_named_as_one_that_has_none() -> None:
    assert {rule for rule in RULES if not counts()[rule]} == WITHOUT_FIGURES


def test_rules_without_vectors_are_tried_on_whole_axes() -> None:
    here = Path(__file__).parent.parent / "grading"
    text = "".join(path.read_text(encoding="utf-8") for path in here.glob("test_*.py"))
    assert {rule for rule in WITHOUT_FIGURES if f'"{rule}"' not in text} == set()


def test_the_command_prints_both_tables() -> None:
    for arguments, expected in (([], rules_table()), (["--limits"], limits_table())):
        run = subprocess.run(
            [sys.executable, "-m", "tests.standards", *arguments], capture_output=True, text=True, check=True
        )
        assert run.stdout.strip() == expected
    assert rules_table().count("\n") == len(RULES) + 2
    assert limits_table().count("\n") == len(LIMITS) + 1


def test_the_guide_holds_the_table_as_it_is_now() -> None:
    guide = Path(__file__).parents[2] / "DEVELOPERS.md"
    assert included(guide.read_text(encoding="utf-8")) == rules_table(), (
        "Run `python -m tests.standards --into DEVELOPERS.md`."
    )


def test_the_command_puts_the_table_into_a_document(tmp_path: Path) -> None:
    guide = tmp_path / "guide.md"
    guide.write_text("a\n<!-- rules table: begin -->\nold\n<!-- rules table: end -->\nb\n", encoding="utf-8")
    subprocess.run([sys.executable, "-m", "tests.standards", "--into", str(guide)], check=True)
    text = guide.read_text(encoding="utf-8")
    assert included(text) == rules_table()
    assert text.startswith("a\n")
    assert text.endswith("-->\nb\n")
    with pytest.raises(ValueError, match="needs the lines"):
        with_table("nothing")


def test_included_finds_what_stands_between_the_marks() -> None:
    assert included("a <!-- rules table: begin -->\n| x |\n<!-- rules table: end --> b") == "| x |"
    assert included("nothing") is None
