"""Tests of `api.visit`."""
