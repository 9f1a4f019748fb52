"""A job in a real browser from its form to its end: messages, made once, corrected, plate, closed, reopened."""

from __future__ import annotations

import io

import httpx2 as httpx
from PIL import Image
from playwright.sync_api import Browser, Route, expect

from api.assessment.recheck import verify_all
from tests.e2e import running
from tests.e2e.conftest import PHONE


def plate() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (320, 200), (170, 170, 165)).save(out, "JPEG")
    return out.getvalue()


def test_a_job_from_its_form_to_its_end(chromium: Browser, server: running.Server) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{server.url}/#/new")
    make = page.get_by_role("button", name="Make the job")
    make.click()
    problems = page.locator(".problem:not(:empty)")
    expect(problems).to_have_text(
        ["Say which machine it is.", "Give the customer's name.", "Give the name of who works on it.",
         "Give the axis a name, such as X or SPINDLE.", "4 fields need a look; what to do stands beside each."]
    )  # fmt: skip
    expect(page.locator("[name=machine]")).to_be_focused()
    message, button = page.locator("#form-problem").bounding_box(), make.bounding_box()
    assert message is not None
    assert button is not None
    assert message["y"] + message["height"] <= button["y"], "no message lies over the button"
    for name, value in (("machine", "Lathe 2"), ("customer", "Brackwater (invented)"), ("technician", "Technician 7")):
        page.locator(f"form [name={name}]").fill(value)
    page.locator(".axis-row [name=name]").fill("x")
    make.dblclick()
    expect(page.locator("#job-details")).to_contain_text("Which kind of motor is on axis X?")
    jobs = httpx.get(f"{server.url}/api/jobs", timeout=30).json()
    assert [job["axes"][0]["motor_kind"] for job in jobs] == ["unknown"], "pressed twice, made once, no kind assumed"

    page.goto(f"{server.url}/#/edit/{jobs[0]['id']}")
    page.locator("[name=motor_kind]").select_option("dc_servo")
    page.locator("[name=reason]").fill("read from the nameplate")
    page.get_by_role("button", name="Save the correction").click()
    expect(page.locator("#history li li")).to_have_text("Motor: kind of motor not known yet → Brushed DC servo motor")
    page.locator("[data-use=motor_plate] input").set_input_files(
        {"name": "plate.jpg", "mimeType": "image/jpeg", "buffer": plate()}
    )
    expect(page.locator("[data-use=motor_plate] img")).to_be_visible()

    # An axis added by mistake goes, and comes back; one with readings would stay (tests/api/visit/test_withdrawing.py).
    page.goto(f"{server.url}/#/edit/{jobs[0]['id']}")
    page.get_by_role("button", name="Add an axis").click()
    page.locator(".axis-row [name=name]").last.fill("w")
    page.get_by_role("button", name="Save the correction").click()
    expect(page.locator(".parts li[data-axis]")).to_have_count(2)
    page.get_by_text("An axis was added by mistake").click()
    page.get_by_role("button", name="Withdraw axis W").click()
    expect(page.locator(".parts li[data-axis]")).to_have_count(1)
    expect(page.locator("#history .place").last).to_have_text("Axis W withdrawn")
    page.get_by_text("An axis was added by mistake").click()
    expect(page.get_by_role("button", name="Withdraw axis X"), "the last one stays").to_have_count(0)
    page.get_by_role("button", name="Reinstate axis W").click()
    expect(page.locator(".parts li[data-axis]")).to_have_count(2)
    page.get_by_text("An axis was added by mistake").click()
    page.get_by_role("button", name="Withdraw axis W").click()
    expect(page.locator(".parts li[data-axis]")).to_have_count(1)

    page.locator("[data-move=close]").click()
    expect(page.locator("#state")).to_have_attribute("data-state", "closed")
    page.get_by_role("link", name="To the readings", exact=True).click()
    expect(page.locator("#job-state")).to_contain_text("This job is closed")
    expect(page.get_by_role("button", name="Speak")).to_be_hidden()
    page.goto(f"{server.url}/?view=read#/about/{jobs[0]['id']}")
    expect(page.locator("#history")).to_be_visible()
    expect(page.get_by_role("button")).to_have_count(0)
    page.goto(f"{server.url}/#/about/{jobs[0]['id']}")
    page.locator("[data-move=reopen]").click()
    expect(page.locator("#state")).to_have_attribute("data-state", "open")
    page.goto(f"{server.url}/#/")
    page.locator("#search").fill("lathe x")
    expect(page.locator("#jobs .left")).to_contain_text("test points left: X")
    page.locator("#search").fill("mill")
    expect(page.locator("#found")).to_have_text("No job holds all of these words.")
    context.close()
    assert errors == []
    assert verify_all(server.folder).problems == []


def test_a_view_that_comes_late_does_not_push_out_the_one_that_was_chosen(
    chromium: Browser, server: running.Server, job_id: str
) -> None:
    """Leave a page whose answers are slow for another: what arrives for the first is not shown any more."""
    context = chromium.new_context(viewport=PHONE, service_workers="block")
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.goto(f"{server.url}/#/")
    expect(page.locator("#jobs")).to_be_visible()
    for slow in (f"#/edit/{job_id}", f"#/about/{job_id}", f"#/jobs/{job_id}"):
        pattern = f"**/api/jobs/{job_id}" if "/jobs/" in slow else "**/description"
        page.route(pattern, hold)
        page.evaluate("hash => { location.hash = hash }", slow)
        for _ in range(100):
            if held:
                break
            page.wait_for_timeout(100)
        assert held, "it waits for its answer"
        page.evaluate("location.hash = '#/'")
        expect(page.locator("#jobs")).to_be_visible()
        while held:
            held.pop().continue_()
        page.unroute(pattern)
        page.wait_for_timeout(1000)
        expect(page.locator("#jobs")).to_be_visible()
        assert page.locator("body").get_attribute("data-place") is None
    context.close()
    assert errors == []
