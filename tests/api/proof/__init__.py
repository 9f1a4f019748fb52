"""Tests of what lets others check a value without us."""
