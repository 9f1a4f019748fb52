"""Everything that a report shows, as plain data: text ready to print, pictures and sound ready to embed.

Nothing here touches a database, a file or a clock; `api.report.build` fills these from the records and the findings,
`api.report.render` turns them into HTML. All text is raw; escaping is the renderer's business.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from api.report.identity import Field, Issue, Proof


class VerdictMark(StrEnum):
    """How serious something is, in the order in which a summary sorts it. Never shown by colour alone."""

    FAIL = "fail"
    WATCH = "watch"
    UNSURE = "unsure"
    PASS = "pass"  # noqa: S105 - a verdict, not a password
    NONE = "none"


@dataclass(frozen=True)
class VerdictText:
    """A verdict in words, with the mark that gives it its sign and colour."""

    mark: VerdictMark
    text: str


@dataclass(frozen=True)
class EmbeddedPicture:
    """A re-encoded picture to embed.

    Attributes:
        jpeg: The picture, encoded anew.
        alt: What a person who cannot see it needs to know.
        width: Pixels.
        height: Pixels.
    """

    jpeg: bytes
    alt: str
    width: int
    height: int

    @property
    def data_uri(self) -> str:
        """The picture as `data:image/jpeg;base64,…`."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode('ascii')}"


@dataclass(frozen=True)
class Exhibit:
    """One piece of evidence: a photo, a clip, or words typed by a person.

    Attributes:
        sha256: Hash of the stored original, 64 hex digits.
        kind: "photo", "clip" or "typed".
        media_type: Type of the original, e.g. "image/jpeg".
        size: Length of the original in bytes.
        received: When the server stored it, ISO 8601.
        captured: When the phone says it was taken, ISO 8601, or "".
        preview: Reduced picture of a photo, or None.
        plays: Whether it is a clip of a type that browsers play, and is held in the HTML file.
        heard: What the recogniser made of it ("" where nothing).
        problem: Why it could not be read, "" where it could.
        label: Its short number in the report, e.g. "C12".
        file: Name under which the whole file is attached to the PDF or lies beside the report.
        attached: Whether the whole file is attached to the PDF.
        shows: What a picture shows that is no reading: "Nameplate of the motor, axis X"; "" for any other.
    """

    sha256: str
    kind: str
    media_type: str
    size: int
    received: str
    captured: str = ""
    preview: EmbeddedPicture | None = None
    plays: bool = False
    heard: str = ""
    problem: str = ""
    label: str = ""
    file: str = ""
    attached: bool = False
    shows: str = ""

    @property
    def anchor(self) -> str:
        """Name of its place in the document."""
        return f"evidence-{self.sha256[:16]}"


@dataclass(frozen=True)
class AppliedLimit:
    """One published limit as it applied to a value.

    Attributes:
        text: The limit with its unit, e.g. "at least 1 MΩ, as measured".
        source: Document, edition and clause, e.g. "IEC 60204-1:2016, 18.3".
        status: The word for where the figure is from ("read", "quoted", …).
        compared: The value that was compared, with unit and uncertainty.
        verdict: What the comparison gave.
        mark: Letter of the source in the table of sources.
        margin: How far the value lies from the limit, e.g. "0.20 MΩ below".
        why: What the comparison means and where it falls short, in words; "" where the verdict says it all.
        advice: An opinion marked as such, or "".
    """

    text: str
    source: str
    status: str
    compared: str
    verdict: VerdictText
    mark: str = ""
    margin: str = ""
    why: str = ""
    advice: str = ""


@dataclass(frozen=True)
class ReportedValue:
    """One confirmed record, in the words of the report.

    Attributes:
        record_id: Number of the record.
        test: What was measured, e.g. "Insulation resistance".
        section: Which part was connected to the meter.
        point: Terminals.
        shown: The value as shown or spoken, e.g. "> 4000 MΩ".
        voltage: Test voltage set and built, e.g. "500 V set, 512 V built"; "" where none applies.
        elapsed: Time under voltage, e.g. "60 s".
        corrected: Value corrected to the reference temperature with the formula's name, or "".
        limits: Every limit that was applied to it.
        verdict: The worst of them.
        confirmed_by: Who said or tapped yes.
        confirmed_at: When, ISO 8601, by the server's clock.
        taken_at: When it was measured, ISO 8601, by the capturing device's clock.
        how: How it was captured and confirmed.
        instrument: Name of the instrument, or "".
        exhibits: Hashes of the evidence, the crop's photo first.
        crop: Detail of the photo that shows the display, or None.
        superseded_by: The record that replaced it, or None.
        withdrawn: By whom and when it was withdrawn, or "".
        supersedes: The record it replaced, or None.
        reason: Why it was replaced, where said.
        note: Remark that belongs beside the value, or "".
        ohms: Value in ohms for the plot, or None.
        bound: "=", ">" or "<": how `ohms` bounds the true value.
        findings: What was found on this value alone without a limit, in words.
    """

    record_id: str
    test: str
    section: str
    point: str
    shown: str
    voltage: str = ""
    elapsed: str = ""
    corrected: str = ""
    limits: tuple[AppliedLimit, ...] = ()
    verdict: VerdictText = VerdictText(VerdictMark.NONE, "No limit applies")
    confirmed_by: str = ""
    confirmed_at: str = ""
    taken_at: str = ""
    how: str = ""
    instrument: str = ""
    exhibits: tuple[str, ...] = ()
    crop: EmbeddedPicture | None = None
    superseded_by: str | None = None
    withdrawn: str = ""
    supersedes: str | None = None
    reason: str = ""
    note: str = ""
    ohms: Decimal | None = None
    bound: str = "="
    findings: tuple[str, ...] = ()

    @property
    def anchor(self) -> str:
        """Name of its place in the document."""
        return f"record-{self.record_id}"

    @property
    def number(self) -> str:
        """Its number within the job: "R8"."""
        return self.record_id.rpartition("-")[2]

    @property
    def replaced(self) -> bool:
        """Whether it is no longer in force."""
        return bool(self.superseded_by or self.withdrawn)


@dataclass(frozen=True)
class ReportedSource:
    """One source: letter, document, the word for where its figures are from, the remark, and the limits in words."""

    document: str
    word: str
    remark: str
    limits: tuple[str, ...]
    mark: str = ""


@dataclass(frozen=True)
class Statement:
    """One finding that rests on more than one record, or on none.

    Attributes:
        basis: "measured", "calculated", "indicates" or "recommend" (domain wording: fact, inference, opinion).
        text: The finding in a sentence.
        verdict: Its verdict.
        mark: Letter of its source in the table of sources, or "".
        records: Numbers of the records it used.
        advice: What to do, a sentence marked as opinion, or "".
    """

    basis: str
    text: str
    verdict: VerdictText
    mark: str = ""
    records: tuple[str, ...] = ()
    advice: str = ""


@dataclass(frozen=True)
class ReportedAnswer:
    """One question of the safety sequence and what was answered."""

    question: str
    answer: str
    by: str = ""
    at: str = ""


@dataclass(frozen=True)
class SafetyRound:
    """The answers that the insulation readings of one axis under one lock-out stand on.

    Attributes:
        answers: What held when the first of these readings was taken; then what was answered only after it.
        first_reading: When that was, or "" where no such reading is on record.
        late: How many of the answers came after it.
    """

    answers: tuple[ReportedAnswer, ...]
    first_reading: str = ""
    late: int = 0


@dataclass(frozen=True)
class ReportedAxis:
    """One axis: its identity, its values, what follows from them.

    Attributes:
        name: Axis name, e.g. "X".
        motor: Motor in words.
        cable: Cable in words.
        verdict: Worst verdict of the axis.
        headline: What was found, in plain words.
        figures: The measured values behind it, for the first page.
        actions: What to do, in order, a sentence or two each ("recommend").
        steps: The same with the reason and what settles the question.
        ignoring: What leaving it as it is may cost, one sentence, or "".
        values: Current and superseded values in order of confirmation.
        statements: Findings that are not about one value alone.
        not_tested: What was not tested, with the reason where known.
        safety: Answers to the safety questions, for each lock-out under which insulation was measured.
        plot: SVG markup made by `api.report.plot`, or "".
        drive: Whether the drive may be connected to what was measured, one sentence.
        note: What the description of the axis says besides.
        nameplate: Type and serial number of the motor, as its nameplate says, or that none is recorded.
        plate: Hash of the photo of its nameplate, or "".
        corrections: What was corrected of it since the job was made.
    """

    name: str
    motor: str
    cable: str
    verdict: VerdictText
    headline: str
    figures: str = ""
    actions: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    ignoring: str = ""
    values: tuple[ReportedValue, ...] = ()
    statements: tuple[Statement, ...] = ()
    not_tested: tuple[str, ...] = ()
    safety: tuple[SafetyRound, ...] = ()
    plot: str = ""
    drive: str = ""
    note: str = ""
    nameplate: str = ""
    plate: str = ""
    corrections: tuple[str, ...] = ()


@dataclass(frozen=True)
class OpenProposal:
    """A proposal that nobody confirmed: shown, never counted."""

    proposal_id: str
    text: str
    state: str
    doubts: str
    exhibits: tuple[str, ...]


@dataclass(frozen=True)
class ReportedInstrument:
    """An instrument with its accuracy and calibration."""

    name: str
    serial: str
    kind: str
    accuracy: str
    calibration: str
    in_date: VerdictText
    certificate: str = ""


@dataclass(frozen=True)
class Letterhead:
    """Who issues the report: company, how to reach it, its logo."""

    company: str = ""
    contact: str = ""
    logo: EmbeddedPicture | None = None


@dataclass(frozen=True)
class Report:
    """One report, complete.

    `others` are values that belong to no axis, such as the air of the shop; `ways` is the way of each value from its
    clip or photo to the findings, a line for each record with its number; `reduced` says that clips and photos are
    copies that hold less than the originals.
    """

    issue: Issue
    title: str
    letterhead: Letterhead
    identity: tuple[Field, ...]
    conditions: tuple[Field, ...]
    mapping: tuple[Field, ...]
    verdict: VerdictText
    opening: str
    axes: tuple[ReportedAxis, ...]
    open_proposals: tuple[OpenProposal, ...]
    instruments: tuple[ReportedInstrument, ...]
    exhibits: tuple[Exhibit, ...]
    deviations: tuple[str, ...]
    decision_rule: tuple[str, ...]
    cautions: tuple[str, ...]
    proof: Proof
    people: tuple[Field, ...] = ()
    others: tuple[ReportedValue, ...] = ()
    sources: tuple[ReportedSource, ...] = ()
    ways: tuple[tuple[str, str], ...] = ()
    corrections: tuple[str, ...] = ()
    reduced: bool = False

    @property
    def number(self) -> str:
        """Number of this issue, "J1-2"."""
        return self.issue.number

    @cached_property
    def by_hash(self) -> dict[str, Exhibit]:
        """Every piece of evidence by its hash."""
        return {e.sha256: e for e in self.exhibits}

    def exhibit(self, sha256: str) -> Exhibit | None:
        """Give the piece of evidence with this hash."""
        return self.by_hash.get(sha256)

    @cached_property
    def values(self) -> tuple[ReportedValue, ...]:
        """Every value of the report."""
        return (*(v for axis in self.axes for v in axis.values), *self.others)

    @property
    def actions(self) -> tuple[tuple[str, str], ...]:
        """What to do, in order: axis and sentence, the most serious axis first."""
        return tuple((axis.name, action) for axis in self.axes for action in axis.actions)

    @property
    def unreadable(self) -> tuple[Exhibit, ...]:
        """Evidence that was stored but could not be read."""
        return tuple(e for e in self.exhibits if e.problem)
