"""Tests of `api.ledger`."""
