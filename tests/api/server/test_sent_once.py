"""What a device sends under an id of its own is done once, in any order, however often it is sent, and over crashes.

The oracle is another data folder in which each action is done once, without any id, in the order in which it first took
effect: both must end with the same rows.
"""

from __future__ import annotations

import itertools
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlmodel import SQLModel

from api.ledger.database import Transaction
from api.ledger.trail import What
from api.server.app import create_app
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from tests.api.makers import JOB, FakeEngines, at, clip

READING = {"kind": "winding_resistance", "value": "1.1", "unit": "Ohm", "axis": "Y", "section": "motor_alone"}
SAFETY = "/api/jobs/J1/axes/X/safety"
ACTIONS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("/api/jobs/J1/typed", {**READING, "terminals": "U-V", "captured_at": at(1)}),
    ("/api/jobs/J1/typed", {**READING, "terminals": "V-W", "captured_at": at(2)}),
    ("/api/proposals/J1-P1/confirm", {"revision": 1, "captured_at": at(3)}),
    ("/api/proposals/J1-P2/correct", {"reading": {"value": "1.2"}, "revision": 1, "captured_at": at(4)}),
    ("/api/proposals/J1-P2/reject", {"revision": 2, "captured_at": at(5)}),
    (SAFETY, {"step": STEPS[0].id, "answer": "yes", "captured_at": at(6)}),
    (SAFETY, {"step": STEPS[0].id, "answer": "no", "captured_at": at(7)}),
    ("/api/jobs/J1/lockout", {"reason": "power_restored", "captured_at": at(8)}),
    ("/api/records/J1-R1/withdraw", {"captured_at": at(9)}),
    ("clip", {"words": "x ray axis through the cable a one to a two one point zero eight ohms", "at": 10}),
    ("clip", {"words": "confirm", "at": 11}),
)
STAMP = re.compile(r"20[0-9-]+T[0-9:.]+Z")  # of this machine; those of the device bear an offset
LEFT_OUT = ("trail_entry", "sent_action")


@contextmanager
def opened(folder: Path) -> Iterator[tuple[Workspace, TestClient]]:
    """Open a folder as a start of the server does."""
    workspace = Workspace.open(folder, engines=FakeEngines())
    with TestClient(create_app(workspace), base_url="http://localhost", raise_server_exceptions=False) as client:
        yield workspace, client


def send(client: TestClient, number: int, *, once: bool) -> tuple[int, dict[str, Any]]:
    """Send one of the actions, with or without its id."""
    path, body = ACTIONS[number]
    if path == "clip":
        data = {"captured_at": at(body["at"]), **({"client_id": f"device-1-{number}"} if once else {})}
        files = {"file": ("x.wav", clip(body["words"], number))}
        found = client.post("/api/jobs/J1/evidence", files=files, data=data)
    else:
        headers = {"idempotency-key": f"device-1-{number}", "ohmtrail-sent-at": body["captured_at"]} if once else {}
        found = client.post(path, json=body, headers=headers)
    return found.status_code, found.json()


def rows(workspace: Workspace) -> dict[str, list[dict[str, Any]]]:
    """Read every row but the trail's, without stamps."""
    found = {}
    with workspace.database.read() as session:
        for table in SQLModel.metadata.sorted_tables:
            if table.name in LEFT_OUT:
                continue
            lines = session.connection().execute(select(table)).mappings().all()
            found[table.name] = [
                {k: STAMP.sub("now", str(v)) for k, v in line.items() if k != "client_id"} for line in lines
            ]
    return found


@settings(max_examples=8, deadline=None, phases=[Phase.explicit, Phase.generate])  # shrinking takes minutes
@given(
    sendings=st.lists(
        st.tuples(st.integers(0, len(ACTIONS) - 1), st.sampled_from(["through", "through", "lost", "dies", "killed"])),
        min_size=3,
        max_size=16,
    )
)
def test_any_sending_counts_once(sendings: list[tuple[int, str]]) -> None:
    """Repeat, lose answers, die within the transaction ("dies") and right after it ("killed")."""
    with tempfile.TemporaryDirectory() as place:
        _compare(Path(place), sendings)


def _compare(place: Path, sendings: list[tuple[int, str]]) -> None:
    firsts: dict[int, tuple[int, dict[str, Any]]] = {}
    pending = itertools.groupby(sendings, key=lambda one: one[1] == "killed")
    with opened(place / "alone") as (_, plain):
        plain.post("/api/jobs", json=JOB)
        with opened(place / "once") as (_, client):
            client.post("/api/jobs", json=JOB)
        for _, group in pending:  # each begins with a start of the server, as after a kill
            with opened(place / "once") as (_, client):
                for number, fate in group:
                    _one(client, plain, number, fate, firsts)
        with opened(place / "once") as (workspace, client):
            for number, first in firsts.items():  # the whole queue once more
                assert _same(send(client, number, once=True), first)
            assert client.get("/api/verify").json()["result"] == "intact"
            once = rows(workspace)
    with opened(place / "alone") as (workspace, _):
        assert rows(workspace) == once


def _same(answer: tuple[int, dict[str, Any]], first: tuple[int, dict[str, Any]]) -> bool:
    """Compare two answers; that of a clip says besides whether it is a repetition."""
    return (answer[0], {**answer[1], "repeated": None}) == (first[0], {**first[1], "repeated": None})


def _one(
    client: TestClient,
    plain: TestClient,
    number: int,
    fate: str,
    firsts: dict[int, tuple[int, dict[str, Any]]],
) -> None:
    if fate == "dies" and number not in firsts and ACTIONS[number][0] != "clip":
        with pytest.MonkeyPatch.context() as patch:
            whole = Transaction.entry

            def entry(self: Transaction, what: What, *rest: Any, **more: Any) -> None:
                whole(self, what, *rest, **more)
                if what is What.ACTION_ANSWERED:
                    raise RuntimeError("The machine stopped before the commit.")

            patch.setattr(Transaction, "entry", entry)
            if send(client, number, once=True)[0] == 500:
                return
    answer = send(client, number, once=True)
    if number in firsts:
        assert _same(answer, firsts[number])
    elif answer[0] not in (404, 500):  # what is not there yet is looked for again
        firsts[number] = answer
        send(plain, number, once=False)


def test_an_id_stands_for_one_action(tmp_path: Path) -> None:
    with opened(tmp_path) as (workspace, client):
        client.post("/api/jobs", json=JOB)
        headers = {"idempotency-key": "device-1-7"}
        first = client.post("/api/jobs/J1/typed", json=ACTIONS[0][1], headers=headers)
        other = client.post("/api/jobs/J1/typed", json=ACTIONS[1][1], headers=headers)
        assert (first.status_code, other.status_code, other.json()["code"]) == (201, 409, "same_id_other_action")
        assert len(rows(workspace)["proposal"]) == 1


def test_a_refusal_stays_one(tmp_path: Path) -> None:
    """Send a confirmation again that was refused while safety steps were open, after they were answered."""
    with opened(tmp_path) as (_, client):
        client.post("/api/jobs", json=JOB)
        insulation = {**READING, "kind": "insulation_resistance", "unit": "MOhm", "value": "500", "terminals": "U-PE"}
        client.post("/api/jobs/J1/typed", json=insulation)
        headers = {"idempotency-key": "device-1-8"}
        told = client.post("/api/proposals/J1-P1/confirm", json={"revision": 1}, headers=headers)
        assert (told.status_code, told.json()["code"]) == (409, "safety_open")
        for step in STEPS:
            answered = client.post("/api/jobs/J1/axes/Y/safety", json={"step": step.id, "answer": "yes", "value": "3"})
            assert answered.status_code == 201
        again = client.post("/api/proposals/J1-P1/confirm", json={"revision": 1}, headers=headers)
        assert (again.status_code, again.json()) == (409, told.json())
        assert client.get("/api/jobs/J1/records").json() == []
        new = client.post(
            "/api/proposals/J1-P1/confirm", json={"revision": 1}, headers={"idempotency-key": "device-1-9"}
        )
        assert new.status_code == 200


def test_a_safety_answer_that_waited_while_the_lock_out_ended_does_not_count(tmp_path: Path) -> None:
    """Two phones: one answers without network, power is restored, the other says so, the first comes back."""
    with opened(tmp_path) as (_, client):
        client.post("/api/jobs", json=JOB)
        ended = client.post("/api/jobs/J1/lockout", json={"reason": "power_restored"})
        assert ended.status_code == 201
        body = {"step": STEPS[0].id, "answer": "yes", "captured_at": "2026-11-24T08:00:00+00:00"}
        late = {"idempotency-key": "phone-a-1", "ohmtrail-sent-at": "2026-11-24T08:10:00+00:00"}
        found = client.post(SAFETY, json=body, headers=late)
        assert (found.status_code, found.json()["code"]) == (409, "answered_before_break")
        assert STEPS[0].id in client.get(SAFETY).json()["open"]
        at_once = {"idempotency-key": "phone-a-2", "ohmtrail-sent-at": "2026-11-24T08:00:00+00:00"}
        assert client.post(SAFETY, json=body, headers=at_once).status_code == 201
        assert STEPS[0].id not in client.get(SAFETY).json()["open"]
