"""The renderer: one self-contained file, the same bytes each time, nothing that escapes its place."""

from __future__ import annotations

import base64
import hashlib
import re

import pytest

from api.report.content import Report
from api.report.render import clock, when
from api.report.render import render as render_with
from tests.api.report import sample
from tests.api.report.parsed import attr, one, parse, row_of, style, text

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"' </style>{{ 7*7 }}"
# WCAG 2.2, 1.4.3: text needs a contrast of 4.5 to 1.
CONTRAST = 4.5


def render(report: Report, paper: str = "a4") -> bytes:
    """Render with the files of the sample."""
    return render_with(report, sample.read_file, paper)


def test_same_content_gives_same_bytes() -> None:
    assert render(sample.report()) == render(sample.report())


def test_different_content_gives_different_bytes() -> None:
    assert render(sample.report()) != render(sample.report(sample.value(shown="0.81 MΩ")))


def test_nothing_points_outside() -> None:
    page = parse(render(sample.report()))
    for tag in page.find_all(True):
        for name in ("src", "href", "srcset", "action", "poster", "data", "xlink:href"):
            address = tag.get(name)
            assert address is None or str(address).startswith(("data:", "#")), f"<{tag.name} {name}={address}>"
    assert not page.find_all(["script", "iframe", "object", "embed", "link", "base", "form"])
    assert not re.search(r"url\(|@import|https?:", style(page)), "the style sheet fetches something"
    assert not [tag for tag in page.find_all(True) if tag.has_attr("style")], "inline styles are not in the policy"


def test_policy_names_the_style_sheet_by_its_hash() -> None:
    page = parse(render(sample.report()))
    policy = attr(one(page, "meta[http-equiv=Content-Security-Policy]"), "content")
    digest = base64.b64encode(hashlib.sha256(style(page).encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


@pytest.mark.parametrize("place", ["title", "heard", "shown", "confirmed_by", "point", "note", "reason"])
def test_hostile_text_stays_text(place: str) -> None:
    if place == "title":
        report = sample.report(title=HOSTILE)
    elif place == "heard":
        report = sample.report(heard=HOSTILE)
    else:
        report = sample.report(sample.value(**{place: HOSTILE, "superseded_by": "J1-R9"}))
    page = parse(render(report))
    assert not page.find_all("script")
    assert not page.find_all("img", src="x")
    assert not [tag for tag in page.find_all(True) for name in tag.attrs if name.startswith("on")]
    assert HOSTILE in page.get_text()
    assert len(page.find_all("style")) == 1


def test_superseded_value_is_struck_through_and_ungraded() -> None:
    old = sample.value("J1-R1", shown="0.08 MΩ", superseded_by="J1-R2", limits=())
    page = parse(render(sample.report(old, sample.value("J1-R2", supersedes="J1-R1"))))
    before, after = row_of(page, "J1-R1"), row_of(page, "J1-R2")
    assert one(before, "s.shown").get_text() == "0.08 MΩ"
    assert not before.select(".verdict")
    assert one(before, 'a[href="#record-J1-R2"]')
    assert not after.select("s")
    assert one(after, "span.shown").get_text() == "0.80 MΩ"


def test_a_clip_used_twice_is_embedded_once_and_beside_the_value_in_force() -> None:
    old = sample.value("J1-R1", superseded_by="J1-R2")
    page = parse(render(sample.report(old, sample.value("J1-R2"))))
    assert len(page.select("audio")) == 1
    assert row_of(page, "J1-R2").select("audio")


def test_links_lead_somewhere() -> None:
    page = parse(render(sample.report()))
    targets = [attr(tag, "id") for tag in page.select("[id]")]
    assert len(targets) == len(set(targets)), "an id is used twice"
    missing = {attr(a, "href")[1:] for a in page.select("a[href]")} - set(targets)
    assert not missing


def test_people_who_do_not_see_it_can_read_it() -> None:
    page = parse(render(sample.report()))
    assert attr(one(page, "html"), "lang") == "en"
    assert [h.name for h in page.select("h1, h2, h3")][:2] == ["h1", "h2"]
    assert len(page.select("h1")) == 1
    assert all(attr(image, "alt") for image in page.select("img"))
    assert all(attr(player, "aria-label") for player in page.select("audio"))
    assert all(text(one(table, "caption")) for table in page.select("table"))
    assert all(svg.get("aria-label") or text(one(svg, "title")) for svg in page.select("svg"))
    headings = {attr(h, "id") for h in page.select("h2")}
    assert all(attr(tag, "aria-labelledby") in headings for tag in page.select("section"))


def _luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb" (WCAG 2.2, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(first: str, second: str) -> float:
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_colours_can_be_read() -> None:
    named = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", style(parse(render(sample.report())))))
    assert {"ink", "soft", "copper", "fail", "watch", "unsure", "pass", "faint"} <= set(named)
    for name in ("ink", "soft", "copper", "fail", "watch", "unsure", "pass"):
        for ground in ("#ffffff", named["faint"]):
            assert _contrast(named[name], ground) >= CONTRAST, f"{name} on {ground}"
    assert _contrast("#ffffff", named["fail"]) >= CONTRAST


def test_it_ends_with_its_number() -> None:
    page = parse(render(sample.report()))
    assert page.select("main p")[-1].get_text() == "END of report J1-1"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("2026-11-24T08:40:00.000000Z", "2026-11-24 08:40:00 UTC"),
        ("2026-11-25T14:05:00-05:00", "2026-11-25 14:05:00 −05:00"),
        ("2026-11-25T14:05:00+05:30", "2026-11-25 14:05:00 +05:30"),
        ("yesterday", "yesterday"),
    ],
)
def test_times_keep_their_offset(text: str, shown: str) -> None:
    assert clock(text) == shown


@pytest.mark.parametrize(
    ("instant", "after", "shown"),
    [
        ("2026-11-24T08:40:00Z", "", "2026-11-24 09:40:00 +01:00"),  # this computer's time, in that of the place
        ("2026-11-24T08:40:00-05:00", "", "2026-11-24 08:40:00 −05:00"),  # a device's time keeps its own offset
        ("2026-11-24T09:41:00+01:00", "2026-11-24T09:40:00+01:00", "09:41:00"),
        ("2026-11-25T09:41:00+01:00", "2026-11-24T09:40:00+01:00", "2026-11-25 09:41:00 +01:00"),
        ("2026-11-24T09:41:00+02:00", "2026-11-24T09:40:00+01:00", "2026-11-24 09:41:00 +02:00"),
    ],
)
def test_times_are_local_and_not_repeated(instant: str, after: str, shown: str) -> None:
    assert when(instant, "2026-11-24T09:39:58+01:00", after) == shown


@pytest.mark.parametrize(("paper", "size"), [("a4", "A4"), ("letter", "Letter")])
def test_paper_can_be_chosen(paper: str, size: str) -> None:
    assert f"size: {size};" in style(parse(render(sample.report(), paper)))


def test_cautions_stand_on_page_one_and_with_every_axis() -> None:
    page = parse(render(sample.report()))
    first, axis = one(page, "section.first"), one(page, "section.axis")
    for said in (text(one(first, ".cautions")), text(one(axis, ".caution"))):
        assert "Local codes" in said
        assert "licensed practice" in said
        assert re.search(r"Nothing (in this report|here) says that something is safe to touch", said)


def test_a_time_can_be_shown_in_the_offset_of_another() -> None:
    assert clock("2026-11-24T08:40:00Z", "2026-11-24T09:39:58+01:00") == "2026-11-24 09:40:00 +01:00"
    assert clock("2026-11-24T08:40:00Z", "") == "2026-11-24 08:40:00 UTC"
