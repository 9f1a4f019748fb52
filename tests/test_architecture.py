"""The arrows between the packages, as imports say them.

`api` may import `capture` and `grading`; those two import neither each other nor `api`, except that `capture` may
import `grading.quantity`, in which both speak of quantities. `grading` is pure computation on the standard library.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WEB_OR_DATABASE = {"fastapi", "starlette", "uvicorn", "websockets", "sqlmodel", "sqlalchemy", "sqlite3", "jinja2"}
IMPURE = {"os", "pathlib", "time", "random", "secrets", "socket", "subprocess", "threading", "asyncio", "logging"}
LONGEST_FILE, LONGEST_FUNCTION = 400, 50


def sources(package: str) -> list[Path]:
    return sorted(path for path in (ROOT / package).rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, wherever in the file."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the arrows"
            yield node.module or ""
            yield from (f"{node.module}.{name.name}" for name in node.names if (ROOT / str(node.module)).is_dir())


def top(module: str) -> str:
    return module.partition(".")[0]


@pytest.mark.parametrize("path", sources("grading"), ids=lambda path: str(path.relative_to(ROOT)))
def test_grading_is_pure(path: Path) -> None:
    for module in imports(path):
        assert top(module) == "grading" or top(module) in sys.stdlib_module_names, module
        assert top(module) not in IMPURE | WEB_OR_DATABASE, module
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            assert called not in {"open", "io.open", "print", "input", "exec", "eval"}, called
            assert not called.endswith((".now", ".today", ".utcnow")), f"{called} reads a clock"


@pytest.mark.parametrize("path", sources("capture"), ids=lambda path: str(path.relative_to(ROOT)))
def test_capture_knows_nothing_of_server_database_or_grading(path: Path) -> None:
    for module in imports(path):
        assert top(module) not in {"api", *WEB_OR_DATABASE}, module
        if top(module) == "grading":
            assert module in ("grading", "grading.quantity") or module.startswith("grading.quantity."), module


@pytest.mark.parametrize("package", ["api", "capture", "grading"])
def test_no_package_needs_what_only_making_and_testing_need(package: str) -> None:
    for path in sources(package):
        for module in imports(path):
            assert top(module) not in {"tests", "fixtures", "torch", "onnx", "scipy", "pytest", "hypothesis"}, path


@pytest.mark.parametrize("package", ["api", "capture", "grading"])
def test_files_and_functions_are_short_and_every_module_says_what_it_promises(package: str) -> None:
    for path in sources(package):
        text = path.read_text("utf-8")
        tree = ast.parse(text)
        assert len(text.splitlines()) <= LONGEST_FILE, path
        assert ast.get_docstring(tree), path
        for node in ast.walk(tree):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                length = (node.end_lineno or 0) - (body[0].lineno if body else node.lineno) + 1
                assert length <= LONGEST_FUNCTION, f"{path}: {node.name} has {length} lines"


def test_only_the_writer_commits() -> None:
    """One place writes: no other module of the server begins or commits a transaction, or changes rows by SQL."""
    for path in sources("api"):
        if path.name == "database.py":
            continue
        text = path.read_text("utf-8")
        for word in (".commit(", "BEGIN IMMEDIATE", "INSERT INTO", "UPDATE ", "DELETE FROM", "drop_all"):
            assert word not in text, f"{path}: {word}"


def test_values_never_become_binary_fractions() -> None:
    """No float on the way of a value: records, trail and grading keep decimals."""
    for path in [ROOT / "api" / f"{name}.py" for name in ("records", "trail", "readings", "grading_bridge", "columns")]:
        names = {node.id for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Name)}
        assert "float" not in names, path
