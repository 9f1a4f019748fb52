"""Looks at pages of a server, in a process of its own: `python -m tests.benchmarks.load.probe ADDRESS`.

Prints how long each took, s, line by line, until its standard input ends.
"""

from __future__ import annotations

import select
import sys
import time
from contextlib import suppress

import httpx2 as httpx

PROBE_EVERY_S = 0.25
"""How often a page is asked for, s."""

PAGES = ("/", "/page/job.js", "/api/jobs/J1", "/api/jobs/J1/proposals", "/api/jobs/J1/records", "/api/status")


def main(address: str) -> None:
    """Ask for one page after the other."""
    with httpx.Client(base_url=address, timeout=600) as client:
        turn = 0
        while not select.select([sys.stdin], [], [], PROBE_EVERY_S)[0]:
            began = time.monotonic()
            with suppress(httpx.TransportError):
                answer = client.get(PAGES[turn % len(PAGES)])
                if answer.status_code == 200:
                    sys.stdout.write(f"{time.monotonic() - began:.4f}\n")
            turn += 1


if __name__ == "__main__":
    main(sys.argv[1])
