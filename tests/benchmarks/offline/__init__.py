"""Captures made while the server is away, sent over a line that breaks."""
