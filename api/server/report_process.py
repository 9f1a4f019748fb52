"""A report that takes much memory, made in a process of its own: what it takes ends with it.

The process works beside the server as a command does (`Workspace.attach`), and is ended where it takes too long or too
much. What it made is in the data folder: only the number of the report comes back, and the server stays small.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from api.assessment.shop_limits import Shop
from api.errors import OhmtrailError
from api.intake.worker import resident_bytes
from api.ledger.tables import ReportFileRow
from api.report.issued import Wanted
from api.server.errors import ReportStopped
from api.workspace import Workspace

MOST_BYTES = 600_000_000
"""Memory that it may have resident, as a recognising process."""
MOST_S = 600.0
"""Longest time it may take, s: a thousand readings take two minutes on a busy machine."""
_WATCH_S = 0.1


@dataclass(frozen=True)
class _Order:
    folder: Path
    shop: Shop | None
    job_id: str
    wanted: Wanted


def make_apart(workspace: Workspace, job_id: str, wanted: Wanted) -> ReportFileRow:
    """Make a report in a process of its own, and wait for it.

    Raises:
        NotFound: There is no such job.
        WriteFailed: The disk is full or refuses.
        ReportStopped: It took too long, too much memory, or ended.
    """
    context = get_context("spawn")
    pipe, other = context.Pipe()
    order = _Order(workspace.folder, workspace.shop, job_id, wanted)
    process = context.Process(target=_work, args=(other, order), name="report", daemon=True)
    process.start()
    other.close()
    try:
        reply = _wait(process, pipe)
    except (EOFError, OSError):
        raise ReportStopped(cause="its process ended") from None
    finally:
        process.kill()
        process.join()
        pipe.close()
    if isinstance(reply, OhmtrailError):
        raise reply
    with workspace.database.read() as session:
        return session.get_one(ReportFileRow, reply)


def _wait(process: SpawnProcess, pipe: Connection) -> object:
    begin = time.monotonic()
    while not pipe.poll(_WATCH_S):
        if time.monotonic() - begin > MOST_S:
            raise ReportStopped(cause=f"it took longer than {MOST_S:.0f} s")
        if resident_bytes(process.pid or 0) > MOST_BYTES:
            raise ReportStopped(cause=f"it needed more than {MOST_BYTES // 10**6} MB")
    return pipe.recv()


def _work(pipe: Connection, order: _Order) -> None:
    """Do it, in the process."""
    workspace = Workspace.attach(order.folder, shop=order.shop)
    try:
        pipe.send(workspace.make_report(order.job_id, order.wanted).id)
    except OhmtrailError as refused:
        pipe.send(refused)
    finally:
        workspace.close()
