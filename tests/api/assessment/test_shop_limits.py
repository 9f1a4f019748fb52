"""A shop profile from file to findings, trail and report (its rules: `tests/grading/test_shop.py`)."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.assessment.grade_job import findings_of, newest_grading
from api.assessment.next_point import plan_for_page
from api.assessment.shop_limits import read_shop, shop_of
from api.dialogue.actions import Confirm
from api.errors import BadInput
from api.ledger.canonical import canonical, parsed, sha256_hex
from api.server.app import create_app
from api.settings import read_settings
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.assessment.test_grade_job import measure
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines
from tests.api.report.parsed import parse, text
from tests.api.server.test_serve import Server, ask

STRICT = '[limits."insulation.machine"]\nvalue = "200"\n'
LOOSE = (
    '[limits."insulation.machine"]\nvalue = "0.5"\ndecided_by = "R. Otis (invented)"\nreason = "machine on trial"\n'
    '[[extra]]\nid = "shop.cable"\nsection = "cable_alone"\nvalue = "100"\nunit = "MOhm"\n'
)


def written(folder: Path, content: str) -> Path:
    path = folder / "shop.toml"
    path.write_text(content, "utf-8")
    return path


def visit_with(folder: Path, content: str) -> Visit:
    shop = read_shop(written(folder, content))
    visit = Visit(Workspace.open(folder / "data", engines=FakeEngines(), shop=shop))
    visit.make_safe()
    return visit


def test_a_tightened_limit_judges_and_the_findings_hold_the_profile(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, STRICT)
    record = measure(visit, "through_cable", "100")  # over the published 1 MΩ, below the shop's 200 MΩ
    kept = visit.workspace.grade(visit.job)
    [axis] = [axis for axis in kept["axes"] if axis["axis"] == "X"]
    assert axis["verdict"] == "unacceptable"
    [held] = [f for f in axis["findings"] if f["rule"] == "insulation.machine" and f["record_ids"] == [record]]
    assert held["limit"]["value"] == "200"
    content = {"limits": {"insulation.machine": {"value": "200"}}}
    assert kept["profile"] == {"content": content, "sha256": sha256_hex(canonical(content))}
    assert any(sha256_hex(canonical(content)) in notice for notice in kept["notices"])
    visit.workspace.close()


def test_findings_can_be_computed_again_from_what_was_kept(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, LOOSE)
    measure(visit, "through_cable", "0.80")
    visit.workspace.grade(visit.job)
    with visit.workspace.database.read() as session:
        run = newest_grading(session, visit.job)
        assert run is not None
        shop = shop_of(parsed(run.findings_json)["profile"]["content"])
        assert canonical(findings_of(session, visit.job, shop)) == run.findings_json
        assert canonical(findings_of(session, visit.job)) != run.findings_json
    with TestClient(create_app(visit.workspace), base_url="http://localhost") as client:
        [graded] = [e for e in client.get(f"/api/jobs/{visit.job}/trail").json()["entries"] if e["what"] == "graded"]
        assert graded["note"] == {"sha256": run.findings_sha256, "profile_sha256": shop.sha256}
        assert client.get(f"/api/jobs/{visit.job}/findings").json() == parsed(run.findings_json)
    visit.workspace.close()


def test_a_loosened_limit_is_named_in_findings_and_report(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, LOOSE)
    measure(visit, "through_cable", "0.80")
    measure(visit, "cable_alone", "60")
    notices = " ".join(visit.workspace.grade(visit.job)["notices"])
    assert "loosened from 1 to 0.5 MOhm by R. Otis (invented): machine on trial" in notices
    row = visit.workspace.make_report(visit.job)
    said = text(parse(visit.workspace.reports.read(row.sha256)))
    assert "loosened from 1 to 0.5 MOhm by R. Otis (invented): machine on trial" in said
    assert read_shop(tmp_path / "shop.toml").sha256 in said
    assert "Shop profile" in said  # the source of the shop's own limit on the cable
    visit.workspace.close()


def test_the_plan_follows_the_shops_limit(tmp_path: Path) -> None:
    """100 MΩ through the cable is good by the published limit and bad by a shop's 200 MΩ: the parts are due."""
    visit = visit_with(tmp_path, STRICT)
    measure(visit, "through_cable", "100")
    with visit.workspace.database.read() as session:
        published, strict = (
            {task["section"] for task in plan_for_page(session, visit.job, profile)[0]["tasks"]
             if task["state"] in ("next", "due")}
            for profile in (None, visit.workspace.profile)
        )  # fmt: skip
    assert "motor_alone" not in published
    assert "motor_alone" in strict
    for terminals in ("A1-A2", "A1-PE", "A2-PE"):
        kind = "winding_resistance" if terminals == "A1-A2" else "resistance_to_ground"
        value: ReadingFields = {"value": "1.08", "unit": "Ohm"} if terminals == "A1-A2" else {"qualifier": "open"}
        fields: ReadingFields = {"kind": kind, "axis": "X", "section": "through_cable", "terminals": terminals, **value}
        asked = visit.type_in(fields)["proposals"][0]
        visit.workspace.act(asked["id"], Confirm(asked["revision"]))
    assert visit.say("next")["message"].split(", ")[1] in ("motor alone", "cable alone")
    visit.workspace.close()


def test_a_report_of_another_profile_is_made_anew(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, STRICT)
    measure(visit, "through_cable", "100")
    first = visit.workspace.make_report(visit.job)
    assert visit.workspace.make_report(visit.job).id == first.id
    visit.workspace.close()
    published = Workspace.open(tmp_path / "data", engines=FakeEngines())
    second = published.make_report(visit.job)
    assert second.sha256 != first.sha256
    assert published.make_report(visit.job).id == second.id
    assert published.verify().intact
    published.close()


@pytest.mark.parametrize(
    ("content", "code", "part"),
    [
        ('[limits."no.such"]\nvalue = "1"\n', "bad_profile", "there is no limit of this id"),
        ('[limits."insulation.machine"]\nvalue = "0.1"\n', "bad_profile", "Say who decided it"),
        ("[limits\n", "profile_no_toml", "no TOML"),
        ("\ud800", "profile_no_text", "no UTF-8"),
        ("# " + "x" * 1_000_001, "profile_too_large", "over 1000000 bytes"),
        (None, "profile_not_read", "No such file"),
    ],
)
def test_a_wrong_profile_is_refused_by_name(tmp_path: Path, content: str | None, code: str, part: str) -> None:
    path = tmp_path / "shop.toml"
    if content is not None:
        path.write_bytes(content.encode("utf-8", "surrogatepass"))
    with pytest.raises(BadInput) as refused:
        read_shop(path)
    assert refused.value.code == code
    assert part in refused.value.message
    assert str(path) in refused.value.message


def test_fractions_and_dates_beside_the_known_keys_can_be_kept(tmp_path: Path) -> None:
    shop = read_shop(written(tmp_path, STRICT + "reviewed = 2026-01-31\nweight = 0.5\n"))
    kept = shop.content["limits"]["insulation.machine"]
    assert kept == {"value": "200", "reviewed": "2026-01-31", "weight": "0.5"}
    assert shop_of(parsed(canonical(shop.content))).sha256 == shop.sha256


def test_the_setting_names_the_file() -> None:
    assert read_settings({}).profile is None
    assert read_settings({"OHMTRAIL_PROFILE": "limits/shop.toml"}).profile == Path("limits/shop.toml")


def test_the_command_line_takes_it_by_option_and_by_setting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = visit_with(tmp_path, STRICT)
    measure(visit, "through_cable", "100")
    visit.workspace.close()
    path, command = tmp_path / "shop.toml", [sys.executable, "-c", "from api.cli import main; main()"]

    def run(*more: str, **setting: str) -> subprocess.CompletedProcess[str]:
        words = [*command, "report", visit.job, "--data", str(tmp_path / "data"), "--out", str(tmp_path / "r.html")]
        environment = {**os.environ, **setting}
        return subprocess.run([*words, *more], env=environment, capture_output=True, text=True, timeout=60, check=False)

    sha256 = read_shop(path).sha256
    for more, setting in ((("--profile", str(path)), {}), ((), {"OHMTRAIL_PROFILE": str(path)})):
        done = run(*more, **setting)
        assert done.returncode == 0, done.stderr
        assert sha256 in (tmp_path / "r.html").read_text("utf-8")
    monkeypatch.setenv("OHMTRAIL_PROFILE", str(path))
    server = Server(tmp_path / "data")
    try:
        assert ask(server.port, f"/api/jobs/{visit.job}/findings")["profile"]["sha256"] == sha256
    finally:
        server.stop()
    wrong = run("--profile", str(tmp_path / "none.toml"))
    assert wrong.returncode == 1
    assert "cannot be read" in wrong.stderr
