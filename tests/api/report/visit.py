"""A small visit written into a real database with real files: two axes, a cable that failed, a mistake put right."""

from __future__ import annotations

import datetime as dt
import io
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy
import soundfile
from PIL import Image, ImageDraw, ImageFont

from api.ledger.canonical import PlainData, canonical
from api.ledger.database import Database, Transaction
from api.ledger.evidence import put_evidence, store_file
from api.ledger.store import Store
from api.ledger.tables import CaptureRow
from api.ledger.trail import What
from api.visit.description import read_description
from api.visit.jobs import axis_of, create_job, read_job
from api.visit.proposals import ProposedReading, Source, new_proposal, set_value
from api.visit.records import Decision, confirm
from api.visit.safety import StepReply, put_answers
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from capture.reading import Doubt, Reading
from grading.terms.quantity import Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

START = dt.datetime(2026, 11, 24, 8, 30, tzinfo=dt.UTC)
DESCRIPTION = {
    "title": "Ground fault on X <after> a leak & a reset",
    "customer": "Brackwater Gearworks (invented)",
    "machine": "Machining centre 4",
    "serial": "BG-0417",
    "site": "Hall 2, bay 7",
    "technician": "Technician 7",
    "alarm_text": "Axis drive ground fault",
    "air_c": "24",
    "humidity_pct": "45",
    "axes": [
        {
            "name": "X",
            "motor_kind": "dc_servo",
            "rated_voltage": "90",
            "rated_power_w": "900",
            "insulation_system": "thermosetting",
            "winding_c": "25",
            "moving_cable": True,
        },
        {"name": "Y", "motor_kind": "ac_servo", "rated_voltage": "400", "rated_power_w": "2200", "winding_c": "25"},
        {"name": "Z", "motor_kind": "ac_servo"},
    ],
    "instruments": [
        {
            "id": "IT-03",
            "kind": "insulation_tester",
            "serial": "T-2291",
            "accuracy_percent": "3",
            "accuracy_counts": "5",
            "range_end": "4000 MOhm",
            "calibration_due": "2027-03-31",
        },
        {
            "id": "MM-11",
            "kind": "multimeter",
            "accuracy_percent": "0.9",
            "accuracy_counts": "2",
            "calibration_due": "2026-01-31",
        },
    ],
}


def photo(text: str) -> bytes:
    """Make a picture of a display with some text."""
    picture = Image.new("RGB", (1200, 900), (58, 60, 64))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((300, 250, 900, 520), fill=(178, 192, 170))
    draw.text((340, 320), text, font=ImageFont.load_default(110), fill=(18, 22, 18))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


def clip(seconds: float, hertz: float) -> bytes:
    """Make a FLAC file with a tone: real sound, for what does not concern words."""
    times = numpy.arange(int(16000 * seconds)) / 16000
    out = io.BytesIO()
    soundfile.write(out, (0.3 * numpy.sin(2 * numpy.pi * hertz * times)).astype("float32"), 16000, format="FLAC")
    return out.getvalue()


def insulation(axis: str, section: Section, digits: str, qualifier: Qualifier = Qualifier.EQUAL) -> Reading:
    """Give an insulation value at 500 V after 60 s."""
    return Reading(
        kind=QuantityKind.INSULATION_RESISTANCE,
        quantity=Quantity(digits, "MOhm", qualifier),
        axis=axis,
        section=section,
        terminals="lead-ground",
        test_voltage_set=Decimal(500),
        test_voltage_built=Decimal(505),
        elapsed_s=Decimal(60),
    )


@dataclass
class Visit:
    """The data folder and what lies in it."""

    workspace: Workspace
    job_id: str = "J1"

    @property
    def database(self) -> Database:
        """Rows and trail."""
        return self.workspace.database

    @property
    def store(self) -> Store:
        """Clips and photos."""
        return self.workspace.evidence

    def at(self, minutes: float) -> str:
        """Make a time of the visit as the phone's clock gives it."""
        return (START + dt.timedelta(minutes=minutes)).astimezone(dt.timezone(dt.timedelta(hours=1))).isoformat()

    def arrive(
        self, transaction: Transaction, data: bytes, minutes: float, state: str = "recognised", why: str = ""
    ) -> str:
        """Store a file as the server does; returns its hash."""
        stored = store_file(self.store, data)
        put_evidence(transaction, stored)
        transaction.put(
            CaptureRow(
                id=transaction.next_id(CaptureRow, self.job_id),
                job_id=self.job_id,
                sha256=stored.sha256,
                client_id=None,
                state=state,
                outcome_json=canonical(
                    {"problem": {"code": "display_unreadable", "message": why, "what_to_do": ""}} if why else {}
                ),
                captured_at=self.at(minutes),
                received_at=transaction.now,
            )
        )
        transaction.entry(What.EVIDENCE_STORED, self.job_id)
        return stored.sha256

    def say(
        self,
        reading: Reading,
        minutes: float,
        *,
        words: str,
        shown: str = "",
        confirmed: bool = True,
        doubts: tuple[Doubt, ...] = (),
        supersedes: str | None = None,
    ) -> None:
        """Give one reading, spoken and perhaps photographed, confirmed or left open."""
        with self.database.write() as transaction:
            sound = self.arrive(transaction, clip(0.5, 200 + 10 * minutes), minutes)
            job = read_job(transaction.session, self.job_id)
            given = ProposedReading(reading, doubts)
            source = Source("speech", self.at(minutes), sound, words)
            proposal = new_proposal(transaction, job, given, source, supersedes)
            if shown:
                row = proposal.row
                row.photo_sha256 = self.arrive(transaction, photo(shown), minutes)
                row.seen_text, row.source, row.agreement = shown, "speech+photo", "agree"
                set_value(proposal, given, job, self.at(minutes), transaction.now)
            transaction.put(proposal.stored())
            transaction.entry(What.PROPOSED, self.job_id)
        if confirmed:
            with self.database.write() as transaction:
                decision = Decision("spoken", "Technician 7", self.at(minutes + 0.2), "confirm")
                confirm(transaction, proposal, decision, proposal.revision)


def begin(folder: Path, description: PlainData) -> Visit:
    """Make a data folder with one job and no reading."""
    moments = (START + dt.timedelta(seconds=30 * i) for i in itertools.count())
    visit = Visit(Workspace.open(folder, clock=lambda: next(moments)))
    with visit.database.write() as transaction:
        create_job(transaction, read_description(description))
    return visit


def make(folder: Path) -> Visit:
    """Write the visit into a new data folder."""
    visit = begin(folder, DESCRIPTION)
    answer_safety(visit, ("X", "Y"))
    cable, motor, whole = Section.CABLE_ALONE, Section.MOTOR_ALONE, Section.THROUGH_CABLE
    visit.say(insulation("X", whole, "0.08"), 2, words="x axis through the cable zero point zero eight meg")
    visit.say(
        insulation("X", whole, "0.80"),
        3,
        words="correction zero point eight zero meg",
        shown="0.80 MΩ",
        supersedes="J1-R1",
    )
    visit.say(insulation("X", motor, "550"), 5, words="motor alone five hundred fifty meg", shown="550 MΩ")
    visit.say(insulation("X", cable, "0.80"), 7, words="cable alone zero point eight zero meg")
    visit.say(insulation("Y", whole, "4000", Qualifier.ABOVE), 9, words="y axis over four gig", shown="> 4000 MΩ")
    air = Reading(QuantityKind.TEMPERATURE, Quantity("24.5", "Cel"))
    visit.say(air, 10, words="air temperature twenty four point five")
    visit.say(
        insulation("Y", motor, "15"), 11, words="y axis motor fifteen meg", confirmed=False, doubts=(Doubt.TEEN_OR_TY,)
    )
    with visit.database.write() as transaction:
        visit.arrive(transaction, photo("glare"), 12, "failed", "Glare covers the digits. Take it again from the side.")
    return visit


def answer_safety(visit: Visit, axes: Sequence[str]) -> None:
    """Answer every safety question of these axes."""
    with visit.database.write() as transaction:
        for name in axes:
            axis = axis_of(transaction.session, visit.job_id, name)
            answers = {step.id: StepReply(answer="yes", value="12" if step.value_unit else None) for step in STEPS}
            put_answers(transaction, axis, answers, how="tapped", by="Technician 7", captured_at=visit.at(0))


__all__ = ["DESCRIPTION", "Visit", "answer_safety", "begin", "clip", "insulation", "make", "photo"]
