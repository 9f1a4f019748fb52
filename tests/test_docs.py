"""The README and the contributor's guide say what is there: commands, folders, settings, and no machine's own paths."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from api.cli import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
COMMANDS = get_command(app).commands  # type: ignore[attr-defined]  # typer's group is click's, untyped here


def _tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    return listed.stdout.splitlines()


def test_every_command_is_in_the_readme_and_explains_itself() -> None:
    for name, command in COMMANDS.items():
        assert f"ohmtrail {name}" in README or f"fixtures/{name}.sh" in README, name
        assert command.help, name


def test_the_readme_names_no_command_that_is_not_there() -> None:
    assert set(re.findall(r"ohmtrail ([a-z]+)", README)) <= set(COMMANDS)


@pytest.mark.parametrize("text", [README, GUIDE], ids=["README", "DEVELOPERS"])
def test_every_path_named_exists(text: str) -> None:
    for path in re.findall(r"`((?:capture|grading|api|tests|fixtures)/[\w./-]*)`", text):
        assert (ROOT / path).exists(), path


def test_modules_run_by_name_exist() -> None:
    for module in re.findall(r"-m ((?:tests|fixtures|grading|capture|api)[\w.]*)", README + GUIDE):
        path = ROOT / module.replace(".", "/")
        assert path.with_suffix(".py").is_file() or (path / "__main__.py").is_file(), module


def test_every_package_folder_is_on_the_map() -> None:
    folders = {str(Path(name).parent) for name in _tracked() if name.endswith("__init__.py")}
    for folder in folders:
        top = folder.split("/")[0]
        if top in ("capture", "api", "fixtures"):
            assert f"`{folder}/" in GUIDE or folder == top, folder


def test_the_top_level_is_as_fixed() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "requirements.lock"}
    allowed |= {"capture", "api", "grading", "tests", "fixtures"}
    top = {name.split("/")[0] for name in _tracked()}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_no_file_names_a_registry_host_or_a_machine_s_path() -> None:
    pattern = re.compile(r"/(?:work|root)/\w|index[-_]url|https?://[^\s\"']+\.(?:whl|tar\.gz|deb)")
    for name in _tracked():
        if name == "tests/test_docs.py" or not name.endswith((".py", ".md", ".toml", ".sh", ".lock", ".json", ".js")):
            continue
        for line in (ROOT / name).read_text("utf-8").splitlines():
            assert not pattern.search(line), f"{name}: {line}"


def test_the_release_notes_begin_with_this_version() -> None:
    newest = re.search(r"^## Release notes$.*?^### (\S+)", GUIDE, re.MULTILINE | re.DOTALL)
    assert newest is not None
    assert newest[1] == tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]


def test_commits_are_checked_as_the_suite_checks() -> None:
    """Every check that runs before the suite is a hook, word for word; the hooks fetch nothing."""
    script = (ROOT / "tests" / "run.sh").read_text("utf-8")
    hooks = (ROOT / ".pre-commit-config.yaml").read_text("utf-8")
    checks = re.findall(r'^"\$bin/(.+?)"(.*)$', script, re.MULTILINE)
    assert len(checks) == 3
    for program, arguments in checks:
        assert f"entry: .venv/bin/{program}{arguments}\n" in hooks
    assert set(re.findall(r"repo: (\S+)", hooks)) == {"local"}
    assert set(re.findall(r"language: (\S+)", hooks)) == {"system"}
