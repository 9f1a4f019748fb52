"""Checks of grading and capture against published standards and tables."""
