"""The table of actions that devices sent under ids of their own, each with the first answer."""

from __future__ import annotations

from typing import ClassVar

from sqlmodel import Field, SQLModel


class SentActionRow(SQLModel, table=True):
    """One action as a device sent it, and what it was answered; append-only, written with what the action did.

    Attributes:
        id: "J1-A1", ...
        client_id: The device's own unique id of the action.
        request_sha256: Hash of what was asked, so that one id cannot stand for two actions.
        status: HTTP status of the answer.
        answer_json: The answer; a refusal is an answer too.
        captured_at: The device's time at which the person acted.
        sent_at: The device's time at which it was sent, which is later where it waited; empty where it did not say.
        at: UTC instant, this machine's.
    """

    __tablename__: ClassVar[str] = "sent_action"

    id: str = Field(primary_key=True)
    job_id: str = Field(foreign_key="job.id", index=True)
    client_id: str = Field(index=True)
    request_sha256: str
    status: int
    answer_json: str
    captured_at: str
    sent_at: str
    at: str
