"""A capture is read once: the sender's repetition, the start after a crash and a second reader all find one answer."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlmodel import select

from api.intake.intake import Intake
from api.ledger.tables import CaptureRow, ConfirmationEventRow
from api.workspace import Workspace
from capture.reading import Context, Seen, Utterance
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines, at, clip, photo

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


class Slow(FakeEngines):
    """Counts what it reads, and waits in between until it is let go."""

    def __init__(self) -> None:
        self.read: list[bytes] = []
        self.begun = threading.Event()
        self.go = threading.Event()

    def _wait(self, data: bytes) -> None:
        self.read.append(data)
        self.begun.set()
        assert self.go.wait(20)

    def hear(self, data: bytes, context: Context) -> Utterance:
        self._wait(data)
        return super().hear(data, context)

    def see(self, data: bytes, corners: Any = None) -> Seen:
        self._wait(data)
        return super().see(data, corners)


@pytest.fixture
def slow(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> Slow:
    engines = Slow()
    monkeypatch.setattr(visit.workspace._intake, "_engines", engines)
    return engines


def interrupt(visit: Visit, words: str, second: float, client_id: str | None = None) -> bytes:
    """Store a clip and stop before anything is made of it."""
    data = clip(words, int(second))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Intake, "_conclude", lambda *_, **__: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            visit.workspace.take_clip(visit.job, data, at(second), client_id)
    return data


def events(workspace: Workspace) -> list[str]:
    with workspace.database.read() as session:
        return list(session.exec(select(ConfirmationEventRow.action)).all())


def test_a_repetition_and_the_start_wait_for_the_first_reading(visit: Visit, slow: Slow) -> None:
    intake, data = visit.workspace.intake, clip(READING)
    with ThreadPoolExecutor(8) as pool:
        first = pool.submit(intake.take, visit.job, data, at(1), "c1")
        assert slow.begun.wait(20)
        others = [pool.submit(intake.take, visit.job, data, at(1), "c1") for _ in range(4)]
        resumed = pool.submit(intake.resume)
        slow.go.set()
        answers = [one.result(20) for one in others]
        assert resumed.result(20) == 0
    assert len(slow.read) == 1
    assert not first.result()["repeated"]
    assert all(answer["repeated"] for answer in answers)
    assert {answer["proposals"][0]["id"] for answer in answers} == {first.result()["proposals"][0]["id"]}
    assert "correct" not in events(visit.workspace)


def test_after_a_stop_the_start_and_the_sender_together_read_once(visit: Visit) -> None:
    data = interrupt(visit, READING, 1, "c1")
    with ThreadPoolExecutor(8) as pool:
        tasks = [pool.submit(visit.workspace.intake.resume), pool.submit(visit.workspace.intake.resume)]
        sent = [pool.submit(visit.workspace.intake.take, visit.job, data, at(1), "c1") for _ in range(4)]
        assert sum(task.result(20) for task in tasks) + sum(not one.result(20)["repeated"] for one in sent) == 1
    assert visit.whats().count("recognised") == 1
    assert events(visit.workspace) == []


def test_a_command_from_before_the_stop_is_not_obeyed_when_it_is_sent_again(visit: Visit) -> None:
    visit.say(READING)
    visit.now += 20
    data = interrupt(visit, "confirm", visit.now, "c2")
    answer = visit.workspace.take_clip(visit.job, data, at(visit.now), "c2")
    assert "not obeyed" in answer["message"]
    assert visit.records() == []
    assert visit.workspace.intake.resume() == 0


def test_a_second_conclusion_is_impossible_even_if_two_read(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any claim, the state of the capture alone decides, in the transaction that changes it."""
    interrupt(visit, READING, 1)
    intake = visit.workspace.intake
    with visit.workspace.database.read() as session:
        capture = session.exec(select(CaptureRow)).one()
    real = intake._read

    def twice(capture_id: str, *given: Any, **named: Any) -> Any:
        real(capture_id, *given, **named)
        return real(capture_id, *given, **named)

    monkeypatch.setattr(intake, "_read", twice)
    before = visit.whats()
    answer = intake._read_once(capture.id, lambda: clip(READING, 1), commands=False)
    assert answer["repeated"]
    assert visit.whats()[len(before) :].count("recognised") == 1
    assert visit.workspace.verify().intact


def test_a_photo_sent_twice_at_once_is_seen_once(visit: Visit, slow: Slow) -> None:
    data = photo("1.080", "Ohm")
    slow.go.set()
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: visit.workspace.take_photo(visit.job, data, at(1), "p1"), range(8)))
    assert len(slow.read) == 1
    assert len({answer["proposals"][0]["id"] for answer in answers}) == 1


def test_a_burst_sent_by_two_at_once_is_read_once(visit: Visit) -> None:
    frames = [photo("1.080", "Ohm", salt=salt) for salt in range(4)]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: visit.workspace.intake.take_burst(visit.job, frames, at(1), "b1"), range(8)))
    assert sum(not answer["repeated"] for answer in answers) == 1
    assert len({answer["proposals"][0]["id"] for answer in answers}) == 1
    assert visit.workspace.verify().intact


def test_a_burst_whose_photos_were_read_one_by_one_after_a_stop_is_not_read_again(visit: Visit) -> None:
    frames = [photo("1.080", "Ohm", salt=salt) for salt in range(3)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Intake, "_read_burst", lambda *_, **__: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            visit.workspace.intake.take_burst(visit.job, frames, at(1), "b1")
    assert visit.workspace.intake.resume() == 3
    before = visit.whats()
    assert visit.workspace.intake.take_burst(visit.job, frames, at(1), "b1")["repeated"]
    assert visit.whats() == before


@pytest.mark.parametrize("damage", ["gone", "changed"])
def test_one_missing_file_does_not_end_the_reading_of_the_others(visit: Visit, damage: str) -> None:
    for second, digit in enumerate(("one", "two", "three"), 1):
        interrupt(visit, f"x ray axis motor alone a one to a two {digit} ohms", second)
    with visit.workspace.database.read() as session:
        captures = list(session.exec(select(CaptureRow)).all())
    path = visit.workspace.evidence.path(captures[1].sha256)
    path.unlink()
    if damage == "changed":
        path.write_bytes(clip("confirm"))
    assert visit.workspace.intake.resume() == 3
    with visit.workspace.database.read() as session:
        rows = list(session.exec(select(CaptureRow)).all())
    assert [row.state for row in rows] == ["recognised", "failed", "recognised"]
    assert f"evidence_{'missing' if damage == 'gone' else 'changed'}" in rows[1].outcome_json
    assert "is kept" not in rows[1].outcome_json


def test_a_disk_that_refuses_one_answer_does_not_end_the_reading(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    for second in (1, 2):
        interrupt(visit, READING, second)
    real, calls = Intake._conclude, iter([True, False])

    def once(self: Intake, *given: Any, **named: Any) -> Any:
        return 1 / 0 if next(calls) else real(self, *given, **named)

    monkeypatch.setattr(Intake, "_conclude", once)
    assert visit.workspace.intake.resume() == 1
