"""What a device sends under an id of its own is done once: sent again, it is given its first answer.

The id is written in the transaction that does what was asked, so it is on disk exactly when that is. A refusal is kept
as well: what the person was told must not turn into something else because the first answer was lost on the way.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlmodel import Session, select

from api.errors import Refused
from api.ledger.canonical import PlainData, canonical, parsed
from api.ledger.clock import captured_text, parse_instant
from api.ledger.database import Database, Transaction
from api.ledger.errors import SameIdOtherAction
from api.ledger.sent_action import SentActionRow
from api.ledger.trail import What


@dataclass(frozen=True)
class SentAction:
    """An action as a device sent it.

    Attributes:
        client_id: The device's own unique id.
        request_sha256: Hash of what is asked.
        status: HTTP status that it is answered by where it succeeds.
        sent_at: The device's time of sending, with offset; empty where it does not say.
    """

    client_id: str
    request_sha256: str
    status: int = 200
    sent_at: str = ""

    def acted_at(self, captured_at: str | None, now: dt.datetime) -> dt.datetime:
        """Give when the person acted, by this machine's clock: both times of the device tell how long it waited.

        Raises:
            BadTime: A time that cannot be read.
        """
        if not self.sent_at or captured_at is None:
            return now
        waited = parse_instant(self.sent_at) - parse_instant(captured_at)
        return now - max(waited, dt.timedelta())


class AnsweredBeforeError(Exception):
    """The id was answered before; nothing of the repetition is kept.

    Attributes:
        status: HTTP status of the first answer.
        answer: The first answer.
    """

    def __init__(self, status: int, answer: PlainData) -> None:
        """Carry the first answer to whoever sends it."""
        super().__init__(f"answered before with {status}")
        self.status, self.answer = status, answer


def refuse_again(session: Session, sent: SentAction | None) -> None:
    """End a transaction whose action was done before. Call it first thing in the transaction.

    Raises:
        AnsweredBeforeError: With the first answer.
        SameIdOtherAction: The id was used for something else.
    """
    if sent is None:
        return
    row = session.exec(select(SentActionRow).where(SentActionRow.client_id == sent.client_id)).first()
    if row is None:
        return
    if row.request_sha256 != sent.request_sha256:
        raise SameIdOtherAction(client_id=sent.client_id)
    raise AnsweredBeforeError(row.status, parsed(row.answer_json))


def keep_answer(
    transaction: Transaction,
    sent: SentAction | None,
    job_id: str,
    answer: PlainData,
    captured_at: str | None,
    *,
    refused: Refused | None = None,
) -> PlainData:
    """Keep what an action was answered, in the transaction that did it; gives the answer back.

    Args:
        transaction: The writing transaction.
        sent: The action; None where the sender gave it no id, then nothing is kept.
        job_id: The job.
        answer: What the sender is answered.
        captured_at: The device's time at which the person acted.
        refused: The refusal that the answer is.
    """
    if sent is None:
        return answer
    row = SentActionRow(
        id=transaction.next_id(SentActionRow, job_id),
        job_id=job_id,
        client_id=sent.client_id,
        request_sha256=sent.request_sha256,
        status=sent.status if refused is None else refused.status,
        answer_json=canonical(answer),
        captured_at=captured_text(captured_at, parse_instant(transaction.now)),
        sent_at=sent.sent_at,
        at=transaction.now,
    )
    transaction.put(row)
    transaction.entry(What.ACTION_ANSWERED, job_id)
    return answer


def keep_refusal(
    transaction: Transaction, sent: SentAction | None, job_id: str, problem: Refused, captured_at: str | None
) -> None:
    """Keep a refusal as the answer to an action, in a transaction of its own: what was refused was rolled back.

    Raises:
        AnsweredBeforeError, SameIdOtherAction: See `refuse_again`.
    """
    refuse_again(transaction.session, sent)
    keep_answer(transaction, sent, job_id, problem.to_json(), captured_at, refused=problem)


@contextmanager
def once(database: Database, job_id: str, sent: SentAction | None, captured_at: str) -> Iterator[Transaction]:
    """Write what was asked, unless it was done before under the same id; a refusal is kept as its answer.

    Args:
        database: Where to write.
        job_id: The job.
        sent: The action; None where it bears no id.
        captured_at: The device's time at which the person acted.

    Raises:
        AnsweredBeforeError, SameIdOtherAction: See `refuse_again`.
    """
    try:
        with database.write() as transaction:
            refuse_again(transaction.session, sent)
            yield transaction
    except SameIdOtherAction:
        raise
    except Refused as problem:
        if sent is not None:
            with database.write() as transaction:
                keep_refusal(transaction, sent, job_id, problem, captured_at)
        raise
