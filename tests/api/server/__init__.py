"""Tests of `api.server`."""
