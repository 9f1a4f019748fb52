"""Turn a report's content into one file: no outside reference, no script, the same bytes for the same content.

The same template makes the HTML file here and the pages of the PDF in `api.report.pdf`.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from jinja2 import Environment, FunctionLoader, StrictUndefined

from api.ledger.clock import parse_instant
from api.report.content import EmbeddedPicture, Exhibit, Report, ReportedAxis
from api.report.media import audio_uri
from api.report.plot import SIGNS
from api.report.proof import head_code
from api.report.wording import CAUTION_SHORT

ON_PAGE_ONE = 12
"""Most steps and most untested points that page one names; the rest is counted there and named on the axis pages."""
LONG = 250
"""From so many values on, the PDF has one line for each and its evidence in an attached table."""
MOST_BARS = 40
"""Most bars of a plot; more are no picture any more."""
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)")
PAPERS = {"a4": ("A4", "8.4pt"), "letter": ("Letter", "7.9pt")}
"""Sizes of paper, as a style sheet names them, and of the letters on it: on the shorter one too an axis has a page."""


def _load(name: str) -> str:
    return files("api.report").joinpath(name).read_text(encoding="utf-8")


def clock(text: str, like: str = "") -> str:
    """Write an ISO 8601 time as people read it: "2026-11-25 14:05:00 −05:00"; other text stays as it is.

    Args:
        text: The time; its offset is kept.
        like: Another time, whose offset is used instead where it has one.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    try:
        zone = datetime.fromisoformat(like).tzinfo
    except ValueError:
        zone = None
    if zone is not None and moment.tzinfo is not None:
        moment = moment.astimezone(zone)
    plain = moment.strftime("%Y-%m-%d %H:%M:%S")
    if moment.tzinfo is None:
        return plain
    if not moment.utcoffset():
        return f"{plain} UTC"
    offset = moment.strftime("%z")
    return f"{plain} {offset[:3]}:{offset[3:5]}".replace(" -", " −")


def when(instant: str, zone: str, after: str = "") -> str:
    """Write an instant in local time: a device's time in its own offset, this computer's in that of the place.

    Args:
        instant: ISO 8601.
        zone: A time whose offset is that of the place.
        after: A time that stands before it; on the same day and offset, date and offset are not written again.
    """
    written, before = (
        clock(instant, zone if instant.endswith("Z") else ""),
        clock(after, zone if after.endswith("Z") else ""),
    )
    same = written[:10] == before[:10] and written[19:] == before[19:]
    return written[11:19] if after and same and len(written) > 19 else written


def _readable(text: str) -> str:
    """Write the times within a sentence as people read them."""
    return _INSTANT.sub(lambda found: clock(found[0]), text)


def _utc(text: str) -> str:
    """Write an instant as PDF metadata wants it: "2026-11-24T08:40:00Z"."""
    try:
        return datetime.fromisoformat(text).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except ValueError:
        return ""


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FunctionLoader(_load), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["utc"] = _utc
    environment.filters["readable"] = _readable
    environment.filters["capfirst"] = lambda text: str(text)[:1].upper() + str(text)[1:]
    environment.filters["lowerfirst"] = lambda text: str(text)[:1].lower() + str(text)[1:]
    return environment


def _style(number: str, paper: str) -> str:
    """Fill size and footer into the style sheet; the number goes in only if it cannot end the string it stands in."""
    footer = f"Report {number}" if re.fullmatch(r"[A-Za-z0-9 ._-]{1,60}", number) else "Report"
    size, letters = PAPERS[paper]
    return _load("report.css").replace("FOOTER", footer).replace("PAPER", size).replace("PRINTED", letters)


def _first_use(report: Report) -> dict[str, str]:
    """Give for each piece of evidence the record beside which its clip plays, so that no clip is embedded twice.

    A value in force comes before one that was replaced.
    """
    first: dict[str, str] = {}
    for value in sorted(report.values, key=lambda v: v.replaced):
        for sha in value.exhibits:
            first.setdefault(sha, value.record_id)
    return first


def is_long(report: Report) -> bool:
    """Tell whether a report has more values than pages with pictures are made of."""
    return len(report.values) > LONG


class AxisAnswered(NamedTuple):
    """Which axis answers belong to, who gave the last of them and when, and the reading that they stand before."""

    ident: str
    name: str
    by: str
    at: str
    first_reading: str


class SameAnswers(NamedTuple):
    """Safety answers that several axes share, as question and answer."""

    axes: list[AxisAnswered]
    answers: tuple[tuple[str, str], ...]


def _safety(axes: tuple[ReportedAxis, ...]) -> list[SameAnswers]:
    """Put axes with the same answers together."""
    found: dict[tuple[tuple[str, str], ...], SameAnswers] = {}
    for place, axis in enumerate(axes, 1):
        for number, one in enumerate(axis.safety):
            if not one.answers:
                continue
            answers = tuple((a.question, a.answer) for a in one.answers)
            last = max(one.answers, key=lambda a: parse_instant(a.at))
            ident = f"safety-{place}" + (f"-{number + 1}" if number else "")
            answered = AxisAnswered(ident, axis.name, last.by, last.at, one.first_reading)
            found.setdefault(answers, SameAnswers([], answers)).axes.append(answered)
    return list(found.values())


def page(report: Report, *, paper: str, on_paper: bool, src: Callable[[EmbeddedPicture], str],
         clip: Callable[[Exhibit], str]) -> str:  # fmt: skip
    """Fill the template.

    Args:
        report: Complete content; all text is escaped here.
        paper: "a4" or "letter".
        on_paper: Whether it becomes a PDF, where nothing plays.
        src: Gives the address of a picture.
        clip: Gives the address of a clip.
    """
    style = _style(report.number, paper)
    return (
        _environment()
        .get_template("template.html.j2")
        .render(
            report=report,
            paper=on_paper,
            style=style,
            style_hash=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
            signs=SIGNS,
            first_use=_first_use(report),
            own_ids={value.record_id for value in report.values},
            src=src,
            clip=clip,
            when=lambda text, after="": when(text, report.issue.zone, after),
            code=head_code(report.number, report.proof),
            caution_text=CAUTION_SHORT,
            most=ON_PAGE_ONE,
            most_bars=MOST_BARS,
            brief=on_paper and is_long(report),
            untested=[(axis.name, _in_brief(axis.not_tested)) for axis in report.axes if axis.not_tested],
            photos=[e for e in report.exhibits if e.kind == "photo"],
            clips=[e for e in report.exhibits if e.kind != "photo"],
            safety=_safety(report.axes),
        )
    )


def render(report: Report, read_file: Callable[[str], bytes], paper: str = "a4") -> bytes:
    """Render the report as one HTML file.

    Args:
        report: Complete content.
        read_file: Gives the bytes of a stored file by its hash.
        paper: Size it is printed on, "a4" or "letter".

    Returns:
        A UTF-8 HTML document. Equal content gives equal bytes.
    """
    return page(
        report,
        paper=paper,
        on_paper=False,
        src=lambda picture: picture.data_uri,
        clip=lambda exhibit: audio_uri(exhibit.media_type, read_file(exhibit.sha256)),
    ).encode("utf-8")


def _in_brief(not_tested: Sequence[str]) -> str:
    """Name the first of what was not tested, and count the rest, which stands on the axis' own page."""
    first, *others = not_tested[0].rstrip(".").split("; ")
    more = len(others) + sum(line.count("; ") + 1 for line in not_tested[1:])
    return f"{first}." + (f" And {more} more, on the page of the axis." if more else "")
