"""Tests of `api.intake`."""
