"""Memory that earlier photos left free: given back to the system, as the system itself counts it."""

from __future__ import annotations

import subprocess
import sys

import pytest

from capture.display.memory import give_back

PROGRAM = """
import numpy as np
from capture.display.memory import give_back

def resident():  # as Linux counts it: proc(5), VmRSS
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmRSS"))

kept = [np.ones(100_000, np.uint8) for _ in range(1000)]
del kept[:-1]  # the last one stands above all that is free now
before = resident()
print(give_back(), before - resident())
"""


@pytest.mark.skipif(not give_back(), reason="this C library cannot give memory back")
def test_what_is_free_below_something_in_use_goes_back_to_the_system() -> None:
    """100 MB in pieces, all but the last one freed: by itself the C library keeps them, as it may."""
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True, timeout=60)
    told, kib = done.stdout.split()
    assert told == "True"
    assert int(kib) > 80_000
