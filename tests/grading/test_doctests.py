"""The examples in grading's docstrings are tried, and every module of formulas has some."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import grading

FORMULAS = {"temperature", "absorption", "winding", "isolation", "voltage", "uncertainty", "trend", "energy",
            "interval", "student", "terms.quantity", "terms.section", "terms.terminals"}  # fmt: skip
MODULES = sorted(found.name for found in pkgutil.walk_packages(grading.__path__, "grading."))


@pytest.mark.parametrize("name", MODULES)
def test_examples_give_what_they_say(name: str) -> None:
    outcome = doctest.testmod(importlib.import_module(name))
    assert outcome.failed == 0
    assert outcome.attempted or name.removeprefix("grading.") not in FORMULAS, f"{name} shows no example"


def test_every_module_of_formulas_is_one_of_gradings() -> None:
    assert {f"grading.{name}" for name in FORMULAS} <= set(MODULES)


def test_a_wrong_example_fails() -> None:
    example = doctest.DocTestParser().get_doctest(">>> 1 + 1\n3\n", {}, "wrong", None, 0)
    assert doctest.DocTestRunner(verbose=False).run(example, out=lambda _: None).failed == 1
