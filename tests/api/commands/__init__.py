"""Tests of `api.commands`."""
