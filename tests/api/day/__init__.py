"""Tests of a day's files in one go."""
