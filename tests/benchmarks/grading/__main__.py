"""How long grading takes and how much memory: `python -m tests.benchmarks.grading`.

A job of 1,000 axes with 60 readings each, and 100,000 readings through a sheet typed by hand. Values are drawn with a
fixed seed. Prints one JSON object; nothing is asserted, since times depend on the machine.
"""

from __future__ import annotations

import csv
import io
import json
import platform
import random
import resource
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

from rich.console import Console

from grading.measurement import Measurement, MotorKind
from grading.plan import plan_axis
from grading.sheet import read_sheet
from grading.terms.section import Section
from grading.verdict import grade_axis, grade_job
from tests.grading.making import METERS, axis, ir, lg, ll

SEED = 20261125
PAIRS = ("U-V", "V-W", "W-U")


def readings(name: str, draw: random.Random) -> list[Measurement]:
    """Make sixty readings of one axis: three parts, three leads, three voltages, two times."""
    made: list[Measurement] = []
    for section in Section:
        made += [ll(section, f"{draw.uniform(1.18, 1.24):.2f}", pair, axis=name) for pair in PAIRS]
        made += [lg(section, "OL", terminals=f"{lead}-PE", axis=name) for lead in "UV"]
        for volts in (250, 500):
            for lead in "UVW":
                level = 10 ** draw.uniform(-1, 3.5)
                for seconds in (30, 60):
                    text = f"{level:.2f}" if level < 4000 else ">4000"
                    at: dict[str, Any] = {"test_voltage_set": volts, "elapsed_s": seconds, "terminals": f"{lead}-PE"}
                    made.append(ir(section, text, axis=name, **at))
    made += [ir(Section.MOTOR_ALONE, f"{10 ** draw.uniform(1, 3):.1f}", axis=name, elapsed_s=600) for _ in range(9)]
    return made


def timed(call: Callable[[], Any]) -> tuple[float, Any]:
    """Give the seconds and result of one call."""
    start = time.perf_counter()
    result = call()
    return time.perf_counter() - start, result


def sheet_text(rows: int, draw: random.Random) -> str:
    """Write a sheet of that many rows, a tenth of the axes with a bad one."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["axis", "quantity", "value", "unit", "section", "terminals", "test_voltage", "seconds"])
    for number in range(rows):
        unit = "MOHM" if number % 600 == 7 else "MOhm"
        value = f"{10 ** draw.uniform(-1, 3.5):.2f}"
        writer.writerow([f"A{number // 60}", "insulation", value, unit, "cabinet", "U-PE", 500, 60])
    return out.getvalue()


def peak_mib() -> float:
    """Give the largest resident size so far, MiB (Linux counts in KiB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure() -> dict[str, Any]:
    """Measure all figures."""
    notes = Console(stderr=True)
    draw = random.Random(SEED)
    names = [f"A{n}" for n in range(1000)]
    contexts = {name: replace(axis(MotorKind.AC_SERVO, moving_cable=True), axis=name) for name in names}
    with notes.status("Drawing 60,000 readings"):
        by_axis = {name: readings(name, draw) for name in names}
    everything = [m for own in by_axis.values() for m in own]
    before = peak_mib()
    with notes.status("Grading 1,000 axes"):
        each = sorted(timed(partial(grade_axis, by_axis[name], contexts[name], METERS))[0] for name in names)
        whole, job = timed(lambda: grade_job(everything, contexts, METERS))
        as_data, _ = timed(lambda: json.dumps(job.to_dict()))
        plans, _ = timed(lambda: [plan_axis(by_axis[name], contexts[name], METERS) for name in names[:100]])
    after = peak_mib()
    tracemalloc.start()
    grade_axis(by_axis["A0"], contexts["A0"], METERS)
    one_axis_kib = tracemalloc.get_traced_memory()[1] / 1024
    tracemalloc.stop()
    with notes.status("100,000 rows of a sheet"):
        text = sheet_text(100_000, draw)
        reading, sheet = timed(lambda: read_sheet(text))
        grading, _ = timed(lambda: grade_job(sheet.measurements, sheet.contexts, sheet.instruments))
    return {
        "machine": f"{platform.machine()}, Python {platform.python_version()}",
        "axes": len(names),
        "readings": len(everything),
        "axis_ms_median": round(1000 * each[len(each) // 2], 2),
        "axis_ms_99th": round(1000 * each[int(len(each) * 0.99)], 2),
        "job_s": round(whole, 2),
        "readings_per_s": round(len(everything) / whole),
        "job_to_json_s": round(as_data, 2),
        "plan_ms": round(1000 * plans / 100, 2),
        "job_memory_mib": round(after - before, 1),
        "one_axis_peak_kib": round(one_axis_kib),
        "sheet_rows": 100_000,
        "sheet_read_s": round(reading, 2),
        "sheet_bad_rows": len(sheet.problems),
        "sheet_grade_s": round(grading, 2),
        "peak_mib": round(peak_mib(), 1),
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(measure(), indent=2) + "\n")
