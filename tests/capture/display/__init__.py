"""Tests of the display reader."""
