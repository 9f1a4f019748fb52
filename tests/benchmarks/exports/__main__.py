"""Measures exports: `python -m tests.benchmarks.exports [--readings 50 1000] [--entries 100000] [--folder FOLDER]`.

A visit of so many readings, each with a real clip of the demo (its samples changed, so that no two files are the same),
its confirmation and its record, is exported as a ZIP file; then verified by the program and, unpacked, by the enclosed
verifier. A trail of so many entries holds arrivals alone, and no reading.
"""

from __future__ import annotations

import argparse
import io
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import wave
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from api.exchange.export import export_job
from api.exchange.imported import look_at
from api.intake.recognisers import RealEngines
from api.ledger.database import Transaction
from api.ledger.evidence import put_evidence, store_file
from api.ledger.tables import CaptureRow, ConfirmationEventRow, ProposalRow, RecordRow
from api.ledger.trail import What
from api.workspace import Workspace
from capture.speech.audio import load_clip
from tests.api.makers import JOB
from tests.benchmarks.ledger.__main__ import fill

CLIPS = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"
BATCH = 2000


def clip(number: int) -> bytes:
    """Give a clip of the demo as a WAV file of its own."""
    known = sorted(CLIPS.glob("*.flac"))
    pcm = bytearray(load_clip(known[number % len(known)].read_bytes()).pcm)
    pcm[:8] = number.to_bytes(8, "little")
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(bytes(pcm))
    return out.getvalue()


def put_reading(transaction: Transaction, number: int, sha256: str) -> None:
    """Write the rows and entries of one reading, as a visit does."""
    now, text = transaction.now, str(number)
    shared: dict[str, Any] = {
        "kind": "insulation_resistance", "value": text, "unit": "MOhm", "qualifier": "=", "axis": "X",
        "section": "through_cable", "terminals": "lead-ground", "test_voltage_set": "500", "test_voltage_built": "512",
        "elapsed_s": "60", "source": "speech", "clip_sha256": sha256, "photo_sha256": None, "crop_sha256": None,
        "heard_text": "lead to ground five hundred megohms", "seen_text": "", "agreement": "", "instrument_id": None,
        "captured_at": now, "position": "", "circumstances_json": "[]",
    }  # fmt: skip
    capture = CaptureRow(
        id=f"J1-C{number}", job_id="J1", sha256=sha256, client_id=None, state="recognised", outcome_json="{}",
        captured_at=now, received_at=now,
    )  # fmt: skip
    transaction.put(capture)
    transaction.entry(What.EVIDENCE_STORED, "J1")
    proposal = ProposalRow(
        id=f"J1-P{number}", job_id="J1", state="open", revision=1, supersedes=None, confidence="0.98", doubts_json="[]",
        alternatives_json="[]", voice_json="null", photo_json="null", created_at=now, changed_at=now,
        changed_captured=now, **shared,
    )  # fmt: skip
    transaction.put(proposal)
    transaction.entry(What.PROPOSED, "J1")
    event = ConfirmationEventRow(
        id=f"J1-E{number}", job_id="J1", proposal_id=proposal.id, record_id=None, action="confirm", how="spoken",
        revision=1, words="confirm", clip_sha256=None, by="Technician 7", detail_json="{}", captured_at=now, at=now,
    )  # fmt: skip
    transaction.put(event)
    proposal.state = "confirmed"
    transaction.put(proposal)
    record = RecordRow(
        id=f"J1-R{number}", job_id="J1", proposal_id=proposal.id, confirmation_id=event.id, supersedes=None,
        confirmed_how="spoken", confirmed_by="Technician 7", confirmed_at=now, note="", **shared,
    )  # fmt: skip
    transaction.put(record)
    transaction.entry(What.CONFIRMED, "J1", by="Technician 7")


def make(folder: Path, readings: int, told: Progress) -> Workspace:
    """Make a visit of so many readings."""
    workspace = Workspace.open(folder, engines=RealEngines())
    workspace.create_job(JOB)
    task = told.add_task(f"{readings} readings", total=readings)
    for begin in range(1, readings + 1, BATCH):
        with workspace.database.write() as transaction:
            for number in range(begin, min(begin + BATCH, readings + 1)):
                stored = store_file(workspace.evidence, clip(number))
                put_evidence(transaction, stored)
                put_reading(transaction, number, stored.sha256)
                told.advance(task)
    return workspace


def _timed(command: list[str], cwd: Path) -> float:
    began = time.perf_counter()
    subprocess.run(command, cwd=cwd, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def measure(workspace: Workspace, folder: Path, readings: int, table: Table) -> None:
    """Export one visit, verify it, and add the line."""
    began = time.perf_counter()
    made = export_job(workspace.database, workspace.evidence, workspace.reports, "J1", folder / "bag.zip")
    exporting = time.perf_counter() - began
    workspace.close()
    began = time.perf_counter()
    found = look_at(folder / "bag.zip")
    verifying = time.perf_counter() - began
    assert found.problems == [], found.problems[:3]
    shutil.unpack_archive(folder / "bag.zip", folder / "out")
    bag = folder / "out" / "bag"
    enclosed = _timed([sys.executable, "-S", "check.py"], bag)
    sums = _timed(["sha256sum", "-c", "--quiet", "manifest-sha256.txt"], bag)
    size = (folder / "bag.zip").stat().st_size / 1e6
    figures = (f"{readings:,}", f"{made.entries:,}", f"{made.files:,}", f"{size:.1f}")
    table.add_row(*figures, *(f"{one:.2f}" for one in (exporting, verifying, enclosed, sums)))
    print(*figures, exporting, verifying, enclosed, sums, flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, nargs="*", default=[50, 1000])
    parser.add_argument("--entries", type=int, nargs="*", default=[100_000])
    parser.add_argument("--folder", type=Path, help="Where to work; the system's temporary folder if not given.")
    given = parser.parse_args()
    table = Table(title="Exports as ZIP files, verified", caption="with a report where there are readings")
    for heading in ("readings", "entries", "files", "MB", "export, s", "verify, s", "enclosed, s", "sha256sum, s"):
        table.add_column(heading, justify="right")
    with Progress(transient=True) as told:
        for count in given.readings:
            with tempfile.TemporaryDirectory(dir=given.folder) as folder:
                workspace = make(Path(folder) / "data", count, told)
                workspace.make_report("J1")
                measure(workspace, Path(folder), count, table)
        for count in given.entries:
            with tempfile.TemporaryDirectory(dir=given.folder) as folder:
                fill(Path(folder) / "data", count, told)
                measure(Workspace.attach(Path(folder) / "data"), Path(folder), 0, table)
    Console().print(table)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    print(f"Most memory {peak:.0f} MB. Load of the machine: {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors.")


if __name__ == "__main__":
    main()
