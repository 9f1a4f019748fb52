"""Tests of `api.dialogue`."""
