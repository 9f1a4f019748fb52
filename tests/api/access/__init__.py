"""Tests of `api.access`."""
