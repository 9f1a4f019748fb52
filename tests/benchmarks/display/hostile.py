"""What hostile files cost: time and memory of refusing each, in a process of its own.

python -m tests.benchmarks.display.hostile
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

from tests.capture.display.hostile import FILES


def main() -> None:
    """Print the table."""
    table = Table("file", "size, kB", "refused as", "time, ms", "memory, MB", title="Hostile files")
    for column in table.columns[1::2]:
        column.justify = "right"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        for name, (make, _) in track(FILES.items(), "opening"):
            path.write_bytes(make())
            command = [sys.executable, "-m", "tests.capture.display.hostile", str(path)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            code, seconds, grown = (done.stdout.split() or ["killed", "nan", "nan"])[:3]
            kilobytes = f"{path.stat().st_size / 1000:,.1f}"
            table.add_row(name, kilobytes, code, f"{1000 * float(seconds):.0f}", f"{float(grown) / 1e6:.1f}")
    Console(width=110).print(table)


if __name__ == "__main__":
    main()
