"""Every error that is raised has its own class: a stable code, sentences that say what happened and what to do."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from string import Formatter
from typing import Any, get_type_hints

import pytest

from api.errors import OhmtrailError
from api.visit.errors import BadWord, NoSuchAxis, NoSuchJob
from capture.errors import CaptureError, MediaError, TemplatedError
from capture.speech.errors import ClipEmpty

ROOT = Path(__file__).parents[1]
SOURCES = sorted(path for package in ("api", "capture") for path in (ROOT / package).rglob("*.py"))
SNAKE_CASE = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
SAMPLES: dict[object, object] = {
    int: 3,
    float: 1.5,
    str: "sample.",
    object: ["sample"],
    Path: Path("sample.toml"),
    tuple[str, ...]: ("one", "two"),
    str | None: None,
    str | int: 3,
}


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def below(kind: type[TemplatedError]) -> Iterator[type[TemplatedError]]:
    for one in kind.__subclasses__():
        yield one
        yield from below(one)


def declared() -> list[type[TemplatedError]]:
    """List every error class of the two packages."""
    for path in SOURCES:
        if path.parent.name != "enclosed":  # what exports enclose runs by itself, and no module of ours imports it
            importlib.import_module(module_of(path))
    found = {kind for kind in below(TemplatedError) if kind.__module__.split(".")[0] in ("api", "capture")}
    return sorted(found, key=lambda kind: (kind.__module__, kind.__qualname__))


def is_family(kind: type[TemplatedError]) -> bool:
    return not all(hasattr(kind, part) for part in ("code", "message", "remedy"))


CLASSES = declared()
RAISED = [kind for kind in CLASSES if not is_family(kind)]
CODES = {kind.code for kind in RAISED}
FAMILIES = {kind.__name__ for kind in CLASSES if is_family(kind)} | {"TemplatedError"}


def example(kind: type[TemplatedError]) -> TemplatedError:
    """Make an error of this class, with a fact of the right type for each that it takes."""
    hints = get_type_hints(kind)
    made: dict[str, Any] = {}
    for fact in fields(kind):  # type: ignore[arg-type]  # a data class by its base's __init_subclass__
        wanted = hints[fact.name]
        is_error = isinstance(wanted, type) and issubclass(wanted, CaptureError)
        made[fact.name] = ClipEmpty() if is_error else SAMPLES[wanted]
    if "refused" in made:
        made["refused"] = "photo_empty"
    if "field" in made:
        made["field"] = "unit"
    return kind(**made)


def test_there_are_errors_to_look_at() -> None:
    assert len(RAISED) > 100
    assert {"OhmtrailError", "BadInput", "NotFound", "Refused", "CaptureError", "MediaError"} <= FAMILIES


@pytest.mark.parametrize("kind", RAISED, ids=lambda kind: kind.__name__)
def test_an_error_says_what_happened_and_what_to_do(kind: type[TemplatedError]) -> None:
    error = example(kind)
    assert SNAKE_CASE.fullmatch(error.code), error.code
    assert error.message[-1] in ".?!", error.message
    if isinstance(error, OhmtrailError):
        assert re.fullmatch(r"[A-Z].*[.!]", error.remedy), error.remedy
        assert str(error) == f"{error.message} {error.remedy}"
        told = {name: value for name, value in error.to_json().items() if name != "fields"}  # those of a form, besides
        assert told == {"code": error.code, "message": error.message, "what_to_do": error.remedy}
        assert 400 <= error.status <= 507
        assert error.status != 500
    else:
        assert error.remedy == ""  # the one sentence of `capture` says it as well
        assert str(error) == error.message


@pytest.mark.parametrize("kind", RAISED, ids=lambda kind: kind.__name__)
def test_every_fact_is_kept_and_every_template_filled(kind: type[TemplatedError]) -> None:
    error = example(kind)
    facts = {fact.name for fact in fields(kind)}  # type: ignore[arg-type]
    wanted = {
        str(name).partition(".")[0]
        for template in (kind.code, kind.message, kind.remedy)
        for _text, name, _format, _conversion in Formatter().parse(template)
        if name is not None
    }
    assert wanted <= facts
    assert facts <= set(vars(error))
    assert not facts & {"code", "message", "remedy", "status", "args"}


def test_a_code_is_declared_once() -> None:
    """Write a code in one class; what shares it inherits it, or names the class that it has it from."""
    places: dict[str, list[str]] = {}
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.ClassDef) or node.name not in {kind.__name__ for kind in CLASSES}:
                continue
            for line in node.body:
                if isinstance(line, ast.Assign) and ast.unparse(line.targets[0]) == "code":
                    if isinstance(line.value, ast.Constant):
                        places.setdefault(str(line.value.value), []).append(node.name)
                    else:
                        assert re.fullmatch(r"\w+\.code", ast.unparse(line.value)), node.name
    assert {code: found for code, found in places.items() if len(found) > 1} == {}
    assert len(places) > 80


def raised(path: Path) -> Iterator[ast.Call]:
    """Find the calls in a file that make an error: what is raised, and what is returned or handed on to be raised."""
    names = {kind.__name__ for kind in CLASSES} | FAMILIES
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] in names:
            yield node


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_raised_is_one_name_and_its_facts(path: Path) -> None:
    for call in raised(path):
        assert not call.args, f"{path}:{call.lineno}: facts go by keyword; code and sentences lie in the class"
        assert ast.unparse(call.func) not in FAMILIES, f"{path}:{call.lineno}: a family is never raised itself"
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            for given in [*node.exc.args, *(keyword.value for keyword in node.exc.keywords)]:
                literal = given.value if isinstance(given, ast.Constant) else None
                assert literal not in CODES, f"{path}:{node.lineno}: the code {literal!r} belongs into a class"


@pytest.mark.parametrize("kind", [OhmtrailError, CaptureError, MediaError])
def test_a_family_cannot_be_raised(kind: type[TemplatedError]) -> None:
    with pytest.raises(AssertionError, match="family"):
        kind()


def test_facts_can_be_read_where_the_error_is_caught() -> None:
    with pytest.raises(NoSuchJob) as caught:
        raise NoSuchJob(job_id="J9")
    assert caught.value.job_id == "J9"
    assert str(caught.value) == "There is no job 'J9'. List the jobs to see their numbers."
    assert NoSuchAxis(axis="X", axes=()).remedy == "Its axes are: none."
    word = BadWord(field="quantity", value="{field}", known=("resistance", "voltage"))
    assert (word.code, word.message) == ("bad_quantity", "'{field}' is no quantity.")
    assert word.remedy == "Use one of resistance, voltage."
    with pytest.raises(TypeError):
        NoSuchJob("J9")  # type: ignore[call-arg]
