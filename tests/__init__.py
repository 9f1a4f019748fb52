"""Tests, mirroring the three packages; `standards/` holds the checks against published tables."""
