"""Measures the display reader."""
