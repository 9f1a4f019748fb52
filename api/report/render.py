"""Turn a report's content into one HTML file: no outside reference, no script, the same bytes for the same content."""

from __future__ import annotations

import base64
import hashlib
import re
from datetime import datetime
from functools import cache
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined

from api.report.content import Report

# Shape beside colour: a verdict must survive a black and white printer and colour-blind eyes.
SIGNS = {"fail": "✕", "watch": "▲", "unsure": "?", "pass": "✓", "none": "–"}


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


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FunctionLoader(_load), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["clock"] = clock
    return environment


def _style(number: str) -> str:
    """Fill the page footer into the style sheet; the number goes in only if it cannot end the string it stands in."""
    footer = f"Report {number}" if re.fullmatch(r"[A-Za-z0-9 ._-]{1,60}", number) else "Report"
    return _load("report.css").replace("FOOTER", footer)


def _first_use(report: Report) -> dict[str, str]:
    """Give for each piece of evidence the record beside which its clip plays, so that no clip is embedded twice.

    A value in force comes before one that was replaced.
    """
    first: dict[str, str] = {}
    for value in sorted(report.values, key=lambda v: v.replaced):
        for sha in value.exhibits:
            first.setdefault(sha, value.record_id)
    return first


def render(report: Report) -> bytes:
    """Render the report.

    Args:
        report: Complete content; all text is escaped here.

    Returns:
        A UTF-8 HTML document. Equal content gives equal bytes.
    """
    style = _style(report.number)
    html = (
        _environment()
        .get_template("template.html.j2")
        .render(
            report=report,
            style=style,
            style_hash=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
            signs=SIGNS,
            first_use=_first_use(report),
            own_ids={value.record_id for value in report.values},
        )
    )
    return html.encode("utf-8")
