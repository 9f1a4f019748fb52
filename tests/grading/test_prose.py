"""Prose is written last and only in `grading.prose`: every code has its words, and nothing reads a sentence back."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from grading.facts import Fact
from grading.finding import Urgency
from grading.isolation import Fault, Outcome
from grading.measurement import Measurement
from grading.notices import NoticeKind
from grading.prose import axis as axis_words
from grading.prose import isolation, notices, reasons, steps
from grading.prose.axis import cost_text, headline_figures, headline_found, headline_text
from grading.prose.findings import WRITERS, advice_text, finding_reason, finding_text
from grading.prose.reasons import reason_sentence, reason_text
from grading.steps import Advice, Reason, ReasonKind, Settling, StepKind
from tests.grading.making import CABLE, MOTOR, WHOLE, ir, ll
from tests.grading.whole_axes import graded, of

ROOT = Path(__file__).parents[2]
ROOMS = ("grading", "api/report", "api/commands/grade.py")
TAKES_APART = {"partition", "rpartition", "split", "rsplit", "splitlines", "replace", "removeprefix", "removesuffix",
               "startswith", "endswith", "find", "index", "strip", "rstrip", "lstrip"}  # fmt: skip
SENTENCES = {"statement", "headline", "text", "action", "words", "reason", "settles", "recommendation", "notice",
             "finding_text", "finding_reason", "headline_text", "headline_found", "headline_figures", "drive_text",
             "cost_text", "cost_clause", "action_text", "reason_text", "reason_sentence", "settles_text", "step_text",
             "advice_text", "notice_text", "rule"}  # fmt: skip
WRITTEN = {name for name in SENTENCES if name.endswith(("_text", "_sentence", "_reason"))} | {
    "statement", "headline", "words", "headline_found", "headline_figures", "cost_clause"}  # fmt: skip
# Words of a person or a file and names of test points are not written here; `sentence` closes what is being written.
NOT_OURS = {"words.py: sentence", "absorption.py: is_lowest_class", "terms/quantity.py: parse_digits",
            "terms/terminals.py: ends", "sheet.py: _csv_rows", "sheet.py: _json_rows",
            "sheet_cells.py: read_choice"}  # fmt: skip


def sources() -> list[Path]:
    found = [path for room in ROOMS for path in (ROOT / room).rglob("*.py")]
    return sorted([*found, *(ROOT / room for room in ROOMS if room.endswith(".py"))])


def name_of(node: ast.AST) -> str:
    """Give the last name of an expression: "statement" of `finding.statement`, "action_text" of `action_text(...)`."""
    if isinstance(node, ast.Call):
        return name_of(node.func)
    if isinstance(node, ast.Attribute):
        return node.attr
    return node.id if isinstance(node, ast.Name) else ""


def readings_back(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Places that take a sentence apart or compare it: method calls on one, comparisons with a literal text."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TAKES_APART:
            if name_of(node.func.value) in SENTENCES:
                yield node.lineno, f"{name_of(node.func.value)}.{node.func.attr}"
        elif isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            texts = [s for s in sides if isinstance(s, ast.Constant) and isinstance(s.value, str) and " " in s.value]
            of_text = isinstance(node.ops[0], (ast.In, ast.NotIn)) and name_of(node.comparators[0]) in SENTENCES
            written = any(name_of(s) in WRITTEN and isinstance(s, (ast.Attribute, ast.Call)) for s in sides)
            if (texts and any(name_of(s) in SENTENCES for s in sides)) or of_text or written:
                yield node.lineno, ast.unparse(node)


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_sentence_is_read_back(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    name = path.relative_to(ROOT).as_posix().removeprefix("grading/")
    own = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and f"{name}: {node.name}" in NOT_OURS]
    allowed = {line for node in own for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}
    assert [found for found in readings_back(tree) if found[0] not in allowed] == []


@pytest.mark.parametrize("source", [
    'finding.statement.partition(": ")', 'headline_text(summary).split(". ")', '"indicate" in finding.statement',
    'step.action == "Replace the cable."', "place.words == WHOLE_BAD", "action_text(step.action) in FIND_IT",
    'rule.startswith("insulation.")', 'place.words != "the whole is bad"',
])  # fmt: skip
def test_reading_a_sentence_back_is_found(source: str) -> None:
    assert len(list(readings_back(ast.parse(source)))) == 1


def test_only_prose_writes_sentences() -> None:
    """Outside `grading.prose` no text of the rules reads as a sentence; errors, terms and the limits are apart."""
    apart = {
        "limit.py",
        "limits.py",
        "entry_limits.py",
        "limit_rows.py",
        "sheet.py",
        "sheet_cells.py",
        "sheet_columns.py",
        "sheet_facts.py",
        "shop.py",
        "words.py",
        "rulebook.py",
        "energy.py",
    }
    for path in sorted((ROOT / "grading").rglob("*.py")):
        if path.parent.name in ("prose", "terms") or path.name in apart:
            continue
        tree = ast.parse(path.read_text("utf-8"))
        raised = {id(n) for r in ast.walk(tree) if isinstance(r, ast.Raise) for n in ast.walk(r)}
        docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
        for node in ast.walk(tree):
            text = node.value if isinstance(node, ast.Constant) else None
            if isinstance(text, str) and id(node) not in raised | docs:
                assert not re.search(r"[a-z]+( [a-z]+){3}|[a-z]\.$", text), f"{path.name}: {text}"


def test_every_code_has_its_words() -> None:
    assert set(WRITERS) == set(Fact)
    assert set(steps._ACTIONS) == set(StepKind)
    assert set(steps._SETTLES) == set(Settling)
    assert set(reasons._FIXED) | set(reasons._WRITTEN) == set(ReasonKind)
    assert not set(reasons._FIXED) & set(reasons._WRITTEN)
    assert set(notices._WRITERS) == set(NoticeKind)
    assert set(isolation._OUTCOMES) == set(Outcome)
    assert set(axis_words._URGENCIES) == set(Urgency)
    assert set(axis_words._FAULTS) == set(Fault) - {Fault.NEITHER, Fault.UNDETERMINED}
    assert all(advice_text(advice).startswith("We recommend ") for advice in Advice)
    assert advice_text(None) == ""


def test_a_headline_is_what_is_read_first_and_the_figures_behind_it() -> None:
    cable = graded(ir(WHOLE, "0.80"), ir(MOTOR, "550"), ir(CABLE, "0.80")).summary
    assert headline_found(cable) == "The cable is the failed part. Replace it before re-energising."
    assert headline_figures(cable).startswith("Motor and cable together measured 0.80 MΩ at 500 V after 60 s")
    assert headline_text(cable).startswith(
        "Axis X: the cable is the failed part. Replace it before re-energising. Motor and cable"
    )
    watched = graded(ir(MOTOR, "60.0")).summary
    assert headline_found(watched).startswith("Within limits, but to be watched. Retest in 3 to 6 months.")
    assert headline_figures(watched) == finding_text(of(graded(ir(MOTOR, "60.0")), "insulation.watch"))
    nothing = graded().summary
    assert (headline_figures(nothing), cost_text(nothing)) == ("", "")


@pytest.mark.parametrize(
    ("reading", "why"),
    [
        (ir(CABLE, "0.80", terminals="U-PE"), "Below the limit."),
        (
            ir(MOTOR, "30", test_voltage_set=250),
            "No fault shown, but 250 V is a lower voltage and the limit holds at 500 V.",
        ),
        (ir(WHOLE, "0.50", test_voltage_built=512), "Below the limit."),
    ],
)
def test_the_reason_beside_a_limit_keeps_its_caveat(reading: Measurement, why: str) -> None:
    assert finding_reason(of(graded(reading), "insulation.machine")) == why


def test_the_scope_of_a_standard_stands_beside_the_limit() -> None:
    small = of(graded(ir(MOTOR, "550"), rated_power_w=400), "insulation.winding")
    assert finding_reason(small) == (
        "The winding is within limits at the time of test. By analogy: the standard covers machines from 750 W, this "
        "one is rated 400 W."
    )


def test_reasons_are_clauses_and_sentences() -> None:
    reason = Reason(ReasonKind.DATA_SHEET, percent=Decimal(3), counts=Decimal(5), instrument="IT-03")
    assert reason_text(reason) == "±(3 % + 5 counts) by the data sheet of IT-03"
    hard = Reason(ReasonKind.WINDING_SHOWN, hard_to_reach=True, coolant=True)
    assert reason_sentence(hard) == (
        "It shows whether the winding is at fault. The plug is hard to reach: have everything ready to test both parts "
        "while it is open. Coolant reaches it."
    )


def test_a_fact_without_its_figures_is_refused() -> None:
    found = of(graded(ll(WHOLE, "1.60"), ll(MOTOR, "0.80"), cable_length_m=20, core_mm2=2.5), "winding.joint")
    with pytest.raises(ValueError, match="needs a detail of type Joint"):
        finding_text(replace(found, detail=None))
