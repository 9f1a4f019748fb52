"""A small report made of content alone, for what concerns the renderer and not the records."""

from __future__ import annotations

import io
from decimal import Decimal

from PIL import Image, ImageDraw

from api.report import media, plot
from api.report.content import (
    AppliedLimit,
    Exhibit,
    Letterhead,
    OpenProposal,
    Report,
    ReportedAxis,
    ReportedSource,
    ReportedValue,
    Statement,
    VerdictMark,
    VerdictText,
)
from api.report.identity import Field, Issue, Proof
from api.report.wording import CAUTIONS, DECISION_RULE

FAIL, PASS = (
    VerdictText(VerdictMark.FAIL, "Fail: not to be energised"),
    VerdictText(VerdictMark.PASS, "Within limits"),
)
PHOTO, CLIP = "a" * 64, "b" * 64


def jpeg(width: int = 640, height: int = 480, *, exif: Image.Exif | None = None) -> bytes:
    """Make a picture with a bright rectangle where a display would be."""
    picture = Image.new("RGB", (width, height), (50, 52, 56))
    ImageDraw.Draw(picture).rectangle((width // 4, height // 4, width // 2, height // 2), fill=(190, 205, 180))
    out = io.BytesIO()
    picture.save(out, "JPEG", **({} if exif is None else {"exif": exif}))
    return out.getvalue()


def read_file(sha256: str) -> bytes:
    """Give the photo or the clip of the sample."""
    return {PHOTO: jpeg(), CLIP: b"fLaC"}[sha256]


def value(record_id: str = "J1-R2", **changes: object) -> ReportedValue:
    """Give one value with photo and clip."""
    picture = media.upright(jpeg())
    assert picture is not None
    fields: dict[str, object] = {
        "record_id": record_id,
        "test": "Insulation resistance",
        "section": "cable alone",
        "point": "U–PE",
        "shown": "0.80 MΩ",
        "voltage": "500 V asked, 500 V built",
        "elapsed": "60 s",
        "limits": (AppliedLimit("at least 1 MΩ, as measured", "IEC 60204-1, 18.3", "quoted", "0.80 MΩ", FAIL, "a"),),
        "verdict": FAIL,
        "confirmed_by": "Technician 7",
        "confirmed_at": "2026-11-24T08:40:00.000000Z",
        "how": "spoken and photographed; confirmed by voice",
        "exhibits": (PHOTO, CLIP),
        "crop": media.crop(picture, (), "Display"),
        "ohms": Decimal(800000),
        **changes,
    }
    return ReportedValue(**fields)  # type: ignore[arg-type]  # defaults and changes of many types in one dict


def report(
    *values: ReportedValue, title: str = "Servo axis insulation and winding test", heard: str = "zero point eight"
) -> Report:
    """Make a report of one axis."""
    values = values or (value(),)
    picture = media.upright(jpeg())
    assert picture is not None
    bars = [plot.Bar(v.record_id, v.ohms, v.bound, v.shown, v.verdict.mark) for v in values if v.ohms is not None]
    axis = ReportedAxis(
        name="X",
        motor="AC servo motor",
        cable="fixed",
        verdict=FAIL,
        headline="The cable measured 0.80 MΩ.",
        actions=("Replace the cable.",),
        steps=("Replace the cable. It has failed.",),
        ignoring="The drive keeps tripping.",
        values=values,
        statements=(Statement("indicates", "It indicates the cable.", FAIL, "a", ("J1-R2",)),),
        plot=plot.bars(bars, [plot.LimitLine(Decimal(1000000), "1 MΩ")], title="Axis X", ident="plot-x"),
    )
    exhibits = (
        Exhibit(
            PHOTO,
            "photo",
            "image/jpeg",
            len(jpeg()),
            "2026-11-24T08:39:00Z",
            preview=media.preview(picture, "Photo"),
            label="C2",
            file="p.jpg",
            attached=True,
        ),
        Exhibit(
            CLIP, "clip", "audio/flac", 4, "2026-11-24T08:38:00Z", plays=True, heard=heard, label="C1", file="c.flac"
        ),
    )
    return Report(
        issue=Issue("J1-1", "2026-11-24T09:00:00+00:00", zone="2026-11-24T09:00:00+01:00"),
        title=title,
        letterhead=Letterhead("Quayside Field Service (invented)", "service desk"),
        identity=(Field("Machine", "Mill"),),
        conditions=(Field("Air temperature", "24 °C"),),
        mapping=(Field("Title", title, "a"),),
        verdict=FAIL,
        opening="Axis X measured outside a limit.",
        axes=(axis,),
        open_proposals=(OpenProposal("J1-P3", "Axis X: 15 MΩ", "waits for an answer", "“-teen” or “-ty”", (CLIP,)),),
        instruments=(),
        exhibits=exhibits,
        deviations=(),
        decision_rule=DECISION_RULE,
        cautions=CAUTIONS,
        proof=Proof("c" * 64, 5, intact=True),
        sources=(ReportedSource("IEC 60204-1, 18.3", "quoted", "read in a secondary text", ("at least 1 MΩ",), "a"),),
    )
