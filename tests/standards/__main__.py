"""Prints the table of rules as Markdown; `--limits` prints that of limits, `--into FILE` puts it in place."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.standards.rules_table import limits_table, rules_table, with_table

if "--into" in sys.argv:
    guide = Path(sys.argv[sys.argv.index("--into") + 1])
    guide.write_text(with_table(guide.read_text(encoding="utf-8")), encoding="utf-8")
else:
    sys.stdout.write((limits_table() if "--limits" in sys.argv else rules_table()) + "\n")
