"""A visit over HTTP that fills every table, and the ids of what is in it, for tests that go through all routes."""

from __future__ import annotations

from fastapi.testclient import TestClient

from api.visit.safety_steps import STEPS
from tests.api.makers import JOB, at, clip, photo

READING = "x ray axis through the cable a one to a two one point zero eight ohms"


def visit(client: TestClient) -> dict[str, str]:
    """Make a visit; gives a real value for every parameter that stands in a path."""
    job = client.post("/api/jobs", json=JOB).json()["id"]
    for step in STEPS:
        answer = {"step": step.id, "answer": "yes", "value": "3", "captured_at": at(1)}
        assert client.post(f"/api/jobs/{job}/axes/X/safety", json=answer).status_code == 201
    sent = []
    for seconds, data in ((10, clip(READING)), (20, photo("1.080", "Ohm")), (30, clip("noise"))):
        answered = client.post(
            f"/api/jobs/{job}/evidence", files={"file": ("x", data)}, data={"captured_at": at(seconds)}
        )
        assert answered.status_code == 201, answered.text
        sent.append(answered.json())
    typed = {"kind": "winding_resistance", "value": "1.10", "unit": "Ohm", "axis": "Y", "section": "motor_alone"}
    open_one = client.post(f"/api/jobs/{job}/typed", json=typed).json()["proposals"][0]["id"]
    first = client.get(f"/api/jobs/{job}/proposals").json()[0]
    done = client.post(f"/api/proposals/{first['id']}/confirm", json={"revision": first["revision"]})
    record = done.json()["records"][0]["id"]
    assert client.put(f"/api/jobs/{job}/instruments/MM-11/profile", json="multimeter-6000").status_code == 200
    assert client.post(f"/api/jobs/{job}/findings").status_code == 201
    assert client.post(f"/api/jobs/{job}/report").status_code == 201
    return {
        "job_id": job,
        "axis": "X",
        "label": "MM-11",
        "sha256": sent[1]["sha256"],
        "capture_id": sent[2]["capture"],
        "proposal_id": open_one,
        "record_id": record,
        "name": "job.js",
        "device_id": "device-1",
    }
