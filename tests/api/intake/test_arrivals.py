"""Arrivals that share a transaction: each is on record once, and one that cannot be written spoils no other."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlmodel import select

from api.intake import arrivals
from api.intake.errors import CaptureReadBefore, SameIdOtherBytes
from api.ledger.database import Database
from api.ledger.errors import EntryNotWritten
from api.ledger.tables import CaptureRow, EvidenceRow, ProposalRow
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB, at, clip


def keep(workspace: Workspace, words: str, client_id: str) -> dict[str, Any]:
    return workspace.intake.keep("J1", workspace.intake.store("J1", clip(words)), None, client_id)


def on_record(workspace: Workspace) -> list[CaptureRow]:
    with workspace.database.read() as session:
        return list(session.exec(select(CaptureRow)).all())


@pytest.fixture
def busy(workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Hold the first transaction until the test lets it go, and count all of them."""
    workspace.create_job(JOB)
    go, began, counted = threading.Event(), threading.Event(), []
    put = arrivals.Arrivals._write

    def slow(self: Any, batch: Any) -> None:
        counted.append(len(batch))
        began.set()
        go.wait(20)
        put(self, batch)

    monkeypatch.setattr(arrivals.Arrivals, "_write", slow)
    return go, began, counted


def test_all_that_come_meanwhile_share_one_transaction(workspace: Workspace, busy: Any) -> None:
    go, began, counted = busy
    with ThreadPoolExecutor(12) as pool:
        first = pool.submit(keep, workspace, "x", "a0")
        began.wait(20)
        others = [pool.submit(keep, workspace, f"y{n}", f"a{n}") for n in range(1, 11)]
        while len(workspace.intake._arrivals._pending) < 10:
            pass
        go.set()
        found = [one.result(20) for one in (first, *others)]
    assert counted == [1, 10]
    assert len({one["capture"] for one in found}) == 11
    assert {row.client_id for row in on_record(workspace)} == {f"a{n}" for n in range(11)}
    assert workspace.verify().intact


def test_the_same_id_in_one_transaction_counts_once_and_other_bytes_are_kept_apart(
    workspace: Workspace, busy: Any
) -> None:
    go, began, _ = busy
    with ThreadPoolExecutor(8) as pool:
        first = pool.submit(keep, workspace, "x", "a0")
        began.wait(20)
        twice = [pool.submit(keep, workspace, "same", "b") for _ in range(3)]
        clash = pool.submit(keep, workspace, "other", "a0")
        while len(workspace.intake._arrivals._pending) < 4:
            pass
        go.set()
        assert first.result(20)["repeated"] is False
        assert sorted(one.result(20)["repeated"] for one in twice) == [False, True, True]
        with pytest.raises(SameIdOtherBytes):
            clash.result(20)
    assert sorted((row.client_id or "", row.state) for row in on_record(workspace)) == [
        ("", "failed"),
        ("a0", "stored"),
        ("b", "stored"),
    ]
    assert workspace.verify().intact


def test_one_that_cannot_be_written_spoils_no_other(
    workspace: Workspace, busy: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    go, began, _ = busy
    put = arrivals._put

    def fails(transaction: Any, arrival: Any) -> Any:
        if arrival.client_id == "bad":
            raise ValueError("an error of the program")
        return put(transaction, arrival)

    monkeypatch.setattr(arrivals, "_put", fails)
    with ThreadPoolExecutor(8) as pool:
        first = pool.submit(keep, workspace, "x", "a0")
        began.wait(20)
        good = [pool.submit(keep, workspace, f"y{n}", f"b{n}") for n in range(2)]
        bad = pool.submit(keep, workspace, "z", "bad")
        while len(workspace.intake._arrivals._pending) < 3:
            pass
        go.set()
        assert first.result(20)["state"] == "stored"
        assert [one.result(20)["state"] for one in good] == ["stored", "stored"]
        with pytest.raises(ValueError, match="error of the program"):
            bad.result(20)
    assert {row.client_id for row in on_record(workspace)} == {"a0", "b0", "b1"}


def test_a_full_disk_acknowledges_none_of_them(workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    workspace.create_job(JOB)

    def full(_: Database) -> Any:
        raise EntryNotWritten(cause="disk full")

    with monkeypatch.context() as patch:
        patch.setattr(Database, "write", full)
        with pytest.raises(EntryNotWritten):
            keep(workspace, "x", "a")
    assert on_record(workspace) == []
    assert keep(workspace, "x", "a")["repeated"] is False


@pytest.mark.parametrize("live_first", [True, False])
def test_an_utterance_that_comes_live_and_as_a_clip_counts_once(visit: Visit, live_first: bool) -> None:
    """Lose the answer to what was heard live: the page sends the same utterance once more, as other bytes."""
    intake = visit.workspace.intake
    words = "x ray axis through the cable a one to a two one point zero eight ohms"
    for salt in (1, 2) if live_first else (2, 1):
        client_id = None if salt == 1 else "of-the-clip"
        answer = intake.take(visit.job, clip(words, salt), at(1), client_id, utterance="utterance-1")
    assert answer["repeated"]
    with visit.workspace.database.read() as session:
        assert len(session.exec(select(CaptureRow)).all()) == 1
        assert len(session.exec(select(ProposalRow)).all()) == 1
        assert len(session.exec(select(EvidenceRow)).all()) == 2, "both recordings are kept"


def test_an_utterance_cut_off_is_heard_from_its_clip(visit: Visit) -> None:
    intake = visit.workspace.intake
    cut = intake.take(visit.job, clip("x ray axis one", 1), at(1), utterance="utterance-1", cut=True)
    words = "x ray axis through the cable a one to a two one point zero eight ohms"
    whole = intake.take(visit.job, clip(words, 2), at(1), "of-the-clip", utterance="utterance-1")
    assert (cut["state"], whole["repeated"], whole["proposals"][0]["value"]) == ("cut", False, "1.08")
    with pytest.raises(CaptureReadBefore):
        intake.read_again(cut["capture"])
