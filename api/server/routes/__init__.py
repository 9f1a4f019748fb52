"""The JSON routes, one noun per file; each is a thin wrapper around `api.workspace.Workspace`."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends
from starlette.requests import HTTPConnection

from api.workspace import Workspace

__all__ = ["WorkspaceDep"]


def _workspace(connection: HTTPConnection) -> Workspace:
    workspace = connection.app.state.workspace
    assert isinstance(workspace, Workspace)
    return workspace


WorkspaceDep = Annotated[Workspace, Depends(_workspace)]
"""The open workspace."""
