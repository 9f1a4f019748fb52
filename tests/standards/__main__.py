"""Prints the table of rules, or with `--limits` that of limits, as Markdown."""

from __future__ import annotations

import sys

from tests.standards.rules_table import limits_table, rules_table

sys.stdout.write((limits_table() if "--limits" in sys.argv else rules_table()) + "\n")
