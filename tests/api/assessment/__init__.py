"""Tests of `api.assessment`."""
