"""One data folder and everything that can be done with it: the API for the server, the command line and the demo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from api.assessment.grade_job import put_grading
from api.assessment.recheck import verify_all
from api.assessment.shop_limits import Shop
from api.dialogue.actions import Action, act, typed
from api.dialogue.commands import lockout_ended, undo
from api.dialogue.conversation import steps_changed
from api.dialogue.desk import JobDesk
from api.dialogue.moving import move
from api.dialogue.turn import Turn, begin_turn
from api.errors import Refused
from api.intake.errors import NotTheOwner
from api.intake.intake import Intake
from api.intake.owner import FolderOwner
from api.intake.recognisers import Engines, RealEngines
from api.ledger.acting import acting_person
from api.ledger.canonical import PlainData, parsed
from api.ledger.clock import Clock, captured_text, parse_instant, system_clock
from api.ledger.database import Database
from api.ledger.errors import SameIdOtherAction
from api.ledger.evidence import adopt_orphans
from api.ledger.sent import SentAction, keep_answer, keep_refusal, once, refuse_again
from api.ledger.store import Store, sweep_folder
from api.ledger.tables import ReportFileRow
from api.ledger.trail import What
from api.ledger.verification.witnesses import NOTHING, Outside
from api.ledger.verify import Verification
from api.report.issued import Wanted, keep_report, make_report
from api.visit.changes import of_present_axis, require_open
from api.visit.errors import SafetyOpen
from api.visit.jobs import axis_of, job_of
from api.visit.profiles import instrument_of, profile_for_page, set_profile
from api.visit.proposals import proposal_of
from api.visit.readings import ReadingFields
from api.visit.records import Decision, record_of
from api.visit.safety import StepReply, put_answers, refuse_stale, safety_for_page


class Workspace:
    """A data folder, opened: `open` owns it, `attach` works beside its owner.

    Attributes:
        folder: Where it lies.
        database: Rows and trail.
        evidence: Clips, photos and what was cut from them.
        reports: Reports made.
        shop: The shop's own limits, None for the published ones.
        profile: The same as grading takes them.
        adopted: Files that a crash left without a row, taken in at opening.
        desk: What is done with a job as a whole.
    """

    def __init__(
        self, folder: Path, engines: Engines, clock: Clock, shop: Shop | None = None, owner: FolderOwner | None = None
    ) -> None:
        """Use `open` or `attach`."""
        self.folder = folder
        self._owner = owner
        self.database = Database(folder, clock)
        self.evidence = Store(folder / "evidence")
        self.reports = Store(folder / "reports")
        self.engines = engines
        self.shop = shop
        self.profile = None if shop is None else shop.profile
        self._intake = Intake(self.database, self.evidence, engines, self.profile)
        self.adopted: list[str] = []
        self.desk = JobDesk(self.database, self.evidence)

    @classmethod
    def open(
        cls,
        folder: Path | str,
        *,
        engines: Engines | None = None,
        clock: Clock = system_clock,
        shop: Shop | None = None,
    ) -> Workspace:
        """Open a data folder as its owner, making what is missing; left-overs of a crash are cleared or taken in.

        Args:
            folder: The data folder.
            engines: Hearing and seeing; None for the real ones with the model that ships.
            clock: Gives the present instant; the demo brings its own.
            shop: The shop's own limits; None for the published ones.

        Raises:
            FolderInUse: Another process owns it.
        """
        owner = FolderOwner(Path(folder), clock)
        try:
            workspace = cls(Path(folder), engines or RealEngines(), clock, shop, owner)
            sweep_folder(workspace.folder)
            workspace.evidence.sweep()
            workspace.reports.sweep()
            workspace.adopted = adopt_orphans(workspace.database, workspace.evidence)
        except BaseException:
            owner.release()
            raise
        return workspace

    @classmethod
    def attach(cls, folder: Path | str, *, clock: Clock = system_clock, shop: Shop | None = None) -> Workspace:
        """Open a data folder beside whoever owns it: to read, and to write through the write lock.

        Nothing is swept, adopted or recognised; `intake` is refused.
        """
        return cls(Path(folder), RealEngines(), clock, shop)

    @property
    def intake(self) -> Intake:
        """The way in for clips and photos.

        Raises:
            NotTheOwner: The folder was opened by `attach`.
        """
        if self._owner is None:
            raise NotTheOwner(folder=self.folder)
        return self._intake

    def close(self) -> None:
        """Close the database, and let go of the folder."""
        self.database.close()
        if self._owner is not None:
            self._owner.release()

    def create_job(self, description: PlainData) -> PlainData:
        """Make a job from its description.

        Returns:
            The job with its axes and instruments; `["id"]` is its number.

        Raises:
            BadInput: The description is wrong; the message names every place.
        """
        return self.desk.make(description)

    def answer_safety(
        self,
        job_id: str,
        axis: str,
        answers: Mapping[str, str | StepReply],
        *,
        how: str = "tapped",
        captured_at: str | None = None,
        sent: SentAction | None = None,
    ) -> PlainData:
        """Answer safety steps of one axis, all of them or none.

        Args:
            job_id: The job.
            axis: Axis name.
            answers: By step id: "yes", "no", "not_applicable", or those with what goes with them.
            how: "tapped", "typed" or "spoken".
            captured_at: The device's time.
            sent: Under which id it was sent, to be done once.

        Returns:
            All steps with their newest answers; `["open"]` names those that still hold the gate.

        Raises:
            BadInput: A step or answer is wrong; none was written.
            AnsweredBeforeBreak: It waited in the device, and the lock-out ended meanwhile.
            AnsweredBeforeError, SameIdOtherAction: See `api.ledger.sent`.
        """
        captured = captured_text(captured_at, self.database.clock())
        with once(self.database, job_id, sent, captured) as transaction:
            if sent is not None:
                refuse_stale(transaction.session, job_id, sent.acted_at(captured_at, self.database.clock()))
            turn = begin_turn(transaction, job_id, self.profile, captured)
            row = axis_of(transaction.session, job_id, axis)
            put_answers(transaction, row, answers, how=how, by=turn.job.technician, captured_at=captured)
            before = turn.standing.state
            steps_changed(turn)
            if turn.standing.state != before:
                turn.close()
            answer = safety_for_page(transaction.session, row, captured)
            return keep_answer(transaction, sent, job_id, answer, captured)

    def end_lockout(
        self,
        job_id: str,
        reason: str,
        *,
        name: str = "",
        how: str = "tapped",
        captured_at: str | None = None,
        sent: SentAction | None = None,
    ) -> PlainData:
        """Let no safety answer given so far count any more, since the lock-out or its person ended.

        Args:
            job_id: The job.
            reason: "power_restored" or "another_person".
            name: Who goes on, where that is known.
            how: "tapped" or "typed".
            captured_at: The device's time.
            sent: Under which id it was sent, to be done once.

        Raises:
            NoSuchJob: There is no such job.
            AnsweredBeforeError, SameIdOtherAction: See `api.ledger.sent`.
        """
        captured = captured_text(captured_at, self.database.clock())
        with once(self.database, job_id, sent, captured) as transaction:
            turn = begin_turn(transaction, job_id, self.profile, captured)
            lockout_ended(turn, reason, Decision(how, turn.job.technician, captured, reason), name)
            turn.close()
            return keep_answer(transaction, sent, job_id, turn.for_page(), captured)

    def say_twice(self, job_id: str, wanted: bool, *, captured_at: str | None = None) -> PlainData:
        """Have spoken values of a job confirmed by saying them again, or by a word as usual.

        Raises:
            NoSuchJob: There is no such job.
        """
        return self._turned(job_id, captured_at, lambda turn: turn.say_twice(wanted))

    def rest_between(self, job_id: str, wanted: bool, *, captured_at: str | None = None) -> PlainData:
        """Have a job come to rest between readings (see `api.dialogue.attention`), or listen to all.

        Raises:
            NoSuchJob: There is no such job.
        """
        return self._turned(job_id, captured_at, lambda turn: turn.rest_between(wanted))

    def _turned(self, job_id: str, captured_at: str | None, change: Callable[[Turn], None]) -> PlainData:
        """Do something in a turn of a job's conversation, at the device's time; gives the turn as the page shows it."""
        captured = captured_text(captured_at, self.database.clock())
        with self.database.write() as transaction:
            turn = begin_turn(transaction, job_id, self.profile, captured)
            change(turn)
            turn.close()
            return turn.for_page()

    def set_profile(self, job_id: str, label: str, given: object) -> PlainData:
        """Say what an instrument of a job can show (see `api.visit.profiles.set_profile`); returns its profile.

        Raises:
            BadInput: It is no profile.
            NotFound: There is no such job or instrument.
        """
        with self.database.write() as transaction:
            job = job_of(transaction.session, job_id)
            require_open(transaction.session, job_id)
            set_profile(transaction, job, label, given)
            return profile_for_page(transaction.session, instrument_of(transaction.session, job_id, label))

    def take_clip(
        self, job_id: str, data: bytes, captured_at: str | None = None, client_id: str | None = None
    ) -> PlainData:
        """Take a clip in: stored, heard, acted on (see `api.intake.intake.Intake.take`)."""
        return self.intake.take(job_id, data, captured_at, client_id)

    def take_photo(
        self, job_id: str, data: bytes, captured_at: str | None = None, client_id: str | None = None
    ) -> PlainData:
        """Take a photo in: stored, seen, acted on (see `api.intake.intake.Intake.take`)."""
        return self.intake.take(job_id, data, captured_at, client_id)

    def type_reading(
        self,
        job_id: str,
        fields: ReadingFields,
        captured_at: str | None = None,
        supersedes: str | None = None,
        sent: SentAction | None = None,
    ) -> PlainData:
        """Propose a typed reading, perhaps to correct a record.

        Args:
            job_id: The job.
            fields: What was typed; what is left out is taken from where the work stands.
            captured_at: The device's time.
            supersedes: The record that it would replace.
            sent: Under which id it was sent, to be done once.

        Raises:
            BadInput: A field is wrong.
            AnsweredBeforeError, SameIdOtherAction: See `api.ledger.sent`.
        """
        captured = captured_text(captured_at, self.database.clock())
        with once(self.database, job_id, sent, captured) as transaction:
            turn = begin_turn(transaction, job_id, self.profile, captured)
            typed(turn, of_present_axis(transaction.session, job_id, fields), captured, supersedes)
            turn.close()
            return keep_answer(transaction, sent, job_id, turn.for_page(), captured)

    def act(
        self,
        proposal_id: str,
        action: Action,
        *,
        captured_at: str | None = None,
        how: str = "tapped",
        sent: SentAction | None = None,
    ) -> PlainData:
        """Confirm, reject, correct or choose by a tap.

        Args:
            proposal_id: The proposal.
            action: What to do with it (see `api.dialogue.actions`).
            captured_at: The device's time.
            how: "tapped" or "typed".
            sent: Under which id it was sent, to be done once.

        Raises:
            Refused: Not allowed as things stand; the refusal is noted in the trail.
            BadInput: A field is wrong.
            AnsweredBeforeError, SameIdOtherAction: See `api.ledger.sent`.
        """
        captured = captured_text(captured_at, self.database.clock())
        with self.database.read() as session:
            job = job_of(session, proposal_of(session, proposal_id).row.job_id)
        try:
            with self.database.write() as transaction:
                refuse_again(transaction.session, sent)
                turn = begin_turn(transaction, job.id, self.profile, captured)
                act(turn, proposal_id, action, Decision(how, acting_person(job.technician), captured, action.name))
                turn.close()
                return keep_answer(transaction, sent, job.id, turn.for_page(), captured)
        except SameIdOtherAction:
            raise
        except Refused as problem:
            # The refused turn was rolled back as a whole; that somebody tried is noted by itself.
            with self.database.write() as transaction:
                note = {"proposal": proposal_id, "action": action.name, "code": problem.code, "why": str(problem)}
                transaction.entry(What.CONFIRM_REFUSED, job.id, by=acting_person(job.technician), note=note)
                if isinstance(problem, SafetyOpen):  # asked at once, aloud too, instead of only on the page
                    turn = begin_turn(transaction, job.id, self.profile, captured)
                    turn.test_meant(str(problem.axis))
                    turn.close()
                keep_refusal(transaction, sent, job.id, problem, captured)
            raise

    def move(
        self,
        proposal_id: str,
        job_id: str,
        revision: int | None = None,
        *,
        captured_at: str | None = None,
        sent: SentAction | None = None,
    ) -> PlainData:
        """Move an open proposal to another open job (`api.dialogue.moving` says what is refused); with `sent`, once."""
        captured = captured_text(captured_at, self.database.clock())
        with self.database.read() as session:
            job = job_of(session, proposal_of(session, proposal_id).row.job_id)
        with once(self.database, job.id, sent, captured) as transaction:
            decision = Decision("tapped", acting_person(job.technician), captured)
            answer = move(transaction, proposal_id, job_id, revision, decision, self.profile)
            return keep_answer(transaction, sent, job.id, answer, captured)

    def withdraw(
        self, record_id: str, *, captured_at: str | None = None, how: str = "tapped", sent: SentAction | None = None
    ) -> PlainData:
        """Withdraw a record by a new event; with `sent`, once.

        Raises:
            NoSuchRecord: There is no such record.
            RecordWithdrawn: It is withdrawn already.
            AnsweredBeforeError, SameIdOtherAction: See `api.ledger.sent`.
        """
        captured = captured_text(captured_at, self.database.clock())
        with self.database.read() as session:
            job_id = record_of(session, record_id).row.job_id
        with once(self.database, job_id, sent, captured) as transaction:
            turn = begin_turn(transaction, job_id, self.profile, captured)
            undo(turn, Decision(how, turn.job.technician, captured, "withdraw"), record_id)
            turn.close()
            return keep_answer(transaction, sent, job_id, turn.for_page(), captured)

    def grade(self, job_id: str) -> PlainData:
        """Compute a job's findings and keep them with their hash; returns a `JobVerdict` as plain data."""
        with self.database.write() as transaction:
            run = put_grading(transaction, job_id, self.shop)
            return {"run": run.id, "sha256": run.findings_sha256, **parsed(run.findings_json)}

    def keep_report(self, job_id: str, name: str, media_type: str, data: bytes) -> ReportFileRow:
        """Keep a report that was made (see `api.report.issued.keep_report`)."""
        return keep_report(self.database, self.reports, job_id, name, media_type, data)

    def make_report(self, job_id: str, wanted: Wanted | None = None) -> ReportFileRow:
        """Build a job's report and keep it (see `api.report.issued.make_report`); its bytes are in `reports`."""
        return make_report(self.database, self.evidence, self.reports, job_id, self.shop, wanted)

    def verify(self, outside: Outside = NOTHING) -> Verification:
        """Check everything against the trail (see `api.ledger.verify`), and findings against their records."""
        return verify_all(self.folder, outside=outside)


def fixed_clock(*instants: str) -> Clock:
    """Make a clock for the demo and tests that gives these instants one after the other, the last one for ever."""
    waiting = [parse_instant(instant) for instant in instants]
    return lambda: waiting.pop(0) if len(waiting) > 1 else waiting[0]
