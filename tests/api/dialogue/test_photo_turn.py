"""What photos do in a job: units asked for, corners marked by hand, bursts, and warnings."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import select

from api.dialogue.actions import Choose, Correct
from api.errors import BadInput, NotFound
from api.intake.recognisers import RealEngines
from api.ledger.canonical import parsed
from api.ledger.tables import CaptureRow, EvidenceRow, TrailEntryRow
from api.server.app import create_app
from api.workspace import Workspace
from capture.display.picture import open_picture
from fixtures.training.displays.photo import Photo, render, to_jpeg
from tests.api.conftest import Visit
from tests.api.makers import JOB, at, clip, photo

WHOLE = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]


def insulation(visit: Visit) -> None:
    visit.say("x ray axis motor alone insulation set to five hundred volts")


@pytest.mark.parametrize(("unit", "doubt"), [(None, "unit_missing"), ("kOhm", "unit_unsure")])
def test_a_unit_that_was_not_readable_is_asked_for_and_taken_by_voice(
    visit: Visit, unit: str | None, doubt: str
) -> None:
    """Say the unit alone, then confirm, where digits and point are accepted and the unit is not."""
    visit.make_safe()
    insulation(visit)
    asked = visit.show("34.70", unit, doubts=[doubt])
    [proposal] = asked["proposals"]
    assert doubt in proposal["doubts"]
    assert "unit" in asked["message"].lower()
    assert visit.say("confirm")["records"] == [], "a bare confirmation is blocked"
    given = visit.say("megohms")
    [proposal] = given["proposals"]
    assert (proposal["value"], proposal["unit"], proposal["doubts"]) == ("34.70", "MOhm", [])
    assert visit.say("confirm")["records"]
    [record] = visit.records()
    assert (record["value"], record["unit"], record["seen_text"]) == ("34.70", "MOhm", "34.70")
    assert record["photo_sha256"] == asked["sha256"]


def test_a_tapped_unit_is_taken_and_leaves_other_doubts_open(visit: Visit) -> None:
    insulation(visit)
    [proposal] = visit.show("34.70", None, doubts=["unit_missing", "dot_unsure"])["proposals"]
    tapped = visit.workspace.act(proposal["id"], Correct(reading={"unit": "MOhm"}, revision=proposal["revision"]))
    [proposal] = tapped["proposals"]
    assert (proposal["unit"], proposal["doubts"]) == ("MOhm", ["dot_unsure"])
    chosen = visit.workspace.act(proposal["id"], Choose(0, revision=proposal["revision"]))
    assert chosen["proposals"][0]["doubts"] == [], "the person says that it reads exactly so"


def test_a_unit_that_was_said_before_is_not_asked_for_again(visit: Visit) -> None:
    insulation(visit)
    visit.say("thirty four point seven megohms")
    answer = visit.show("34.70", None, doubts=["unit_missing"])
    [proposal] = answer["proposals"]
    assert (proposal["value"], proposal["unit"], proposal["agreement"]) == ("34.70", "MOhm", "agree")
    assert proposal["doubts"] == []


def test_a_unit_that_cannot_be_is_refused(visit: Visit) -> None:
    visit.make_safe()
    insulation(visit)
    visit.show("34.70", None, doubts=["unit_missing"], secondary={"test_voltage": "505"})
    answer = visit.say("degrees celsius")
    assert "does not fit" in answer["message"]
    assert visit.records() == []


# Corners by hand.


def test_marked_corners_are_read_again_and_stand_in_the_trail(visit: Visit) -> None:
    insulation(visit)
    refused = visit.show("34.70", "MOhm", refused="No display found: come closer, or mark its four corners by hand.")
    assert refused["proposals"] == []
    answer = visit.workspace.intake.read_marked(visit.job, refused["sha256"], WHOLE)
    [proposal] = answer["proposals"]
    assert (proposal["value"], proposal["unit"], proposal["photo_sha256"]) == ("34.70", "MOhm", refused["sha256"])
    assert answer["seen"]["displays"][0]["quad"] == [["6.0", "4.0"], ["54.0", "4.0"], ["54.0", "36.0"], ["6.0", "36.0"]]
    with visit.workspace.database.read() as session:
        cut = session.get_one(EvidenceRow, proposal["crop_sha256"])
        assert cut.parent_sha256 == refused["sha256"]
        assert cut.derivation.endswith("px marked by hand")
        [body] = session.exec(select(TrailEntryRow.body).where(TrailEntryRow.what == "corners marked")).all()
    entry = parsed(body)
    assert entry["by"] == JOB["technician"]
    assert entry["note"]["corners"][0] == ["6.0", "4.0"]
    assert visit.workspace.verify().intact


def test_a_wrong_reading_of_the_same_photo_is_replaced_not_doubled(visit: Visit) -> None:
    insulation(visit)
    first = visit.show("34.70", "MOhm")
    again = visit.workspace.intake.read_marked(visit.job, first["sha256"], WHOLE)
    assert [p["id"] for p in again["proposals"]] == [p["id"] for p in first["proposals"]]


@pytest.mark.parametrize(
    "corners", [[], WHOLE[:3], [[0, 0]] * 3 + [[2, 0]], [[0, 0]] * 3 + [[float("nan"), 0]], [[0.5]] * 4]
)
def test_corners_that_are_none_change_nothing(visit: Visit, corners: list[list[float]]) -> None:
    sha256 = visit.show("34.70", "MOhm")["sha256"]
    before = visit.whats()
    with pytest.raises(BadInput, match="orner"):
        visit.workspace.intake.read_marked(visit.job, sha256, corners)
    assert visit.whats() == before


def test_only_photos_of_the_job_can_be_marked(visit: Visit) -> None:
    sha256 = visit.workspace.take_clip(visit.job, clip("noise"))["sha256"]
    for wrong in (sha256, "0" * 64):
        with pytest.raises(NotFound):
            visit.workspace.intake.read_marked(visit.job, wrong, WHOLE)


# Bursts.


def test_every_frame_of_a_burst_is_kept_and_one_proposal_is_made(visit: Visit) -> None:
    insulation(visit)
    frames = [
        photo("34.70", "MOhm", salt=1, refused="blurred"),
        photo("34.70", "MOhm", salt=2),
        photo("34.70", "MOhm", salt=3),
    ]
    answer = visit.workspace.intake.take_burst(visit.job, frames, at(100), "burst-1")
    [proposal] = answer["proposals"]
    assert proposal["value"] == "34.70"
    assert len(answer["burst"]["captures"]) == 3
    assert answer["burst"]["best"] == answer["capture"] == answer["burst"]["captures"][1]
    with visit.workspace.database.read() as session:
        rows = [session.get_one(CaptureRow, name) for name in answer["burst"]["captures"]]
    assert [visit.workspace.evidence.read(row.sha256) for row in rows] == frames
    assert proposal["photo_sha256"] == rows[1].sha256
    assert visit.workspace.verify().intact
    repeated = visit.workspace.intake.take_burst(visit.job, frames, at(100), "burst-1")
    assert repeated["repeated"] is True
    assert repeated["capture"] == answer["capture"]
    assert [p["id"] for p in repeated["proposals"]] == [proposal["id"]]


@pytest.mark.parametrize("count", [0, 9])
def test_too_few_or_too_many_frames_are_refused(visit: Visit, count: int) -> None:
    with pytest.raises(BadInput, match="1 to 8"):
        visit.workspace.intake.take_burst(visit.job, [photo("1", "V", salt=i) for i in range(count)])


def test_a_clip_in_a_burst_is_refused_before_anything_is_stored(visit: Visit) -> None:
    before = list(visit.workspace.evidence.names())
    with pytest.raises(BadInput, match="File 2"):
        visit.workspace.intake.take_burst(visit.job, [photo("1", "V"), clip("confirm")])
    assert list(visit.workspace.evidence.names()) == before


# Warnings.


@pytest.mark.parametrize(
    ("shown", "code"),
    [
        ({"value": "34.70", "unit": "MOhm", "secondary": {"hv": "on"}}, "high_voltage"),
        ({"value": "34.70", "unit": "MOhm", "secondary": {"hv": "on"}, "refused": "Glare"}, "high_voltage"),
        ({"value": "230.5", "unit": "V"}, "live_circuit"),
        ({"value": "30", "unit": "V", "qualifier": ">"}, "live_circuit"),  # "> 30 V": domain, 13.1
        ({"value": "0.565", "unit": "kV"}, "live_circuit"),
        ({"value": "34.70", "unit": "MOhm", "secondary": {"bat_low": "on"}}, "low_battery"),
        ({"value": "34.70", "unit": "MOhm", "secondary": {"zero": "on"}}, "zero"),
    ],
)
def test_a_photo_s_warnings_come_first(visit: Visit, shown: dict[str, Any], code: str) -> None:
    answer = visit.show(shown.pop("value"), shown.pop("unit"), shown.pop("qualifier", "="), **shown)
    assert [one["code"] for one in answer["cautions"]] == [code]
    assert answer["message"].startswith(answer["cautions"][0]["sentence"])


def test_a_harmless_display_warns_of_nothing(visit: Visit) -> None:
    assert visit.show("34.70", "MOhm", secondary={"test_voltage": "505"})["cautions"] == []
    assert visit.show("12.5", "V")["cautions"] == []


# The same with the real display reader, over HTTP.


def panel(main: str, seed: int, **spoil: Any) -> tuple[Photo, bytes]:
    spec = {
        "seed": seed, "style": "panel_green", "shows": {"main": main, "unit": "V"}, "spoil": {"share": 0.4, **spoil},
        "size": (1000, 750),
    }  # fmt: skip
    made = render(spec)
    return made, to_jpeg(made, spec)


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    workspace = Workspace.open(tmp_path_factory.mktemp("real") / "data", engines=RealEngines())
    with TestClient(create_app(workspace), base_url="http://localhost") as opened:
        opened.post("/api/jobs", json=JOB)
        yield opened


def test_a_burst_of_real_photos(real: TestClient) -> None:
    frames = [panel("12.5", 31, yaw=2.0 * index)[1] for index in range(3)]
    files = [("files", (f"{index}.jpg", io.BytesIO(data))) for index, data in enumerate(frames)]
    answer = real.post("/api/jobs/J1/burst", files=files, data={"captured_at": at(5)}).json()
    assert answer["proposals"][0]["value"] == "12.5"
    assert len(answer["burst"]["captures"]) == 3


@pytest.mark.parametrize("orientation", [1, 6])
def test_corners_of_a_real_photo_are_those_of_the_upright_picture(real: TestClient, orientation: int) -> None:
    made, data = panel("230.5", 9, orientation=orientation)
    sent = real.post(
        "/api/jobs/J1/evidence",
        files={"file": ("p.jpg", io.BytesIO(data))},
        data={"captured_at": at(300 + orientation)},
    ).json()
    width, height = made.picture.size
    corners = [[float(x) / width, float(y) / height] for x, y in made.displays[0].quad]
    answer = real.post(f"/api/jobs/J1/evidence/{sent['sha256']}/corners", json={"corners": corners}).json()
    display = answer["seen"]["displays"][0]
    assert display["accepted"], display["reason"]
    assert display["text"] == "230.5"
    quad = np.array([[float(x), float(y)] for x, y in display["quad"]])
    assert np.abs(quad - made.displays[0].quad).max() < 0.6 + 0.08 * width, "straightened a little at most"
    assert real.post(f"/api/jobs/J1/evidence/{sent['sha256']}/corners", json={"corners": "x"}).status_code == 422
    small = real.get(f"/api/evidence/{sent['sha256']}/preview")
    assert small.headers["content-type"] == "image/jpeg"
    assert Image.open(io.BytesIO(small.content)).size == (width, height)


def test_a_photo_that_browsers_do_not_show_has_a_preview(real: TestClient) -> None:
    heic = (Path(__file__).parents[2] / "capture" / "display" / "data" / "corners_turned.heic").read_bytes()
    sent = real.post("/api/jobs/J1/evidence", files={"file": ("p.heic", io.BytesIO(heic))}).json()
    small = open_picture(real.get(f"/api/evidence/{sent['sha256']}/preview").content).pixels
    assert float(np.abs(small.astype(int) - open_picture(heic).pixels.astype(int)).mean()) < 6
    clip_sent = real.post("/api/jobs/J1/evidence", files={"file": ("c.wav", io.BytesIO(clip("noise")))}).json()
    assert real.get(f"/api/evidence/{clip_sent['sha256']}/preview").status_code == 404
