"""Exports that stand without us, and those of others, imported to look at."""
