"""The visit whose every call is made to fail: a technician's work in short, each answer told with what it promised.

It goes on after an error as the page does: what was not acknowledged is sent again, with the same client id.
"""

from __future__ import annotations

import datetime as dt
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from api.dialogue.actions import Confirm, Correct
from api.errors import OhmtrailError, WriteFailed
from api.ledger.clock import Clock
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from tests.api.makers import JOB, FakeEngines, at, clip, photo
from tests.faults.layer import Kind, Layer

JOB_ID = "J1"
PATIENCE = 2
"""Steps after the first that failed until a lasting fault is over."""
GIVEN = {(value, "Ohm", "=") for value in ("1.08", "2", "5.0", "4.9", "3", "7")} | {("550", "MOhm", "=")}
"""Value, unit and qualifier of everything that is said, shown and typed on the way."""
CHECKPOINT_PAGES = 40
"""Pages of the WAL after which SQLite checkpoints here; by itself it waits for 1,000, more than all this writes."""
OLD_FOLDER = Path(__file__).parents[1] / "api" / "ledger" / "data" / "schema1.zip"

Promise = tuple[str, dict[str, Any]]
"""A table, and columns of a row that must be there."""


def clock_from(hours: float) -> Clock:
    """Make a clock that begins some hours into the day of the visit and goes on by a second a reading."""
    seconds = iter(range(10**6))
    start = dt.datetime(2026, 11, 24, 8, 30, tzinfo=dt.UTC) + dt.timedelta(hours=hours)
    return lambda: start + dt.timedelta(seconds=next(seconds))


def promised(answer: Any) -> list[Promise]:
    """Give what an answer to a clip, photo, tap or typed line promised."""
    found: list[Promise] = []
    if "capture" in answer:
        found.append(("capture", {"id": answer["capture"], "sha256": answer["sha256"]}))
        found.append(("evidence", {"sha256": answer["sha256"]}))
    for record in answer["records"]:
        columns = ("id", "value", "unit", "qualifier", "axis", "section", "kind", "clip_sha256", "photo_sha256")
        found.append(("record", {name: record[name] for name in columns}))
    for proposal in answer["proposals"]:
        found.append(("proposal", {"id": proposal["id"]}))  # all else of it may change until it is confirmed
        if proposal["crop_sha256"]:
            found.append(("evidence", {"sha256": proposal["crop_sha256"], "kind": "crop"}))
    found += [("confirmation_event", {"record_id": id_, "action": "withdraw"}) for id_ in _ids(answer["withdrawn"])]
    return found


def _ids(withdrawn: list[Any]) -> list[str]:
    return [one["id"] if isinstance(one, dict) else one for one in withdrawn]


@dataclass
class Hand:
    """What the technician has in hand: the workspace while it is open, and what the last answers named.

    Attributes:
        folder: The data folder.
        clock: This machine's clock.
        asked: The proposal that the page shows, with its revision.
        recorded: The newest record told of.
        unread: Captures that were answered as stored and not read yet.
    """

    folder: Path
    clock: Clock
    workspace: Workspace | None = None
    asked: tuple[str, int] | None = None
    recorded: str = ""
    unread: list[str] = field(default_factory=list)

    @property
    def work(self) -> Workspace:
        """The workspace, opened if it is not."""
        if self.workspace is None:
            workspace = Workspace.open(self.folder, engines=FakeEngines(), clock=self.clock)
            self.workspace = workspace
            with workspace.database._writers.connect() as connection:
                connection.exec_driver_sql(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}").fetchall()
        return self.workspace

    def close(self) -> None:
        """Close the workspace as a server that ends does."""
        if self.workspace is not None:
            workspace, self.workspace = self.workspace, None
            workspace.close()

    def take(self, answer: Any) -> list[Promise]:
        """Note what an answer named, and give what it promised."""
        for proposal in answer["proposals"]:
            self.asked = (proposal["id"], proposal["revision"])
        for record in answer["records"]:
            self.recorded = record["id"]
        if answer.get("state") == "stored":
            self.unread.append(answer["capture"])
        return promised(answer)


Step = Callable[[Hand, str], list[Promise]]
"""Something done, given what there is and the step's own name (the client's id); gives what was promised."""


def _second(name: str) -> str:
    return at(30 + 20 * int(name.partition(" ")[0]))


def say(words: str) -> Step:
    """Send a clip."""

    def step(hand: Hand, name: str) -> list[Promise]:
        data = clip(words, int(name.partition(" ")[0]))
        return hand.take(hand.work.take_clip(JOB_ID, data, _second(name), client_id=name))

    return step


def _read_again(hand: Hand, _name: str) -> list[Promise]:
    """Read what was only stored, as the server does in a while."""
    unread, hand.unread = hand.unread, []
    found = []
    for capture_id in unread:
        found += hand.take(hand.work.intake.read_kept(capture_id, commands=False))
    return found


def show(value: str, unit: str) -> Step:
    """Send a photo."""

    def step(hand: Hand, name: str) -> list[Promise]:
        data = photo(value, unit, salt=int(name.partition(" ")[0]))
        return hand.take(hand.work.take_photo(JOB_ID, data, _second(name), client_id=name))

    return step


def _open(hand: Hand, _name: str) -> list[Promise]:
    hand.work.intake.resume()
    return []


def close(hand: Hand, _name: str) -> list[Promise]:
    hand.close()
    return []


def _job(hand: Hand, _name: str) -> list[Promise]:
    job = hand.work.create_job(JOB)
    axes: list[Promise] = [("axis", {"job_id": job["id"], "name": name}) for name in ("X", "Y")]
    return [("job", {"id": job["id"], "title": JOB["title"], "air_c": "24"}), *axes]


def _profile(hand: Hand, _name: str) -> list[Promise]:
    hand.work.set_profile(JOB_ID, "IT-03", "insulation-4000")
    return [("instrument_profile", {"instrument_id": f"{JOB_ID}-IT-03"})]


def _safety(hand: Hand, name: str) -> list[Promise]:
    answers: dict[str, Any] = {step.id: {"answer": "yes", "value": "3"} for step in STEPS}
    hand.work.answer_safety(JOB_ID, "X", answers, captured_at=_second(name))
    return [("safety_answer", {"axis_id": f"{JOB_ID}-X", "step": step, "answer": "yes"}) for step in answers]


def _typed(hand: Hand, name: str) -> list[Promise]:
    fields: Any = {"kind": "insulation_resistance", "value": "550", "unit": "MOhm", "axis": "X"}
    fields |= {"section": "motor_alone", "terminals": "lead-ground", "test_voltage_set": "500", "elapsed_s": "60"}
    return hand.take(hand.work.type_reading(JOB_ID, fields, _second(name)))


def tap(hand: Hand, name: str) -> list[Promise]:
    if hand.asked is None:
        return []
    id_, revision = hand.asked
    return hand.take(hand.work.act(id_, Confirm(revision), captured_at=_second(name)))


def _correct(hand: Hand, name: str) -> list[Promise]:
    if hand.asked is None:
        return []
    id_, revision = hand.asked
    return hand.take(hand.work.act(id_, Correct({"value": "4.9"}, revision=revision), captured_at=_second(name)))


def _withdraw(hand: Hand, name: str) -> list[Promise]:
    return hand.take(hand.work.withdraw(hand.recorded, captured_at=_second(name))) if hand.recorded else []


def _grade(hand: Hand, _name: str) -> list[Promise]:
    run = hand.work.grade(JOB_ID)
    return [("grading_run", {"id": run["run"], "findings_sha256": run["sha256"]})]


def _report(hand: Hand, _name: str) -> list[Promise]:
    row = hand.work.make_report(JOB_ID)
    return [("report_file", {"id": row.id, "sha256": row.sha256, "trail_hash": row.trail_hash})]


def prepare(scenario: str, folder: Path) -> None:
    """Put there what a scenario begins with, before anything counts."""
    if scenario == "migration":
        with zipfile.ZipFile(OLD_FOLDER) as packed:
            packed.extractall(folder)


def _numbered(*steps: tuple[str, Step]) -> list[tuple[str, Step]]:
    return [(f"{number} {name}", step) for number, (name, step) in enumerate(steps)]


SPOKEN = "x ray axis through the cable a one to a two one point zero eight ohms"
SCENARIOS: dict[str, list[tuple[str, Step]]] = {
    "visit": _numbered(
        ("open", _open), ("job", _job), ("safety", _safety), ("profile", _profile), ("value", say(SPOKEN)),
        ("yes", say("confirm")), ("correction", say("correction two ohms")), ("yes again", say("confirm")),
        ("photo", show("5.0", "Ohm")), ("correct", _correct), ("tap", tap), ("typed", _typed), ("tap", tap),
        ("withdraw", _withdraw), ("grade", _grade), ("report", _report), ("close", close), ("open", _open),
        ("value", say("motor alone three ohms")), ("yes", say("confirm")), ("report", _report), ("close", close),
    ),
    "migration": _numbered(
        ("open", _open), ("value", say(SPOKEN)), ("tap", tap), ("report", _report), ("close", close),
    ),
}  # fmt: skip
"""What is done, by name; "migration" opens a folder of schema 1."""


@dataclass
class Told:
    """What one step came to.

    Attributes:
        step: Its name.
        promises: What was acknowledged.
        error: The code of the error that it was answered with; empty where there was none.
        what: Its sentence.
        refused: The disk refused, the folder could not be opened, or it was no error of ours at all.
        kept: What the trail took in meanwhile, though an error was answered.
        over: The fault was over when it began.
        unread: It was answered as stored and not read yet.
    """

    step: str
    promises: list[Promise] = field(default_factory=list)
    error: str = ""
    what: str = ""
    refused: bool = False
    kept: list[str] = field(default_factory=list)
    over: bool = False
    unread: bool = False

    def line(self) -> str:
        """Write it as one line of JSON."""
        return json.dumps(self.__dict__)


def told_from(line: str) -> Told:
    """Read what `Told.line` wrote."""
    data = json.loads(line)
    data["promises"] = [(table, columns) for table, columns in data["promises"]]
    return Told(**data)


def trail_of(hand: Hand) -> list[str]:
    """List what the trail says happened."""
    if hand.workspace is None:
        return []
    with hand.workspace.database.read() as session:
        found = session.connection().exec_driver_sql("SELECT what FROM trail_entry ORDER BY seq")
        return [str(what) for (what,) in found]


def do_step(hand: Hand, name: str, step: Step) -> Told:
    """Do a step; an error becomes part of what is told."""
    told = Told(name)
    before, waiting = len(trail_of(hand)), len(hand.unread)
    try:
        told.promises = step(hand, name)
        told.unread = len(hand.unread) > waiting
    except Exception as error:
        told.error = error.code if isinstance(error, OhmtrailError) else f"raw {type(error).__name__}"
        told.what = str(error)
        # Without a workspace the folder could not be opened, whatever the reason given (a lock never let go, say).
        told.refused = isinstance(error, WriteFailed) or not isinstance(error, OhmtrailError) or hand.workspace is None
        told.kept = trail_of(hand)[before:]
    return told


class Patience:
    """Knows when a fault is over: one call's at once, a lasting one's when this says so to the layer."""

    def __init__(self, layer: Layer, kind: Kind, at_call: int) -> None:
        """Begin; the layer is armed with this kind at this call."""
        self._layer, self._kind, self._at = layer, kind, at_call
        self._left = PATIENCE

    @property
    def began(self) -> bool:
        """The call was reached."""
        return self._kind is not Kind.NONE and self._layer.count() >= self._at

    @property
    def over(self) -> bool:
        """The fault was, and is no more."""
        return self.began and (self._left <= 0 or not self._kind.lasts) and not self._layer.pending()

    def step_done(self) -> None:
        """Count a step; the last of patience lifts the fault."""
        if self.began:
            self._left -= 1
            if self._left == 0:
                self._layer.lift()

    def end(self) -> None:
        """Lift the fault now."""
        self._left = 0
        self._layer.lift()


def drive(scenario: str, folder: Path, patience: Patience, tell: Callable[[Told], None]) -> None:
    """Do all steps, telling of each as soon as it was answered; what failed is done again when the fault is over."""
    hand, failed = Hand(folder, clock_from(0)), []
    for name, step in SCENARIOS[scenario]:
        over = patience.over
        told = do_step(hand, name, step)
        told.over = over
        tell(told)
        if told.refused and not over:
            failed.append((name, step))
        patience.step_done()
        if patience.over:
            _again(hand, failed, tell)
            failed = []
    patience.end()
    _again(hand, [*failed, ("end", close)], tell)


def _again(hand: Hand, steps: list[tuple[str, Step]], tell: Callable[[Told], None]) -> None:
    """Do again what failed, now that the fault is over, and read what was only stored."""
    unread = [("read again", _read_again)] if hand.unread else []
    for name, step in (*unread, *steps):
        told = do_step(hand, name, step)
        told.over = True
        tell(told)
