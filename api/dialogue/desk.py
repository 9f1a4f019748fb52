"""What is done with a job as a whole: made, corrected, closed, reopened, given its pictures; noted in the trail."""

from __future__ import annotations

from collections.abc import Callable

from api.dialogue.renaming import leave_axis, rename_open
from api.ledger.canonical import PlainData
from api.ledger.clock import captured_text
from api.ledger.database import Database, Transaction
from api.ledger.evidence import Stored, store_file
from api.ledger.sent import SentAction, keep_answer, once, refuse_again
from api.ledger.store import Store
from api.ledger.trail import What
from api.visit.changes import MOVES, require_open
from api.visit.description import read_description
from api.visit.editing import JobEdit, edit_job, move_job
from api.visit.errors import BadWord
from api.visit.jobs import axis_of, create_job, job_for_page, job_of
from api.visit.pictures import LOGO, check_picture, logo_as_shown, picture_for_page, put_picture, subject_of
from api.visit.withdrawing import reinstate_axis, withdraw_axis


class JobDesk:
    """Works on the jobs of one data folder.

    Errors of ids that were sent before are those of `api.ledger.sent`.
    """

    def __init__(self, database: Database, evidence: Store) -> None:
        """Work on these."""
        self._database = database
        self._evidence = evidence

    def make(self, description: PlainData, sent: SentAction | None = None) -> PlainData:
        """Make a job from its description, once for each id under which it is sent.

        Raises:
            BadJobDescription: It is wrong; the error names every place.
        """
        checked = read_description(description)
        with self._database.write() as transaction:
            refuse_again(transaction.session, sent)
            job = create_job(transaction, checked)
            return keep_answer(transaction, sent, job.id, job_for_page(transaction.session, job), None)

    def edit(
        self, job_id: str, given: JobEdit, captured_at: str | None = None, sent: SentAction | None = None
    ) -> PlainData:
        """Correct a job, its axes and instruments, or add some (`api.visit.editing.edit_job` says what is refused)."""

        def change(transaction: Transaction) -> None:
            renamed = edit_job(transaction, job_id, given)
            if renamed:
                rename_open(transaction, job_id, renamed)
                transaction.entry(What.JOB_CHANGED, job_id, note={"action": "renamed", "axes": renamed})

        return self._changed(job_id, captured_at, sent, change)

    def move(
        self, job_id: str, move: str, reason: str = "", captured_at: str | None = None, sent: SentAction | None = None
    ) -> PlainData:
        """Close, reopen, archive or restore a job (see `api.visit.editing.move_job` for what is refused).

        Raises:
            BadWord: There is no such move.
        """
        if move not in MOVES:
            raise BadWord(field="move", value=move, known=tuple(MOVES))
        return self._changed(job_id, captured_at, sent, lambda transaction: move_job(transaction, job_id, move, reason))

    def withdraw_axis(
        self, job_id: str, axis: str, reason: str = "", captured_at: str | None = None, sent: SentAction | None = None
    ) -> PlainData:
        """Let an axis that was added by mistake count no more (`api.visit.withdrawing` says what is refused)."""

        def change(transaction: Transaction) -> None:
            leave_axis(transaction, job_id, axis_of(transaction.session, job_id, axis).name)
            withdraw_axis(transaction, job_id, axis, reason)

        return self._changed(job_id, captured_at, sent, change)

    def reinstate_axis(
        self, job_id: str, axis: str, reason: str = "", captured_at: str | None = None, sent: SentAction | None = None
    ) -> PlainData:
        """Let a withdrawn axis count again (`api.visit.withdrawing` says what is refused)."""
        return self._changed(
            job_id, captured_at, sent, lambda transaction: reinstate_axis(transaction, job_id, axis, reason)
        )

    def _changed(
        self, job_id: str, captured_at: str | None, sent: SentAction | None, change: Callable[[Transaction], object]
    ) -> PlainData:
        """Change a job once for each id under which the change is sent; gives the job as the page shows it then."""
        captured = captured_text(captured_at, self._database.clock())
        with self._database.read() as session:
            job_of(session, job_id)
        with once(self._database, job_id, sent, captured) as transaction:
            change(transaction)
            session = transaction.session
            answer = job_for_page(session, job_of(session, job_id))
            return keep_answer(transaction, sent, job_id, answer, captured)

    def picture(
        self, job_id: str, use: str, name: str, data: bytes | None, captured_at: str | None = None
    ) -> PlainData:
        """Keep a nameplate, an instrument's plate or a logo; None takes the one that counts away.

        Raises:
            NoSuchJob, JobNotOpen, BadPictureUse, PictureNotSuitable: See `api.visit.pictures`.
            FileEmpty, FileTooLarge: See `api.ledger.evidence.check_size`.
        """
        captured = captured_text(captured_at, self._database.clock())
        with self._database.read() as session:
            subject_of(session, job_id, use, name)
            require_open(session, job_id)
        stored: Stored | None = None
        shown: Stored | None = None
        if data is not None:
            check_picture(use, data)
            # On disk and synced before its row, as every evidence.
            stored = store_file(self._evidence, data)
            if use == LOGO:
                shown = store_file(self._evidence, logo_as_shown(data))
        with self._database.write() as transaction:
            return picture_for_page(put_picture(transaction, job_id, use, name, stored, captured, shown))
