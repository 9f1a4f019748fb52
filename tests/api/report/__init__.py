"""Checks of the report."""
