"""The arrows between the packages and between the rooms of the server, as imports say them.

`api` may import `capture` and `grading`; those two import neither each other nor `api`, except that `capture` may
import `grading.terms`, the words that both sides speak in: quantities, test points, sections. `grading` is pure
computation on the standard library. Inside `api` a value passes the rooms in one order, and no room imports one that
comes after it.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WEB_OR_DATABASE = {"fastapi", "starlette", "uvicorn", "websockets", "sqlmodel", "sqlalchemy", "sqlite3", "jinja2"}
IMPURE = {"os", "pathlib", "time", "random", "secrets", "socket", "subprocess", "threading", "asyncio", "logging"}
LONGEST_FILE, LONGEST_FUNCTION = 400, 50
MOST_FLAT_MODULES = 10
ROOMS = (
    "ledger", "access", "visit", "assessment", "dialogue", "intake", "proof", "report", "workspace", "day",
    "exchange",
    "server", "commands", "cli",
)  # fmt: skip
"""The rooms of `api` in the order in which a value passes them; `settings` and `errors` are known to all."""
EXACT = ("visit/records", "ledger/trail", "visit/readings", "assessment/grade_job", "ledger/columns")


def sources(package: str) -> list[Path]:
    return sorted(path for path in (ROOT / package).rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    """List every module that a file imports, wherever in the file."""
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
            assert module in ("grading", "grading.terms") or module.startswith("grading.terms."), module


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
    """Let one place write: no other module begins or commits a transaction, or changes rows by SQL."""
    for path in sources("api"):
        if path.name == "database.py":
            continue
        text = path.read_text("utf-8")
        for word in (".commit(", "BEGIN IMMEDIATE", "INSERT INTO", "UPDATE ", "DELETE FROM", "drop_all"):
            assert word not in text, f"{path}: {word}"


def test_values_never_become_binary_fractions() -> None:
    """Keep floats off the way of a value: records, trail and grading hold decimals."""
    for path in [ROOT / "api" / f"{name}.py" for name in EXACT]:
        names = {node.id for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Name)}
        assert "float" not in names, path


def room(module: str) -> int | None:
    """Give the place of a module's room in the order; None for what lies in no room."""
    parts = module.split(".")
    return ROOMS.index(parts[1]) if parts[0] == "api" and len(parts) > 1 and parts[1] in ROOMS else None


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@pytest.mark.parametrize("path", sources("api"), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_room_imports_one_that_a_value_reaches_later(path: Path) -> None:
    here = room(name_of(path))
    for module in imports(path):
        there = room(module)
        assert here is None or there is None or there <= here, f"{path.relative_to(ROOT)} imports {module}"


def test_only_a_few_modules_of_the_server_lie_outside_its_rooms() -> None:
    flat = sorted(path.name for path in (ROOT / "api").glob("*.py"))
    assert len(flat) <= MOST_FLAT_MODULES, flat


def imported(path: Path, known: set[str]) -> set[str]:
    """List our modules that a file imports; a package of which only modules are taken is no arrow of its own."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {
                f"{node.module}.{name.name}" if f"{node.module}.{name.name}" in known else str(node.module)
                for name in node.names
            }
    return (found & known) - {name_of(path)}


def test_no_import_cycles() -> None:
    """Put modules into one order in which each imports only earlier ones, imports inside functions counted."""
    paths = [path for package in ("capture", "grading", "api") for path in sources(package)]
    known = {name_of(path) for path in paths}
    arrows = {name_of(path): imported(path, known) for path in paths}
    try:
        tuple(TopologicalSorter(arrows).static_order())
    except CycleError as error:
        pytest.fail(f"These import each other: {' -> '.join(error.args[1])}")


def test_no_two_classes_share_a_name() -> None:
    """Keep one name for one thing: no class of any module is called as one of another."""
    places: dict[str, list[str]] = {}
    for package in ("capture", "grading", "api"):
        for path in sources(package):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.ClassDef):
                    places.setdefault(node.name, []).append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


@pytest.mark.parametrize("package", ["api", "capture", "grading"])
def test_no_module_uses_another_s_private_name(package: str) -> None:
    """A name with an underscore belongs to its module; what others need has a public name and a docstring."""
    for path in sources(package):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and top(node.module or "") in ("api", "capture", "grading"):
                assert not [name.name for name in node.names if name.name.startswith("_")], path
