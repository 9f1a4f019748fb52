"""GET changes nothing: not a row, not an entry of the trail, not a file; for every GET route that there is."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.server.app import create_app
from api.workspace import Workspace
from tests.api.server.visited import visit

PAGE_ROUTES = ("/", "/sw.js", "/page/{name}", "/openapi.json")


@pytest.fixture
def client(workspace: Workspace) -> Iterator[TestClient]:
    with TestClient(create_app(workspace), base_url="http://localhost") as opened:
        yield opened


def content(folder: Path) -> tuple[list[str], dict[str, str]]:
    """Read every row of the database through a connection of one's own, and the hash of every other file."""
    with sqlite3.connect(f"file:{folder / 'ohmtrail.db'}?mode=ro", uri=True) as connection:
        rows = list(connection.iterdump())
    connection.close()
    names = (path for path in sorted(folder.rglob("*")) if path.is_file() and "ohmtrail.db" not in path.name)
    return rows, {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in names}


def get_paths(client: TestClient) -> list[str]:
    paths = client.get("/openapi.json").json()["paths"]
    return [*PAGE_ROUTES, *(path for path, methods in paths.items() if "get" in methods)]


def test_no_get_writes_anything(client: TestClient, workspace: Workspace) -> None:
    ids = visit(client)
    paths = get_paths(client)
    assert len(paths) >= 20
    before = content(workspace.folder)
    assert len(before[1]) >= 4
    for path in paths:
        real = path.format(**ids) + ("?text=Right." if path == "/api/voice" else "")
        answers = [client.get(real), client.get(real, headers={"range": "bytes=0-9"}), client.head(real)]
        assert answers[0].status_code == 200, (path, answers[0].text)
        assert content(workspace.folder) == before, path
        missing = path.format(**dict.fromkeys(ids, "J9"))
        client.get(missing)
        assert content(workspace.folder) == before, missing


def test_an_image_tag_on_a_foreign_page_makes_no_report(client: TestClient, workspace: Workspace) -> None:
    """Ask as a browser does for an image, with and without the headers that only trustworthy addresses are sent."""
    ids = visit(client)
    client.post("/api/jobs/J1/typed", json={"value": "1"})  # something happened since the report
    before = content(workspace.folder)
    for headers in ({}, {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}):
        client.get(f"/api/jobs/{ids['job_id']}/report", headers=headers)
        assert content(workspace.folder) == before
    form = {"origin": "https://elsewhere.example", "content-type": "text/plain"}
    assert client.post(f"/api/jobs/{ids['job_id']}/report", headers=form).status_code == 403
    assert content(workspace.folder) == before
