"""An export of a whole visit, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from api.exchange.export import export_job
from api.workspace import Workspace
from tests.api.makers import FakeEngines


@pytest.fixture(scope="session")
def exported(sealed_visit: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Leave a folder with `data`, and its exports `bag`, `bag.zip` and `reduced`."""
    top = tmp_path_factory.mktemp("exported")
    shutil.copytree(sealed_visit, top / "data")
    workspace = Workspace.attach(top / "data")
    for name, reduced in (("bag", False), ("bag.zip", False), ("reduced", True)):
        export_job(workspace.database, workspace.evidence, workspace.reports, "J1", top / name, reduced=reduced)
    workspace.close()
    return top


@pytest.fixture(scope="session")
def sealed_visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Leave a visit on disk with clips long enough to be trimmed, and another customer's job beside it."""
    from tests.api.exchange.makers import make_visit

    folder = tmp_path_factory.mktemp("sealed") / "data"
    make_visit(folder)
    return folder


@pytest.fixture
def other(tmp_path: Path) -> Workspace:
    """Open another data folder, empty."""
    return Workspace.open(tmp_path / "other", engines=FakeEngines())
