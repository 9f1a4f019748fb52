"""Exports of other data folders, kept whole and read-only."""
