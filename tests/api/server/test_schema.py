"""The server against its own description: requests drawn from it by schemathesis, with a real visit's ids in the paths.

Every answer must be one that the description names, of the type and shape that it names, and never a failure; both for
requests that fit the description and for such as break it. Left out are the checks that every fitting request is taken
(a job's description is checked in `api.visit.description`, with sentences of its own) and those about logins.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
import requests
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.generation.modes import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.server.app import create_app
from api.settings import Limits, Settings
from api.workspace import Workspace
from tests.api.makers import FakeEngines
from tests.api.server.visited import visit

EXAMPLES = int(os.environ.get("OHMTRAIL_SCHEMA_EXAMPLES", "6"))
"""For each route, method and way of drawing; a few in the suite, hundreds when somebody asks for them."""

CHECKS = (not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance)
SENT = ("method", "url", "headers", "params", "json", "data", "files")
UNLIMITED = Limits(requests_per_s=1_000_000, request_burst=1_000_000)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    workspace = Workspace.open(tmp_path_factory.mktemp("schema") / "data", engines=FakeEngines())
    app = create_app(workspace, Settings(limits=UNLIMITED))
    with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as opened:
        yield opened


def described(client: TestClient, ids: dict[str, str]) -> dict[str, Any]:
    """Give the description in which the parameters of paths have real values."""
    found: dict[str, Any] = client.get("/openapi.json").json()
    for methods in found["paths"].values():
        for operation in methods.values():
            for parameter in operation.get("parameters", []):
                if parameter["in"] == "path":
                    parameter["schema"] = {"enum": [ids[parameter["name"]]]}
    return found


def try_operation(client: TestClient, operation: Any, mode: GenerationMode) -> tuple[Counter[int], list[str]]:
    """Send drawn requests; gives how many answers had which status, and what was wrong."""
    statuses: Counter[int] = Counter()
    wrong: list[str] = []

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(operation.as_strategy(generation_mode=mode))
    def one(case: Any) -> None:
        given_parts = case.as_transport_kwargs(base_url="http://localhost")
        sent: Any = requests.Request(**{name: given_parts[name] for name in SENT if name in given_parts}).prepare()
        headers = {name: value for name, value in sent.headers.items() if name.lower() != "content-length"}
        answer = client.request(str(sent.method), str(sent.url), content=sent.body, headers=headers)
        answer.request.read()
        statuses[answer.status_code] += 1
        try:
            case.validate_response(answer, checks=list(CHECKS))
        except (AssertionError, ExceptionGroup) as error:
            wrong.append(f"{operation.label} {given_parts}: {error}")

    with suppress(Unsatisfiable):  # a route without parameters cannot be asked wrongly
        one()
    return statuses, wrong


def test_every_answer_is_as_described(client: TestClient) -> None:
    ids = visit(client)
    schema = schemathesis.openapi.from_dict(described(client, ids))
    wrong: list[str] = []
    seen: Counter[int] = Counter()
    found_operations = list(schema.get_all_operations())
    operations = [found.ok() for found in found_operations if isinstance(found, Ok)]
    assert len(operations) == len(found_operations), "the description itself is whole"
    assert len(operations) >= 28
    for operation in operations:
        for mode in GenerationMode:
            statuses, found = try_operation(client, operation, mode)
            seen += statuses
            wrong += found
    assert wrong == []
    assert {200, 201, 400, 404, 409, 422} <= set(seen)
    assert not any(status >= 500 for status in seen)
    assert client.get("/api/verify").json()["result"] == "intact"
